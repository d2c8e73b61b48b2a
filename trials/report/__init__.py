"""Paper: figures and documents."""
