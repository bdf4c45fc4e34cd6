"""Lists made from a pool of cases: insertion, search, the bound that no lists pass, and why a case is where it is."""
