"""The smallest change of each kind that turns a no into a yes, each one simulated.

A kind of change is a ladder: a size from none to the most, and what it changes in the plan. The
sizes are found by bisection through all weathers; nothing is offered that was not re-run.
"""

import math
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from itertools import combinations
from typing import TYPE_CHECKING, Any

from energy.answers.check.rest import left_of
from energy.answers.choose.judge import OutOfWork
from energy.answers.fix.kinds import KINDS, ladders
from energy.answers.fix.ladder import Change, Ladder
from energy.answers.fix.leaving import least_left_out
from energy.plan import Plan, PlanError
from energy.simulation.budget import Budget, budget, budget_of, changed
from energy.simulation.result import Answered
from energy.simulation.work import MOST_CELLS, cells_of

if TYPE_CHECKING:
    import pandas as pd

STEP_SHARE = 0.02  # sizes are rounded up by less than this share of what is added
BRACKET_SHARE = 0.025  # and found to within this one
FINEST = 1e-4  # of the most that a kind of change can do: less is nothing
STEPS_UP = 3
FEW = 3


@dataclass(frozen=True)
class Fix(Answered):
    """A change that makes the answer yes; `change` is what `Plan.replace` takes."""

    kind: str
    text: str
    free: bool
    change: Change
    budget: Budget = field(repr=False)

    def as_dict(self) -> dict[str, Any]:
        """The fix as `--json` prints it."""
        return {
            "kind": self.kind,
            "text": self.text,
            "free": self.free,
            "change": self.change,
            "chance": self.budget.chance.as_dict(),
        }


@dataclass(frozen=True)
class Fixes:
    """What works, easiest first, and the kinds of change that cannot do it alone, in words.

    cut_short: the plan is so long that not every change was tried.
    """

    found: tuple[Fix, ...]
    not_enough: tuple[str, ...]
    cut_short: bool = False

    def _repr_html_(self) -> str:
        return str(self.table().to_html())

    def table(self) -> "pd.DataFrame":
        """A row for each fix: what to do, whether it costs nothing, and the chance with it."""
        import pandas as pd

        rows = [(f.kind, f.text, f.free, f.budget.chance.percent) for f in self.found]
        return pd.DataFrame(rows, columns=["kind", "text", "free", "chance_percent"])


def fixes(plan: Plan | Budget, progress: Callable[[int, int], None] | None = None) -> Fixes:
    """The smallest change of each kind that makes the answer yes; none where it is yes already.

    Where no kind does it alone, the first pair that does, free changes before others.

    plan: a Plan, or its Budget, which is then not worked out again.
        Where that begins in the middle of its plan, what is done by then is no longer there to be
        changed: the changes then begin with those that leave the rest (see `left_of`).
    progress: is told how many kinds of change and pairs of them were tried, of how many.

    Raises PlanError as `budget`.

    >>> all(fix.budget.yes for fix in fixes(Plan.read("builtin:cloudy-repair")).found)
    True
    """
    result = budget_of(plan)
    if result.yes:
        return Fixes((), ())
    done: Change = {}
    if result.now is not None:
        left = left_of(result.plan, result.now, result.plan.pack.start_percent, result.done)
        if left["task"]:  # else nothing of the tasks is there to be changed
            result, done = budget(result.plan.replace(**left), result.now), left
    kinds, trials, not_enough = ladders(result), Trials(result, progress), []
    enough: list[Fix] = []
    for number, ladder in enumerate(kinds):
        trials.tell(number, len(kinds))
        try:
            fix = _smallest(trials, ladder)
        except OutOfWork:  # another kind may need less
            continue
        if fix is None:
            not_enough.append(KINDS[ladder.kind])
        else:
            enough.append(fix)
    if not enough:
        enough = _smallest_pair(trials, kinds)
    found = tuple(replace(fix, change=done | fix.change) for fix in enough)
    return Fixes(found, tuple(not_enough), trials.cut_short)


@dataclass
class Trials:
    """Changes of a plan, as many as may be simulated; cells: how many were."""

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


