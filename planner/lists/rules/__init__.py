"""The rules that lists must keep, and the checker that judges any lists by them. Nothing here solves."""
