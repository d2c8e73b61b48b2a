"""From the edge to a number."""
