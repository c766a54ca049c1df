"""For the slow simulator: local days, sunrise and sunset, windows, and where bursts lie in them.

Written apart from the package; limits and energy are in `brute_loads`.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from functools import cache
from math import ceil
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pvlib

HOUR_S = 3600.0


class Clock:
    """The span in UTC seconds, and the windows of its local days."""

    def __init__(self, plan):
        self.latitude, self.longitude = plan.place.latitude_deg, plan.place.longitude_deg
        self.zone = ZoneInfo(plan.place.timezone)
        self.first, self.last = plan.span.start.date(), plan.span.end.date()
        self.start, self.end = self.utc(plan.span.start), self.utc(plan.span.end)
        self.n = round(self.end - self.start)
        self.edges = self.start + np.arange(self.n + 1.0)

    def utc(self, naive):
        """A local time that does not exist moves forward, one that occurs twice is the first."""
        return naive.replace(tzinfo=self.zone, fold=0).timestamp()

    def local_date(self, utc_s):
        return datetime.fromtimestamp(utc_s, self.zone).date()

    def at(self, moment, day):
        """When a moment of a local day is, in UTC seconds."""
        kind, minutes = moment
        if kind == "clock":
            return self.utc(datetime.combine(day, time()) + timedelta(minutes=minutes))
        rise, fall, _ = sun_times(self.latitude, self.longitude, self.zone, day)
        return (rise if kind == "sunrise" else fall) + 60.0 * minutes

    def window(self, between, day):
        """One window as (start, end) in UTC seconds; empty where end is not after start."""
        if between is None:
            between = ("clock", 0.0), ("clock", 1440.0)
        first, last = between
        start, end = self.at(first, day), self.at(last, day)
        if (first[0], last[0]) == ("sunrise", "sunset"):
            return start, end
        if (first[0], last[0]) == ("sunset", "sunrise"):
            return start, self.at(last, day + timedelta(days=1))
        both_clock = first[0] == last[0] == "clock"
        if (last[1] <= first[1]) if both_clock else (end <= start):
            end = self.at(last, day + timedelta(days=1))
        return start, end

    def days(self, days):
        """The local dates on which windows start; without `days` the evening before counts."""
        if days is not None:
            return [self.first + timedelta(days=d - 1) for d in days]
        count = (self.last - self.first).days + 2
        return [self.first + timedelta(days=d - 1) for d in range(count)]

    def windows(self, between, days=None):
        return [self.window(between, day) for day in self.days(days)]

    def lit(self, between, days=None):
        """1.0 in the seconds (by their middle) that lie in a window, 0.0 in the others."""
        middles = self.edges[:-1] + 0.5
        inside = np.zeros(self.n)
        for start, end in self.windows(between, days):
            inside[(middles >= start) & (middles < end)] = 1.0
        return inside


def sun_at(latitude, longitude, utc_s):
    """pvlib's NREL solar position at UTC seconds."""
    times = pd.to_datetime(np.atleast_1d(utc_s) * 1e9, utc=True)
    return pvlib.solarposition.get_solarposition(times, latitude, longitude)


@cache
def sun_times(latitude, longitude, zone, day):
    """Sunrise, sunset, solar noon in UTC seconds: bisection on the true zenith, 90.833 degrees."""
    noon = datetime.combine(day, time(12), UTC).timestamp() - longitude / 15.0 * HOUR_S
    for _ in range(2):  # the noon that falls on this local date, whatever the zone
        gap = (datetime.fromtimestamp(noon, zone).date() - day).days
        noon -= gap * 86400.0
    noon -= 60.0 * sun_at(latitude, longitude, noon)["equation_of_time"].iloc[0]

    def up(utc_s):
        return sun_at(latitude, longitude, utc_s)["zenith"].iloc[0] < 90.833

    def crossing(light, dark):
        if not up(light):
            return noon
        if up(dark):
            return dark
        while abs(light - dark) > 0.2:
            middle = (light + dark) / 2.0
            light, dark = (middle, dark) if up(middle) else (light, middle)
        return light

    return crossing(noon, noon - 43200.0), crossing(noon, noon + 43200.0), noon


@dataclass(frozen=True)
class Burst:
    """A task at work once (one period of a cycling tool); `window` numbers its window."""

    task: int
    window: int
    start: float
    end: float


def place(clock, index, task):
    """All bursts of a task that touch the span."""
    found = []
    for number, day in enumerate(clock.days(task.days)):
        if task.at is not None:
            opens, closes = clock.at(task.at, day), float("inf")
        else:
            opens, closes = clock.window(task.between, day)
        if closes <= opens:
            continue
        rows = [(start, end, number) for start, end in in_window(task, opens, closes)]
        if rows:
            found.append(rows)
    found.sort()
    bursts = []
    for k, rows in enumerate(found):
        # The same thing cannot work twice at once: where its next row begins, this one ends.
        anew = found[k + 1][0][0] if k + 1 < len(found) else float("inf")
        for start, end, number in rows:
            if start < anew:
                bursts += [
                    Burst(index, number, first, last)
                    for first, last in cycles(task, start, min(end, anew))
                    if last > clock.start and first < clock.end
                ]
    return bursts


def cycles(task, start, end):
    """A cycling tool's burst cut into its periods, each of which runs or does not run."""
    if task.kind != "cycling":
        return [(start, end)]
    period = task.period_min * 60.0
    count = ceil((end - start) / period - 1e-9)
    return [(start + k * period, min(start + (k + 1) * period, end)) for k in range(count)]


def in_window(task, opens, closes):
    """Starts and ends of a task's bursts in one window."""
    if task.kind == "trace":
        raise ValueError("traces are not known here")
    if task.duration_s is not None:
        return [(opens, min(opens + task.duration_s, closes))]
    count = task.times or task.charges or (1 if task.kind == "charging" else None)
    if count is None:
        return [(opens, closes)]
    each = task.each_s or charge_s(task)
    if task.at is not None:
        starts = [opens + k * (each + (task.pause_s or 0.0)) for k in range(count)]
        return [(start, start + each) for start in starts]
    share = (closes - opens) / count
    middles = [opens + (k + 0.5) * share for k in range(count)]
    return [(m - each / 2.0, m + each / 2.0) for m in middles]


def charge_s(task):
    """How long one charge takes: full power to the taper, then down to nothing in a line."""
    even = task.taper_from_percent / 100.0
    return (even + 2.0 * (1.0 - even)) * task.energy_wh / task.power_w * HOUR_S
