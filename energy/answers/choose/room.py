"""Where more of a tool may run beside what is planned, as far as limits and hands let it.

Exact: what is free here is turned away by no limit. Whether the charge is enough is for the
simulation to say.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil

import numpy as np

from energy.answers.choose.pieces import MOST_PAUSE_S
from energy.model import Index, Mask
from energy.model.demand import Burst, Step, bursts, cut_at, steps
from energy.model.limits import overloads, room
from energy.model.timeline import Interval, one_after_another, snap
from energy.simulation.budget import Budget
from energy.simulation.demand import limits_of, ranked
from energy.simulation.overloads import why_refused

SURGE_S = 1.0  # starts further apart than this do not meet
EPSILON_S = 1e-6


@dataclass(frozen=True)
class Series:
    """Repeats one after another, or one stretch of time that counts as so many units, from
    `start_s` [UTC s]; pace_s from the start of one to the start of the next."""

    start_s: float
    count: int
    pace_s: float


class Room:
    """What is free for one task of a plan beside some of its bursts.

    task: its number from 0; each_s: how long a unit of it takes; stretch: whether units that
    follow one another are one burst.
    """

    def __init__(
        self,
        result: Budget,
        task: int,
        planned: Sequence[Burst],
        each_s: float,
        stretch: bool,
    ):
        self.result, self.planned = result, planned
        self.number, self.task = task, result.plan.task[task]
        self.each_s, self.stretch = each_s, stretch
        self.pace_s = each_s if stretch else float(ceil(each_s - EPSILON_S))
        begins = [step.start_s for burst in planned for step in burst.pieces if step.starts]
        self.edges = np.unique(np.concatenate([result.case.edges, np.array(begins) + SURGE_S]))
        self.limits = limits_of(result.plan, result.calendar)
        self.turned_away_s: float | None = None  # the first moment at which it could not run
        self._taken: dict[tuple[float, bool], Index] = {}
        self._hands = self._held()

    def starts(self, windows: Sequence[Interval]) -> list[float]:
        """As many moments as can be at which a unit begins, none before another is done [UTC s]."""
        unit = steps(self.task, self.each_s)
        on = [replace(step, starts=step.starts and self.task.kind == "cycling") for step in unit]
        moments: list[float] = []
        for opens_s, closes_s in windows:
            at: float | None = float(ceil(opens_s - EPSILON_S))
            while at is not None:
                follows = self.stretch and bool(moments) and at == moments[-1] + self.pace_s
                in_time = at + self.each_s <= closes_s + EPSILON_S
                if not (follows and in_time and self._taken_until(at, on) is None):
                    at = self._earliest(at, unit, closes_s)
                if at is not None:
                    moments.append(at)
                    at = snap(at + self.pace_s)
        return moments

    def in_series(self, starts: Sequence[float]) -> list[Series]:
        """Units that begin at these moments, in as few series as follow one another evenly."""
        several: list[Series] = []
        furthest_s = self.pace_s if self.stretch else self.pace_s + MOST_PAUSE_S
        for start_s in sorted(starts):
            last = several[-1] if several else None
            if last is not None:
                step_s = snap(start_s - last.start_s - (last.count - 1) * last.pace_s)
                if step_s == last.pace_s or (last.count == 1 and step_s <= furthest_s):
                    several[-1] = replace(last, count=last.count + 1, pace_s=step_s)
                    continue
            several.append(Series(start_s, 1, self.pace_s))
        return several

    def bursts(self, several: Sequence[Series]) -> list[Burst]:
        """The bursts of some series, each a window of its own to the inverter."""
        placed_bursts: list[Burst] = []
        for number, series in enumerate(several):
            placed = [(series.start_s, snap(series.start_s + series.count * self.each_s))]
            if not self.stretch:
                placed = one_after_another(series.start_s, series.count, self.each_s, series.pace_s)
            placed_bursts += bursts(self.task, self.number, number, placed, self.result.days.span)
        return placed_bursts

    def lasts(self, series: Series) -> Interval:
        """When a series begins and ends [UTC s]."""
        return series.start_s, series.start_s + (series.count - 1) * series.pace_s + self.each_s

    def why_not(self) -> str:
        """Which limit, or which hands, turned it away somewhere; empty where nothing did."""
        if self.turned_away_s is None:
            return ""
        own = self.bursts([Series(self.turned_away_s, 1, self.pace_s)])
        edges = cut_at(self.result.case.edges, own)
        plan = self.result.plan
        turned_away = overloads(edges, [*self.planned, *own], plan.task, ranked(plan), self.limits)
        if not turned_away:
            return "the hands are taken by another tool"
        return why_refused(self.task.supply, self.task.start_w, turned_away, 1)

    def _earliest(self, at: float, unit: Sequence[Step], closes_s: float) -> float | None:
        """The earliest whole second from `at` at which a unit may begin and end in its window."""
        while at + self.each_s <= closes_s + EPSILON_S:
            until_s = self._taken_until(at, unit)
            if until_s is None and self.result.calendar.tells(at):
                return at
            if until_s is None:
                until_s = at + 60.0
            elif self.turned_away_s is None:
                self.turned_away_s = at
            at = float(ceil(until_s - EPSILON_S))
        return None

    def _taken_until(self, at: float, unit: Sequence[Step]) -> float | None:
        """Before which moment a unit cannot begin if it cannot at this one; None where it can."""
        for step in unit:
            first, last = self._segments(at + step.start_s, at + step.end_s)
            for starts in (False, True) if step.starts else (False,):
                taken = self._segments_taken(step.working_w, starts)
                k = int(np.searchsorted(taken, first))
                if k < taken.size and taken[k] < (first + 1 if starts else last):
                    return float(self.edges[taken[k] + 1]) - step.start_s
        return None

    def _segments(self, start_s: float, end_s: float) -> tuple[int, int]:
        first = int(np.searchsorted(self.edges, start_s + EPSILON_S, side="right")) - 1
        return max(first, 0), int(np.searchsorted(self.edges, end_s - EPSILON_S))

    def _segments_taken(self, working_w: float, starts: bool) -> Index:
        """The segments in which so many watts more are too many, in order."""
        key = working_w, starts
        if key not in self._taken:
            tasks, limits = self.result.plan.task, self.limits
            free = room(self.edges, self.planned, tasks, limits, self.task, working_w, starts)
            self._taken[key] = np.flatnonzero(~free | self._hands)
        return self._taken[key]

    def _held(self) -> Mask:
        """Which segments take the hands that the task needs too."""
        taken = np.zeros(self.edges.size - 1, dtype=bool)
        tasks = self.result.plan.task
        if self.result.plan.goal.one_at_a_time and self.task.hand_held:
            for burst in self.planned:
                if tasks[burst.task].hand_held:
                    first, last = self._segments(burst.start_s, burst.end_s)
                    taken[first:last] = True
        return taken
