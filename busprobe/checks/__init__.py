"""What must hold, evaluated over timelines."""
