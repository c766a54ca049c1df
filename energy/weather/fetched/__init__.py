"""Weather from the network and its cache; only `online` asks the network."""
