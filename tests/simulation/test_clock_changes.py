"""A stated time that the clock skips is said once, with what is taken; one that it shows twice
where a plan begins.

The EU's summer time begins and ends on the last Sundays of March and October at 01:00 UTC
(directive 2000/84/EC). All plans are invented.
"""

from datetime import datetime

import pytest

from energy.plan import Plan
from energy.simulation.budget import budget

BERLIN = {"latitude_deg": 52.5, "longitude_deg": 13.4, "timezone": "Europe/Berlin"}
SPRING = {"start": "2027-03-27T12:00", "end": "2027-03-28T12:00"}
AUTUMN = {"start": "2027-10-30T12:00", "end": "2027-10-31T12:00"}
LAMP = {"name": "lamp", "supply": "dc12", "working_w": 5}
SKIPPED = "02:30 on Sun 28 Mar does not exist there, the clock is put forward: 03:30 is taken"


def clock_lines(task, span=SPRING, now=None, **changes):
    tables = {
        "place": {**BERLIN, "elevation_m": 30},
        "span": span,
        "weather": {"kind": "clear", "temp_air_c": 20},
        "pack": {"capacity_wh": 1000, "idle_w": 1},
        "task": [LAMP | task],
    }
    found = budget(Plan.from_dict(tables | changes), now, None if now is None else 90.0)
    return [note for note in found.notes if "the clock is put" in note]


@pytest.mark.parametrize(
    "task",
    [
        {"at": "02:30", "minutes": 30},
        {"between": ["20:00", "02:30"]},
        {"between": ["20:00", "02:30"], "days": [1]},
        {"between": ["02:30", "05:00"], "days": [2]},
    ],
)
def test_a_time_that_the_clock_skips_is_said_once(task):
    assert clock_lines(task) == [SKIPPED]


@pytest.mark.parametrize(
    "task",
    [
        {"at": "03:30", "minutes": 30},
        {"at": "01:59", "minutes": 30},
        {"at": "02:30", "minutes": 30, "days": [1]},  # before the span
        {"between": ["20:00", "02:30"], "days": [2]},  # of the night after it
        {"between": ["sunset", "sunrise"]},
        {},
    ],
)
def test_times_that_are_there_need_no_line(task):
    assert clock_lines(task) == []


def test_a_day_without_a_change_needs_no_line():
    span = {"start": "2027-03-26T12:00", "end": "2027-03-27T12:00"}
    assert clock_lines({"at": "02:30", "minutes": 30}, span) == []
    assert clock_lines({"at": "02:30", "minutes": 30}, AUTUMN) == []


def test_several_times_share_a_line():
    (line,) = clock_lines({"between": ["02:15", "02:45"]})
    assert line.startswith("02:15 and 02:45 on Sun 28 Mar do not exist there")
    assert line.endswith("03:15 and 03:45 are taken")


def test_the_times_of_panels_chargers_and_the_inverter_are_said_too():
    panel = {"rated_w": 100, "out_between": ["02:10", "18:00"], "re_aim_at": ["02:20"]}
    panel |= {"shade": [{"between": ["02:40", "07:00"], "keep_percent": 50}]}
    pack = {
        "capacity_wh": 1000,
        "idle_w": 1,
        "inverter": {"rated_w": 300, "on": ["02:50", "06:00"]},
    }
    charger = {"watts": 20, "between": ["01:00", "02:30"]}
    (line,) = clock_lines({}, panel=[panel], pack=pack, charger=[charger])
    assert line.startswith("02:10, 02:20, 02:30, 02:40 and 02:50 on")


def test_a_start_or_a_now_that_the_clock_skips_is_said_and_what_is_over_is_not():
    assert clock_lines({}, {**SPRING, "start": "2027-03-28T02:30"}) == [SKIPPED]
    assert clock_lines({}, now=datetime(2027, 3, 28, 2, 30)) == [SKIPPED]
    task = {"at": "02:30", "minutes": 30}
    assert clock_lines(task, now=datetime(2027, 3, 28, 4)) == []


def test_a_now_that_comes_twice_says_which_is_taken_unless_it_was_told():
    first = datetime(2027, 10, 31, 2, 30)
    assert clock_lines({}, AUTUMN, first) == [
        "02:30 on Sun 31 Oct comes twice there, the clock is put back: the first is taken,"
        " 2027-10-31T02:30+02:00"
    ]
    assert clock_lines({}, AUTUMN, first.replace(fold=1)) == []


def test_the_second_of_two_is_an_hour_later():
    task = LAMP | {"between": ["20:00", "06:00"]}
    tables = {"place": BERLIN, "span": AUTUMN, "weather": {"kind": "clear"}, "task": [task],
              "pack": {"capacity_wh": 1000}}  # fmt: skip
    at = datetime(2027, 10, 31, 2, 30)
    ends = [budget(Plan.from_dict(tables), at.replace(fold=k), 90.0).asked_wh[0] for k in (0, 1)]
    assert ends == pytest.approx([5.0 * 4.5, 5.0 * 3.5])  # until 06:00
