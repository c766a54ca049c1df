"""What `choose` rests on: the pieces of a plan's work, where they go, and the search over them."""
