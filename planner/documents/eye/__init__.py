"""The drawing of the eye as the surgeon sees it."""
