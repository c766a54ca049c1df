"""How many units of more work the charge bears, and where: as many as hold, and one more nowhere.

More work never helps the charge. So places are taken in order while the simulation says yes; then
every other place is tried for one more, until none holds.
"""

from collections.abc import Sequence

import numpy as np

from energy.answers.choose.batch import Batch
from energy.answers.choose.coarse import SLOT_S, Coarse
from energy.answers.choose.judge import AT_ONCE, MORE_SCENARIOS
from energy.answers.choose.room import Room
from energy.model.demand import Burst
from energy.simulation.budget import Budget

MOST_SLOTS = 200  # a long span is ranked in longer steps
SPREAD = 6  # numbers that are tried side by side

Starts = list[float]


class Filling:
    """Fills a plan with units of one more task; starts are the moments at which one may begin."""

    def __init__(self, result: Budget, room: Room, planned: Sequence[Burst], starts: Starts):
        self.result, self.room, self.planned, self.starts = result, room, planned, starts
        self.batch = Batch(result)
        self.one_more_fails = 0  # in so many scenarios at least, wherever one more is put
        order = result.worst_first
        few = min(2 * result.may_fail + MORE_SCENARIOS, order.size)
        self.dullest, self.others = np.sort(order[:few]), np.sort(order[few:])
        self.slot_s = max(SLOT_S, float(result.time_s[-1] - result.time_s[0]) / MOST_SLOTS)

    def holds(self, several: Sequence[Starts]) -> list[bool]:
        """Which sets of units the charge bears in enough scenarios."""
        return [number <= self.result.may_fail for number in self.failing(several)]

    def failing(self, several: Sequence[Starts]) -> list[int]:
        """In how many scenarios each set of units fails; at least so many, where more do than
        may."""
        numbers: list[int] = []
        for first in range(0, len(several), AT_ONCE):
            sets = [
                [*self.planned, *self.room.bursts(self.room.in_series(starts))]
                for starts in several[first : first + AT_ONCE]
            ]
            failing = [int(mask.sum()) for mask in self.batch.failing(sets, self.dullest)]
            unsure = [k for k, number in enumerate(failing) if number <= self.result.may_fail]
            if unsure and self.others.size:
                masks = self.batch.failing([sets[k] for k in unsure], self.others)
                for k, mask in zip(unsure, masks, strict=True):
                    failing[k] += int(mask.sum())
            numbers += failing
        return numbers

    def most(self) -> Starts:
        """As many units as hold; with one more at any place tried the plan fails."""
        chosen = self._more([], self._best_first())
        left = _without(self.starts, chosen)
        while left:
            tried = self._ends_of_slots(left)
            failing = self.failing([[*chosen, start] for start in tried])
            self.one_more_fails = min(failing)
            numbers = zip(tried, failing, strict=True)
            fits = [start for start, number in numbers if number <= self.result.may_fail]
            slots = {self._slot(start) for start in fits}
            neighbours = [start for start in _without(left, fits) if self._slot(start) in slots]
            chosen = self._more(chosen, [*fits, *neighbours])
            left = _without([*fits, *neighbours], chosen)
        return sorted(chosen)

    def _more(self, chosen: Starts, order: Starts) -> Starts:
        """The chosen units and as many of others, in their order, as hold."""
        low, high = 0, len(order)
        while low < high:
            several = sorted({high - (high - low - 1) * k // (SPREAD - 1) for k in range(SPREAD)})
            holds = self.holds([[*chosen, *order[:number]] for number in several])
            for number, ok in zip(several, holds, strict=True):
                if not ok:
                    high = number - 1
                    break
                low = number
        return [*chosen, *order[:low]]

    def _best_first(self) -> Starts:
        """The starts, those first whose slot of time leaves most in the store; of equal ones the
        early."""
        if not self.starts:
            return []
        coarse = Coarse(self.result, self.slot_s)
        by_slot: dict[int, Starts] = {}
        for start in self.starts:
            by_slot.setdefault(self._slot(start), []).append(start)
        number = self.room.number
        own = np.stack(
            [
                coarse.asked_wh(number, self.room.bursts(self.room.in_series(mine)))
                for mine in by_slot.values()
            ]
        )
        own *= (own.sum(axis=1).max() / np.maximum(own.sum(axis=1), 1e-9))[:, None]
        margin, store = coarse.judge(
            coarse.asked_by(self.planned) + own[:, :, None] * coarse.factor[number]
        )
        merit = dict(
            zip(by_slot, zip(np.round(margin, 3), np.round(store, 4), strict=True), strict=True)
        )
        order = sorted(by_slot, key=lambda slot: (*(-m for m in merit[slot]), slot))
        ordered: Starts = []
        for n, slot in enumerate(order):  # towards what is there already
            ordered += reversed(by_slot[slot]) if slot + 1 in order[:n] else by_slot[slot]
        return ordered

    def _slot(self, start_s: float) -> int:
        return int(start_s // self.slot_s)

    def _ends_of_slots(self, starts: Starts) -> Starts:
        """The first and the last of the starts in each slot of time."""
        by_slot: dict[int, Starts] = {}
        for start in sorted(starts):
            by_slot.setdefault(self._slot(start), []).append(start)
        return [start for mine in by_slot.values() for start in sorted({mine[0], mine[-1]})]


def _without(starts: Starts, gone: Starts) -> Starts:
    out = set(gone)
    return [start for start in starts if start not in out]
