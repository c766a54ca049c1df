"""The clock: the one place where the commands ask what time it is."""

from datetime import UTC, datetime


def now() -> datetime:
    """The time, with its offset."""
    return datetime.now(UTC)
