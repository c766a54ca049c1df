"""From plan and weather to the case that is simulated: cells, limits, sun, battery, loads.

Here plan objects meet the model's arrays. When tasks run is for `bursts`; what is asked of the
result lives in `result`.
"""

import zlib
from collections.abc import Container, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np

from energy.model import Array, Index
from energy.model.battery import Battery
from energy.model.demand import Burst
from energy.model.electronics import inverter_curve
from energy.model.limits import Limits, Overload, inverter_on, overloads, running
from energy.model.simulate import Case, Load
from energy.model.timeline import (
    GRID_S,
    Calendar,
    Interval,
    cell_of,
    grid,
    inside,
    to_utc,
)
from energy.plan import Plan, PlanError
from energy.simulation.bursts import Placed
from energy.simulation.cables import lead_losses
from energy.simulation.solar import Solar, solar, turns
from energy.weather.days import Days, Site, site_of
from energy.weather.record import DAY_S, HOUR_S, Record
from energy.weather.source import Source
from energy.weather.synthetic.synthetic import is_synthetic, solar_clock_offset_s
from energy.weather.weathers import Weathers

MONTH_H = 30.0 * 24.0
MOST_SEGMENTS = 400_000
HOURLY_CELL_S = 600.0  # weather known by the hour gains nothing from finer sun


@dataclass(frozen=True)
class Demand:
    """What a plan asks in all weathers alike, and what its limits let run; n segments.

    edges [UTC s], (n + 1,); lost: the share of a task's watts that its lead adds; overloads are the
    bursts that the limits turn away; inverter_on (n,) 0 or 1; loads in rank order; did: numbers
    from 0 of tasks that ran, whatever the limits say; asked_wh and turned_away_wh (tasks,) the
    stated energy of all bursts and of those turned away.
    """

    placed: Placed
    edges: Array
    limits: Limits
    lost: dict[int, float]
    overloads: tuple[Overload, ...]
    inverter_on: Array
    loads: Sequence[Load]
    asked_wh: Array
    turned_away_wh: Array
    did: Container[int] = ()


@dataclass(frozen=True)
class LaidOut:
    """A plan made ready: the case to simulate and what was settled on the way.

    solar is what the panels give, with their books; derate (m,) is the mean share of their labels
    that the panels give.
    """

    case: Case
    solar: Solar
    derate: Array


def calendar_of(plan: Plan) -> Calendar:
    """The plan's local dates with their clock and sun."""
    place = plan.place
    return Calendar(
        plan.span.start.date(),
        (plan.span.end - timedelta(seconds=1)).date(),
        ZoneInfo(place.timezone),
        place.latitude_deg,
        place.longitude_deg,
    )


def span_of(plan: Plan, now: datetime | None = None) -> Interval:
    """The span of a plan, or what is left of it from `now` on its clock [UTC s].

    Raises PlanError where the clock skips all of it.

    >>> start_s, end_s = span_of(Plan.read("builtin:cloudy-repair"))
    >>> (end_s - start_s) / HOUR_S
    25.0
    """
    zone = ZoneInfo(plan.place.timezone)
    start_s, end_s = to_utc(now or plan.span.start, zone), to_utc(plan.span.end, zone)
    if end_s - start_s < 1.0:
        raise PlanError(
            [
                f"{plan.origin}: the clock skips the hour between {plan.span.start} and"
                f" {plan.span.end}: nothing is left to judge"
            ]
        )
    return start_s, end_s


def days_of(
    plan: Plan, record: Source, calendar: Calendar, span: Interval, site: Site | None = None
) -> Days:
    """The days of a plan over a span [UTC s], cut into the cells on which sun and weather are
    worked out.

    record is what the weather rests on (see `record_of`), site what is known of the place, worked
    out here where it is left out.

    >>> from energy.weather.source import record_of
    >>> plan = Plan.read("builtin:cloudy-repair")
    >>> days = days_of(plan, record_of(plan), calendar_of(plan), span_of(plan))
    >>> bool(days.cells[0] <= days.span[0] and days.span[1] <= days.cells[-1])
    True
    """
    cells = _cells(plan, record, calendar, span)
    return Days(plan, calendar, span, record, cells, site or site_of(plan, record))


