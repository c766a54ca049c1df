"""A plan's days repeated through every whole year of its weather, laid out for many sizes.

What becomes of a size in them is run in `years`.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from energy.answers.size.designs import LARGE_WH, Designs, panel_watts, unbound, with_panel
from energy.answers.size.load_and_sun import days_in
from energy.model import Array, Index
from energy.model.stretches import Rows, averaged, rows_of, sun_of
from energy.plan import Plan, PlanError
from energy.simulation.bursts import place_bursts
from energy.simulation.case import calendar_of, days_of, lay_out, span_of
from energy.simulation.demand import demand_of
from energy.simulation.strings import kept_connection
from energy.weather.coldest import Cold, coldest
from energy.weather.record import Record
from energy.weather.resampled import resampled_rows
from energy.weather.scenarios import weathers
from energy.weather.source import Source, record_of

YEAR_DAYS = 365
AVERAGED_H = 0.5
YEARS_DRAWN = 10  # where the weather is drawn by chance
YEARS_AT_ONCE = 5  # bounds the memory of their weather
LAST_YEAR = 2098  # of the plan's clock, so that a year fits after it


@dataclass(frozen=True)
class FewYears:
    """A year plan laid out for many sizes in a few years: its midnights [UTC s], (d + 1,), and the
    dates of its days on the plan's clock, (d, y)."""

    designs: Designs
    midnights: Array
    dates: NDArray[np.datetime64]

    @cached_property
    def day_edges(self) -> Index:
        """The edges of the case at which its days begin and end, (d + 1,)."""
        return np.searchsorted(self.designs.cases[0].edges, self.midnights)

    @cached_property
    def rows(self) -> Rows:
        """The segments as rows."""
        return rows_of(self.designs.cases[0], self.day_edges)

    @cached_property
    def averages(self) -> tuple[Rows, Callable[[Array], Array]]:
        """As `averaged`."""
        return averaged(self.rows, AVERAGED_H)

    def sun_w(self, panel_w: float) -> Array:
        """What the controller gives of panels of this label, as `sun_of` [W]."""
        if panel_w not in self._sun:
            designs, case = self.designs, self.designs.cases[0]
            year = np.arange(case.factor.shape[1])
            solar_w = designs.solar_w(case, np.full(year.size, panel_w), year)
            limited = np.minimum(solar_w, designs.limit_w(panel_w))
            self._sun[panel_w] = sun_of(replace(case, solar_w=limited))
        return self._sun[panel_w]

    @cached_property
    def ways(self) -> dict[tuple[float, float], Array]:
        """The way, as of `Stretches`, of each design [W, Wh] that has run: kept by `years`."""
        return {}

    @cached_property
    def _sun(self) -> dict[float, Array]:
        return {}


@dataclass(frozen=True)
class YearWeather:
    """A year plan laid out in every whole year of its weather; dated says whether the years are
    those of a calendar."""

    pieces: tuple[FewYears, ...]
    dated: bool


def year_weather(plan: Plan) -> YearWeather:
    """Lay a plan's days out in every whole year that its weather holds. Raises as `years` does."""
    plan = year_plan(plan)
    record = record_of(plan)
    cold = coldest(plan, record)
    plan = plan.replace(**kept_connection(plan, cold))
    pieces = [
        FewYears(*ready_year(plan, piece, scenarios, cold), _dates(plan, piece, scenarios))
        for piece, scenarios in _pieces(plan, record)
    ]
    return YearWeather(tuple(pieces), isinstance(record, Record) and not record.typical)


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
        for k, row in enumerate(getattr(plan, table), start=1):
            if row.days is not None:
                first = sorted({(day - 1) % period for day in row.days})
                again = [d + n + 1 for n in range(0, YEAR_DAYS, period) for d in first]
                changes[f"{table}.{k}.days"] = [day for day in again if day <= YEAR_DAYS]
    return plan.replace(**changes)


def _whole_years(plan: Plan, record: Record) -> NDArray[np.intp]:
    """The rows of a record's whole years, one column a year, unmoved."""
    cells = days_of(plan, record, calendar_of(plan), span_of(plan)).cells
    starts = np.arange(cells[0], cells[-1] - record.interval_s / 2.0, record.interval_s)
    rows, shift, _ = resampled_rows(record, starts, 1 if record.typical else None)
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
    calendar = calendar_of(plan)
    days = days_of(large, record, calendar, span_of(plan))
    if cold is not None:
        days = replace(days, site=replace(days.site, cold=cold))
    weather, *_ = weathers(days)
    dates = (calendar.first + timedelta(k) for k in range(YEAR_DAYS + 1))
    midnights = np.array([calendar.at(("clock", 0.0), date) for date in dates])
    demand = demand_of(days, place_bursts(large, calendar, days.span))
    case = lay_out(days, demand, weather).case.joined(midnights)
    return Designs(plan, (case,), LARGE_WH, panel_watts(plan), days.site.cold), midnights


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
