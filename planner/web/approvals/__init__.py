"""The consultant's pages: what waits, one case, and the decision."""
