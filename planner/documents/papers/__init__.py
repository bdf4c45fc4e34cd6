"""A day's papers in one PDF."""
