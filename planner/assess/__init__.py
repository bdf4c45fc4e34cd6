"""Assessing a case: `assess(case, rulebook)` gives points, tier, probability, readiness and what is missing."""
