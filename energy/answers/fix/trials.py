"""The changes of a plan that are tried, counted by what they cost to simulate."""

from collections.abc import Callable
from dataclasses import dataclass

from energy.answers.choose.judge import OutOfWork
from energy.answers.fix.ladder import Change
from energy.plan import PlanError
from energy.simulation.budget import Budget, changed
from energy.simulation.work import MOST_CELLS, cells_of


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

    def budget(self, change: Change, deciding: bool = True) -> Budget | None:
        """The budget of the changed plan, or None where the change makes no plan.

        Raises OutOfWork where no more may be simulated.
        """
        several = (self.result.low_end,) if deciding else (self.result, *self.result.bounds)
        self.spend(sum(map(cells_of, several)))
        try:
            return changed(self.result, change, deciding)
        except PlanError:
            return None

    def spend(self, cells: float) -> None:
        """Count so many cells more; raises OutOfWork where those are too many."""
        if self.cells + cells > MOST_CELLS:
            self.cut_short = True
            raise OutOfWork
        self.cells += cells
