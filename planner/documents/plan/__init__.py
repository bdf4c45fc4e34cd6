"""The plan: its view, and each form that is made from it."""
