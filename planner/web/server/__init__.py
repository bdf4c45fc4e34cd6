"""What every page shares: the application, templates, addresses, settings, prints and problems."""
