"""What is said: conditions in words, fixed phrases and their languages, people, eyes, numbers."""
