"""busprobe: a bench instrument for vehicle bus and input signals."""

__version__ = "0.1.0"
