"""From numbers to effects: arrays in, frozen results out."""
