"""Lays a plan out as the span that was lived through; which readings count is for `usable`.

The plan's own pass is asked once; its draws and charger become what the scenarios of `lived_day`
multiply. The sun with its doubts is laid out in `light`.
"""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from energy.answers.learn.day_as_done import as_done
from energy.answers.learn.kit_names import pack_key, panel_key, tools_of
from energy.answers.learn.light import light_of
from energy.answers.learn.lived_day import RUN_ON_SCATTER, Day, Group
from energy.answers.learn.posterior import Posterior, figures_of
from energy.answers.learn.readings import Row
from energy.answers.learn.usable import PLUG_METER, Used, is_read, with_readings
from energy.model import Array
from energy.model.electronics import inverter_curve
from energy.model.simulate import Case, Load
from energy.plan import Plan
from energy.plan.task import Task
from energy.simulation.budget import Budget, budget
from energy.simulation.cables import solar_limit_w

# Standard deviations, from judgement tried on invented days: the start charge [percent] where it
# was read and where not; one cut's energy.
START_READ, START_UNREAD = 1.0, 25.0
START_AT_END = 3.0  # a display that shows full, or empty, does so for some points
BURST_SCATTER = 0.20
MOST_INTERVALS = 60


def observe(
    plan: Plan,
    rows: Sequence[Row],
    posterior: Posterior,
    *,
    later: bool = False,
    known: Budget | None = None,
    covered: bool = False,
) -> Day:
    """The span from its first percentage on, with everything read since.

    The posterior must hold all figures of the plan (see `Posterior.with_figures`); `later`: other
    days were learned before; `known` as for `budget`; `covered`: the panels got no light. Raises
    PlanError where the plan cannot be run.
    """
    first = next((row for row in rows if row.battery_percent is not None), None)
    done, notes = as_done(plan, rows)
    result = known if known is not None and known.plan is done else budget(done, known=known)
    begins_s = float(result.time_s[0]) if first is None else first.time_s
    case = _stretch(result.case, begins_s, rows[-1].time_s)
    start_sd = START_UNREAD
    if first is not None and first.battery_percent is not None:
        shown, start_sd = first.battery_percent, START_READ
        if not is_read(shown):
            start_sd = START_AT_END
            notes.append(
                f"row {first.number}: a display stays at {shown:g} % for a while, so the start is"
                f" known to some {START_AT_END:.0f} points only"
            )
            shown = min(max(shown, START_AT_END), 100.0 - START_AT_END)
        case = replace(case, battery=replace(case.battery, start_share=shown / 100.0))
    light = light_of(result, case, rows, covered)
    tools = tools_of(done, plan)
    groups, loads = _groups(result, tools, case, _marks(rows), posterior)
    charger_w, told_w, lines = _charger(case, rows)
    notes += lines
    loads += [_idle_load(result, case), _bus_load(case, -PLUG_METER * told_w)]
    nuisance = 1 + max((group.nuisance for group in groups), default=-1)
    groups.append(Group(_index(posterior, pack_key("idle_w", plan))))
    groups.append(Group(-1, nuisance, 1.0) if told_w.any() else Group(-1))
    day = Day(
        budget=result,
        case=replace(
            case,
            solar_row=np.arange(case.edges.size - 1),
            charger_w=charger_w,
            loads=[replace(load, task=k) for k, load in enumerate(loads)],
        ),
        in_plan=_in_plan(plan, posterior),
        believed=posterior.mean,
        capacity=_index(posterior, pack_key("capacity_wh", plan)),
        derate=_index(posterior, panel_key(plan)) if plan.panel else -1,
        sun_w=light.sun_w,
        sun_limit_w=solar_limit_w(plan, result.days.site.cold),
        sky=light.sky,
        sky_days=light.days,
        groups=tuple(groups),
        tools=tuple(tools),
        start_sd_percent=start_sd,
        observed=(),
        notes=tuple(notes),
    )
    return with_readings(day, posterior, rows, light, later)


def _index(posterior: Posterior, key: str) -> int:
    return posterior.keys.index(key) if key in posterior.keys else -1


def _in_plan(plan: Plan, posterior: Posterior) -> Array:
    """The plan's own figures as factors on the posterior's base; what it lacks stays as
    believed."""
    found = posterior.mean.copy()
    for figure in figures_of(plan):
        at = posterior.keys.index(figure.key)
        found[at] = figure.value / posterior.base[at]
    return found


def _stretch(case: Case, start_s: float, end_s: float) -> Case:
    """A case from one moment to another, at least one segment long."""
    last = max(int(np.searchsorted(case.edges, end_s)), 1)
    first = min(int(np.searchsorted(case.edges, start_s, side="right")) - 1, last - 1)
    part = case.between(first, last)
    edges = part.edges.copy()
    edges[0] = max(min(start_s, float(edges[1]) - 1.0), edges[0])
    return replace(part, edges=edges, temp_pack=part.temp_pack.mean(axis=1, keepdims=True))


