"""The simulated patrol van."""
