"""Climbing a concave likelihood, and seeing where it has no top."""
