"""Many cases in order: shared out to processes, written whole, bad rows set aside."""
