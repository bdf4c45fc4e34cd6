"""How fast the program is, in ratios to peers measured in the same run. `tests/bench/run` prints the table."""
