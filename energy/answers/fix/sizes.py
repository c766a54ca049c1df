"""How far a kind of change has to go: the search for the smallest size that works."""

import math
from collections.abc import Callable, Iterable

from energy.answers.fix.ladder import Ladder

STEP_SHARE = 0.02  # sizes are rounded up by less than this share of what is added
BRACKET_SHARE = 0.01  # and found to within this one
BEYOND_SHARE = 0.003  # by so much of it the guess is missed on purpose: then both ends are near
AGAIN = 4  # moves of the same end in a row: a straight line tells nothing
FINEST = 1e-4  # of the most that a kind of change can do: less is nothing
FEW = 3
FAR_PERCENT = 3.0  # of charge: where most of a few misses by so much, none of them is enough

End = tuple[float, float]  # a size and how far it is from working


def smallest_size(
    ladder: Ladder,
    tried: Callable[[float], tuple[bool, float]],
    under: float,
    looked_at: Iterable[float] = (),
) -> float | None:
    """The smallest size that works, None if none; `tried` says whether one does and how far it is
    from working, under how far none at all is. The search goes on from sizes looked at before.

    A few are tried one after another. Of many, between one that works and one that does not, the
    next is guessed by the method of Anderson and Björck (1973, doi:10.1007/BF01951936): from how
    far both are from working, but where an end moved twice, the other counts for less.
    """
    if ladder.whole and ladder.most <= FEW and tried(ladder.most)[1] > -FAR_PERCENT:
        return next((float(n) for n in range(1, int(ladder.most) + 1) if tried(n)[0]), None)
    ends = both_ends(ladder, tried, under, looked_at)
    if ends is None:
        return None
    (low, under), (high, over) = ends
    moved = int(low > 0.0)
    while not near(low, high, ladder):
        middle = between(low, high, under, over, moved, ladder.whole)
        works, margin = tried(middle)
        if works:
            under *= still_counts(over, margin) if moved > 0 else 1.0
            high, over, moved = middle, margin, max(moved, 0) + 1
        else:
            over *= still_counts(under, margin) if moved < 0 else 1.0
            low, under, moved = middle, margin, min(moved, 0) - 1
    return high if ladder.whole else min(rounded_up(high), ladder.most)


def both_ends(
    ladder: Ladder,
    tried: Callable[[float], tuple[bool, float]],
    under: float,
    looked_at: Iterable[float],
) -> tuple[End, End] | None:
    """A size that does not work and a larger one that does, each with how far it is from working;
    None where none works.

    The likely size is tried first, then the one at which a straight line is zero, then the largest.
    """
    low = 0.0
    further = min(ladder.likely, ladder.most)
    for size in sorted(looked_at) or [further]:
        works, margin = tried(size)
        if works:
            return (low, under), (size, margin)
        further = farther(low, size, under, margin, ladder)
        low, under = size, margin
    for size in (further, ladder.most):
        works, margin = tried(size)
        if works:
            return (low, under), (size, margin)
        low, under = size, margin
    return None


def farther(low: float, size: float, under: float, margin: float, ladder: Ladder) -> float:
    """The next size where two do not work: a little beyond where a straight line is zero.

    >>> more = Ladder("more", False, lambda _: {}, str, 3000.0, False)
    >>> farther(0.0, 100.0, -30.0, -10.0, more), farther(0.0, 100.0, -30.0, -30.0, more)
    (150.45, 3000.0)
    """
    if not under < margin < 0.0:  # something else is in the way
        return ladder.most
    zero = (1.0 + BEYOND_SHARE) * (size - (size - low) * margin / (margin - under))
    return min(math.ceil(zero) if ladder.whole else zero, ladder.most)


def near(low: float, high: float, ladder: Ladder) -> bool:
    """Whether a size that fails and one that works are near enough to stop."""
    return high - low <= (1.0 if ladder.whole else max(BRACKET_SHARE * high, FINEST * ladder.most))


def between(low: float, high: float, under: float, over: float, moved: int, whole: bool) -> float:
    """The next size to try: where a straight line is zero, and a little beyond as seen from the end
    that moved last; halfway where there is no zero, or where the same end moved again and again.

    moved: how often in a row the end that works moved, negative for the other.

    >>> between(0.0, 100.0, -10.0, 30.0, 1, True), between(0.0, 100.0, -10.0, 30.0, AGAIN, True)
    (25.0, 50.0)
    """
    guessed = under < 0.0 <= over and abs(moved) < AGAIN
    share = -under / (over - under) if guessed else 0.5
    least = 1.0 if whole else 0.01 * (high - low)
    middle = low + share * (high - low) - BEYOND_SHARE * high * ((moved > 0) - (moved < 0))
    return min(max(float(round(middle)) if whole else middle, low + least), high - least)


def still_counts(before: float, now: float) -> float:
    """How much the other end still counts when one moved again, from its own margins.

    >>> still_counts(10.0, 4.0), still_counts(-10.0, -12.0)
    (0.6, 0.5)
    """
    return 1.0 - now / before if abs(now) < abs(before) else 0.5


def rounded_up(value: float) -> float:
    """Up to a round figure: a step of 1, 2 or 5 tens, less than 2 % of the value.

    >>> rounded_up(117.3), rounded_up(1041.0), rounded_up(7.31)
    (118.0, 1060.0, 7.4)
    """
    tens = 10.0 ** math.floor(math.log10(STEP_SHARE * value))
    step = max(k for k in (1.0, 2.0, 5.0) if k * tens <= STEP_SHARE * value) * tens
    return round(math.ceil(value / step) * step, 6)
