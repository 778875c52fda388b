"""The bench file: one vehicle's buses, input boxes, signals, checks and triggers."""
