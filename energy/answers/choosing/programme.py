"""Which options to take: a mixed-integer programme over slots of time and some of the weathers.

It knows less of the losses than the simulation, never more, so that what it cannot do, the
simulation cannot do either; whether what it finds holds is for the simulation to say. Arrays only.
"""

import os
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

from energy.model import Array, Index, Mask

Counts = NDArray[np.int64]
EXACT, NEAR, LOOSE = 1e-7, 0.01, 0.1  # how near to the best: small plans, large ones, the margin


@dataclass(frozen=True)
class Lane:
    """One weather on the slots: Wh that come to the bus less idle draws (t,), Wh that each unit of
    each option asks (options, t), floor the store must keep at each slot's end [Wh] (t,), the
    store at the start and when full [Wh], and the most that a slot can add [Wh] (t,)."""

    income_wh: Array
    asks_wh: Array
    floor_wh: Array
    start_wh: float
    full_wh: float
    most_in_wh: Array
    coulombic: float


@dataclass
class Programme:
    """The options with what binds them, and the weathers looked at so far.

    most (options,): units there may be. groups: sets of options and how many units of them there
    may be in all. together: sets of options that cannot all run. on (options, t): the share of a
    slot in which a unit needs the inverter, on_wh (t,) its idle in a whole slot. may_fail: how many
    of the weathers need not work. beaten: choices that failed, blocked: parts of choices that
    cannot run beside one another; nor can what has more.
    """

    most: Counts
    groups: list[tuple[Index, int]]
    together: list[Index]
    on: Array
    on_wh: Array
    lanes: list[Lane] = field(default_factory=list)
    may_fail: int = 0
    beaten: list[Counts] = field(default_factory=list)
    blocked: list[Counts] = field(default_factory=list)

    @property
    def failed(self) -> list[Counts]:
        """All that is cut off, with what has more."""
        return [*self.beaten, *self.blocked]


@dataclass(frozen=True)
class Solution:
    """Units of each option, what each level serves, the most that it could, given the levels before
    it, and whether the solver came to an end."""

    counts: Counts
    served: tuple[float, ...]
    bound: tuple[float, ...]
    finished: bool


def solve(
    programme: Programme, levels: Sequence[Array], until_s: float, patience_s: float = np.inf
) -> Solution | None:
    """The best choice, level by level, then the one that leaves most in the store; None if none.

    levels: for each, what one unit of each option serves (options,). until_s is a moment of
    `time.monotonic` at which to stop with the best so far. A level that takes longer than
    patience_s ends a little below its best, and what was taken so far is settled before the next.
    """
    patient = np.isinf(patience_s)
    system = _System(programme)
    served: list[float] = []
    bound: list[float] = []
    best = np.zeros(programme.most.size, dtype=np.int64)
    at_least: list[tuple[Array, float]] = []
    settled = np.zeros(programme.most.size, dtype=bool)
    gap, finished = (EXACT, True) if patient else (NEAR, True)
    for number, level in enumerate(levels):
        objective = np.zeros(system.size)
        objective[: level.size] = -level
        left_s = max(until_s - time.monotonic(), 0.05)
        limit_s = left_s if patient or settled.any() else min(left_s, patience_s)
        found, most, ended = system.solve(objective, at_least, limit_s, gap, settled, best)
        if not ended and not patient:
            settled = np.sum(levels[: number + 1], axis=0) > 0.0
            if found is None and number:
                settled = np.sum(levels[:number], axis=0) > 0.0
                found, _, ended = system.solve(objective, [], left_s, gap, settled, best)
        if found is None:
            return None
        finished = finished and ended
        best = np.round(found[: programme.most.size]).astype(np.int64)
        served.append(float(level @ best))
        bound.append(max(most, served[-1]))
        row = np.zeros(system.size)
        row[: level.size] = level
        at_least.append((row, served[-1] - 1e-6))
    objective = np.zeros(system.size)
    objective[system.margin] = -1.0
    left_s = max(until_s - time.monotonic(), 0.05)
    found, _, _ = system.solve(objective, at_least, min(left_s, patience_s), LOOSE, settled, best)
    if found is not None:
        best = np.round(found[: programme.most.size]).astype(np.int64)
    return Solution(best, tuple(served), tuple(bound), finished)


