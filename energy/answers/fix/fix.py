"""The smallest change of each kind that turns a no into a yes, each one simulated.

A kind of change is a ladder: a size from none to the most, and what it changes in the plan. The
sizes are found by rough passes; nothing is offered that was not re-run through all weathers.
"""

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from energy.answers.check.rest import left_of
from energy.answers.choose.judge import OutOfWork
from energy.answers.fix.kinds import KINDS, ON_SITE, ladders
from energy.answers.fix.ladder import Change, Ladder
from energy.answers.fix.leaving import least_left_out
from energy.answers.fix.pair import pair_of
from energy.answers.fix.trials import Seen, Trials
from energy.plan import Plan, PlanError
from energy.show.numbers import for_json
from energy.simulation.answered import Answered
from energy.simulation.budget import Budget, budget, budget_of

if TYPE_CHECKING:
    import pandas as pd


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
            "change": for_json(self.change, 6),
            "chance": self.budget.chance.as_dict(),
        }


@dataclass(frozen=True)
class Fixes:
    """What works, easiest first, and the kinds of change that cannot do it alone, in words.

    cut_short: the plan is so long that not every change was tried. none_sought: why no change was
    looked for, empty where they were.
    """

    found: tuple[Fix, ...]
    not_enough: tuple[str, ...]
    cut_short: bool = False
    none_sought: str = ""

    def _repr_html_(self) -> str:
        return str(self.table().to_html())

    def table(self) -> "pd.DataFrame":
        """A row for each fix: what to do, whether it costs nothing, and the chance with it."""
        import pandas as pd

        rows = [(f.kind, f.text, f.free, f.budget.chance.percent) for f in self.found]
        return pd.DataFrame(rows, columns=["kind", "text", "free", "chance_percent"])


def fixes(plan: Plan | Budget, progress: Callable[[int, int], None] | None = None) -> Fixes:
    """The smallest change of each kind that makes the answer yes; none where it is yes already.

    Where no kind that keeps all the work and needs nothing bought does it alone, two together may
    (see `pair`).

    plan: a Plan, or its Budget, which is then not worked out again.
        Where that begins in the middle of its plan, what is done by then is no longer there to be
        changed: the changes then begin with those that leave the rest (see `left_of`), and
        nothing is bought or charged beforehand.
    progress: is told how many kinds of change were tried, of how many.

    Raises PlanError as `budget`.

    >>> all(fix.budget.yes for fix in fixes(Plan.read("builtin:cloudy-repair")).found)
    True
    """
    result = budget_of(plan)
    if result.yes:
        return Fixes((), ())
    done: Change = {}
    if result.now is not None:
        try:
            left = left_of(result.plan, result.now, result.plan.pack.start_percent, result.done)
        except PlanError as error:  # the rest cannot be told as a plan
            return Fixes((), (), none_sought=error.problems[0])
        if left["task"]:  # else nothing of the tasks is there to be changed
            result, done = budget(result.plan.replace(**left), result.now), left
    trials, alone = Trials(result, progress), []
    kinds = ladders(trials)
    for number, ladder in enumerate(kinds):
        trials.tell(number, len(kinds))
        with suppress(OutOfWork):  # another kind may need less
            alone.append(_alone(trials, ladder))
    enough = [each.fix for each in alone if each.fix is not None]
    not_enough = tuple(KINDS[each.ladder.kind] for each in alone if each.fix is None)
    if not any(fix.kind in ON_SITE and fix.kind != "leave-out" for fix in enough):
        with suppress(OutOfWork):
            enough += _pairs(trials, alone)
    enough.sort(key=_rank)
    enough_in_all = tuple(replace(fix, change=done | fix.change) for fix in enough)
    return Fixes(enough_in_all, not_enough, trials.cut_short)


@dataclass(frozen=True)
class _Alone:
    """What a kind of change does alone: the fix, None where it is not enough, and then what was
    seen of as much of it as can be, None where that is no plan or was not run."""

    ladder: Ladder
    fix: Fix | None
    at_most: Seen | None = None


def _alone(trials: Trials, ladder: Ladder) -> _Alone:
    """The smallest size of a kind of change that works; what is left out has none: it is a
    choice."""
    if ladder.kind == "leave-out":
        least = least_left_out(trials.result, trials.spend)
        fix = Fix(ladder.kind, least[1], True, least[0], least[2]) if least else None
        return _Alone(ladder, fix)
    enough = trials.enough(ladder)
    if enough is None:
        return _Alone(ladder, None, trials.roughly(ladder.change(ladder.most)))
    size, best = enough
    return _Alone(ladder, _fix(ladder, size, best))


def _pairs(trials: Trials, alone: Sequence[_Alone]) -> list[Fix]:
    """Two kinds that are enough together as one fix, none without such a pair.

    What is bought, or a fuller start, is one of the two only where a limit turns work away or
    nothing else is enough.
    """
    any_kind = bool(trials.result.overloads) or all(each.fix is None for each in alone)
    fitting = [
        (each.ladder, each.at_most)
        for each in alone
        if each.fix is None
        and (each.at_most is not None or each.ladder.kind == "leave-out")
        and (any_kind or each.ladder.kind in ON_SITE)
    ]
    pair = pair_of(trials, fitting)
    if pair is None:
        return []
    (both, size), best = pair
    return [_fix(both, size, best)]


def _fix(ladder: Ladder, size: float, best: Budget) -> Fix:
    """A kind of change at the size that is enough."""
    return Fix(ladder.kind, ladder.words(size), ladder.free, ladder.change(size), best)


def _rank(fix: Fix) -> tuple[int, bool]:
    """What a fix costs a person: its kind's place, two things at once after all that is on site."""
    kinds = tuple(KINDS)
    hardest = max(kinds.index(kind) for kind in fix.kind.split(" + "))
    pair = "+" in fix.kind
    return max(hardest, len(ON_SITE) - 1) if pair else hardest, pair
