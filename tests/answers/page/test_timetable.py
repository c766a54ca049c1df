"""The timetable on paper: every window that runs stands there, at its own times.

All plans are invented.
"""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta

import pytest
from plan_tables import SMALL

from energy import Plan, check
from energy.answers.page.timetable import timetable

DAY = timedelta(days=1)
DRIFT = timedelta(minutes=10)  # of what goes by the sun
SOUTH = {"latitude_deg": -38.2, "longitude_deg": 145.1, "timezone": "Australia/Melbourne"}
NORTH = {"latitude_deg": 51.5, "longitude_deg": 7.0, "timezone": "Europe/Berlin"}
ARCTIC = {"latitude_deg": 66.0, "longitude_deg": 25.0, "timezone": "Europe/Helsinki"}
WATCH = {"name": "watch", "between": ["20:00", "06:00"]}
LAMP = {"name": "lamp", "between": ["sunset", "sunrise"]}
ROUTER = {"name": "router"}
PUMP = {"name": "pump", "between": ["09:00", "10:00"]}
DRILL = {"name": "drill", "times": 12, "each_s": 60, "between": ["sunrise+60min", "12:00"]}
DAWN = {"name": "dawn", "minutes": 30, "at": "sunrise"}
TASKS = [{"supply": "dc12", "working_w": 1, **t} for t in (WATCH, LAMP, ROUTER, PUMP, DRILL, DAWN)]


def answer_of(place, start, end, tasks=TASKS):
    tables = {**SMALL, "place": place, "span": {"start": start, "end": end}, "task": tasks}
    sky = {"kind": "sky", "sky": "clear", "futures": 1, "temp_air_c": 10}
    return check(Plan.from_dict({**tables, "weather": sky}))


def rows_of(answer, name):
    return [(row.days, row.times) for row in timetable(answer) if row.name == name]


def test_the_rest_of_a_night_is_not_taken_for_the_nights_that_follow():
    """At 38 S the July sun rises at about 07:34 and sets at about 17:16, from memory."""
    answer = answer_of(SOUTH, "2026-07-13T07:00:00", "2026-07-15T09:00:00")
    assert rows_of(answer, "lamp") == [
        ("Mon 13", "07:00 to 07:34"),
        ("Mon 13, Tue 14", "about 17:16 to 07:33, by the sun"),
    ]


def test_a_start_in_the_middle_of_a_night_and_an_end_in_another_have_their_own_times():
    answer = answer_of(SOUTH, "2026-07-13T02:00:00", "2026-07-15T23:30:00")
    assert rows_of(answer, "watch") == [
        ("Mon 13", "02:00 to 06:00"),
        ("Mon 13, Tue 14", "20:00 to 06:00"),
        ("Wed 15", "20:00 to 23:30"),
    ]
    assert rows_of(answer, "router") == [("Mon 13", "02:00 to Wed 15 23:30")]


def test_an_hour_that_comes_twice_is_told_with_its_offset():
    # The EU's summer time ends on the last Sunday of October at 01:00 UTC (directive 2000/84/EC).
    pump = {"supply": "dc12", "working_w": 1, "name": "pump", "at": "02:30", "minutes": 60}
    answer = answer_of(NORTH, "2026-10-24T00:00:00", "2026-10-26T12:00:00", [pump])
    assert rows_of(answer, "pump") == [
        ("Sat 24, Mon 26", "02:30 to 03:30"),
        ("Sun 25", "02:30+02:00 to 02:30+01:00"),
    ]


def test_a_day_between_others_on_which_nothing_runs_is_not_named():
    pump = {"supply": "dc12", "working_w": 1, **PUMP, "days": [1, 2, 3, 5, 6, 7]}
    answer = answer_of(NORTH, "2026-06-01T07:00:00", "2026-06-07T12:00:00", [pump])
    assert rows_of(answer, "pump") == [("Mon 1 to Wed 3, Fri 5 to Sun 7", "09:00 to 10:00")]


@pytest.mark.parametrize(
    ("place", "start", "end"),
    [
        (SOUTH, "2026-07-13T07:00:00", "2026-07-15T07:30:00"),
        (SOUTH, "2026-10-02T05:00:00", "2026-10-06T22:00:00"),  # the clock goes forward on the 4th
        (SOUTH, "2026-04-03T05:00:00", "2026-04-07T22:00:00"),  # and back on the 5th
        (NORTH, "2026-10-23T12:00:00", "2026-10-28T03:00:00"),  # back on the 25th
        (NORTH, "2026-03-27T02:00:00", "2026-03-31T12:00:00"),  # forward on the 29th
        (NORTH, "2026-07-13T07:00:00", "2026-07-13T23:00:00"),
        (NORTH, "2026-01-31T06:00:00", "2026-03-01T06:00:00"),
        (ARCTIC, "2026-06-01T12:00:00", "2026-06-09T12:00:00"),  # the sun sets after midnight
    ],
)
def test_every_window_that_runs_stands_there_and_nothing_else(place, start, end):
    answer = answer_of(place, start, end)
    for k, task in enumerate(TASKS):
        rows = [row for row in rows_of(answer, task["name"]) if row != ("", "")]
        printed = [window for row in rows for window in windows(start, end, *row)]
        by_sun = "sun" in str(task)
        for runs, stands in zip(walls(answer.budget, k), sorted(printed), strict=True):
            off = max(abs(a - b) for a, b in zip(runs, stands, strict=True))
            assert off <= (DRIFT if by_sun else timedelta(0)), (runs, stands)


def windows(start, end, days, times):
    """What a row of the timetable says, as windows on the clock on the wall."""
    first, last = (datetime.fromisoformat(text).date() for text in (start, end))
    every = [first + n * DAY for n in range((last - first).days + 1)]
    opens, until, closes = re.findall(r"(\d\d:\d\d) to (\D.*? )?(\d\d:\d\d)", times)[0]
    for words in days.split(", "):
        run = [only(words_of, every) for words_of in words.split(" to ")]
        for day in (day for day in every if run[0] <= day <= run[-1]):
            begins = datetime.combine(day, datetime.strptime(opens, "%H:%M").time())
            ends_on = only(until.strip(), every) if until else day
            over = datetime.combine(ends_on, datetime.strptime(closes, "%H:%M").time())
            yield begins, over + (DAY if over < begins else 0 * DAY)


def only(words: str, every: list[date]) -> date:
    """The one date that some words tell."""
    (day,) = (d for d in every if words in (f"{d:%a} {d.day}", f"{d:%a} {d.day} {d:%b}"))
    return day


def walls(result, k):
    """When a task runs, on the clock on the wall: a window from its first start to its last end,
    windows that touch as one."""
    spells: dict[int, list[float]] = {}
    for burst in sorted(result.bursts_by_task.get(k, []), key=lambda burst: burst.start_s):
        spells.setdefault(burst.window, []).extend([burst.start_s, burst.end_s])
    joined: list[list[float]] = []
    for times in spells.values():
        if joined and times[0] - joined[-1][1] < 2.0:
            joined[-1][1] = max(times)
        else:
            joined.append([min(times), max(times)])
    return [
        tuple(result.local(t).replace(tzinfo=None, second=0, microsecond=0) for t in spell)
        for spell in joined
    ]
