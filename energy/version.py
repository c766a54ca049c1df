"""The version, where all floors can read it."""

__version__ = "0.1.0"
