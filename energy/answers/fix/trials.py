"""The changes of a plan that are tried, counted by what they cost to simulate.

A size is sought in rough passes (`energy.model.rough`), those weathers alone in which it turns.
What is offered was run through all weathers in full.
"""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from functools import partial

import numpy as np

from energy.answers.choose.judge import MORE_SCENARIOS, OutOfWork
from energy.answers.fix.ladder import Change, Ladder
from energy.answers.fix.sizes import smallest_size
from energy.model import Index
from energy.model.rough import rough
from energy.plan import PlanError
from energy.simulation.budget import Budget, changed
from energy.simulation.work import MOST_CELLS, cells_of

ROUGH = 0.3  # what a cell costs in a rough pass; measured
FULL_RUNS = 4  # of a kind of change, each with more of it
LEAST_MORE = 0.1  # percent of charge that each adds at least


def roughly(result: Budget, change: Change) -> Budget:
    """The budget of a changed plan by a rough pass in those weathers on which its yes turns."""
    turning = result.low_end.alone
    return changed(turning, change, partial(rough, scenarios=_dullest(turning)))


def _dullest(result: Budget) -> Index:
    """Scenarios among which most that fail lie, in what is changed too."""
    above = result.lowest_percent - result.cold_unavailable_at_lowest_percent
    order = np.lexsort((np.round(-result.unmet_wh.sum(axis=0), 6), np.round(above, 6)))
    return np.sort(order[: 2 * result.may_fail + MORE_SCENARIOS])


@dataclass
class Trials:
    """Changes of a plan, as many as may be simulated; cells: how many were.

    cut_short: the plan is so long that not every change was tried.
    """

    result: Budget
    progress: Callable[[int, int], None] | None = None
    cells: float = 0.0
    cut_short: bool = False

    def tell(self, done: int, total: int) -> None:
        """Say how far the search is."""
        if self.progress is not None:
            self.progress(done, total)

    def enough(self, ladder: Ladder) -> tuple[float, Budget] | None:
        """The smallest size of a kind of change that is enough, and its budget in all weathers;
        None where none is.

        Where that is less than the rough pass saw, the next has to show so much more.
        """
        rosy_percent, passes = 0.0, dict[float, Budget | None]()

        def tried(size: float) -> tuple[bool, float]:
            if size not in passes:
                passes[size] = self.roughly(ladder.change(size))
            if (run := passes[size]) is None:
                return False, -1.0
            margin = run.margin_percent - rosy_percent
            return run.yes and margin >= 0.0, margin

        for _ in range(FULL_RUNS):
            size = smallest_size(ladder, tried, self.result.margin_percent)
            best = None if size is None else self.budget(ladder.change(size))
            if size is None or best is None:
                return None
            if best.yes:
                return size, best
            _, over = tried(size)
            rosy_percent += max(over - best.margin_percent, LEAST_MORE)
        return None

    def roughly(self, change: Change) -> Budget | None:
        """The budget of the changed plan by a rough pass, or None where the change makes no plan.

        Raises OutOfWork where no more may be simulated.
        """
        self.spend(ROUGH * cells_of(self.result.low_end))
        with suppress(PlanError):
            return roughly(self.result, change)
        return None

    def budget(self, change: Change) -> Budget | None:
        """The budget of the changed plan in all weathers; otherwise as `roughly`."""
        self.spend(sum(map(cells_of, (self.result, *self.result.bounds))))
        with suppress(PlanError):
            return changed(self.result, change)
        return None

    def spend(self, cells: float) -> None:
        """Count so many cells more; raises OutOfWork where those are too many."""
        if self.cells + cells > MOST_CELLS:
            self.cut_short = True
            raise OutOfWork
        self.cells += cells
