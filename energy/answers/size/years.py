"""A shed that stays: on which days of whole years the load is lost, with any sizes at once.

The plan's days are repeated over and over. Every year is run day by day from a state that is
carried on, so that memory does not grow with its length. Which sizes to take is for `year_size`.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from energy.answers.size.designs import (
    LARGE_WH,
    Base,
    Designs,
    panel_watts,
    unbound,
    with_panel,
)
from energy.answers.size.proposal import days_in
from energy.model import Array, Mask
from energy.model.compiled import Sweep, laid_out, repaid
from energy.model.simulate import simulate
from energy.plan import Plan, PlanError
from energy.simulation.bursts import place_bursts
from energy.simulation.case import calendar_of, days_of, lay_out, span_of
from energy.simulation.strings import kept_connection
from energy.weather.coldest import Cold, coldest
from energy.weather.record import Record
from energy.weather.resampled import resampled_rows
from energy.weather.scenarios import weathers
from energy.weather.source import Source, record_of

Progress = Callable[[int, int], None]
_Days = Iterator[tuple[Mask, Array, Array]]

YEAR_DAYS = 365
YEARS_DRAWN = 10  # where the weather is drawn by chance
YEARS_AT_ONCE = 5  # bounds the memory of their weather
LAST_YEAR = 2098  # of the plan's clock, so that a year fits after it


@dataclass(frozen=True)
class Years:
    """Whole years day by day: d days, m designs, y years.

    panel_w, battery_wh (m,); dates (d, y) on the plan's clock, of no year in particular where
    `dated` is False. lost (d, m, y): the charge fell below the reserve that day or something asked
    was not served; unmet_wh and lowest (the day's lowest charge above what the cold locks, share
    of C), (d, m, y).
    """

    panel_w: Array
    battery_wh: Array
    dates: NDArray[np.datetime64]
    dated: bool
    lost: Mask
    unmet_wh: Array
    lowest: Array

    @property
    def lost_percent(self) -> Array:
        """The share of all days on which each design loses its load [percent], (m,)."""
        return np.asarray(100.0 * self.lost.mean(axis=(0, 2)))


def year_plan(plan: Plan) -> Plan:
    """The plan's days repeated through a whole year that begins in its bright half.

    What is for certain days of the span comes back after as many days as the span holds.

    >>> plan = year_plan(Plan.read("builtin:january-job"))
    >>> str(plan.span.start), plan.task[1].days[:5]
    ('2027-07-01 00:00:00', (1, 2, 3, 6, 7))
    """
    if plan.weather.kind == "forecast":
        raise PlanError(
            [
                f'{plan.origin}: [weather]: kind = "forecast" does not reach through a year; give'
                " file, history, climate or monthly"
            ]
        )
    plan = with_panel(plan)
    period = days_in(plan.place.longitude_deg, *span_of(plan))
    month = 7 if plan.place.latitude_deg >= 0.0 else 1
    start = datetime(min(plan.span.start.year, LAST_YEAR), month, 1)
    changes: dict[str, Any] = {
        "span.start": start,
        "span.end": start + timedelta(days=YEAR_DAYS),
    }
    for table in ("task", "charger"):
        for k, one in enumerate(getattr(plan, table), start=1):
            if one.days is not None:
                first = sorted({(day - 1) % period for day in one.days})
                again = [d + n + 1 for n in range(0, YEAR_DAYS, period) for d in first]
                changes[f"{table}.{k}.days"] = [day for day in again if day <= YEAR_DAYS]
    return plan.replace(**changes)


def years(plan: Plan, panel_w: Array, battery_wh: Array, progress: Progress | None = None) -> Years:
    """Run designs (m,) through every whole year that the plan's weather holds.

    `progress` is told (days done, of how many). Raises PlanError as `budget` does, and for a
    forecast or a record without one whole year.

    >>> found = years(Plan.read("builtin:cloudy-repair"), np.array([900.0]), np.array([4000.0]))
    >>> found.lost.shape, found.dated
    ((365, 1, 1), False)
    """
    plan = year_plan(plan)
    record = record_of(plan)
    cold = coldest(plan, record)
    plan = plan.replace(**kept_connection(plan, cold))
    batches = _batches(plan, record)
    parts = []
    for number, (piece, scenarios) in enumerate(batches):
        of, edges = ready_year(plan, piece, scenarios, cold)

        def told(day: int, at: int = number) -> None:
            if progress is not None:
                progress(at * YEAR_DAYS + day, len(batches) * YEAR_DAYS)

        parts.append(
            (_dates(plan, piece, scenarios), *_day_by_day(of, edges, panel_w, battery_wh, told))
        )
    dates, lost, unmet_wh, lowest = (
        np.concatenate(several, axis=-1) for several in zip(*parts, strict=True)
    )
    dated = isinstance(record, Record) and not record.typical
    return Years(panel_w, battery_wh, dates, dated, lost, unmet_wh, lowest)


def _windows(plan: Plan, record: Record) -> NDArray[np.intp]:
    """The rows of a record's whole years, one column a year, unmoved."""
    cells = days_of(plan, record, calendar_of(plan), span_of(plan)).cells
    starts = np.arange(cells[0], cells[-1] - record.interval_s / 2.0, record.interval_s)
    rows, shift, _ = resampled_rows(record, starts, 1 if record.typical else None)
    if not (shift == 0.0).any():
        raise PlanError([f"{record.name}: holds no whole year from 1 {plan.span.start:%B} on"])
    return rows[:, shift == 0.0]


