"""How far a kind of change has to go: the search for the smallest size that works."""

import math
from collections.abc import Callable, Iterable

from energy.answers.fix.ladder import Ladder

STEP_SHARE = 0.02  # sizes are rounded up by less than this share of what is added
BRACKET_SHARE = 0.01  # and found to within this one
FINEST = 1e-4  # of the most that a kind of change can do: less is nothing
FEW = 3
FAR_PERCENT = 3.0  # of charge: where most of a few misses by so much, none of them is enough


def smallest_size(
    ladder: Ladder,
    tried: Callable[[float], tuple[bool, float]],
    under: float,
    looked_at: Iterable[float] = (),
) -> float | None:
    """The smallest size that works, None if none; `tried` says whether one does and how far it is
    from working, under how far none at all is. The search goes on from sizes looked at before.

    The largest is tried first, then a few one after another. Of many, between one that works and
    one that does not, the next is guessed from how far both are from working, or halfway where that
    does not tell.
    """
    works, over = tried(ladder.most)
    if ladder.whole and ladder.most <= FEW and over > -FAR_PERCENT:
        return next((float(n) for n in range(1, int(ladder.most) + 1) if tried(n)[0]), None)
    if not works:
        return None
    low, high, turn = 0.0, ladder.most, 0
    for size in sorted(looked_at):
        works, margin = tried(size)
        if works:
            high, over = size, margin
            break
        low, under = size, margin
    while not near(low, high, ladder):
        middle = between(low, high, under, over, turn, ladder.whole)
        works, margin = tried(middle)
        if works:
            high, over = middle, margin
        else:
            low, under = middle, margin
        turn += 1
    return high if ladder.whole else min(rounded_up(high), ladder.most)


def near(low: float, high: float, ladder: Ladder) -> bool:
    """Whether a size that fails and one that works are near enough to stop."""
    return high - low <= (1.0 if ladder.whole else max(BRACKET_SHARE * high, FINEST * ladder.most))


def between(low: float, high: float, under: float, over: float, turn: int, whole: bool) -> float:
    """The next size to try: a little beyond the straight line's zero; every third time halfway.

    >>> between(0.0, 100.0, -10.0, 10.0, 0, True), between(0.0, 100.0, -10.0, 0.0, 2, True)
    (50.0, 50.0)
    """
    share = 0.5
    if turn % 3 != 2 and under < 0.0 <= over:
        beyond = 1.01 if turn % 3 == 0 else 0.99
        share = min(max(beyond * -under / (over - under), 0.01), 0.99)
    middle = low + share * (high - low)
    return min(max(float(round(middle)), low + 1.0), high - 1.0) if whole else middle


def rounded_up(value: float) -> float:
    """Up to a round figure: a step of 1, 2 or 5 tens, less than 2 % of the value.

    >>> rounded_up(117.3), rounded_up(1041.0), rounded_up(7.31)
    (118.0, 1060.0, 7.4)
    """
    tens = 10.0 ** math.floor(math.log10(STEP_SHARE * value))
    step = max(k for k in (1.0, 2.0, 5.0) if k * tens <= STEP_SHARE * value) * tens
    return round(math.ceil(value / step) * step, 6)
