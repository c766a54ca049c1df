"""A plan on many start days: each as if it were asked alone, differing by its sun, not by luck."""

from datetime import date, timedelta

import numpy as np
import pytest

from energy.plan import Plan
from energy.plan.dates import starting
from energy.simulation.budget import budget
from energy.simulation.start_days import budgets_on
from energy.weather.source import NotCovered, record_of

WEATHERS = (
    {"kind": "file", "file": "builtin:greensboro"},
    {"kind": "climate", "futures": 5},
    {"kind": "sky", "sky": [8, 2], "futures": 7},
    {"kind": "clear"},
)


def plan(weather: dict, **tables: object) -> Plan:
    """An invented day and a night, with panels, tasks of sunset and spread, and the random."""
    return Plan.from_dict(
        {
            "place": {"latitude_deg": 36.1, "longitude_deg": -79.9, "timezone": "America/New_York"},
            "span": {"start": "2026-10-30T08:00", "end": "2026-11-01T09:00"},
            "weather": weather,
            "panel": [{"rated_w": 100, "out_between": ["sunrise", "17:00"]}],
            "pack": {"capacity_wh": 500},
            "task": [
                {"name": "lamp", "supply": "dc12", "working_w": 9, "between": ["sunset", "23:00"]},
                {"name": "pump", "supply": "dc12", "working_w": 30, "hours": 3, "at": "10:00"},
            ],
            **tables,
        }
    )


@pytest.mark.parametrize("weather", [WEATHERS[0], *WEATHERS[2:]], ids=lambda w: w["kind"])
def test_each_day_is_that_of_the_plan_asked_alone_for_it(weather):
    asked = plan(weather)
    starts = [date(2026, 10, 30), date(2026, 10, 31), date(2028, 2, 28)]
    for start, result in budgets_on(asked, starts, record_of(asked)):
        alone = budget(asked.replace(**starting(asked, start)))
        assert result.plan.span == alone.plan.span
        assert np.array_equal(result.time_s, alone.time_s)
        assert result.charge_percent == pytest.approx(alone.charge_percent, abs=1e-7)
        assert [each.success.tolist() for each in result.deciding] == [
            each.success.tolist() for each in alone.deciding
        ]


@pytest.mark.parametrize("weather", WEATHERS[:3], ids=lambda w: w["kind"])
def test_all_days_see_the_same_scenarios(weather):
    """The tasks draw alike, and no day is luckier: what the light of a scenario is of the mean of
    its day goes through all days."""
    asked = plan(weather)
    starts = [date(2026, 6, 1) + timedelta(k) for k in range(3)]
    results = [result for _, result in budgets_on(asked, starts, record_of(asked))]
    for result in results[1:]:
        assert np.array_equal(result.case.factor, results[0].case.factor)
        assert np.array_equal(result.weather.shift_days, results[0].weather.shift_days)
    if weather["kind"] == "climate":
        light = [result.weather.light.ghi.sum(axis=0) for result in results]
        shares = np.array([wh / wh.mean() for wh in light])
        assert shares[1:] == pytest.approx(np.broadcast_to(shares[0], (2, 5)), rel=0.01)


def test_a_day_that_cannot_be_laid_out_says_why_and_the_others_are_judged():
    """One thousand times of a minute fit between a midsummer's sunrise and sunset in the north, but
    not in winter; on the Sunday in March the clock skips from two to three."""
    north = {"latitude_deg": 60.0, "longitude_deg": 10.0, "timezone": "Europe/Oslo"}
    cuts = {"name": "cut", "supply": "dc12", "working_w": 9, "times": 1000, "each_s": 60}
    asked = plan({"kind": "clear"}, place=north, task=[{**cuts, "between": ["sunrise", "sunset"]}])
    starts = [date(2026, 6, 20), date(2026, 12, 20)]
    (_, june), (_, december) = budgets_on(asked, starts, None)
    assert june.verdict
    assert "do not fit" in december.problems[0]
    skipped = plan(
        {"kind": "clear"},
        place=north,
        span={"start": "2026-03-28T02:30", "end": "2026-03-28T03:30"},
    )
    (_, before), (_, gap) = budgets_on(skipped, [date(2026, 3, 28), date(2026, 3, 29)], None)
    assert before.verdict
    assert "skips the hour" in gap.problems[0]


def test_days_that_a_record_does_not_hold_are_not_covered(tmp_path):
    rows = [f"2026-06-{d:02d}T{h:02d}:00,{max(0, 600 - 90 * abs(h - 12))}" for d in range(1, 9)
            for h in range(24)]  # fmt: skip
    (tmp_path / "sun.csv").write_text("time,ghi\n" + "\n".join(rows))
    asked = plan({"kind": "file", "file": str(tmp_path / "sun.csv")}).replace(
        **starting(plan({"kind": "clear"}), date(2026, 6, 2))
    )
    (_, held), (_, later) = budgets_on(
        asked, [date(2026, 6, 2), date(2026, 9, 2)], record_of(asked)
    )
    assert held.success.size
    assert isinstance(later, NotCovered)
    assert "around 2026-09" in later.problems[0]
