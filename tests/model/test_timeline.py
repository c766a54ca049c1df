"""Clocks, windows and bursts: daylight saving, leap days, date line, midnight, polar seasons."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from energy.model.timeline import (
    Calendar,
    equal_shares,
    grid,
    inside,
    one_at_a_time,
    runs,
    to_utc,
)

EIGHT, TEN_AT_NIGHT, SIX = ("clock", 480.0), ("clock", 1320.0), ("clock", 360.0)
SUNRISE, SUNSET = ("sunrise", 0.0), ("sunset", 0.0)


def calendar(first: str, last: str, zone: str = "UTC", latitude=0.0, longitude=0.0) -> Calendar:
    return Calendar(
        date.fromisoformat(first), date.fromisoformat(last), ZoneInfo(zone), latitude, longitude
    )


def hours(window) -> float:
    return (window[1] - window[0]) / 3600.0


@pytest.mark.parametrize(
    ("day", "length"), [("2026-03-29", 23.0), ("2026-10-25", 25.0), ("2026-06-01", 24.0)]
)
def test_a_local_day_has_23_or_25_hours_when_the_clock_changes(day, length):
    days = calendar(day, day, "Europe/Berlin")
    assert hours(days.window(None, date.fromisoformat(day))) == length


def test_a_time_the_clock_skips_moves_forward():
    berlin = ZoneInfo("Europe/Berlin")
    skipped = to_utc(datetime(2026, 3, 29, 2, 30), berlin)
    assert datetime.fromtimestamp(skipped, berlin).strftime("%H:%M") == "03:30"


def test_a_time_that_occurs_twice_is_the_first():
    berlin = ZoneInfo("Europe/Berlin")
    twice = to_utc(datetime(2026, 10, 25, 2, 30), berlin)
    assert datetime.fromtimestamp(twice, ZoneInfo("UTC")).strftime("%H:%M") == "00:30"


def test_a_zone_of_45_minutes_keeps_its_quarter_hours():
    nepal = calendar("2026-05-01", "2026-05-01", "Asia/Kathmandu")
    assert nepal.at(EIGHT, date(2026, 5, 1)) % 3600.0 == 900.0


def test_the_date_line_keeps_the_local_date():
    # Kiritimati is 14 hours ahead of UTC: its 1 June begins on 31 May, 10:00 UTC.
    island = calendar("2026-06-01", "2026-06-01", "Pacific/Kiritimati", 1.9, -157.4)
    start = island.window(None, date(2026, 6, 1))[0]
    assert datetime.fromtimestamp(start, ZoneInfo("UTC")).isoformat() == "2026-05-31T10:00:00+00:00"
    rise, fall = island.sun_times(date(2026, 6, 1))
    assert start < rise < fall < start + 86400.0


def test_a_window_past_midnight_belongs_to_the_evening_it_starts():
    days = calendar("2026-05-01", "2026-05-02")
    windows = days.windows((TEN_AT_NIGHT, SIX))
    assert [hours(w) for w in windows] == [8.0, 8.0, 8.0]
    first = datetime.fromtimestamp(windows[0][0], ZoneInfo("UTC"))
    assert first == datetime(2026, 4, 30, 22, tzinfo=ZoneInfo("UTC"))


def test_named_days_leave_the_evening_before_out():
    days = calendar("2026-05-01", "2026-05-03")
    starts = [w[0] for w in days.windows((TEN_AT_NIGHT, SIX), [1, 3])]
    assert starts == [days.at(TEN_AT_NIGHT, date(2026, 5, d)) for d in (1, 3)]


def test_midnight_as_24_00_ends_the_day():
    days = calendar("2026-05-01", "2026-05-01")
    assert hours(days.window((EIGHT, ("clock", 1440.0)), date(2026, 5, 1))) == 16.0


def test_29_february_is_a_day_like_others():
    days = calendar("2028-02-28", "2028-03-01")
    assert [d.isoformat() for d in days.days(None)][1:] == [
        "2028-02-28",
        "2028-02-29",
        "2028-03-01",
    ]


def test_a_year_wraps_into_the_next():
    days = calendar("2026-12-31", "2027-01-01")
    window = days.window((TEN_AT_NIGHT, SIX), date(2026, 12, 31))
    assert datetime.fromtimestamp(window[1], ZoneInfo("UTC")).year == 2027


def test_sunset_to_sunrise_runs_to_the_next_morning():
    night = calendar("2026-06-21", "2026-06-21", "Europe/London", 51.5, 0.0)
    assert 7.0 < hours(night.window((SUNSET, SUNRISE), date(2026, 6, 21))) < 8.0


def test_polar_night_has_no_daylight_window_and_a_whole_day_of_dark():
    dark = calendar("2026-12-21", "2026-12-21", "Arctic/Longyearbyen", 78.2, 15.6)
    assert dark.window((SUNRISE, SUNSET), date(2026, 12, 21)) is None
    assert hours(dark.window((SUNSET, SUNRISE), date(2026, 12, 21))) == pytest.approx(
        24.0, abs=0.02
    )


def test_polar_day_is_all_daylight_without_a_dark_window():
    bright = calendar("2026-06-21", "2026-06-21", "Arctic/Longyearbyen", 78.2, 15.6)
    assert hours(bright.window((SUNRISE, SUNSET), date(2026, 6, 21))) == 24.0
    night = bright.window((SUNSET, SUNRISE), date(2026, 6, 21))
    assert night is None or hours(night) < 0.02


def test_bursts_stand_in_the_middle_of_equal_shares():
    assert equal_shares((0.0, 3600.0), 3, 60.0) == [
        (570.0, 630.0),
        (1770.0, 1830.0),
        (2970.0, 3030.0),
    ]


def test_repeats_that_do_not_fit_are_refused():
    with pytest.raises(ValueError, match="do not fit"):
        equal_shares((0.0, 100.0), 3, 40.0)


def test_what_starts_anew_ends_what_ran_before():
    windows = [[(0.0, 30.0)], [(24.0, 54.0)], [(60.0, 70.0)]]
    kept, cuts = one_at_a_time(windows)
    assert kept == [[(0.0, 24.0)], [(24.0, 54.0)], [(60.0, 70.0)]]
    assert cuts == [24.0]


def test_what_is_left_of_a_row_is_dropped_where_the_next_row_begins():
    kept, cuts = one_at_a_time([[(0.0, 2.0), (10.0, 12.0)], [(5.0, 7.0), (11.0, 13.0)]])
    assert kept == [[(0.0, 2.0)], [(5.0, 7.0), (11.0, 13.0)]]
    assert cuts == [5.0]


def test_of_two_that_start_together_the_longer_runs():
    assert one_at_a_time([[(0.0, 5.0)], [(0.0, 9.0)]]) == ([[], [(0.0, 9.0)]], [0.0])


def test_bursts_that_follow_one_another_stay_as_they_are():
    windows = [[(0.0, 10.0), (10.0, 20.0)], [(20.0, 30.0)]]
    assert one_at_a_time(windows) == (windows, [])


def test_the_grid_holds_every_hour_of_a_zone_of_45_minutes():
    nepal = calendar("2026-05-01", "2026-05-01", "Asia/Kathmandu")
    start, end = nepal.window(None, date(2026, 5, 1))
    edges = grid(start, end)
    assert np.isin(np.arange(start, end, 3600.0), edges).all()
    assert np.diff(edges).max() <= 300.0


def test_runs_undo_inside():
    edges = np.arange(0.0, 50.0, 5.0)
    intervals = [(5.0, 15.0), (30.0, 45.0)]
    assert runs(inside(edges, intervals), edges) == intervals


def test_a_part_of_a_calendar_is_the_calendar_of_its_dates():
    zone, place = ZoneInfo("Europe/Berlin"), (52.5, 13.4)
    year = Calendar(date(2026, 1, 1), date(2026, 12, 31), zone, *place)
    alone = Calendar(date(2026, 3, 28), date(2026, 3, 30), zone, *place)
    part = year.part(date(2026, 3, 28), date(2026, 3, 30))
    assert part.days(None) == alone.days(None)
    for day in part.days(None):
        assert part.sun_times(day) == pytest.approx(alone.sun_times(day), abs=1e-3)