def _cells(plan: Plan, record: Source, calendar: Calendar, span: Interval) -> Array:
    """Edges of the cells: whole intervals of the record around the span, cut at its ends and
    wherever a panel is moved, folded or shaded."""
    step, unit_s, phase, beyond, every = HOUR_S, HOUR_S, 0.0, HOUR_S, GRID_S
    if isinstance(record, Record):
        step = unit_s = beyond = record.interval_s
        phase = float(record.start_s[0]) % step
    elif is_synthetic(plan.weather) or record is not None:
        # synthetic hours belong to days of the sun's clock; they may also follow a forecast
        every = HOURLY_CELL_S
        unit_s, phase, beyond = DAY_S, -solar_clock_offset_s(plan.place.longitude_deg), 0.0
    first = np.floor((span[0] - phase) / unit_s) * unit_s + phase - beyond
    last = np.ceil((span[1] - phase) / unit_s) * unit_s + phase + beyond
    marks = [*span, *np.arange(first, last, step).tolist()]
    for number, panel in enumerate(plan.panel):
        windows = calendar.windows(panel.out_between) if panel.out_between else []
        windows += [w for shade in panel.shade for w in calendar.windows(shade.between)]
        marks += [t for window in windows for t in window]
        marks += turns(plan, number, calendar)
    return grid(float(first), float(last), marks, every)


def demand_of(
    days: Days, placed: Placed, did: Container[int] = (), previous: Demand | None = None
) -> Demand:
    """What the bursts of a plan ask, segment by segment.

    previous: the demand of a plan that differs little; what the same bursts ask under the same
    limits is taken over. Raises PlanError for more moments than can be simulated.
    """
    plan, edges = days.plan, edges_of(days, placed)
    limits = limits_of(plan, inverter_windows(plan, days.calendar))
    lost, order = lead_losses(plan, days.site.cold), ranked(plan)
    alike = (
        previous is not None
        and previous.placed is placed
        and previous.did == did
        and previous.lost == lost
        and np.array_equal(previous.edges, edges)
    )
    if previous is not None and alike and previous.limits == limits:
        return previous
    turned_away = tuple(
        overload
        for overload in overloads(edges, placed.bursts, plan.task, order, limits, placed.begun)
        if overload.burst.task not in did
    )
    accepted = running(placed.bursts, turned_away)
    if previous is not None and alike and not (turned_away or previous.overloads):
        loads = previous.loads
    else:
        loads = _loads(edges, accepted, plan, order, lost)
    on = inverter_on(edges, accepted, plan.task, limits, placed.begun)
    asked_wh, turned_away_wh = (
        energy_by_task(bursts, len(plan.task))
        for bursts in (placed.bursts, [overload.burst for overload in turned_away])
    )
    return Demand(
        placed, edges, limits, lost, turned_away, on, loads, asked_wh, turned_away_wh, did
    )


def lay_out(
    days: Days,
    demand: Demand,
    weather: Weathers,
    sun: Solar | None = None,
    factor: Array | None = None,
) -> LaidOut:
    """Lay a plan with its demand and weathers out in segments and scenarios, ready to simulate.

    sun is what the panels give in the cells of the days and factor the random factors of the tasks,
    (tasks, m or more), each worked out here where it is left out.
    """
    plan, calendar = days.plan, days.calendar
    scenarios, edges = weather.shift_days.size, demand.edges
    derate = derates(plan, scenarios)
    if sun is None:
        sun = solar(days, weather, derate)
    cell, lit = cell_of(edges, days.cells), weather.light.lit
    temperature, temp_row = weather.air.temp_air, cell
    if plan.pack.temperature is not None:
        temperature, temp_row = np.full((1, 1), plan.pack.temperature), np.zeros_like(cell)
    row_of_cell = np.full(days.cells.size - 1, -1)
    row_of_cell[lit] = np.arange(lit.size)
    charger_w = np.zeros(edges.size - 1)
    for charger in plan.charger:
        windows = calendar.windows(charger.between, charger.days)
        charger_w += charger.watts * inside(edges, windows)
    case = Case(
        edges=edges,
        battery=_battery(plan, scenarios),
        solar_w=sun.panel_w,
        solar_row=row_of_cell[cell],
        controller_efficiency=plan.pack.solar_input.efficiency_percent / 100.0,
        charger_w=charger_w,
        temp_pack=temperature,
        temp_row=temp_row,
        idle_w=plan.pack.idle_w,
        inverter=demand.limits.curve,
        inverter_on=demand.inverter_on,
        outlet_efficiency=demand.limits.outlet_efficiency,
        loads=demand.loads,
        factor=_task_factors(plan, scenarios) if factor is None else factor[:, :scenarios],
    )
    return LaidOut(case, sun, _mean_derate(plan, derate, scenarios))


