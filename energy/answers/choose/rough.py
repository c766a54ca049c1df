"""A rough judge of choices in which nothing moves: half hours, added up task by task.

It is made for finding a choice that the simulation then judges: hundreds cost as much as one pass.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np

from energy.answers.choose.coarse import Coarse
from energy.answers.choose.items import Levels
from energy.answers.choose.judge import Judge, Layout
from energy.model import Array, Mask

MOST_OFF = 0.05  # of the charge: what runs flat is not seen further off


class RoughJudge(Judge):
    """Judges as `Judge` does, but for the half hours; limits and hands as there."""

    def __init__(self, *given: Any):
        super().__init__(*given)
        everyone = np.arange(self.deciding.success.size)
        self.coarse = Coarse(self.deciding, scenarios=everyone, losses=True)
        self._idle_wh = self.coarse.inverter_wh(())
        self._wh: dict[tuple[int, int], Array] = {}

    def learn(self, levels: Levels, in_full: Judge) -> None:
        """See each scenario as much better or worse as the simulation sees it with a choice, and
        forget what was judged before."""
        bursts = self._bursts(levels, self._layouts(levels, None)[0])
        margin = in_full.batch.margins([bursts])[0] / 100.0
        rosy = self.coarse.lowest(self._asked_wh(levels)[None])[0] - margin
        self.coarse.floor = self.coarse.floor + np.clip(rosy, -MOST_OFF, MOST_OFF)
        self.start_afresh()

    def _failing_of(self, trials: Sequence[tuple[Levels, Layout]]) -> list[Mask | None]:
        masks: list[Mask | None] = [None] * len(trials)
        able = [n for n, trial in enumerate(trials) if self._able(self._bursts(*trial))]
        self._count(len(able))
        if able:
            asked_wh = np.stack([self._asked_wh(trials[n][0]) for n in able])
            for n, lowest in zip(able, self.coarse.lowest(asked_wh), strict=True):
                masks[n] = lowest < -1e-9
        return masks

    def _asked_wh(self, levels: Levels) -> Array:
        """What a choice asks of the bus in each slot and scenario [Wh], (t, s)."""
        by_task: dict[int, Array] = {}
        for i, level in enumerate(self.piece_levels(levels)):
            if level:
                task = self.every[i].task
                by_task[task] = by_task.get(task, 0.0) + self._piece_wh(i, level)
        asked_wh = np.repeat(self._idle_wh[:, None], self.coarse.factor.shape[1], axis=1)
        for task, wh in by_task.items():
            asked_wh += wh[:, None] * self.coarse.factor[task]
        return asked_wh

    def _piece_wh(self, i: int, level: int) -> Array:
        if (i, level) not in self._wh:
            bursts = self.places.bursts(i, level, ())
            self._wh[i, level] = self.coarse.asked_wh(self.every[i].task, bursts)
        return self._wh[i, level]
