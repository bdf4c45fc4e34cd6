"""The roster: people, sessions, leave, kit and limits, as entries, forms, tables and files."""