def edges_of(days: Days, placed: Placed) -> Array:
    """Edges of the segments [UTC s]: those of the cells and wherever a burst, a charger or the
    inverter's own time begins or ends.

    Raises PlanError for more moments than can be simulated.
    """
    plan, calendar = days.plan, days.calendar
    windows = [w for c in plan.charger for w in calendar.windows(c.between, c.days)]
    windows += inverter_windows(plan, calendar) or []
    marks = [t for b in placed.bursts for piece in b.pieces for t in (piece.start_s, piece.end_s)]
    marks += [t for window in windows for t in window]
    edges = grid(*days.span, [*days.cells.tolist(), *marks])
    if edges.size > MOST_SEGMENTS:
        raise PlanError(
            [
                f"{plan.origin}: the tasks start and stop {edges.size:,} times; at most"
                f" {MOST_SEGMENTS:,} moments can be simulated: shorten the span or lengthen a"
                " period_min"
            ]
        )
    return edges


def derates(plan: Plan, scenarios: int) -> list[Array]:
    """The condition of each panel, share of its label, one a scenario."""
    return [
        panel.condition_percent
        / 100.0
        * random_factors(plan, f"condition {number}", "", panel.condition_spread_percent, scenarios)
        for number, panel in enumerate(plan.panel)
    ]


def _mean_derate(plan: Plan, derates: Sequence[Array], scenarios: int) -> Array:
    """The condition of all panels together, weighted by their watts, (scenarios,)."""
    rated = [panel.rated_w * panel.count for panel in plan.panel]
    if not rated:
        return np.ones(scenarios)
    return np.asarray(np.average(np.stack(derates), axis=0, weights=rated))


def _task_factors(plan: Plan, scenarios: int) -> Array:
    factors = [
        random_factors(plan, "task", task.name, task.spread_percent, scenarios)
        for task in plan.task
    ]
    return np.stack(factors) if factors else np.ones((0, scenarios))


def ranked(plan: Plan) -> list[int]:
    """Task numbers from 0 in rank order: what must run, then by priority, then as written."""
    tasks = plan.task
    return sorted(range(len(tasks)), key=lambda k: (not tasks[k].must, tasks[k].priority, k))


def energy_by_task(placed: Sequence[Burst], tasks: int) -> Array:
    """Stated energy of some bursts by task [Wh], (tasks,)."""
    total = np.zeros(tasks)
    for burst in placed:
        total[burst.task] += sum(p.mean_w * (p.end_s - p.start_s) for p in burst.pieces) / 3600.0
    return total


def random_factors(
    plan: Plan, kind: str, name: str, spread_percent: float, scenarios: int
) -> Array:
    """One lognormal factor of mean 1 a scenario; the coefficient of variation is the spread.

    Each thing has a stream of its own, named after it, so that dropping a task changes no other
    task's luck, and the first 10 scenarios of 1,000 are those of 10. Tasks of one name are the same
    work on other days or hours and share their luck. A single scenario draws nothing.
    """
    if scenarios == 1 or spread_percent == 0.0:
        return np.ones(scenarios)
    return lognormal(standard_normals(plan, kind, name, scenarios), spread_percent)


def standard_normals(plan: Plan, kind: str, name: str, scenarios: int) -> Array:
    """The numbers behind the random factors of a thing, one a scenario."""
    return _drawn(plan.weather.seed, zlib.crc32(f"{kind}:{name}".encode()), scenarios)


