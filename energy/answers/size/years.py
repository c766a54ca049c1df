"""A shed that stays: on which days of whole years the load is lost, with any sizes at once.

The plan's days are repeated over and over. Every year is run day by day from a state that is
carried on. Worth: the store of 64 designs through ten years of the January demo, 184,000 segments
each, would take 0.9 GB at once; `test_years` holds the days against a span in one go. Which sizes to
take is for `year_size`.
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
    Designs,
    panel_watts,
    unbound,
    with_panel,
)
from energy.answers.size.load_and_sun import days_in
from energy.model import Array, Mask
from energy.model.compiled import Sweep, laid_out, repaid
from energy.model.simulate import Case, Load, simulate
from energy.model.timeline import to_utc
from energy.plan import Plan, PlanError
from energy.simulation.bursts import place_bursts
from energy.simulation.case import calendar_of, cells_of, lay_out
from energy.simulation.result import lowest_point
from energy.simulation.strings import kept_connection
from energy.weather.coldest import Cold, coldest
from energy.weather.record import Record
from energy.weather.resampled import moved_rows
from energy.weather.scenarios import Source, record_of, weathers

Progress = Callable[[int, int], None]
_Days = Iterator[tuple[Mask, Array, Array]]  # ran short, unmet [Wh], lowest [share of C]

YEAR_DAYS = 365
YEARS_DRAWN = 10  # where the weather is drawn by chance
YEARS_AT_ONCE = 5  # bounds the memory of their weather
LAST_YEAR = 2098  # of the plan's clock, so that a year fits after it


@dataclass(frozen=True)
class Years:
    """Designs run through whole years day by day: d days, m designs, y years.

    panel_w, battery_wh: the designs [W, Wh], (m,).
    dates: on the plan's clock, (d, y); of no year in particular where `dated` is False.
    lost: the charge fell below the reserve that day or something asked was not served, (d, m, y).
    unmet_wh: what was not served that day [Wh], (d, m, y).
    lowest: the day's lowest charge above what the cold locks [share of C], (d, m, y).
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
    period = days_in(plan.place.longitude_deg, *_span_s(plan))
    month = 7 if plan.place.latitude_deg >= 0.0 else 1
    start = datetime(min(plan.span.start.year, LAST_YEAR), month, 1)
    changes: dict[str, Any] = {
        "span.start": start,
        "span.end": start + timedelta(days=YEAR_DAYS),
    }
    for table in ("task", "charger"):
        for k, row in enumerate(getattr(plan, table), start=1):
            if row.days is not None:
                first = sorted({(day - 1) % period for day in row.days})
                again = [d + n + 1 for n in range(0, YEAR_DAYS, period) for d in first]
                changes[f"{table}.{k}.days"] = [day for day in again if day <= YEAR_DAYS]
    return plan.replace(**changes)


@dataclass(frozen=True)
class YearWeather:
    """A year plan laid out in all the whole years of its weather, for any number of designs.

    pieces: a few years each: the plan laid out, its midnights [UTC s], (d + 1,), and the dates of
        its days, (d, y).
    dated: whether the years are those of a calendar.
    """

    pieces: tuple[tuple[Designs, Array, NDArray[np.datetime64]], ...]
    dated: bool

    def run(self, panel_w: Array, battery_wh: Array, progress: Progress | None = None) -> Years:
        """Run designs [W, Wh], (m,), through every year. `progress` is told (days done, of how
        many)."""
        days = []
        for number, (designs, midnights, dates) in enumerate(self.pieces):

            def day_done(day: int, before: int = number * YEAR_DAYS) -> None:
                if progress is not None:
                    progress(before + day, len(self.pieces) * YEAR_DAYS)

            days.append((dates, *_day_by_day(designs, midnights, panel_w, battery_wh, day_done)))
        joined = (np.concatenate(several, axis=-1) for several in zip(*days, strict=True))
        dates, lost, unmet_wh, lowest = joined
        return Years(panel_w, battery_wh, dates, self.dated, lost, unmet_wh, lowest)


def years(plan: Plan, panel_w: Array, battery_wh: Array, progress: Progress | None = None) -> Years:
    """Run designs through every whole year that the plan's weather holds.

    plan: its days are repeated through the year.
    panel_w, battery_wh: the labels of each design [W, Wh], (m,).
    progress: is told (days done, of how many).

    Raises PlanError as `budget` does, and for a forecast or a record without one whole year.

    >>> year = years(Plan.read("builtin:cloudy-repair"), np.array([900.0]), np.array([4000.0]))
    >>> year.lost.shape, year.dated
    ((365, 1, 1), False)
    """
    return year_weather(plan).run(panel_w, battery_wh, progress)


