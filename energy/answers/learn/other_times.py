"""Work that nobody counted may have been done before a reading or after it.

Inside its window a task runs when it suits; the plan's own times are only one way. How much of it
came before a moment is as planned as often as not, and else drawn at random: its repeats one after
another anywhere in the window.
"""

from collections.abc import Collection, Sequence
from itertools import pairwise

import numpy as np

from energy.answers.learn.readings import REST, Row
from energy.model import Array
from energy.model.case import Case
from energy.model.timeline import Interval
from energy.plan.task import Task
from energy.simulation.budget import Budget
from energy.simulation.bursts import Day, days_of
from energy.weather.record import HOUR_S

AT_RANDOM = 0.5  # of all days; judgement
LEAST_POINTS = 1.0  # of charge: a display's own step
MOST_MOVES, MOST_MARKS, MOST_PIECES, SAMPLES = 30, 8, 60, 400


def moved_work(
    result: Budget, counted: Collection[int], case: Case, rows: Sequence[Row]
) -> list[Array]:
    """By task and reading what comes on the DC bus before it and leaves it after, (n,) watts each:
    one standard deviation. Those of more energy first, at most `MOST_MOVES`.

    counted: the numbers of the tasks whose work was counted, from 0; rows by time.
    """
    least_wh = LEAST_POINTS / 100.0 * float(case.battery.capacity_wh[0])
    begins_s, ends_s = float(case.edges[0]), float(case.edges[-1])
    marks = sorted({row.time_s for row in rows if row.battery_percent is not None})
    resting = [(a.time_s, b.time_s) for a, b in pairwise(rows) if b.tool in REST]
    moves: list[tuple[float, Interval, Interval]] = []
    for k, days in enumerate(days_of(result.plan, result.calendar)):
        task = result.plan.task[k]
        if k in counted or task.at is not None or task.spread_percent <= 0.0:
            continue
        for day in days:
            within = _within(day, marks)
            beside = [*pairwise([day.window[0], *within, day.window[1]])]
            each = zip(_moved_wh(task, day, within), beside, beside[1:], strict=False)
            for outlet_wh, before, after in each:
                wh = outlet_wh / _efficiency(result, case, task)
                rests = any(a < after[1] and b > before[0] for a, b in resting)
                if wh >= least_wh and not rests and after[1] > begins_s and before[0] < ends_s:
                    moves.append((wh, before, after))
    moves.sort(key=lambda move: -move[0])
    return [
        _mean_w(case.edges, before, wh) - _mean_w(case.edges, after, wh)
        for wh, before, after in moves[:MOST_MOVES]
    ]


def _within(day: Day, marks: Sequence[float]) -> list[float]:
    """The marks inside a window; of many so many, as work that is moved across one of them is moved
    across its neighbours too."""
    within = [at for at in marks if day.window[0] < at < day.window[1]]
    if len(within) <= MOST_MARKS:
        return within
    return [within[k] for k in np.linspace(0, len(within) - 1, MOST_MARKS).astype(int)]


def _mean_w(edges: Array, interval: Interval, wh: float) -> Array:
    """The watts of so much energy, even over an interval, in each segment, (n,)."""
    return overlap(edges, *interval) * (wh * HOUR_S / (interval[1] - interval[0]))


def _moved_wh(task: Task, day: Day, marks: Sequence[float]) -> list[float]:
    """For each mark inside a window how far what was done before it is from what is planned, as a
    standard deviation [Wh at the outlet]; nothing where the work fills the window."""
    start_s, end_s = day.window
    work_s = sum(until - since for since, until in day.intervals)
    if not 0.0 < work_s < end_s - start_s:
        return []
    pieces = min(len(day.intervals), MOST_PIECES)
    each_s = work_s / pieces
    pauses_s = np.random.default_rng(0).random((SAMPLES, pieces)) * (end_s - start_s - work_s)
    begun_s = start_s + np.sort(pauses_s, axis=1) + np.arange(pieces) * each_s
    moved = []
    for mark_s in marks:
        planned_s = sum(max(min(until, mark_s) - since, 0.0) for since, until in day.intervals)
        done_s = np.clip(mark_s - begun_s, 0.0, each_s).sum(axis=1)
        off_s = float(np.sqrt(AT_RANDOM * np.mean((done_s - planned_s) ** 2)))
        moved.append(off_s * task.mean_w / HOUR_S)
    return moved


def _efficiency(result: Budget, case: Case, task: Task) -> float:
    """The share of what leaves the bus that reaches a task's outlet."""
    inverter = result.plan.pack.inverter
    if task.supply == "ac":
        return inverter.efficiency_percent / 100.0 if inverter is not None else 1.0
    return case.outlet_efficiency[task.supply]


def overlap(edges: Array, start_s: float, end_s: float) -> Array:
    """The share of each segment that lies between two moments, (n,).

    >>> overlap(np.array([0.0, 10.0, 20.0]), 5.0, 15.0)
    array([0.5, 0.5])
    """
    inside_s = np.minimum(edges[1:], end_s) - np.maximum(edges[:-1], start_s)
    return np.clip(inside_s / np.diff(edges), 0.0, 1.0)
