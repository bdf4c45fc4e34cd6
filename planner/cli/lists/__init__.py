"""`planner lists`: one module a group of commands."""
