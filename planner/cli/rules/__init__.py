"""`planner rules`: the small commands in one module, those that compare and prove in their own."""