def _batches(plan: Plan, record: Source) -> list[tuple[Source, int]]:
    """The weather in pieces of few years, and how many years each holds."""
    if not isinstance(record, Record):
        return [(record, YEARS_DRAWN if plan.weather.futures != 1 else 1)]
    if record.typical:
        return [(record, 1)]
    rows = _windows(plan, record)
    rows = rows[:, np.argsort(rows[0])]
    found: list[tuple[Source, int]] = []
    for first in range(0, rows.shape[1], YEARS_AT_ONCE):
        some = rows[:, first : first + YEARS_AT_ONCE]
        part = slice(int(some.min()), int(some.max()) + 1)
        names = ("start_s", "ghi", "dhi", "temp_air", "wind_speed")
        piece = replace(record, **{name: getattr(record, name)[part] for name in names})
        found.append((replace(piece, cloud_okta=None), some.shape[1]))
    return found


def ready_year(
    plan: Plan, record: Source, scenarios: int, cold: Cold | None = None
) -> tuple[Designs, Array]:
    """A year plan (see `year_plan`) ready for many sizes, and its midnights [UTC s], (d + 1,).

    cold is the place's lowest air by all years held, where `record` is a few of them.
    """
    plan = plan.replace(**{"weather.futures": scenarios})
    large = unbound(plan, LARGE_WH)
    calendar = calendar_of(plan)
    days = days_of(large, record, calendar, span_of(plan))
    if cold is not None:
        days = replace(days, site=replace(days.site, cold=cold))
    weather, *_ = weathers(days)
    placed = place_bursts(large, calendar, days.span)
    base = Base(lay_out(days, placed, weather).case, LARGE_WH)
    dates = (calendar.first + timedelta(k) for k in range(YEAR_DAYS + 1))
    midnights = np.array([calendar.at(("clock", 0.0), day) for day in dates])
    return Designs(plan, (base,), panel_watts(plan), days.site.cold), midnights


