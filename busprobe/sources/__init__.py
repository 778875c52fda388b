"""Where frames come from: one module a file format or adapter."""
