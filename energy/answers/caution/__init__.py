"""What to take care of, and what raised it."""
