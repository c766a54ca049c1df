"""From plan and weather to the case that is simulated: cells, bursts, limits, sun, battery, draws.

Here plan objects meet the model's arrays. What is asked of the outcome lives in `budget`.
"""

import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from energy.model import Array, Index
from energy.model.battery import Battery
from energy.model.demand import Burst, bursts, charging_s
from energy.model.electronics import inverter_curve
from energy.model.limits import Begun, Limits, Refusal, inverter_on, refusals
from energy.model.simulate import Case, Draw
from energy.model.timeline import (
    GRID_S,
    Calendar,
    Interval,
    cell_of,
    equal_shares,
    grid,
    inside,
    one_at_a_time,
    snap,
    to_utc,
)
from energy.plan import Plan, PlanError
from energy.plan.schema import Task
from energy.runs import lead_losses
from energy.solar import Solar, solar, turns
from energy.weather import drawn
from energy.weather.futures import Source, Weathers
from energy.weather.record import DAY_S, HOUR_S, Record

MONTH_H = 30.0 * 24.0
MOST_SEGMENTS = 400_000
DRAWN_CELL_S = 600.0  # weather drawn or foretold by the hour gains nothing from finer sun


@dataclass(frozen=True)
class Scene:
    """A plan made ready: the case to simulate and what was settled on the way.

    refused are the bursts that the limits turn away; solar is what the panels give, with their
    books, condition (m,) their mean condition.
    """

    case: Case
    refused: tuple[Refusal, ...]
    solar: Solar
    condition: Array


@dataclass(frozen=True)
class Placed:
    """A plan's bursts inside a span, whatever the weather: all of them, the (task, window) that
    began before it, and lines about what does not fit the plan's own."""

    bursts: tuple[Burst, ...]
    begun: Begun
    notes: tuple[str, ...]


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


def scene(
    plan: Plan,
    calendar: Calendar,
    span: Interval,
    placed: Placed,
    weather: Weathers,
    cells: Array,
    sun: Solar | None = None,
) -> Scene:
    """Lay a plan with its bursts and weathers out in segments and lanes, ready to simulate.

    span [UTC s]; cells are the edges on which the weather is given; sun, where it is known, what
    the panels give on them. Raises PlanError for more moments than can be simulated.
    """
    lanes = weather.shift_days.size
    begun = placed.begun
    chargers = [calendar.windows(c.between, c.days) for c in plan.charger]
    on_windows = _inverter_windows(plan, calendar)
    edges = _edges(plan, span, cells, placed.bursts, [*chargers, on_windows or []])
    limits = _limits(plan, on_windows)
    order = ranked(plan)
    refused = refusals(edges, placed.bursts, plan.task, order, limits, begun)
    turned_away = {id(r.burst) for r in refused}
    accepted = [b for b in placed.bursts if id(b) not in turned_away]
    condition = conditions(plan, lanes)
    if sun is None:
        sun = solar(plan, weather, calendar, cells, span, condition)
    battery = _battery(plan, lanes)
    cell = cell_of(edges, cells)
    temperature, temp_row = weather.temp_air, cell
    if plan.pack.temperature is not None:
        temperature, temp_row = np.full((1, 1), plan.pack.temperature), np.zeros_like(cell)
    row_of_cell = np.full(cells.size - 1, -1)
    row_of_cell[weather.lit] = np.arange(weather.lit.size)
    charger_w = np.zeros(edges.size - 1)
    for charger, windows in zip(plan.charger, chargers, strict=True):
        charger_w += charger.watts * inside(edges, windows)
    case = Case(
        edges=edges,
        battery=battery,
        solar_w=sun.panel_w,
        solar_row=row_of_cell[cell],
        controller_efficiency=plan.pack.solar_input.efficiency_percent / 100.0,
        charger_w=charger_w,
        temp_pack=temperature,
        temp_row=temp_row,
        idle_w=plan.pack.idle_w,
        inverter=limits.curve,
        inverter_on=inverter_on(edges, accepted, plan.task, limits, begun),
        outlet_efficiency=limits.outlet_efficiency,
        draws=_draws(edges, accepted, plan, order, lead_losses(plan, weather.cold)),
        factor=_task_factors(plan, lanes),
    )
    return Scene(
        case=case,
        refused=tuple(refused),
        solar=sun,
        condition=_mean_condition(plan, condition, lanes),
    )


def _edges(
    plan: Plan,
    span: Interval,
    cells: Array,
    placed: Sequence[Burst],
    windows: Sequence[Sequence[Interval]],
) -> Array:
    marks = [t for burst in placed for piece in burst.pieces for t in (piece.start_s, piece.end_s)]
    marks += [t for several in windows for window in several for t in window]
    edges = grid(*span, [*cells.tolist(), *marks])
    if edges.size > MOST_SEGMENTS:
        raise PlanError(
            [
                f"{plan.origin}: the tasks start and stop {edges.size:,} times; at most"
                f" {MOST_SEGMENTS:,} moments can be simulated: shorten the span or lengthen a"
                " period_min"
            ]
        )
    return edges