@lru_cache(maxsize=256)
def _drawn(seed: int, stream: int, count: int) -> Array:
    drawn = np.random.default_rng([seed, stream]).standard_normal(count)
    drawn.flags.writeable = False
    return drawn


def lognormal(normal: Array, spread_percent: float) -> Array:
    """Factors of mean 1 and this coefficient of variation from standard normal numbers.

    >>> lognormal(np.array([0.3, -1.2]), 0.0)
    array([1., 1.])
    """
    sigma = np.sqrt(np.log1p((spread_percent / 100.0) ** 2))
    return np.asarray(np.exp(sigma * normal - sigma**2 / 2.0))


def inverter_windows(plan: Plan, calendar: Calendar) -> list[Interval] | None:
    inverter = plan.pack.inverter
    if inverter is None or isinstance(inverter.on, str):
        return None
    return [w for between in inverter.on for w in calendar.windows(between)]


def limits_of(plan: Plan, on_windows: list[Interval] | None) -> Limits:
    pack = plan.pack
    inverter = pack.inverter
    capacity = pack.capacity_wh * pack.health_percent / 100.0
    return Limits(
        curve=None
        if inverter is None
        else inverter_curve(inverter.rated_w, inverter.idle_w, inverter.efficiency_percent),
        surge_w=0.0 if inverter is None else inverter.surge_w,
        surge_s=0.0 if inverter is None else inverter.surge_s,
        on=on_windows if on_windows is not None else (str(inverter.on) if inverter else "always"),
        outlet_rated_w={"dc12": pack.dc12.rated_w, "usb": pack.usb.rated_w},
        outlet_efficiency={
            "dc12": pack.dc12.efficiency_percent / 100.0,
            "usb": pack.usb.efficiency_percent / 100.0,
        },
        idle_w=pack.idle_w,
        discharge_max_w=pack.discharge_max_w,
        battery_max_w=capacity / (4.0 * pack.resistive_h) if pack.resistive_h > 0.0 else np.inf,
    )


def _battery(plan: Plan, scenarios: int) -> Battery:
    pack = plan.pack
    health = random_factors(plan, "health", "", pack.health_spread_percent, scenarios)
    capacity = pack.capacity_wh * np.minimum(pack.health_percent / 100.0 * health, 1.0)
    return Battery(
        chemistry=pack.chemistry,
        capacity_wh=capacity,
        charge_max_w=np.full(scenarios, pack.charge_max_w),
        start_share=pack.start_percent / 100.0,
        resistive_h=pack.resistive_h,
        coulombic=pack.coulombic_percent / 100.0,
        taper_from=pack.taper_from_percent / 100.0,
        self_discharge_per_h=pack.self_discharge_percent_month / 100.0 / MONTH_H,
        heated=pack.heated,
        kinetic_c=pack.kinetic_c,
        kinetic_k_per_h=pack.kinetic_k_per_h,
        discharge_min_c=pack.discharge_min_c,
    )


def _loads(
    edges: Array,
    accepted: Sequence[Burst],
    plan: Plan,
    order: Sequence[int],
    lost: dict[int, float],
) -> list[Load]:
    """The mean watts of every task that runs, by segment, in rank order; lost in its lead by task
    as a share of them."""
    mine: dict[int, list[Burst]] = {}
    for burst in accepted:
        mine.setdefault(burst.task, []).append(burst)
    return [
        load_of(edges, mine[k], k, plan.task[k].supply, lost.get(k, 0.0))
        for k in order
        if k in mine
    ]


def load_of(edges: Array, bursts: Sequence[Burst], row: int, supply: str, lead_loss: float) -> Load:
    """What some bursts ask by segment, as one load; `row` is that of its random factors."""
    pieces = [piece for burst in bursts for piece in burst.pieces]
    first = np.searchsorted(edges, [piece.start_s for piece in pieces])
    last = np.searchsorted(edges, [piece.end_s for piece in pieces])
    where: Index = np.concatenate([np.arange(a, b) for a, b in zip(first, last, strict=True)])
    watts = np.repeat([piece.mean_w for piece in pieces], last - first)
    unique, at = np.unique(where, return_inverse=True)
    total = np.asarray(np.bincount(at, watts), dtype=float)
    return Load(row, supply, unique, total, lead_loss)
