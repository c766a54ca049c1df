"""Makes the forward model of a plan's span from the plan and what was read of it.

The plan is simulated once; its loads and charger become what the scenarios of `forward_model`
multiply. Which readings count is for `observations`, the sun and its doubt for `sun_prior`.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from energy.answers.learn.component_names import pack_key, panel_key, tools_of
from energy.answers.learn.counted_work import with_counted_work
from energy.answers.learn.forward_model import (
    RUN_ON_SCATTER,
    ForwardModel,
    LoadFactor,
    Restart,
)
from energy.answers.learn.observations import (
    PLUG_METER,
    Selection,
    around_unknown_work,
    is_read,
    with_observations,
)
from energy.answers.learn.other_times import moved_work, overlap
from energy.answers.learn.posterior import Posterior, figures_of
from energy.answers.learn.readings import REST, Row
from energy.answers.learn.sun_prior import sun_prior
from energy.model import Array
from energy.model.case import Case, Load
from energy.model.electronics import inverter_curve
from energy.plan import Plan, PlanError
from energy.plan.task import Task
from energy.simulation.budget import Budget, as_done, budget
from energy.simulation.cables import solar_limit_w

# Standard deviations, from judgement tried on invented days: the start charge [percent] where it
# was read and where not; one cut's energy.
START_READ, START_UNREAD = 1.0, 25.0
START_AT_END = 3.0  # a display that shows full, or empty, does so for some points
BURST_SCATTER = 0.20
MOST_INTERVALS, MOST_RESTARTS = 60, 20
NOT_KNOWN = (
    "nothing is learned of the time since the battery_percent before: what was done is not known"
)


def observe(
    plan: Plan,
    rows: Sequence[Row],
    posterior: Posterior,
    *,
    later: bool = False,
    previous: Budget | None = None,
) -> ForwardModel:
    """The forward model of a plan's span from its first percentage on, with all that was read.

    posterior is the prior; it must hold all figures of the plan (see `Posterior.with_figures`).
    later: other days were learned before. previous: a budget of a plan that differs little, to
    save work. Raises PlanError where the plan cannot be run.
    """
    counted = with_counted_work(plan, rows)
    done, rows, result = counted.plan, counted.rows, previous
    if result is None or result.plan is not done:
        result = budget(done, previous=previous)
    if any(overload.burst.task in counted.tasks for overload in result.overloads):
        result = as_done(result, counted.tasks)
    first = next((row for row in rows if row.battery_percent is not None), None)
    begins_s = float(result.time_s[0]) if first is None else first.time_s
    case = _at_rest(_stretch(result.case, begins_s, rows[-1].time_s), rows)
    case, start_sd, start_lines = _with_start(case, first)
    case, restarts, unknown_lines = _with_restarts(case, rows)
    sun = sun_prior(result, case, rows)
    tools = tools_of(done, plan)
    charger_w, read_w, charger_lines = _charger(case, rows)
    load_factors, loads = _tool_loads(result, tools, case, _marks(rows), posterior)
    load_factors.append(LoadFactor(_index(posterior, pack_key("idle_w", plan))))
    load_factors.append(_charger_error(load_factors, read_w))
    moves = moved_work(result, counted.tasks, case, rows)
    load_factors += _own_nuisances(load_factors, len(moves))
    bus_w = [-PLUG_METER * read_w, *moves]
    loads += [_idle_load(result, case), *(_bus_load(case, watts) for watts in bus_w)]
    day = ForwardModel(
        budget=result,
        case=replace(
            case,
            solar_row=np.arange(case.edges.size - 1),
            charger_w=charger_w,
            loads=[replace(load, task=k) for k, load in enumerate(loads)],
        ),
        stated_factor=_stated_factor(plan, posterior),
        prior_mean=posterior.mean,
        capacity=_index(posterior, pack_key("capacity_wh", plan)),
        derate=_index(posterior, panel_key(plan)) if plan.panel else -1,
        sun_w=sun.sun_w,
        sun_limit_w=solar_limit_w(plan, result.days.site.cold),
        sky=sun.sky,
        sky_days=sun.days,
        load_factors=tuple(load_factors),
        bus_loads=1 + len(bus_w),
        tools=tuple(tools),
        start_sd_percent=start_sd,
        restarts=restarts,
        rows=rows,
        unused=(*counted.notes, *unknown_lines),
        observed=(),
        notes=(*start_lines, *charger_lines),
    )
    return with_observations(day, posterior, sun.called_clear, later)


def _with_start(case: Case, first: Row | None) -> tuple[Case, float, list[str]]:
    """The case from the charge that was read first, its standard deviation [percent], and a line
    where the display was at one of its ends."""
    if first is None:
        return case, START_UNREAD, []
    share, sd, lines = _start(first)
    return replace(case, battery=replace(case.battery, start_share=share)), sd, lines


def _with_restarts(case: Case, rows: Sequence[Row]) -> tuple[Case, tuple[Restart, ...], list[str]]:
    """The case with edges at the readings of the charge to either side of unknown work, where it
    starts afresh, and lines about that. Raises PlanError where it would do so too often."""
    apart, selection = around_unknown_work(rows), Selection()
    for _, after in apart:
        selection.leave(after, NOT_KNOWN)
    again = {before.time_s for before, _ in apart}  # from here too nothing can be followed
    apart = [(before, after) for before, after in apart if after.time_s not in again]
    if len(apart) > MOST_RESTARTS:
        raise PlanError(
            [
                f"what was done is not known at {len(apart)} times; at most {MOST_RESTARTS} may be"
                " so: write these rows again"
            ]
        )
    for before, after in apart:
        case = case.split(before.time_s).split(after.time_s)
    restarts, ends = [], []
    for _, after in apart:
        share, sd, at_end = _start(after)
        restarts.append(Restart(int(np.searchsorted(case.edges, after.time_s)), share, sd))
        ends += at_end
    return case, tuple(restarts), [*selection.lines(), *ends]


def _start(row: Row) -> tuple[float, float, list[str]]:
    """The charge that a row shows as a share, its standard deviation [percent], and a line where
    the display was at one of its ends."""
    percent = row.battery_percent or 0.0
    if is_read(percent):
        return percent / 100.0, START_READ, []
    line = (
        f"line {row.number}: a display stays at {percent:g} % for a while, so the start is"
        f" known to some {START_AT_END:.0f} points only"
    )
    percent = min(max(percent, START_AT_END), 100.0 - START_AT_END)
    return percent / 100.0, START_AT_END, [line]


def _index(posterior: Posterior, key: str) -> int:
    return posterior.keys.index(key) if key in posterior.keys else -1


def _stated_factor(plan: Plan, posterior: Posterior) -> Array:
    """The plan's own figures as factors on the posterior's base, (p,); the posterior's mean for
    what the plan lacks."""
    factor = posterior.mean.copy()
    for figure in figures_of(plan):
        at = posterior.keys.index(figure.key)
        factor[at] = figure.value / posterior.base[at]
    return factor


def _stretch(case: Case, start_s: float, end_s: float) -> Case:
    """A case from one moment to another, at least one segment long."""
    last = max(int(np.searchsorted(case.edges, end_s)), 1)
    first = min(int(np.searchsorted(case.edges, start_s, side="right")) - 1, last - 1)
    part = case.between(first, last)
    edges = part.edges.copy()
    edges[0] = max(min(start_s, float(edges[1]) - 1.0), edges[0])
    return replace(part, edges=edges, temp_pack=part.temp_pack.mean(axis=1, keepdims=True))


def _at_rest(case: Case, rows: Sequence[Row]) -> Case:
    """The case without loads where the rows say that nothing ran since the row before."""
    middles = (case.edges[1:] + case.edges[:-1]) / 2.0
    inverter_on, rests = case.inverter_on.copy(), np.zeros(middles.size, dtype=bool)
    for before, row in pairwise(rows):
        if row.tool in REST:
            there = (middles >= before.time_s) & (middles < row.time_s)
            rests |= there
            inverter_on[there] = row.tool == "inverter"
    if not rests.any():
        return case
    loads = [
        replace(load, rows=load.rows[~rests[load.rows]], watts=load.watts[~rests[load.rows]])
        for load in case.loads
    ]
    loads = [load for load in loads if load.rows.size]
    return replace(case, loads=loads, inverter_on=inverter_on)


def _marks(rows: Sequence[Row]) -> Array:
    """The moments between which a tool's nuisance is one of its own, at most so many [UTC s]."""
    marks = np.unique([row.time_s for row in rows])
    if marks.size > MOST_INTERVALS:
        marks = marks[np.linspace(0, marks.size - 1, MOST_INTERVALS).astype(int)]
    return marks


