"""The weeks at a glance, for the organiser."""
