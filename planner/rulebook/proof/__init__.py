"""What `planner.rulebook.prove` is made of: the rulebook read as formulas, and each claim put to the solver z3."""