def conditions(plan: Plan, lanes: int) -> list[Array]:
    """The condition of each panel, share of its label, one a lane."""
    return [
        panel.condition_percent
        / 100.0
        * draw(plan, f"condition {number}", "", panel.condition_spread_percent, lanes)
        for number, panel in enumerate(plan.panel)
    ]


def _mean_condition(plan: Plan, conditions: Sequence[Array], lanes: int) -> Array:
    """The condition of all panels together, weighted by their watts, (lanes,)."""
    rated = [panel.rated_w * panel.count for panel in plan.panel]
    if not rated:
        return np.ones(lanes)
    return np.asarray(np.average(np.stack(conditions), axis=0, weights=rated))


def _task_factors(plan: Plan, lanes: int) -> Array:
    factors = [draw(plan, "task", task.name, task.spread_percent, lanes) for task in plan.task]
    return np.stack(factors) if factors else np.ones((0, lanes))


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


def draw(plan: Plan, what: str, name: str, spread_percent: float, lanes: int) -> Array:
    """One lognormal factor of mean 1 a lane; the coefficient of variation is the spread.

    Each thing has a stream of its own, named after it, so that dropping a task changes no other
    task's luck, and the first 10 lanes of 1,000 are those of 10. Tasks of one name are the same
    work on other days or hours and share their luck. A single lane draws nothing.
    """
    if lanes == 1 or spread_percent == 0.0:
        return np.ones(lanes)
    key = [plan.weather.seed, zlib.crc32(f"{what}:{name}".encode())]
    normal = np.random.default_rng(key).standard_normal(lanes)
    sigma = np.sqrt(np.log1p((spread_percent / 100.0) ** 2))
    return np.asarray(np.exp(sigma * normal - sigma**2 / 2.0))


def cells_of(plan: Plan, calendar: Calendar, span: Interval, record: Source) -> Array:
    """Edges of the cells on which sun and weather are worked out: whole intervals of the record
    around the span, cut at its ends and wherever a panel is moved, folded or shaded."""
    step, whole, phase, beyond, every = HOUR_S, HOUR_S, 0.0, HOUR_S, GRID_S
    if isinstance(record, Record):
        step = whole = beyond = record.interval_s
        phase = float(record.start_s[0]) % step
    elif drawn.is_drawn(plan.weather) or record is not None:
        # hours are drawn day by day of the sun's clock; drawn ones may follow a forecast
        every = DRAWN_CELL_S
        whole, phase, beyond = DAY_S, -drawn.solar_clock_offset_s(plan.place.longitude_deg), 0.0
    first = np.floor((span[0] - phase) / whole) * whole + phase - beyond
    last = np.ceil((span[1] - phase) / whole) * whole + phase + beyond
    marks = [*span, *np.arange(first, last, step).tolist()]
    for number, panel in enumerate(plan.panel):
        windows = calendar.windows(panel.out_between) if panel.out_between else []
        windows += [w for shade in panel.shade for w in calendar.windows(shade.between)]
        marks += [t for window in windows for t in window]
        marks += turns(plan, number, calendar)
    return grid(float(first), float(last), marks, every)


def _inverter_windows(plan: Plan, calendar: Calendar) -> list[Interval] | None:
    inverter = plan.pack.inverter
    if inverter is None or isinstance(inverter.on, str):
        return None
    return [w for between in inverter.on for w in calendar.windows(between)]


def _limits(plan: Plan, on_windows: list[Interval] | None) -> Limits:
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


