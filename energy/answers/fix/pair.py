"""Two changes that are enough together where neither is alone, found in few runs."""

import math
from collections.abc import Iterator, Sequence
from itertools import combinations, islice

from energy.answers.fix.ladder import Change, Ladder
from energy.answers.fix.trials import Seen, Trials
from energy.simulation.budget import Budget

MOST_PAIRS = 10  # are looked at: one that is not enough costs a rough pass
MOST_LACKING = 0.25  # of what is short: where the sum of both gains lacks more, no pair was enough

Alone = tuple[Ladder, Seen | None]


def pair_of(trials: Trials, alone: Sequence[Alone]) -> tuple[tuple[Ladder, float], Budget] | None:
    """Two kinds of change that make a plan a yes together, as one with its size, and the budget
    with it; None where none is found.

    alone: the kinds, easiest first, with what was seen of each made as far as it goes, None where
    that is not known.
    """
    for easy, hard in islice(_promising(trials, alone), MOST_PAIRS):
        both = _both(easy, easy.most, hard)
        enough = trials.enough(both)
        if enough is None:
            continue
        hard_size, best = enough
        if easy.most > 1.0:  # there may be less of it
            less = _both(hard, hard_size, easy)
            size, best = trials.enough(less) or (easy.most, best)
            return (_both(easy, size, hard), hard_size), best
        return (both, hard_size), best
    return None


def _promising(trials: Trials, alone: Sequence[Alone]) -> Iterator[tuple[Ladder, Ladder]]:
    """Pairs of kinds, those first that should be enough if what each gains adds up, then the
    easiest. A kind of which nothing is known should be enough with anything that helps.

    Where a limit turns work away, to let it run costs charge, and that is no loss. Elsewhere those
    that should lack much are left out; an empty lead-acid pack does not tell how much it lacks.
    """
    short, pairs = trials.margin_percent, []
    most_lacking = max(-MOST_LACKING * short, 0.0) if trials.lithium else math.inf
    for (i, (easy, with_easy)), (j, (hard, with_hard)) in combinations(enumerate(alone), 2):
        runs = [run for run in (with_easy, with_hard) if run is not None]
        cleared = len(runs) < 2 or any(not run.overloads for run in runs)
        if (
            not cleared
            or not easy.most * hard.most
            or not _apart(easy.change(easy.most), hard.change(hard.most))
        ):
            continue
        limited = bool(trials.result.overloads) or any(run.overloads for run in runs)
        least = 0.0 if limited else -math.inf
        gains = [max(run.margin_percent - short, least) for run in runs]
        lacks = -short - sum(gains) if len(runs) == 2 else 0.0
        if limited or lacks <= most_lacking:
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


def _both(given: Ladder, size: float, open_: Ladder) -> Ladder:
    """A kind of change made beside so much of another.

    >>> saw = Ladder("off", True, lambda _: {"task.1": None}, lambda _: "Leave out.")
    >>> sun = Ladder("panel", False, lambda w: {"panel.1.rated_w": w}, lambda w: f"Take {w:.0f} W.")
    >>> both = _both(saw, 1.0, sun)
    >>> both.words(50.0), both.change(50.0)
    ('Leave out; and take 50 W.', {'task.1': None, 'panel.1.rated_w': 50.0})
    """

    def words(more: float) -> str:
        with_it = open_.words(more)
        first = given.words(size).removesuffix(".")
        return f"{first}; and {with_it[0].lower()}{with_it[1:]}"

    return Ladder(
        kind=f"{given.kind} + {open_.kind}",
        free=given.free and open_.free,
        change=lambda more: given.change(size) | open_.change(more),
        words=words,
        most=open_.most,
        whole=open_.whole,
        likely=open_.likely,
    )
