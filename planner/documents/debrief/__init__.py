"""The debrief sheet."""
