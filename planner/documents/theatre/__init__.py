"""The theatre sheet: one leaf, the front to decide and the back to operate from."""
