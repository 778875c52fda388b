"""Ordered batches in, results out: no threads, no clock."""
