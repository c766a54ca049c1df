"""The changes of a plan that are tried, counted by what they cost to simulate.

A size is sought in rough passes (`energy.model.rough`), those weathers alone in which it turns, and
where they err in full ones. What is offered was run through all weathers in full.
"""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from energy.answers.caution.electric import strings_suit
from energy.answers.choose.judge import MORE_SCENARIOS, OutOfWork
from energy.answers.fix.ladder import Change, Ladder
from energy.answers.fix.sizes import smallest_size
from energy.model import Index
from energy.model.limits import Overload
from energy.model.rough import rough
from energy.plan import PlanError
from energy.simulation.budget import WITHOUT_BOOKS, Budget, Step, changed
from energy.simulation.work import MOST_CELLS, cells_of

ROUGH = 0.3  # what a cell costs in a rough pass; measured
LOOKED_AT = 5  # of so many weathers one at least
RUNS = 2  # in full of what one look found
LEAST_MORE_PERCENT = 0.1  # of charge, that the second has to show


@dataclass(frozen=True)
class Seen:
    """What a pass saw of a changed plan; margin_percent as the `Budget`'s, but of the charge of the
    pack as it stands."""

    yes: bool
    margin_percent: float
    overloads: tuple[Overload, ...]


Look = Callable[[Change], Seen | None]


class Trials:
    """Changes of a plan, as many as may be simulated; cells: how many were.

    cut_short: the plan is so long that not every change was tried.
    """

    def __init__(self, result: Budget, progress: Callable[[int, int], None] | None = None):
        self.result, self.progress = result, progress
        self.lithium = result.case.battery.lithium
        self.cells, self.cut_short = 0.0, False
        turning, horizon = result.low_end.alone, result.plan.place.horizon
        self._rough = partial(rough, scenarios=_dullest(turning))
        light = turning.weather.light.with_sky(horizon)
        self._turning = replace(turning, weather=replace(turning.weather, light=light))
        self._seen: dict[str, Seen | None] = {}

    @property
    def margin_percent(self) -> float:
        """The margin of the plan as it stands, as a rough pass sees it."""
        seen = self.roughly({})
        return self.result.margin_percent if seen is None else seen.margin_percent

    def tell(self, done: int, total: int) -> None:
        """Say how far the search is."""
        if self.progress is not None:
            self.progress(done, total)

    def enough(self, ladder: Ladder) -> tuple[float, Budget] | None:
        """The smallest size of a kind of change that is enough, and its budget in all weathers;
        None where none is, or where it takes more panels than the solar input bears."""
        found = self._smallest(ladder)
        if found is None or ("more-panel" in ladder.kind and not strings_suit(found[1])):
            return None
        return found

    def _smallest(self, ladder: Ladder) -> tuple[float, Budget] | None:
        """As `enough`, whatever the solar input bears.

        Where that is less than a rough pass saw, the next size has to show so much more; where that
        does not do either, it is sought from there in full passes.
        """
        rosy_percent, looked_at = 0.0, dict[float, Seen | None]()
        for _ in range(RUNS):
            tried = partial(_tried, self.roughly, ladder, looked_at, rosy_percent)
            size = smallest_size(ladder, tried, self.margin_percent, tuple(looked_at))
            if size is None:
                break
            best = self.budget(ladder.change(size))
            if best is None or best.yes:
                return None if best is None else (size, best)
            rosy_percent += max(tried(size)[1] - self._margin_percent(best), LEAST_MORE_PERCENT)
            ladder = replace(ladder, likely=size)
        if not rosy_percent:
            return None
        tried = partial(_tried, self.closely, ladder, {}, 0.0)
        size = smallest_size(ladder, tried, self.result.margin_percent)
        best = None if size is None else self.budget(ladder.change(size))
        return (size, best) if size is not None and best is not None and best.yes else None

    def roughly(self, change: Change) -> Seen | None:
        """What a rough pass sees of the changed plan, or None where the change makes no plan.

        Raises OutOfWork where no more may be simulated.
        """
        if (key := repr(change)) not in self._seen:
            self._seen[key] = self._look(self._turning, change, self._rough, ROUGH)
        return self._seen[key]

    def closely(self, change: Change) -> Seen | None:
        """As `roughly`, by full passes in all weathers."""
        return self._look(self.result, change, WITHOUT_BOOKS, 1.0)

    def _look(self, before: Budget, change: Change, step: Step, cost: float) -> Seen | None:
        self.spend(cost * _cells(before))
        with suppress(PlanError):
            run = changed(before, change, step)
            return Seen(run.yes, self._margin_percent(run), run.overloads)
        return None

    def _margin_percent(self, run: Budget) -> float:
        return run.margin_percent * run.plan.pack.capacity_wh / self.result.plan.pack.capacity_wh

    def budget(self, change: Change) -> Budget | None:
        """The budget of the changed plan in all weathers; otherwise as `roughly`."""
        self.spend(_cells(self.result))
        with suppress(PlanError):
            return changed(self.result, change)
        return None

    def spend(self, cells: float) -> None:
        """Count so many cells more; raises OutOfWork where those are too many."""
        if self.cells + cells > MOST_CELLS:
            self.cut_short = True
            raise OutOfWork
        self.cells += cells


def _cells(result: Budget) -> float:
    """The cells of a budget with those at the ends of the doubt."""
    return sum(map(cells_of, (result, *result.bounds)))


def _tried(
    look: Look,
    ladder: Ladder,
    looked_at: dict[float, Seen | None],
    rosy_percent: float,
    size: float,
) -> tuple[bool, float]:
    """Whether a size works, and how far it is from that, less what was seen too much [percent of
    charge]; each is looked at once."""
    if size not in looked_at:
        looked_at[size] = look(ladder.change(size))
    if (seen := looked_at[size]) is None:
        return False, -1.0
    margin = seen.margin_percent - rosy_percent
    return seen.yes and margin >= 0.0, margin


def _dullest(result: Budget) -> Index:
    """Scenarios among which most that fail lie, in what is changed too."""
    above = result.lowest_percent - result.cold_unavailable_at_lowest_percent
    order = np.lexsort((np.round(-result.unmet_wh.sum(axis=0), 6), np.round(above, 6)))
    return np.sort(order[: max(2 * result.may_fail + MORE_SCENARIOS, order.size // LOOKED_AT)])
