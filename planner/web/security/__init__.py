"""Who may come in and what guards every request."""
