"""The browser's side: thin pages over the records; one module a page."""
