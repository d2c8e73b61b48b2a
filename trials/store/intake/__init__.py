"""From files that people fill in to checked tables."""
