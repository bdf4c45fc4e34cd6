"""What is said: conditions in words, people, eyes, numbers."""
