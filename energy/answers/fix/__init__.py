"""The smallest changes that make a no a yes."""
