"""Commands: parse, call, show."""
