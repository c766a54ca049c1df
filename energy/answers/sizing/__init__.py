"""What `size` rests on: scaled designs, the frontier between them, real kits, whole years."""