def _battery(plan: Plan, lanes: int) -> Battery:
    pack = plan.pack
    health = draw(plan, "health", "", pack.health_spread_percent, lanes)
    capacity = pack.capacity_wh * np.minimum(pack.health_percent / 100.0 * health, 1.0)
    return Battery(
        chemistry=pack.chemistry,
        capacity_wh=capacity,
        charge_max_w=np.full(lanes, pack.charge_max_w),
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


def place_bursts(plan: Plan, calendar: Calendar, span: Interval) -> Placed:
    """Every burst of every task inside the span judged [UTC s].

    Raises PlanError for what only the days themselves show, such as repeats that do not fit between
    sunrise and sunset.
    """
    whole = to_utc(plan.span.start, calendar.zone), to_utc(plan.span.end, calendar.zone)
    placed: list[Burst] = []
    begun: set[tuple[int, int]] = set()
    notes: list[str] = []
    problems: list[str] = []
    for k, task in enumerate(plan.task):
        cut_off, days, in_days = False, calendar.days(task.days), []
        for day in days:
            try:
                found, block_cut = _in_day(plan, calendar, k, day)
            except ValueError as error:
                problems.append(f'{plan.origin}: task {k + 1} "{task.name}": {error}')
                break
            if block_cut:
                notes.append(f'"{task.name}" is longer than its window on {day} and is cut there')
            in_days.append(found)
        in_days, cuts = one_at_a_time(in_days)
        notes += _starts_again(task, calendar, [t for t in cuts if whole[0] < t < whole[1]])
        for number, (day, found) in enumerate(zip(days, in_days, strict=False)):
            placed += bursts(task, k, number, found, span)
            if any(whole[0] <= start < span[0] for start, _ in found):
                begun.add((k, number))
            inside_s = sum(max(min(b, whole[1]) - max(a, whole[0]), 0.0) for a, b in found)
            outside_s = sum(b - a for a, b in found) - inside_s
            cut_off |= outside_s > 1.0 and day >= calendar.first
        if cut_off and task.must and not _all_day(task):
            notes.append(
                f'what of "{task.name}", which must run, comes before the start or after the end of'
                " the span is not judged"
            )
    if problems:
        raise PlanError(problems)
    return Placed(tuple(placed), frozenset(begun), (*notes, *_no_sunset(plan, calendar)))


def _starts_again(task: Task, calendar: Calendar, cuts: Sequence[float]) -> list[str]:
    """A line where a task is cut [UTC s] because it starts again before it is over."""
    if not cuts:
        return []
    when = f"{calendar.moment(cuts[0]):%Y-%m-%d at %H:%M}"
    when += f", the first of {len(cuts)} times" if len(cuts) > 1 else ""
    again = f'"{task.name}" still runs when it starts again on {when}'
    return [f"{again}: it is cut there, for nothing runs twice at once"]


def _no_sunset(plan: Plan, calendar: Calendar) -> list[str]:
    """A line where a task waits for a sunrise or sunset that does not come."""
    moments = [m for t in plan.task for m in (*(t.between or ()), t.at) if m is not None]
    if all(anchor == "clock" for anchor, _ in moments):
        return []
    rise, fall = calendar.sun_times(calendar.first)
    if fall == rise:
        return ["the sun does not rise: sunrise and sunset are both taken as its noon"]
    if fall - rise >= DAY_S:
        return ["the sun does not set: sunrise and sunset are taken as 12 hours from its noon"]
    return []


def _all_day(task: Task) -> bool:
    """Whether a task simply runs on, day and night."""
    amount = task.times or task.duration_s or task.charges
    return task.between is None and task.at is None and amount is None


def _in_day(plan: Plan, calendar: Calendar, number: int, day: date) -> tuple[list[Interval], bool]:
    """A task's bursts in the window that starts on a day; whether a block had to be cut."""
    task = plan.task[number]
    repeats, each_s = task.times, task.each_s
    if task.charges is not None:
        repeats, each_s = task.charges, charging_s(task)
    if task.trace is not None and repeats is None and task.duration_s is None:
        repeats, each_s = 1, task.trace[-1][0] - task.trace[0][0]
    if task.at is not None:
        start = calendar.at(task.at, day)
        if repeats is None:
            assert task.duration_s is not None
            return [(start, snap(start + task.duration_s))], False
        assert each_s is not None
        firsts = [snap(start + i * each_s) for i in range(repeats)]
        return [(a, snap(a + each_s)) for a in firsts], False
    window = calendar.window(task.between, day)
    if window is None:
        return [], False
    if repeats is not None:
        assert each_s is not None
        return equal_shares(window, repeats, each_s), False
    if task.duration_s is None:
        return [window], False
    end = snap(window[0] + task.duration_s)
    return [(window[0], min(end, window[1]))], end > window[1] + 1e-3


def _draws(
    edges: Array,
    accepted: Sequence[Burst],
    plan: Plan,
    order: Sequence[int],
    lost: dict[int, float],
) -> list[Draw]:
    """The mean watts of every task that runs, by segment, in rank order; lost in its lead by task
    as a share of them."""
    rows: dict[int, list[Index]] = {}
    watts: dict[int, list[Array]] = {}
    for burst in accepted:
        for piece in burst.pieces:
            first, last = np.searchsorted(edges, [piece.start_s, piece.end_s])
            rows.setdefault(burst.task, []).append(np.arange(first, last))
            watts.setdefault(burst.task, []).append(np.full(int(last - first), piece.mean_w))
    found = []
    for task in order:
        if task in rows:
            where: Index = np.concatenate(rows[task])
            unique, at = np.unique(where, return_inverse=True)
            total = np.asarray(np.bincount(at, np.concatenate(watts[task])), dtype=float)
            found.append(Draw(task, plan.task[task].supply, unique, total, lost.get(task, 0.0)))
    return found
