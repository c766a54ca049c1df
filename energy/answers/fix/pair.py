"""Two changes that are enough together where neither is alone, found in few runs."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, islice

from energy.answers.fix.ladder import Change, Ladder
from energy.answers.fix.sizes import between, near, rounded_up
from energy.answers.fix.trials import Trials
from energy.simulation.budget import Budget

MOST_RUNS = 5  # of the simulation, for finding a pair and for making it small

Alone = tuple[Ladder, Budget | None]


@dataclass(frozen=True)
class Pair:
    """Two kinds of change, the easier first, how far each goes, and the budget with both."""

    ladders: tuple[Ladder, Ladder]
    sizes: tuple[float, float]
    budget: Budget


def pair_of(trials: Trials, alone: Sequence[Alone]) -> Pair | None:
    """Two kinds of change that make a plan a yes together, None where none is found.

    alone: the kinds, easiest first, with the budget of each made as far as it goes, None where that
    is not known.
    """
    promising = islice(_promising(trials.result, alone), MOST_RUNS)
    for runs, (easy, hard) in enumerate(promising, start=1):
        best = trials.budget(_both(easy, easy.most, hard, hard.most), deciding=False)
        if best is not None and best.yes:
            return _made_small(trials, Pair((easy, hard), (easy.most, hard.most), best), runs)
    return None


def _promising(result: Budget, alone: Sequence[Alone]) -> Iterator[tuple[Ladder, Ladder]]:
    """Pairs of kinds, those first that should be enough if what each gains adds up, then the
    easiest. A kind of which nothing is known should be enough with anything that helps."""
    short = result.margin_percent
    pairs = []
    for (i, (easy, with_easy)), (j, (hard, with_hard)) in combinations(enumerate(alone), 2):
        runs = [run for run in (with_easy, with_hard) if run is not None]
        cleared = len(runs) < 2 or any(not run.overloads for run in runs)
        gains = [run.margin_percent - short for run in runs]
        if (
            not cleared
            or not easy.most * hard.most
            or not _apart(easy.change(easy.most), hard.change(hard.most))
        ):
            continue
        lacks = -short - sum(gains) if len(runs) == 2 else 0.0
        pairs.append((max(round(lacks), 0), j, i, easy, hard))
    for *_, easy, hard in sorted(pairs, key=lambda pair: pair[:3]):
        yield easy, hard


def _apart(change: Change, other: Change) -> bool:
    """Whether two changes touch different things.

    >>> _apart({"task.2": None}, {"task.2.supply": "dc12"}), _apart({"task.2": None}, {"panel": []})
    (False, True)
    """
    return not any(
        f"{key}.".startswith(f"{with_it}.") or f"{with_it}.".startswith(f"{key}.")
        for key in change
        for with_it in other
    )


def _both(easy: Ladder, easy_size: float, hard: Ladder, hard_size: float) -> Change:
    return easy.change(easy_size) | hard.change(hard_size)


def _made_small(trials: Trials, pair: Pair, runs: int) -> Pair:
    """A pair with as little of the harder change as works, then of the easier, in what runs are
    left."""
    easy, hard = pair.ladders
    for ladder in (hard, easy):
        low, under, turn = 0.0, trials.result.margin_percent, 0
        sizes, high = pair.sizes, ladder.most
        while runs < MOST_RUNS and not near(low, high, ladder):
            middle = between(low, high, under, pair.budget.margin_percent, turn, ladder.whole)
            middle = middle if ladder.whole else min(rounded_up(middle), high)
            sizes = (pair.sizes[0], middle) if ladder is hard else (middle, pair.sizes[1])
            run = trials.budget(_both(easy, sizes[0], hard, sizes[1]), deciding=False)
            runs, turn = runs + 1, turn + 1
            if run is not None and run.yes:
                high, pair = middle, Pair(pair.ladders, sizes, run)
            else:
                low, under = middle, -1.0 if run is None else run.margin_percent
    return pair
