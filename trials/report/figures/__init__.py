"""Figures as SVG text."""
