"""The recording: one DuckDB file."""
