"""Pure functions from a snapshot to rows of styled text; no Textual, tested as tables."""
