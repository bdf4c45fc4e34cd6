"""Cases from files: YAML, JSON and CSV."""
