"""Which day should it be? One folder of the answers."""