def _tool_loads(
    result: Budget, tools: Sequence[str], case: Case, marks: Array, posterior: Posterior
) -> tuple[list[LoadFactor], list[Load]]:
    """The loads cut at the marks, and what multiplies each."""
    middles = (case.edges[1:] + case.edges[:-1]) / 2.0
    interval_of_segment = np.searchsorted(marks, middles)
    counts = _bursts_between(result, tools, marks)
    load_factors: list[LoadFactor] = []
    loads: list[Load] = []
    nuisances: dict[tuple[str, int], int] = {}
    for load in case.loads:
        task = result.plan.task[load.task]
        figure = _index(posterior, f"tool:{tools[load.task]}")
        for interval in np.unique(interval_of_segment[load.rows]).tolist():
            inside = interval_of_segment[load.rows] == interval
            loads.append(replace(load, rows=load.rows[inside], watts=load.watts[inside]))
            if figure < 0:
                load_factors.append(LoadFactor(-1))
                continue
            key = tools[load.task], interval if _repeated(task) else -1
            nuisance = nuisances.setdefault(key, len(nuisances))
            load_factors.append(LoadFactor(figure, nuisance, _scatter(task, counts.get(key, 1))))
    return load_factors, loads


def _bursts_between(result: Budget, tools: Sequence[str], marks: Array) -> Counter[tuple[str, int]]:
    """How many bursts of a tool ran in each interval between the marks."""
    ran = result.running
    intervals = np.searchsorted(marks, [(burst.start_s + burst.end_s) / 2.0 for burst in ran])
    return Counter(
        (tools[burst.task], interval)
        for burst, interval in zip(ran, intervals.tolist(), strict=True)
    )


