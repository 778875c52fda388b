"""What a recording holds, without any check."""