def _marks(rows: Sequence[Row]) -> Array:
    """The moments between which a tool's luck is its own, at most so many."""
    marks = np.unique([row.time_s for row in rows])
    if marks.size > MOST_INTERVALS:
        marks = marks[np.linspace(0, marks.size - 1, MOST_INTERVALS).astype(int)]
    return marks


def _groups(
    result: Budget, tools: Sequence[str], case: Case, marks: Array, posterior: Posterior
) -> tuple[list[Group], list[Load]]:
    """The draws cut at the marks, and what multiplies each."""
    middles = (case.edges[1:] + case.edges[:-1]) / 2.0
    stretch = np.searchsorted(marks, middles)
    refused = {id(overload.burst) for overload in result.overloads}
    ran = [burst for burst in result.bursts if id(burst) not in refused]
    at = np.searchsorted(marks, [(burst.start_s + burst.end_s) / 2.0 for burst in ran])
    counts: dict[tuple[str, int], int] = {}
    for burst, where in zip(ran, at.tolist(), strict=True):
        key = tools[burst.task], where
        counts[key] = counts.get(key, 0) + 1
    groups: list[Group] = []
    loads: list[Load] = []
    lucks: dict[tuple[str, int], int] = {}
    for load in case.loads:
        task = result.plan.task[load.task]
        figure = _index(posterior, f"tool:{tools[load.task]}")
        for where in np.unique(stretch[load.rows]).tolist():
            some = stretch[load.rows] == where
            loads.append(replace(load, rows=load.rows[some], watts=load.watts[some]))
            one = tools[load.task], where if _repeated(task) else -1
            if figure < 0:
                groups.append(Group(-1))
                continue
            nuisance = lucks.setdefault(one, len(lucks))
            groups.append(Group(figure, nuisance, _scatter(task, counts.get(one, 1))))
    return groups, loads


def _repeated(task: Task) -> bool:
    """Whether each time is its own; what simply runs on differs from day to day."""
    return task.kind == "charging" or task.times is not None


def _scatter(task: Task, bursts: int) -> float:
    """By how much what a tool really took in a stretch differs from its mean, as a share."""
    return BURST_SCATTER / float(np.sqrt(bursts)) if _repeated(task) else RUN_ON_SCATTER


def _charger(case: Case, rows: Sequence[Row]) -> tuple[Array, Array, list[str]]:
    """Watts of other chargers by segment, (n,): as planned but where they were read; what of it
    was read; and lines where that counts otherwise than its writer may think."""
    watts, told, used = case.charger_w.copy(), np.zeros(case.charger_w.size), Used()
    start_s = float(case.edges[0])
    read: dict[float, Row] = {}
    for row in rows:
        if row.charger_w is not None:
            read.setdefault(row.time_s, row)
            if row.time_s <= start_s and row.charger_w > 0.0:
                used.leave(row, "charger_w is that since the row before, and there is none")
    moments = sorted({start_s, *(row.time_s for row in rows if row.time_s > start_s)})
    for since, until in pairwise(moments):
        if (found := read.get(until)) is None or found.charger_w is None:
            continue
        share = _overlap(case.edges, since, until)
        if found.charger_w == 0.0 and (case.charger_w * share).any():
            why = "a charger_w of 0: the plan's [[charger]] gave nothing since the row before"
            used.leave(found, why)
        watts = watts * (1.0 - share) + found.charger_w * share
        told += found.charger_w * share
    return watts, told, used.lines()


def _overlap(edges: Array, start_s: float, end_s: float) -> Array:
    """The share of each segment that lies between two moments, (n,)."""
    inside_s = np.minimum(edges[1:], end_s) - np.maximum(edges[:-1], start_s)
    return np.clip(inside_s / np.diff(edges), 0.0, 1.0)


def _idle_load(result: Budget, case: Case) -> Load:
    """How the bus draw grows with the idle figures, pack and inverter alike.

    An inverter that idles at more but is as good at half load loses less at other loads: its own
    curve says how much.
    """
    pack = result.plan.pack
    watts = np.full(case.edges.size - 1, pack.idle_w)
    inverter = pack.inverter
    if inverter is not None and case.inverter is not None and inverter.idle_w > 0.0:
        mains = np.zeros(watts.size)
        for load in case.loads:
            if load.supply == "ac":
                mains[load.rows] += load.watts
        more = inverter_curve(inverter.rated_w, 1.1 * inverter.idle_w, inverter.efficiency_percent)
        grown = more.input_w(mains) - case.inverter.input_w(mains)
        watts = watts + case.inverter_on * grown / 0.1
    return _bus_load(case, watts)


def _bus_load(case: Case, bus_w: Array) -> Load:
    """Watts at the DC bus as a draw of their own."""
    efficiency = case.outlet_efficiency["dc12"]
    return Load(0, "dc12", np.arange(bus_w.size, dtype=np.intp), bus_w * efficiency)