class _System:
    """The programme as rows and columns: options, the inverter, then each lane's store."""

    def __init__(self, programme: Programme):
        self.programme = programme
        count, slots = programme.on.shape
        lanes = len(programme.lanes)
        self.inverter = count
        self.stores = count + slots
        self.margin = self.stores + lanes * slots
        self.fails = self.margin + 1
        gives_up = lanes if programme.may_fail else 0
        self.size = self.fails + gives_up
        self.cut_from = self.size
        self.size += sum(int(np.count_nonzero(counts)) for counts in programme.failed)
        several = {int(i) for members in programme.together for i in members}
        several = {i for i in several if programme.most[i] > 1}
        self.runs = dict(
            zip(sorted(several), range(self.size, self.size + len(several)), strict=True)
        )
        self.size += len(several)
        self.rows: list[int] = []
        self.columns: list[int] = []
        self.values: list[float] = []
        self.low: list[float] = []
        self.high: list[float] = []
        self._limits()
        for number, lane in enumerate(programme.lanes):
            self._lane(number, lane)
        if gives_up:
            fails = range(self.fails, self.fails + lanes)
            self._row(dict.fromkeys(fails, 1.0), -np.inf, programme.may_fail)
        self._cuts()

    def _row(self, entries: dict[int, float], low: float, high: float) -> None:
        self.rows += [len(self.low)] * len(entries)
        self.columns += entries.keys()
        self.values += entries.values()
        self.low.append(low)
        self.high.append(high)

    def _limits(self) -> None:
        programme = self.programme
        for members, most in programme.groups:
            self._row(dict.fromkeys(members.tolist(), 1.0), -np.inf, most)
        for i, runs in self.runs.items():
            self._row({i: 1.0, runs: -float(programme.most[i])}, -np.inf, 0.0)
        for members in programme.together:
            row = {self.runs.get(i, i): 1.0 for i in members.tolist()}
            self._row(row, -np.inf, len(members) - 1.0)
        option, slot = np.nonzero(programme.on)
        for i, t in zip(option.tolist(), slot.tolist(), strict=True):
            share = programme.on[i, t] / max(1.0, programme.on[i, t] * programme.most[i])
            self._row({i: -share, self.inverter + t: 1.0}, 0.0, np.inf)

    def _lane(self, number: int, lane: Lane) -> None:
        slots = lane.income_wh.size
        first = self.stores + number * slots
        for t in range(slots):
            asking = np.flatnonzero(lane.asks_wh[:, t])
            for share in {1.0, lane.coulombic}:
                row = {int(i): share * lane.asks_wh[i, t] for i in asking}
                if self.programme.on_wh[t] > 0.0:
                    row[self.inverter + t] = share * self.programme.on_wh[t]
                row[first + t] = 1.0
                high = share * lane.income_wh[t]
                if t:
                    row[first + t - 1] = -1.0
                else:
                    high += lane.start_wh
                self._row(row, -np.inf, high)
            rise = {first + t: 1.0} | ({first + t - 1: -1.0} if t else {})
            self._row(rise, -np.inf, lane.most_in_wh[t] + (0.0 if t else lane.start_wh))
            keeps = {first + t: 1.0, self.margin: -1.0}
            if self.programme.may_fail:
                keeps[self.fails + number] = lane.floor_wh[t] + lane.full_wh
            self._row(keeps, lane.floor_wh[t], np.inf)

    def _cuts(self) -> None:
        """Of every choice that failed, at least one part must be less."""
        column = self.cut_from
        for counts in self.programme.failed:
            taken = np.flatnonzero(counts)
            for k, i in enumerate(taken.tolist()):
                room = float(self.programme.most[i] - counts[i] + 1)
                self._row({i: 1.0, column + k: room}, -np.inf, counts[i] - 1.0 + room)
            self._row(dict.fromkeys(range(column, column + taken.size), 1.0), 1.0, np.inf)
            column += taken.size

    def solve(
        self,
        objective: Array,
        more: Sequence[tuple[Array, float]],
        left_s: float,
        gap: float,
        settled: Mask,
        keep: Counts,
    ) -> tuple[Array | None, float, bool]:
        """The columns that make the objective least, the most that its negative could be, and
        whether the solver came to an end."""
        programme, lanes = self.programme, self.programme.lanes
        low, high = np.zeros(self.size), np.ones(self.size)
        whole = np.zeros(self.size)
        high[: programme.most.size] = programme.most
        low[: settled.size][settled] = high[: settled.size][settled] = keep[settled]
        whole[: programme.most.size] = 1
        for number, lane in enumerate(lanes):
            first = self.stores + number * lane.income_wh.size
            high[first : first + lane.income_wh.size] = lane.full_wh
            low[first : first + lane.income_wh.size] = -np.inf  # one that may fail runs out
        low[self.margin] = 0.0
        high[self.margin] = max((lane.full_wh for lane in lanes), default=1.0)
        whole[self.fails :] = 1
        matrix = sparse.csr_array(
            (self.values, (self.rows, self.columns)), shape=(len(self.low), self.size)
        )
        constraints = [LinearConstraint(matrix, self.low, self.high)]
        constraints += [LinearConstraint(row, least, np.inf) for row, least in more]
        with _silent():
            found = milp(
                objective,
                integrality=whole,
                bounds=Bounds(low, high),
                constraints=constraints,
                options={"time_limit": left_s, "mip_rel_gap": gap},
            )
        best = found.get("mip_dual_bound")
        return found.x, np.inf if best is None else -float(best), found.status == 0


@contextmanager
def _silent() -> Iterator[None]:
    """The solver writes to file descriptor 1 whatever it is told: away with that."""
    sys.stdout.flush()
    kept, nowhere = os.dup(1), os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)
