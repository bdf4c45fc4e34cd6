"""`python -m planner` is the same as `planner`."""

from planner.cli import main

main()