def _dates(plan: Plan, record: Source, scenarios: int) -> NDArray[np.datetime64]:
    """The local date of each day in each year, (d, y)."""
    first = np.datetime64(plan.span.start.date(), "D")
    days = np.arange(YEAR_DAYS)[:, None]
    if not isinstance(record, Record) or record.typical:
        return np.broadcast_to(first + days, (YEAR_DAYS, scenarios))
    rows = _windows(plan, record)
    middle_s = record.start_s[rows[rows.shape[0] // 2]] + record.utc_offset_s
    middle = middle_s.astype("datetime64[s]").astype("datetime64[D]")
    return np.asarray(np.sort(middle)[None, :] + days - YEAR_DAYS // 2)


def _day_by_day(
    of: Designs,
    midnights: Array,
    panel_w: Array,
    battery_wh: Array,
    told: Callable[[int], None],
) -> tuple[Mask, Array, Array]:
    """Lost, unmet [Wh] and lowest [share] of each day, (d, m, y)."""
    base = of.bases[0]
    reserve = of.plan.pack.reserve_percent / 100.0
    shape = (midnights.size - 1, panel_w.size, base.case.factor.shape[1])
    lost, unmet_wh, lowest = np.zeros(shape, dtype=bool), np.zeros(shape), np.zeros(shape)
    edges = np.searchsorted(base.case.edges, midnights).tolist()
    steps = (edges[-1] - edges[0]) * panel_w.size * shape[2]
    through = _compiled if repaid(base.case.battery, steps) else _simulated
    days = (replace(base, case=base.case.between(*segments)) for segments in pairwise(edges))
    for day, (short, unmet, low) in enumerate(through(of, days, panel_w, battery_wh)):
        lost[day] = short | (low < reserve - 1e-11)
        unmet_wh[day], lowest[day] = unmet, low
        told(day + 1)
    return lost, unmet_wh, lowest


def _simulated(of: Designs, days: Iterable[Base], panel_w: Array, battery_wh: Array) -> _Days:
    """Day after day: whether the packs ran short, unmet and lowest, (m, y)."""
    count = of.bases[0].case.factor.shape[1]
    several = (panel_w.size, count)
    window = np.tile(np.arange(count), panel_w.size)
    watts, labels = np.repeat(panel_w, count), np.repeat(battery_wh, count)
    state = None
    for today in days:
        case = of.case(today, watts, labels, window)
        run = simulate(case, state=state)
        state = run.end
        cold_unavailable = case.cold_unavailable()
        share = run.store_wh / case.battery.capacity_wh
        low = np.minimum(
            (share[1:] - cold_unavailable).min(axis=0), (share[:-1] - cold_unavailable).min(axis=0)
        )
        found = (run.ran_short, run.unmet_wh.sum(axis=0), low)
        yield found[0].reshape(several), found[1].reshape(several), found[2].reshape(several)


def _compiled(of: Designs, days: Iterable[Base], panel_w: Array, battery_wh: Array) -> _Days:
    """As `_simulated`, by machine code."""
    base, count = of.bases[0], of.bases[0].case.factor.shape[1]
    every = np.arange(count)
    # What a cable loses, and an input limited in amps takes, is not in proportion to the panels:
    # each size of them is a sweep of its own.
    alike = of.one_limit and not of.plan.run
    parts, number = np.unique([of.base_w] if alike else panel_w, return_inverse=True)
    sweeps = []
    for k, watts in enumerate(parts.tolist()):
        at = np.flatnonzero(np.broadcast_to(number == k, panel_w.shape))
        packs = of.battery(base, np.tile(battery_wh[at], count), np.repeat(every, at.size))
        limit_w = of.limit_w(watts) * base.case.controller_efficiency
        sweeps.append((watts, at, Sweep(packs, panel_w[at] / watts, limit_w)))
    for today in days:
        low, unmet, hours = np.zeros((3, panel_w.size, count))
        laid = laid_out(today.case)
        for watts, at, sweep in sweeps:
            sun_w = of.sun_w(today, np.full(count, watts), every)
            found = sweep.run(replace(today.case, solar_w=sun_w), laid)
            low[at], unmet[at], hours[at] = found.lowest.T, found.unmet_wh.T, found.hours_without.T
        yield hours > 0.0, unmet, low
