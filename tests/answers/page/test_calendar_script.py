"""The page's clock, windows and grid against Python's, over zones and seasons that bite."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from page_script import call
from script_answers import answers, calendar_kit

from energy.model import timeline
from energy.model.timeline import Calendar

# Both changes of the clock (forward and back), a leap day, the date line, polar day and night.
SPANS = {
    "spring in Berlin": ("2026-03-28", "2026-03-30", "Europe/Berlin", 52.5, 13.4),
    "autumn in Berlin": ("2026-10-24", "2026-10-26", "Europe/Berlin", 52.5, 13.4),
    "spring in Alaska": ("2026-03-07", "2026-03-09", "America/Anchorage", 55.3, -160.5),
    "autumn in Alaska": ("2026-10-31", "2026-11-02", "America/Anchorage", 55.3, -160.5),
    "a leap day in Nepal": ("2028-02-28", "2028-03-01", "Asia/Kathmandu", 27.7, 85.3),
    "half an hour back": ("2026-04-04", "2026-04-06", "Australia/Lord_Howe", -31.6, 159.1),
    "half an hour on": ("2026-10-03", "2026-10-05", "Australia/Lord_Howe", -31.6, 159.1),
    "a date left out": ("2011-12-28", "2011-12-31", "Pacific/Apia", -13.8, -171.8),
    "polar day": ("2026-06-20", "2026-06-22", "Arctic/Longyearbyen", 78.2, 15.6),
    "polar night": ("2026-12-20", "2026-12-22", "Arctic/Longyearbyen", 78.2, 15.6),
    "a change at midnight": ("2026-04-23", "2026-04-25", "Africa/Cairo", 30.0, 31.2),
}


@pytest.fixture(scope="module", params=SPANS, ids=list(SPANS))
def calendar(request) -> Calendar:
    first, last, zone, *place = SPANS[request.param]
    return Calendar(date.fromisoformat(first), date.fromisoformat(last), ZoneInfo(zone), *place)


def random_moment(random):
    anchor = str(random.choice(["clock", "clock", "sunrise", "sunset"]))
    if anchor == "clock":
        return [anchor, float(random.choice([0, 90, 150, 720, 1410, 1440, random.integers(1441)]))]
    return [anchor, float(random.choice([0, 30, -45.5, random.integers(-720, 721)]))]


def test_windows_are_those_of_python(calendar):
    random = np.random.default_rng(1)
    asked = [[None, None], [None, [2]]]
    asked += [
        [[random_moment(random), random_moment(random)], [None, [1, 3]][k % 2]] for k in range(400)
    ]
    found = answers("windows", calendar_kit(calendar), asked)
    for (between, numbers), windows in zip(asked, found, strict=True):
        assert windows == [list(w) for w in calendar.windows(between, numbers)], between


def test_a_local_time_is_that_of_python(calendar):
    start = datetime.combine(calendar.first, datetime.min.time()) - timedelta(days=1)
    times = [start + timedelta(minutes=10 * k) for k in range(6 * 24 * 4)]
    local_s = [t.replace(tzinfo=ZoneInfo("UTC")).timestamp() for t in times]
    found = answers("toUtc", calendar_kit(calendar), [[t] for t in local_s])
    assert found == [timeline.to_utc(t, calendar.zone) for t in times]


def test_the_clock_reads_as_in_python(calendar):
    start = datetime.combine(calendar.first, datetime.min.time(), calendar.zone).timestamp()
    times = [start + 587.25 * k for k in range(500)]
    found = answers("localFields", calendar_kit(calendar), [[t] for t in times])
    for time_s, fields in zip(times, found, strict=True):
        at = calendar.moment(time_s)
        assert fields == {
            "weekday": f"{at:%a}",
            "day": at.day,
            "month": f"{at:%b}",
            "year": at.year,
            "hour": at.hour,
            "minute": at.minute,
            "second": at.second,
            "date": str(at.date()),
        }


def test_a_time_is_rounded_to_the_even_millisecond():
    random = np.random.default_rng(2)
    times = [*random.uniform(0, 2e9, 500), 0.0005, 0.0015, 0.0625, 1.0625, 1e9 + 0.0625]
    assert [call("snap", t) for t in times] == [timeline.snap(t) for t in times]


@pytest.mark.parametrize(
    "value",
    [
        0.0,
        45.0,
        0.1 + 0.2,
        1e6,
        123456.7,
        1234567.0,
        1e-5,
        0.00012,
        2.5e21,
        -7.25,
        3029.625,
        3029.615,
    ],
)
def test_a_number_in_six_digits_is_that_of_python(value):
    assert call("brief", value) == f"{value:g}"


def test_shares_that_do_not_fit_say_so_in_the_same_words():
    for window, times, each_s in [((0.0, 100.0), 3, 33.5), ((0.5, 86400.0), 100, 1234.5)]:
        with pytest.raises(ValueError, match="do not fit") as refused:
            timeline.equal_shares(window, times, each_s)
        with pytest.raises(Exception, match=str(refused.value)):
            call("equalShares", window, times, each_s)


def test_bursts_lie_in_their_shares_and_one_after_another_as_in_python():
    random = np.random.default_rng(3)
    for _ in range(100):
        start = round(float(random.uniform(0, 2e9)), 3)
        times, each_s, more_s = int(random.integers(1, 40)), *random.uniform(0.1, 500.0, 2).tolist()
        window = start, start + times * (each_s + more_s)
        assert call("equalShares", window, times, each_s) == as_lists(
            timeline.equal_shares(window, times, each_s)
        )
        assert call("oneAfterAnother", start, times, each_s, each_s + more_s) == as_lists(
            timeline.one_after_another(start, times, each_s, each_s + more_s)
        )


def test_what_begins_anew_cuts_what_is_left_as_in_python():
    random = np.random.default_rng(4)
    for _ in range(200):
        placed = []
        for _ in range(int(random.integers(1, 6))):
            starts = np.sort(random.integers(0, 60, int(random.integers(0, 4)))).tolist()
            placed.append([(float(t), float(t + random.integers(1, 20))) for t in starts])
        assert call("oneAtATime", placed) == [
            as_lists(kept) for kept in timeline.one_at_a_time(placed)[0]
        ]


def test_edges_and_their_cells_are_those_of_python():
    random = np.random.default_rng(5)
    for _ in range(50):
        start = float(random.integers(1_700_000_000, 1_800_000_000))
        end = start + float(random.integers(60, 90_000))
        marks = np.round(random.uniform(start - 1e4, end + 1e4, 60), 3).tolist()
        edges = timeline.grid(start, end, [*marks, *marks, start, end])
        assert call("grid", [start, end], marks) == edges.tolist()
        cells = timeline.grid(start - 7200.0, end + 3600.0, [start, end], 600.0)
        assert call("cellOf", edges, cells) == timeline.cell_of(edges, cells).tolist()
        assert call("cellOf", edges, edges) == list(range(edges.size - 1))


def as_lists(intervals):
    return [list(interval) for interval in intervals]
