"""From plan and weather to the case that is simulated: cells, sun, battery, chargers.

Here plan objects meet the model's arrays. What the tasks ask is for `demand`; what is asked of the
result lives in `result`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from energy.model import Array
from energy.model.battery import Battery
from energy.model.case import Case
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
from energy.simulation.demand import Demand
from energy.simulation.random_factors import random_factors
from energy.simulation.solar import Solar, solar, turns
from energy.weather.days import Days, Site, site_of
from energy.weather.record import DAY_S, HOUR_S, Record
from energy.weather.source import Source
from energy.weather.synthetic.synthetic import is_synthetic, solar_clock_offset_s
from energy.weather.weathers import Weathers

MONTH_H = 30.0 * 24.0
NOTABLE_IDLE = 0.1  # of the pack; what it is taken to draw is said from here on (our choice)
HOURLY_CELL_S = 600.0  # weather known by the hour gains nothing from finer sun


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
        factor=_task_factors(plan, scenarios) if factor is None else _of_many(factor, scenarios),
    )
    return LaidOut(case, sun, _mean_derate(plan, derate, scenarios))


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


def _of_many(factor: Array, scenarios: int) -> Array:
    """The random factors of so many scenarios among those of more; one alone draws nothing."""
    return factor[:, :scenarios] if scenarios > 1 else np.ones((factor.shape[0], 1))


def _task_factors(plan: Plan, scenarios: int) -> Array:
    factors = [
        random_factors(plan, "task", task.name, task.spread_percent, scenarios)
        for task in plan.task
    ]
    return np.stack(factors) if factors else np.ones((0, scenarios))


def idle_notes(days: Days) -> list[str]:
    """That the pack's own draw is not stated, where over the span it comes to much of the pack."""
    pack, hours = days.plan.pack, (days.span[1] - days.span[0]) / HOUR_S
    drawn_wh = pack.idle_w * hours
    share = drawn_wh / (pack.capacity_wh * pack.health_percent / 100.0)
    if "idle_w" in pack.model_fields_set or share < NOTABLE_IDLE:
        return []
    return [
        f"idle_w of the pack is not given: the usual {pack.idle_w:g} W is taken,"
        f" {drawn_wh:.0f} Wh in {hours:.0f} h, {100.0 * share:.0f} % of the pack"
    ]


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
