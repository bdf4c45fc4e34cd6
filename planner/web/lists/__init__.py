"""The organiser's pages: pool, weeks, sessions, proposals and the morning of."""
