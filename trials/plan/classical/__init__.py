"""Classical plans in coded units: pure functions that return frozen results."""
