"""Lists for people and other programs: list and brief, weeks at a glance, calendar, table, orders."""
