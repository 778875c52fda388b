"""From frames and input polls to signals."""
