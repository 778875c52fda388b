"""Widgets that paint rows of styled text, and no more."""
