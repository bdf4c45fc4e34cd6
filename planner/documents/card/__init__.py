"""The theatre card for the wall."""