def year_weather(plan: Plan) -> YearWeather:
    """Lay a plan's days out in every whole year that its weather holds. Raises as `years`."""
    plan = year_plan(plan)
    record = record_of(plan)
    cold = coldest(plan, record)
    plan = plan.replace(**kept_connection(plan, cold))
    pieces = [
        (*ready_year(plan, piece, scenarios, cold), _dates(plan, piece, scenarios))
        for piece, scenarios in _pieces(plan, record)
    ]
    return YearWeather(tuple(pieces), isinstance(record, Record) and not record.typical)


def _span_s(plan: Plan) -> tuple[float, float]:
    zone = calendar_of(plan).zone
    return to_utc(plan.span.start, zone), to_utc(plan.span.end, zone)


def _whole_years(plan: Plan, record: Record) -> NDArray[np.intp]:
    """The rows of a record's whole years, one column a year, unmoved."""
    cells = cells_of(plan, calendar_of(plan), _span_s(plan), record)
    starts = np.arange(cells[0], cells[-1] - record.interval_s / 2.0, record.interval_s)
    rows, shift, _ = moved_rows(record, starts, 1 if record.typical else None)
    if not (shift == 0.0).any():
        raise PlanError([f"{record.name}: holds no whole year from 1 {plan.span.start:%B} on"])
    return rows[:, shift == 0.0]


def _pieces(plan: Plan, record: Source) -> list[tuple[Source, int]]:
    """The weather in pieces of a few years, and how many years each holds."""
    if not isinstance(record, Record):
        return [(record, YEARS_DRAWN if plan.weather.futures != 1 else 1)]
    if record.typical:
        return [(record, 1)]
    rows = _whole_years(plan, record)
    rows = rows[:, np.argsort(rows[0])]
    pieces: list[tuple[Source, int]] = []
    for first in range(0, rows.shape[1], YEARS_AT_ONCE):
        several = rows[:, first : first + YEARS_AT_ONCE]
        part = slice(int(several.min()), int(several.max()) + 1)
        names = ("start_s", "ghi", "dhi", "temp_air", "wind_speed")
        piece = replace(record, **{name: getattr(record, name)[part] for name in names})
        pieces.append((replace(piece, cloud_okta=None), several.shape[1]))
    return pieces


def ready_year(
    plan: Plan, record: Source, scenarios: int, cold: Cold | None = None
) -> tuple[Designs, Array]:
    """A year plan (see `year_plan`) ready for many sizes, and its midnights [UTC s], (d + 1,).

    cold is the place's lowest air by all years held, where `record` is a few of them.
    """
    plan = plan.replace(**{"weather.futures": scenarios})
    large = unbound(plan, LARGE_WH)
    calendar, span = calendar_of(plan), _span_s(plan)
    cells = cells_of(large, calendar, span, record)
    weather, *_ = weathers(large, record, calendar, cells, span)
    weather = replace(weather, cold=cold or weather.cold)
    placed = place_bursts(large, calendar, span)
    case = lay_out(large, calendar, span, placed, weather, cells).case
    days = (calendar.first + timedelta(k) for k in range(YEAR_DAYS + 1))
    midnights = np.array([calendar.at(("clock", 0.0), day) for day in days])
    return Designs(plan, (case,), LARGE_WH, panel_watts(plan), weather.cold), midnights


