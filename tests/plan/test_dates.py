"""A plan asked for another start date, and what is said of one whose days are over."""

from datetime import UTC, date, datetime

import pytest

from energy.plan import Plan, PlanError
from energy.plan.dates import over, start_date, starting

HONOLULU, AUCKLAND = "Pacific/Honolulu", "Pacific/Auckland"
NOON = datetime(2026, 10, 19, 12, 30, tzinfo=UTC)  # 02:30 in Honolulu, 01:30 a day later there


@pytest.fixture
def plan() -> Plan:
    return Plan.read("builtin:two-night-trip")


def test_today_and_tomorrow_are_those_of_the_place():
    assert start_date("today", NOON, HONOLULU) == date(2026, 10, 19)
    assert start_date("today", NOON, AUCKLAND) == date(2026, 10, 20)
    assert start_date(" Tomorrow ", NOON, HONOLULU) == date(2026, 10, 20)
    assert start_date("2027-02-28", NOON, HONOLULU) == date(2027, 2, 28)


@pytest.mark.parametrize(
    "text", ["20.10.2026", "2026-02-30", "", "soon", "1949-01-01", "9999-12-31"]
)
def test_what_is_no_date_is_one_line_with_an_example(text):
    with pytest.raises(PlanError) as refused:
        start_date(text, NOON, HONOLULU)
    (line,) = refused.value.problems
    assert "--date" in line
    assert "2026-10-20" in line


def test_the_span_moves_whole_and_keeps_its_clock_times(plan):
    moved = plan.replace(**starting(plan, date(2027, 2, 27)))
    assert moved.span.start == datetime(2027, 2, 27, 16)
    assert moved.span.end == datetime(2027, 3, 1, 10)
    assert moved.task == plan.task
    assert moved.charger == plan.charger


def test_a_plan_is_over_on_the_day_after_its_last_at_its_place(plan):
    there = {"place.timezone": AUCKLAND, "span.end": datetime(2026, 10, 12, 0, 0)}
    ends = plan.replace(**there)  # at the midnight that ends the 11th
    last_day, day_after = (
        datetime(2026, 10, 11, 10, tzinfo=UTC),  # 23:00 in Auckland
        datetime(2026, 10, 11, 12, tzinfo=UTC),  # 01:00
    )
    assert over(ends, last_day) is None
    line = over(ends, day_after)
    assert line is not None
    assert "2026-10-11" in line
    assert "2026-10-12" in line
    assert "--date tomorrow" in line
