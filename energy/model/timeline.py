"""When things happen: local clock to UTC, windows of a day, bursts inside a window, the time grid.

A moment of a day is ("clock" | "sunrise" | "sunset", minutes); a window is a pair of moments, or
None for all day. Intervals are (start, end) in UTC seconds since 1970, snapped to milliseconds.
"""

from collections.abc import Iterable, Sequence
from datetime import date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from energy.model import Array, Index
from energy.model.sun import sunrise_sunset

Moment = tuple[str, float]
Interval = tuple[float, float]

GRID_S = 300.0  # the regular grid: 5 minutes
NOON_MIN = 720.0
SAME_S = 0.01  # bursts that fill a window may meet by a rounding
ALL_DAY: tuple[Moment, Moment] = (("clock", 0.0), ("clock", 1440.0))


def snap(time_s: float) -> float:
    """Round to a millisecond, so that the same moment reached by two ways is one edge.

    >>> snap(0.1 + 0.2)
    0.3
    """
    return round(time_s * 1000.0) / 1000.0


def to_utc(local: datetime, zone: ZoneInfo) -> float:
    """UTC seconds of a naive local time.

    One that the clock skips moves forward by the gap, one that occurs twice is the first (the
    reading of RFC 5545), or the second where its `fold` is 1.

    >>> to_utc(datetime(2026, 3, 29, 2, 30), ZoneInfo("Europe/Berlin")) == to_utc(
    ...     datetime(2026, 3, 29, 3, 30), ZoneInfo("Europe/Berlin"))
    True
    """
    return local.replace(tzinfo=zone).timestamp()


def comes_twice(local: datetime) -> bool:
    """Whether the clock shows a local time, with its zone, twice on that day.

    >>> [comes_twice(datetime(2026, month, 25, 2, 30, tzinfo=ZoneInfo("Europe/Berlin")))
    ...     for month in (9, 10)]
    [False, True]
    """
    first, second = (local.replace(fold=fold).utcoffset() for fold in (0, 1))
    return first is not None and second is not None and first > second


