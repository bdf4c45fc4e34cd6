"""Faults planted one at a time, to see whether the tests find them: `tests/run --planted`."""
