"""Lists changed: by hand, on the morning of, and from one published version to the next."""
