"""The week as plain data: cases, people, sessions, minutes, and the lists laid out for judging."""