def _dates(plan: Plan, record: Source, scenarios: int) -> NDArray[np.datetime64]:
    """The local date of each day in each year, (d, y)."""
    first = np.datetime64(plan.span.start.date(), "D")
    days = np.arange(YEAR_DAYS)[:, None]
    if not isinstance(record, Record) or record.typical:
        return np.broadcast_to(first + days, (YEAR_DAYS, scenarios))
    rows = _whole_years(plan, record)
    middle_s = record.start_s[rows[rows.shape[0] // 2]] + record.utc_offset_s
    middle = middle_s.astype("datetime64[s]").astype("datetime64[D]")
    return np.asarray(np.sort(middle)[None, :] + days - YEAR_DAYS // 2)


def _day_by_day(
    designs: Designs,
    midnights: Array,
    panel_w: Array,
    battery_wh: Array,
    day_done: Callable[[int], None],
) -> tuple[Mask, Array, Array]:
    """Lost, unmet [Wh] and lowest [share of C] of each day, (d, m, y)."""
    case = designs.cases[0]
    reserve = designs.plan.pack.reserve_percent / 100.0
    shape = (midnights.size - 1, panel_w.size, case.factor.shape[1])
    lost, unmet_wh, lowest = np.zeros(shape, dtype=bool), np.zeros(shape), np.zeros(shape)
    edges = np.searchsorted(case.edges, midnights).tolist()
    steps = (edges[-1] - edges[0]) * panel_w.size * shape[2]
    through = _compiled if repaid(case.battery, steps) else _simulated
    days = (_part(case, first, last) for first, last in pairwise(edges))
    for day, (short, unmet, low) in enumerate(through(designs, days, panel_w, battery_wh)):
        lost[day] = short | (low < reserve - 1e-11)
        unmet_wh[day], lowest[day] = unmet, low
        day_done(day + 1)
    return lost, unmet_wh, lowest


def _simulated(designs: Designs, days: Iterable[Case], panel_w: Array, battery_wh: Array) -> _Days:
    """Each design through day after day in every year, (m, y)."""
    count = designs.cases[0].factor.shape[1]
    year = np.tile(np.arange(count), panel_w.size)
    watts, labels = np.repeat(panel_w, count), np.repeat(battery_wh, count)
    state = None
    for today in days:
        case = designs.scaled(today, watts, labels, year)
        simulated = simulate(case, state=state)
        state = simulated.end
        _, above_percent = lowest_point(case, simulated)
        shape = panel_w.size, count
        unmet_wh = simulated.unmet_wh.sum(axis=0).reshape(shape)
        yield simulated.ran_short.reshape(shape), unmet_wh, above_percent.reshape(shape) / 100.0


def _compiled(designs: Designs, days: Iterable[Case], panel_w: Array, battery_wh: Array) -> _Days:
    """As `_simulated`, by machine code."""
    case, count = designs.cases[0], designs.cases[0].factor.shape[1]
    year = np.arange(count)
    # What a cable loses, and an input limited in amps takes, is not in proportion to the panels:
    # each size of them is a sweep of its own.
    alike = designs.one_limit and not designs.plan.run
    parts, number = np.unique([designs.base_w] if alike else panel_w, return_inverse=True)
    sweeps = []
    for k, watts in enumerate(parts.tolist()):
        at = np.flatnonzero(np.broadcast_to(number == k, panel_w.shape))
        packs = designs.battery(case, np.tile(battery_wh[at], count), np.repeat(year, at.size))
        limit_w = designs.limit_w(watts) * case.controller_efficiency
        share = panel_w[at] / watts if alike else np.ones(at.size)  # of no panel as well
        sweeps.append((watts, at, Sweep(packs, share, limit_w)))
    for today in days:
        low, unmet, hours = np.zeros((3, panel_w.size, count))
        laid = laid_out(today)
        for watts, at, sweep in sweeps:
            solar_w = designs.solar_w(today, np.full(count, watts), year)
            passed = sweep.run(replace(today, solar_w=solar_w), laid)
            low[at], unmet[at], hours[at] = (
                values.T for values in (passed.lowest, passed.unmet_wh, passed.hours_without)
            )
        yield hours > 0.0, unmet, low


def _part(case: Case, first: int, last: int) -> Case:
    """Some segments of a case alone."""
    rows = slice(first, last)
    solar_row, temp_row = case.solar_row[rows], case.temp_row[rows]
    lit = solar_row[solar_row >= 0]
    low, high = (int(lit.min()), int(lit.max()) + 1) if lit.size else (0, 0)
    coldest = int(temp_row.min())
    return replace(
        case,
        edges=case.edges[first : last + 1],
        solar_w=case.solar_w[low:high],
        solar_row=np.where(solar_row >= 0, solar_row - low, -1),
        charger_w=case.charger_w[rows],
        temp_pack=case.temp_pack[coldest : int(temp_row.max()) + 1],
        temp_row=temp_row - coldest,
        inverter_on=case.inverter_on[rows],
        loads=list(_loads(case, first, last)),
    )


def _loads(case: Case, first: int, last: int) -> Iterator[Load]:
    for load in case.loads:
        begin, end = np.searchsorted(load.rows, [first, last])
        if end > begin:
            yield replace(load, rows=load.rows[begin:end] - first, watts=load.watts[begin:end])
