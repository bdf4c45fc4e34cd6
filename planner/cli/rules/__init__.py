"""`planner rules`: one module a command."""