class Calendar:
    """The local dates of a span, with their clock and their sun.

    first and last are the dates on which the span begins and ends; sunrise and sunset are worked
    out once, for all dates, when first asked for.
    """

    def __init__(self, first: date, last: date, zone: ZoneInfo, latitude: float, longitude: float):
        self.first, self.last, self.zone = first, last, zone
        self._place = latitude, longitude
        self._sun: tuple[Array, Array] | None = None
        self._sun_from: Calendar | None = None

    def part(self, first: date, last: date) -> "Calendar":
        """Some of the dates on the same clock, with the sunrises and sunsets of these.

        >>> year = Calendar(date(2026, 1, 1), date(2026, 12, 31), ZoneInfo("UTC"), 0.0, 0.0)
        >>> march = year.part(date(2026, 3, 1), date(2026, 3, 31))
        >>> march.sun_times(date(2026, 3, 20)) == year.sun_times(date(2026, 3, 20))
        True
        """
        part = Calendar(first, last, self.zone, *self._place)
        part._sun_from = self
        return part

    def sun_times(self, day: date) -> Interval:
        """Sunrise and sunset of a local date [UTC s], for the day before the span to two after.

        >>> span = Calendar(date(2026, 3, 20), date(2026, 3, 20), ZoneInfo("UTC"), 0.0, 0.0)
        >>> rise, fall = span.sun_times(date(2026, 3, 20))
        >>> round((fall - rise) / 3600, 1)
        12.1
        """
        if self._sun_from is not None:
            return self._sun_from.sun_times(day)
        if self._sun is None:
            days = (self.last - self.first).days + 4
            noons = [
                to_utc(datetime(d.year, d.month, d.day, 12), self.zone)
                for d in (self.first + timedelta(k - 1) for k in range(days))
            ]
            self._sun = sunrise_sunset(np.array(noons), *self._place)
        row = (day - self.first).days + 1
        return float(self._sun[0][row]), float(self._sun[1][row])

    def at(self, moment: Moment, day: date) -> float:
        """UTC seconds of a moment on a local date; minute 1440 is the next day's midnight.

        >>> span = Calendar(date(2026, 3, 20), date(2026, 3, 20), ZoneInfo("UTC"), 0.0, 0.0)
        >>> span.at(("clock", 1440.0), date(2026, 3, 20)) == span.at(
        ...     ("clock", 0.0), date(2026, 3, 21))
        True
        """
        anchor, minutes = moment
        if anchor == "clock":
            days, rest = divmod(minutes, 1440.0)
            local = datetime(day.year, day.month, day.day) + timedelta(days=days, minutes=rest)
            return snap(to_utc(local, self.zone))
        return snap(self.sun_times(day)[anchor == "sunset"] + 60.0 * minutes)

    def tells(self, time_s: float) -> bool:
        """Whether its clock says this moment [UTC s], and not another of the same face."""
        local = self.moment(time_s)
        minutes = local.hour * 60.0 + local.minute + local.second / 60.0
        return self.at(("clock", minutes), local.date()) == time_s

    def local(self, time_s: Array) -> NDArray[np.datetime64]:
        """Moments on the local clock as it stands when the span begins.

        >>> span = Calendar(date(2026, 3, 20), date(2026, 3, 20), ZoneInfo("Asia/Kathmandu"), 0, 0)
        >>> str(span.local(np.array([0.0]))[0])
        '1970-01-01T05:45:00'
        """
        noon = datetime(self.first.year, self.first.month, self.first.day, 12, tzinfo=self.zone)
        offset = noon.utcoffset() or timedelta()
        return np.asarray((time_s + offset.total_seconds()).astype("datetime64[s]"))

    def moment(self, time_s: float) -> datetime:
        """A moment on the local clock, with its offset.

        >>> span = Calendar(date(2026, 3, 20), date(2026, 3, 20), ZoneInfo("Asia/Kathmandu"), 0, 0)
        >>> str(span.moment(0.0))
        '1970-01-01 05:30:00+05:30'
        """
        return datetime.fromtimestamp(time_s, self.zone)

    def clock(self, time_s: float) -> str:
        """A moment's time of the day as a plan writes it, seconds only where there are some.

        >>> span = Calendar(date(2026, 3, 20), date(2026, 3, 20), ZoneInfo("UTC"), 0, 0)
        >>> span.clock(3600.0), span.clock(3605.0)
        ('01:00', '01:00:05')
        """
        return f"{self.moment(time_s):%H:%M:%S}".removesuffix(":00")

    def days(self, numbers: Iterable[int] | None) -> list[date]:
        """Local dates on which windows start: day numbers of the span from 1, or every date.

        Without numbers the evening before the span counts too: its windows may reach into it.

        >>> span = Calendar(date(2026, 3, 20), date(2026, 3, 21), ZoneInfo("UTC"), 0.0, 0.0)
        >>> [d.day for d in span.days(None)], [d.day for d in span.days([2])]
        ([19, 20, 21], [21])
        """
        if numbers is not None:
            return [self.first + timedelta(n - 1) for n in numbers]
        return [self.first + timedelta(k - 1) for k in range((self.last - self.first).days + 2)]

    def window(self, between: tuple[Moment, Moment] | None, day: date) -> Interval | None:
        """The window that starts on a local date, or None where it is empty.

        An end at or before the start wraps past midnight, but sunrise to sunset never does, and
        sunset to sunrise always runs to the next day's sunrise. Neither does a window from sunset
        to a time of the same evening, nor one from a morning's time to sunrise: where the sun sets
        later or rises sooner they are empty, as an evening without dusk needs no light.

        >>> span = Calendar(date(2026, 3, 20), date(2026, 3, 20), ZoneInfo("UTC"), 0.0, 0.0)
        >>> start, end = span.window((("clock", 1320.0), ("clock", 360.0)), date(2026, 3, 20))
        >>> (end - start) / 3600
        8.0
        """
        opens, closes = between or ALL_DAY
        start, end = self.at(opens, day), self.at(closes, day)
        anchors = opens[0], closes[0]
        same_day = (
            anchors == ("sunrise", "sunset")
            or (anchors == ("sunset", "clock") and closes[1] >= NOON_MIN)
            or (anchors == ("clock", "sunrise") and opens[1] < NOON_MIN)
        )
        wraps = end <= start and not same_day
        if anchors == ("clock", "clock"):  # by the clock's face, also where it skips an hour
            wraps = closes[1] <= opens[1]
        if wraps or anchors == ("sunset", "sunrise"):
            end = self.at(closes, day + timedelta(1))
        return (start, end) if end > start else None

    def windows(
        self, between: tuple[Moment, Moment] | None, numbers: Iterable[int] | None = None
    ) -> list[Interval]:
        """Every window of the span, in order (see `days` and `window`).

        >>> span = Calendar(date(2026, 3, 20), date(2026, 3, 21), ZoneInfo("UTC"), 0.0, 0.0)
        >>> len(span.windows((("clock", 480.0), ("clock", 1080.0))))
        3
        """
        windows = [self.window(between, day) for day in self.days(numbers)]
        return [window for window in windows if window is not None]


