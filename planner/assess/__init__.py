"""Assessing a case: `assess(case, rulebook)` gives factors, points, probability, tier, readiness and what is missing."""
