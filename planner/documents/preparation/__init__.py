"""The preparation: what is read the evening before, everything in full."""
