"""What was recorded: one database per trial, nothing overwritten."""
