"""What a tool really draws, from a meter's log."""
