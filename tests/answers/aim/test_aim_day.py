"""A day is a day: what `aim` says of a day does not depend on the hours of the plan.

Against the slow simulator of these tests, symmetry and arithmetic; the plans are invented.
"""

from datetime import datetime, timedelta

import brute
import numpy as np
import pytest
from aim_plans import one_panel
from told import told, unfolded

from energy.answers.aim.aim import aim
from energy.answers.aim.words import day_in_words, finding, sheet
from energy.plan.words import and_list

HOURS = {
    "8 h": ("2026-06-21T09:00", "2026-06-21T17:00"),
    "24 h": ("2026-06-21T00:00", "2026-06-22T00:00"),
    "34 h": ("2026-06-21T00:00", "2026-06-22T10:00"),
    "a night before": ("2026-06-20T22:00", "2026-06-22T10:00"),
}


@pytest.fixture(scope="module")
def by_hours():
    """The same June day under a clear sky, in plans of different hours."""
    return {name: aim(one_panel(day=day)) for name, day in HOURS.items()}


@pytest.mark.parametrize("name", HOURS)
def test_a_days_yield_does_not_depend_on_the_plans_hours(by_hours, name):
    found, day = by_hours[name], by_hours["24 h"]
    for of in ("plan", "flat", "follow"):
        expected = pytest.approx(getattr(day, of).wh_per_day, rel=1e-3)
        assert getattr(found, of).wh_per_day == expected, of


def test_a_days_yield_is_that_of_the_slow_simulator(by_hours):
    # The tests' own sun and panel, written apart from the package on pvlib, from midnight on.
    day = one_panel(day=HOURS["24 h"], pack={"capacity_wh": 1e5, "charge_max_w": 1e5, "idle_w": 0})
    run = brute.simulate(day)
    expected = run.solar_used_wh / 0.97 + run.spilled_wh
    assert by_hours["8 h"].plan.wh_per_day == pytest.approx(expected, rel=5e-3)


def test_two_dates_that_a_plan_only_touches_are_both_counted_whole():
    dates = ("2026-03-20", "2026-03-21")
    two = aim(one_panel(day=(f"{dates[0]}T07:00", f"{dates[1]}T17:00")))
    ones = [aim(one_panel(day=(f"{date}T00:00", f"{date}T23:00"))) for date in dates]
    assert two.plan.daylight.counts == "touched-days"
    mean = np.mean([one.flat.wh_per_day for one in ones])
    assert two.flat.wh_per_day == pytest.approx(mean, rel=1e-3)
    assert two.plan.daylight.plan_days == pytest.approx(2.0, rel=0.03)


def test_a_day_that_is_only_touched_is_said_so(by_hours):
    words = day_in_words(by_hours["8 h"])
    assert words.startswith("A day here is all the sun of Sun 21 Jun, from midnight to midnight")
    detail = told(lambda width: sheet(by_hours["8 h"], width), "hours")
    assert words in unfolded(detail)


def test_a_morning_plan_faces_the_morning_sun_and_says_what_that_gives():
    answer = aim(one_panel(day=("2026-06-21T05:00", "2026-06-21T10:00"), tilt_deg=20))
    assert 60.0 < answer.azimuth_deg < 120.0
    assert answer.best.own_wh > 1.1 * answer.plan.own_wh
    assert answer.best.wh_per_day < answer.plan.wh_per_day  # a whole day would want the south
    more = answer.best.own_wh - answer.plan.own_wh
    assert finding(answer).endswith(f"and {more:.0f} more than planned in the plan's own hours")


def test_a_turn_worth_it_in_the_plans_own_hours_is_worth_it():
    answer = aim(one_panel(day=("2026-06-21T05:00", "2026-06-21T14:00"), pack={"idle_w": 0}))
    assert answer.worth_turning is not None


def test_turns_that_spoil_the_day_after_the_plan_are_not_worth_it():
    """From seven to seven, a turn at six the next morning gains an hour of the plan and, to
    whoever does it each day, loses the hours until the next turn."""
    day = ("2026-05-10T07:00", "2026-05-11T07:00")
    answer = aim(one_panel(47.0, day, pack={"idle_w": 0}))
    spoiling = [s for s in answer.re_aim if s.own_wh > 1.01 * answer.best.own_wh]
    spoiling = [s for s in spoiling if s.wh_per_day < answer.best.wh_per_day]
    assert spoiling
    assert answer.worth_turning not in spoiling
    text = unfolded(told(lambda width: sheet(answer, width), "turns"))
    for setting in spoiling:
        assert f"turned at {and_list(setting.at)}" not in text


def test_a_plan_of_a_night_has_no_pose():
    answer = aim(one_panel(day=("2026-06-21T22:00", "2026-06-22T03:00")))
    assert answer.flat.wh_per_day > 100.0
    assert finding(answer) == "No sun reaches the panels in the plan's hours: no pose helps"


def test_turns_begin_each_day_that_is_only_touched_in_the_stated_pose():
    # A day's turn cannot be paid for by the morning after it: each day starts as set up.
    turned = {"aim": "re-aimed", "re_aim_at": ["15:00"], "tilt_deg": 30}
    one = aim(one_panel(day=("2026-06-21T07:00", "2026-06-21T20:00"), **turned))
    two = aim(one_panel(day=("2026-06-21T07:00", "2026-06-22T20:00"), **turned))
    assert two.plan.wh_per_day == pytest.approx(one.plan.wh_per_day, rel=0.005)


def test_a_record_of_the_plans_own_hours_is_enough(tmp_path):
    # 25 hours from 08:00 on: no whole local day, and so no morning before the plan.
    times = [datetime(2026, 6, 21, 8) + timedelta(hours=k) for k in range(25)]
    rows = [f"{t.isoformat()},{max(0, 700 - 100 * abs(t.hour - 12))}" for t in times]
    (tmp_path / "sun.csv").write_text("\n".join(["time,ghi", *rows]) + "\n")
    of = one_panel(
        day=("2026-06-21T09:00", "2026-06-21T17:00"),
        weather={"kind": "file", "file": str(tmp_path / "sun.csv"), "futures": 1},
    )
    answer = aim(of)
    assert answer.plan.daylight.counts == "own-hours"
    assert answer.plan.wh_per_day == pytest.approx(answer.plan.own_wh)
    assert "the weather held covers no more" in day_in_words(answer)


def test_a_day_of_23_hours_counts_as_one_day():
    place = {"latitude_deg": 52.5, "longitude_deg": 13.4, "timezone": "Europe/Berlin"}
    spring = one_panel(day=("2026-03-29T00:00", "2026-03-30T00:00"), place=place)
    after = one_panel(day=("2026-03-30T08:00", "2026-03-30T16:00"), place=place)
    found, next_day = aim(spring).flat.wh_per_day, aim(after).flat.wh_per_day
    assert found == pytest.approx(next_day, rel=0.02)