def _smallest(trials: Trials, ladder: Ladder, other: Change | None = None) -> Fix | None:
    """The smallest size of a change that works together with another change; None if none.

    What is left out has no size: it is a choice. What is found is run through all weathers.
    """
    given = other or {}
    without = trials.result if other is None else trials.budget(given, deciding=False)
    if without is None or without.yes:  # the other does it alone
        return None
    if ladder.kind == "leave-out":
        least = least_left_out(without, trials.spend)
        return Fix(ladder.kind, least[1], ladder.free, least[0], least[2]) if least else None

    def tried(size: float) -> tuple[bool, float]:
        changed_budget = trials.budget(given | ladder.change(size))
        if changed_budget is None:
            return False, -1.0
        return changed_budget.yes, changed_budget.margin_percent

    size = _size(ladder, tried, without.margin_percent)
    if size is None:
        return None
    for _ in range(STEPS_UP):  # all weathers may ask for a little more than those that decide
        best = trials.budget(given | ladder.change(size), deciding=False)
        if best is not None and best.yes:
            return Fix(ladder.kind, ladder.words(size), ladder.free, ladder.change(size), best)
        more = size + 1.0 if ladder.whole else _rounded_up((1.0 + STEP_SHARE) * size)
        size = min(more, ladder.most)
    return None


def _size(
    ladder: Ladder, tried: Callable[[float], tuple[bool, float]], under: float
) -> float | None:
    """The smallest size that works, None if none; `tried` says whether one does and how far it is
    from working, under how far none at all is.

    A few are tried one after another. Of many the largest first; then, between one that works and
    one that does not, the next is guessed from how far both are from working, or halfway where that
    does not tell.
    """
    if ladder.whole and ladder.most <= FEW:
        return next((float(n) for n in range(1, int(ladder.most) + 1) if tried(n)[0]), None)
    works, over = tried(ladder.most)
    if not works:
        return None
    low, high, turn = 0.0, ladder.most, 0
    while high - low > (1.0 if ladder.whole else max(BRACKET_SHARE * high, FINEST * ladder.most)):
        middle = _between(low, high, under, over, turn, ladder.whole)
        works, margin = tried(middle)
        if works:
            high, over = middle, margin
        else:
            low, under = middle, margin
        turn += 1
    return high if ladder.whole else min(_rounded_up(high), ladder.most)


def _both(first: Change, other: Change) -> Change:
    """Two changes in one; tables of all tasks hold what the other changes in them already."""
    if "task" in first:
        other = {key: value for key, value in other.items() if not key.startswith("task.")}
    return first | other


def _between(
    low: float, high: float, under: float, over: float, turn: int, whole_numbers: bool
) -> float:
    """The next size to try: a little beyond the straight line's zero; every third time halfway.

    >>> _between(0.0, 100.0, -10.0, 10.0, 0, True), _between(0.0, 100.0, -10.0, 0.0, 2, True)
    (50.0, 50.0)
    """
    share = 0.5
    if turn % 3 != 2 and under < 0.0 <= over:
        beyond = 1.01 if turn % 3 == 0 else 0.99
        share = min(max(beyond * -under / (over - under), 0.01), 0.99)
    middle = low + share * (high - low)
    return min(max(float(round(middle)), low + 1.0), high - 1.0) if whole_numbers else middle


def _smallest_pair(trials: Trials, ladders: list[Ladder]) -> list[Fix]:
    """The first two kinds that work together, easy ones before hard ones, both made small."""
    rank = {ladder.kind: k for k, ladder in enumerate(ladders)}
    pairs = sorted(
        combinations(ladders, 2), key=lambda pair: max(rank[ladder.kind] for ladder in pair)
    )
    for number, (easy, hard) in enumerate(pairs):
        trials.tell(len(ladders) + number, len(ladders) + len(pairs))
        harder = easier = None
        with suppress(OutOfWork):
            if (harder := _smallest(trials, hard, easy.change(easy.most))) is not None:
                easier = _smallest(trials, easy, harder.change)
        if harder is not None and easier is not None:
            pair = Fix(
                kind=f"{easier.kind} + {harder.kind}",
                text=f"{easier.text.removesuffix('.')}; and together with that: {harder.text}",
                free=easier.free and harder.free,
                change=_both(easier.change, harder.change),
                budget=easier.budget,
            )
            return [pair]
    return []


def _rounded_up(value: float) -> float:
    """Up to a round figure: a step of 1, 2 or 5 tens, less than 2 % of the value.

    >>> _rounded_up(117.3), _rounded_up(1041.0), _rounded_up(7.31)
    (118.0, 1060.0, 7.4)
    """
    tens = 10.0 ** math.floor(math.log10(STEP_SHARE * value))
    step = max(k for k in (1.0, 2.0, 5.0) if k * tens <= STEP_SHARE * value) * tens
    return round(math.ceil(value / step) * step, 6)
