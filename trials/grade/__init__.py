"""From numbers to ranges."""
