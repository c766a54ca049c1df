"""What holds in every test."""

from datetime import UTC, datetime

import pytest

from energy.cli import clock


@pytest.fixture(autouse=True)
def before_every_plan(monkeypatch):
    """The commands' clock stands still, before the days of the plans in the tests."""
    monkeypatch.setattr(clock, "now", lambda: datetime(2026, 1, 1, tzinfo=UTC))
