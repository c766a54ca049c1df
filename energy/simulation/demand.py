"""What a plan asks in all weathers alike: segments, limits and loads.

When tasks run is for `bursts`; a plan laid out with its weather is for `case`.
"""

from collections.abc import Container, Sequence
from dataclasses import dataclass, replace

import numpy as np

from energy.model import Array, Index
from energy.model.case import Load
from energy.model.demand import Burst
from energy.model.electronics import inverter_curve
from energy.model.limits import Limits, Overload, inverter_on, overloads, running
from energy.model.timeline import Calendar, Interval, grid
from energy.plan import Plan, PlanError
from energy.simulation.bursts import Placed
from energy.simulation.cables import lead_losses
from energy.weather.days import Days

MOST_SEGMENTS = 400_000


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


def demand_of(
    days: Days, placed: Placed, did: Container[int] = (), previous: Demand | None = None
) -> Demand:
    """What the bursts of a plan ask, segment by segment.

    previous: the demand of a plan that differs little; what the same bursts ask under the same
    limits is taken over. Raises PlanError for more moments than can be simulated.
    """
    plan, edges = days.plan, edges_of(days, placed)
    limits = limits_of(plan, days.calendar)
    lost, order = lead_losses(plan, days.site.cold), ranked(plan)
    alike = (
        previous is not None
        and previous.placed is placed
        and previous.did == did
        and previous.lost == lost
        and np.array_equal(previous.edges, edges)
    )
    if previous is not None and alike:
        if previous.limits == limits:
            return previous
        if not previous.overloads and limits.allow_all_of(previous.limits):
            return replace(previous, limits=limits)
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


def edges_of(days: Days, placed: Placed) -> Array:
    """Edges of the segments [UTC s]: those of the cells and wherever a burst, a charger or the
    inverter's own time begins or ends.

    Raises PlanError for more moments than can be simulated.
    """
    plan, calendar = days.plan, days.calendar
    windows = [w for c in plan.charger for w in calendar.windows(c.between, c.days)]
    windows += _inverter_windows(plan, calendar) or []
    marks = [*placed.marks_s, *(t for window in windows for t in window)]
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


def ranked(plan: Plan) -> list[int]:
    """Task numbers from 0 in rank order: what must run, then by priority, then as written."""
    tasks = plan.task
    return sorted(range(len(tasks)), key=lambda k: (not tasks[k].must, tasks[k].priority, k))


def energy_by_task(placed: Sequence[Burst], tasks: int) -> Array:
    """Stated energy of some bursts by task [Wh], (tasks,)."""
    total = np.zeros(tasks)
    for burst in placed:
        total[burst.task] += burst.energy_wh
    return total


def _inverter_windows(plan: Plan, calendar: Calendar) -> list[Interval] | None:
    inverter = plan.pack.inverter
    if inverter is None or isinstance(inverter.on, str):
        return None
    return [w for between in inverter.on for w in calendar.windows(between)]


def limits_of(plan: Plan, calendar: Calendar) -> Limits:
    pack, on_windows = plan.pack, _inverter_windows(plan, calendar)
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
