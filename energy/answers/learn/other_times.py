"""Work that nobody counted may have been done before a reading or after it.

Inside its window a task runs when it suits; the plan's own times are only one way. How much of it
came before a moment is as planned as often as not, and else drawn at random: its repeats one after
another anywhere in the window.
"""

from collections.abc import Collection, Iterator, Sequence
from itertools import pairwise

import numpy as np

from energy.answers.learn.readings import REST, Row
from energy.model import Array
from energy.model.case import Case
from energy.plan.task import Task
from energy.simulation.budget import Budget
from energy.simulation.bursts import Day, days_of
from energy.weather.record import HOUR_S

AT_RANDOM = 0.5  # of all days; judgement
LEAST_POINTS = 1.0  # of charge: a display's own step
MOST_MOVES, MOST_PIECES, SAMPLES = 20, 60, 400


def moved_work(
    result: Budget, counted: Collection[int], case: Case, rows: Sequence[Row]
) -> list[Array]:
    """By task and reading what comes on the DC bus before it and leaves it after, (n,) watts each:
    one standard deviation. Those of more energy first, at most `MOST_MOVES`.

    counted: the numbers of the tasks whose work was counted, from 0; rows by time.
    """
    least_wh = LEAST_POINTS / 100.0 * float(case.battery.capacity_wh[0])
    begins_s, ends_s = float(case.edges[0]), float(case.edges[-1])
    marks = sorted({row.time_s for row in rows if row.battery_percent is not None} | {ends_s})
    resting = [(a.time_s, b.time_s) for a, b in pairwise(rows) if b.tool in REST]
    moves: list[tuple[float, Array]] = []
    for k, days in enumerate(days_of(result.plan, result.calendar)):
        task = result.plan.task[k]
        if k in counted or task.at is not None or task.spread_percent <= 0.0:
            continue
        for day in days:
            for mark_s, wh in _moved_wh(task, day, marks):
                wh /= _efficiency(result, case, task)
                before_s, after_s = _beside(mark_s, day, [begins_s, *marks])
                if wh < least_wh or any(a < after_s and b > before_s for a, b in resting):
                    continue
                watts = np.zeros(case.edges.size - 1)
                for start_s, end_s, sign in ((before_s, mark_s, 1.0), (mark_s, after_s, -1.0)):
                    if end_s > max(start_s, begins_s) and start_s < ends_s:
                        share = overlap(case.edges, start_s, end_s)
                        watts += sign * wh * HOUR_S / (end_s - start_s) * share
                moves.append((wh, watts))
    moves.sort(key=lambda move: -move[0])
    return [watts for _, watts in moves[:MOST_MOVES] if watts.any()]


def _moved_wh(task: Task, day: Day, marks: Sequence[float]) -> Iterator[tuple[float, float]]:
    """Each mark inside a window, and how far what was done before it is from what is planned, as a
    standard deviation [Wh at the outlet]."""
    start_s, end_s = day.window
    work_s = sum(until - since for since, until in day.intervals)
    if not 0.0 < work_s < end_s - start_s:
        return
    pieces = min(len(day.intervals), MOST_PIECES)
    each_s = work_s / pieces
    pauses_s = np.random.default_rng(0).random((SAMPLES, pieces)) * (end_s - start_s - work_s)
    begun_s = start_s + np.sort(pauses_s, axis=1) + np.arange(pieces) * each_s
    for mark_s in marks:
        if start_s < mark_s < end_s:
            planned_s = sum(max(min(until, mark_s) - since, 0.0) for since, until in day.intervals)
            done_s = np.clip(mark_s - begun_s, 0.0, each_s).sum(axis=1)
            off_s = float(np.sqrt(AT_RANDOM * np.mean((done_s - planned_s) ** 2)))
            yield mark_s, off_s * task.mean_w / HOUR_S


def _beside(mark_s: float, day: Day, marks: Sequence[float]) -> tuple[float, float]:
    """From when to when what is moved across a mark is done: to the marks beside it, inside the
    window."""
    before = max([day.window[0], *(at for at in marks if at < mark_s)])
    after = min([day.window[1], *(at for at in marks if at > mark_s)])
    return before, after


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
