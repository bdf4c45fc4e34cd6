"""The rulebook: its shapes, how it is loaded from YAML, and its checks."""