def _repeated(task: Task) -> bool:
    """Whether each time is its own; what simply runs on differs from day to day."""
    return task.kind == "charging" or task.times is not None


def _scatter(task: Task, bursts: int) -> float:
    """The standard deviation of what a tool takes between two marks, as a share of its mean."""
    return BURST_SCATTER / float(np.sqrt(bursts)) if _repeated(task) else RUN_ON_SCATTER


def _charger(case: Case, rows: Sequence[Row]) -> tuple[Array, Array, list[str]]:
    """Watts of other chargers by segment, (n,): as planned except where they were read; what of it
    was read, (n,); and lines where that counts otherwise than its writer may think."""
    watts, read_w, selection = case.charger_w.copy(), np.zeros(case.charger_w.size), Selection()
    start_s = float(case.edges[0])
    read: dict[float, Row] = {}
    for row in rows:
        if row.charger_w is not None:
            read.setdefault(row.time_s, row)
            if row.time_s <= start_s and row.charger_w > 0.0:
                selection.leave(row, "charger_w is that since the row before, and there is none")
    moments = sorted({start_s, *(row.time_s for row in rows if row.time_s > start_s)})
    for since_s, until_s in pairwise(moments):
        reading = read.get(until_s)
        if reading is None or reading.charger_w is None:
            continue
        share = overlap(case.edges, since_s, until_s)
        if reading.charger_w == 0.0 and (case.charger_w * share).any():
            why = "a charger_w of 0: the plan's [[charger]] gave nothing since the row before"
            selection.leave(reading, why)
        watts = watts * (1.0 - share) + reading.charger_w * share
        read_w += reading.charger_w * share
    return watts, read_w, selection.lines()


def _charger_error(load_factors: Sequence[LoadFactor], read_w: Array) -> LoadFactor:
    """The error of the plug-in meter, a nuisance of its own, where it was read."""
    if not read_w.any():
        return LoadFactor(-1)
    return _own_nuisances(load_factors, 1)[0]


def _own_nuisances(load_factors: Sequence[LoadFactor], count: int) -> list[LoadFactor]:
    """So many more, each of a nuisance of its own."""
    first = 1 + max(factor.nuisance for factor in load_factors)
    return [LoadFactor(-1, first + k, 1.0) for k in range(count)]


def _idle_load(result: Budget, case: Case) -> Load:
    """How the load on the bus grows with the idle figures, pack and inverter alike.

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
    """Watts at the DC bus as a load of their own."""
    efficiency = case.outlet_efficiency["dc12"]
    return Load(0, "dc12", np.arange(bus_w.size, dtype=np.intp), bus_w * efficiency)