def equal_shares(window: Interval, times: int, each_s: float) -> list[Interval]:
    """N bursts, each in the middle of its equal share of the window.

    Raises ValueError where they do not fit the window one after another.

    >>> equal_shares((0.0, 100.0), 2, 10.0)
    [(20.0, 30.0), (70.0, 80.0)]
    """
    start, end = window
    share = (end - start) / times
    if each_s > share + 1e-6:
        raise ValueError(
            f"{times} times of {each_s:g} s do not fit into the window of {(end - start):g} s"
        )
    firsts = [snap(start + (k + 0.5) * share - each_s / 2.0) for k in range(times)]
    return [(first, snap(first + each_s)) for first in firsts]


def one_after_another(start_s: float, times: int, each_s: float, pace_s: float) -> list[Interval]:
    """N bursts from a moment on, each beginning `pace_s` after the one before.

    >>> one_after_another(100.0, 2, 10.0, 15.0)
    [(100.0, 110.0), (115.0, 125.0)]
    """
    firsts = [snap(start_s + k * pace_s) for k in range(times)]
    return [(first, snap(first + each_s)) for first in firsts]


def one_at_a_time(
    windows: Sequence[Sequence[Interval]],
) -> tuple[list[list[Interval]], list[float]]:
    """The bursts of one thing, window by window: what begins anew ends what is left of before.

    Windows of neighbouring days may overlap, and what starts at a stated time may last a day.
    Second: when something was cut.

    >>> one_at_a_time([[(0.0, 30.0)], [(24.0, 54.0)]])
    ([[(0.0, 24.0)], [(24.0, 54.0)]], [24.0])
    """
    kept, cuts = [list(intervals) for intervals in windows], []
    order = sorted(
        (intervals[0][0], intervals[-1][1], k) for k, intervals in enumerate(windows) if intervals
    )
    for (_, end, k), (anew, _, _) in pairwise(order):
        if end > anew + SAME_S:
            cuts.append(anew)
            kept[k] = [
                (start_s, min(end_s, anew)) for start_s, end_s in windows[k] if start_s < anew
            ]
    return kept, cuts


def grid(
    start_s: float, end_s: float, marks: Iterable[float] = (), every_s: float = GRID_S
) -> Array:
    """Edges of the segments of a span: its ends, the regular grid, and all marks inside it.

    >>> grid(0.0, 900.0, [450.0, 1e9])
    array([  0., 300., 450., 600., 900.])
    """
    first = np.ceil(start_s / every_s) * every_s
    regular = np.arange(first, end_s, every_s)
    edges = np.concatenate([[start_s, end_s], regular, np.fromiter(marks, dtype=float)])
    return np.unique(edges[(edges >= start_s) & (edges <= end_s)])


def inside(edges: Array, intervals: Iterable[Interval]) -> Array:
    """1.0 for each segment whose start lies in one of the intervals, else 0.0; shape (n,).

    >>> inside(np.array([0.0, 1.0, 2.0, 3.0]), [(1.0, 2.0)])
    array([0., 1., 0.])
    """
    count = np.zeros(edges.size)
    for start, end in intervals:
        first, last = np.searchsorted(edges, [start, end])
        count[first:last] = 1.0
    return count[:-1]


def cell_of(edges: Array, cells: Array) -> Index:
    """For each segment between `edges` the coarser cell between `cells` that holds it.

    >>> cell_of(np.array([0.0, 1.0, 2.0, 3.0]), np.array([0.0, 2.0, 3.0]))
    array([0, 0, 1])
    """
    return np.searchsorted(cells, edges[:-1], side="right") - 1


def runs(flags: Sequence[bool] | Array, edges: Array) -> list[Interval]:
    """The intervals over which a flag per segment holds.

    >>> runs(np.array([0.0, 1.0, 1.0, 0.0]), np.arange(5.0))
    [(1.0, 3.0)]
    """
    change = np.diff(np.concatenate([[0], np.asarray(flags, dtype=np.int8), [0]]))
    starts, ends = np.flatnonzero(change == 1), np.flatnonzero(change == -1)
    return [
        (float(edges[first]), float(edges[last])) for first, last in zip(starts, ends, strict=True)
    ]
