"""What `fixes` rests on: the kinds of change, each a ladder of sizes."""
