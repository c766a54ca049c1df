"""The commands: read, ask, show."""
