"""From a view to a page: HTML, PDF, font metrics, and the queue of prints."""
