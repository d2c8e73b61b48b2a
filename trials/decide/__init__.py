"""From effects to advice."""
