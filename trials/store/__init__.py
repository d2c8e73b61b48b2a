"""What was recorded."""
