"""The smallest pack for each panel size and goal, found by few runs of the full simulation.

What a larger pack serves a smaller one may not, never the other way round: so each run tells of
all larger or all smaller packs in that weather, and a goal is settled as soon as enough weathers
succeed at one size and enough fail at the next smaller. The first sizes to try come from
`proposal`; whatever it says, only the simulation decides.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from energy.answers.size.designs import Designs
from energy.answers.size.proposal import needed_wh
from energy.model import Array, Index, Mask
from energy.simulation.result import needed

Progress = Callable[[int, int], None]
GUESSES = 3  # rounds that follow the margins; then brackets are halved


@dataclass
class Known:
    """What is known of one group's weathers, each (p, m), in steps of the list of sizes.

    guess is where a weather seems to begin to succeed; served the smallest size known to be
    enough (the number of sizes: none), short the largest known to be too small (-1: none).
    """

    guess: Index
    served: Index
    short: Index


@dataclass(frozen=True)
class Frontier:
    """For each panel size and goal the smallest pack of the list, as a number in it.

    panel_w (p,), sizes_wh (n,) rising; goals in percent, rising; smallest (p, goals), n where no
    pack of the list reaches the goal; begins (p, m) per group: from which size on each weather is
    served, simulated where the frontier needed it, else as proposed; scenarios: how many were run.
    """

    panel_w: Array
    sizes_wh: Array
    goals: tuple[float, ...]
    smallest: Index
    begins: tuple[Index, ...]
    scenarios: int

    def battery_wh(self, goal: float) -> list[float | None]:
        """The smallest pack at each panel size [Wh]; None where none reaches the goal."""
        column = self.smallest[:, self.goals.index(goal)]
        return [float(self.sizes_wh[i]) if i < self.sizes_wh.size else None for i in column]

    @property
    def floor_wh(self) -> float | None:
        """The first pack of the list [Wh], where it reaches a goal already: a smaller one may do.
        None where it reaches none, or where the list holds one size alone."""
        at_floor = self.sizes_wh.size > 1 and bool((self.smallest == 0).any())
        return float(self.sizes_wh[0]) if at_floor else None


def frontier(
    of: Designs,
    panel_w: Array,
    sizes_wh: Array,
    goals: Sequence[float],
    progress: Progress | None = None,
) -> Frontier:
    """Find the smallest pack of a list for each panel size and goal.

    panel_w (p,) and sizes_wh (n,) [W, Wh], rising; goals [percent], rising. `progress` is told how
    many of the p x goals are settled.

    >>> from energy.answers.size.designs import designs
    >>> from energy.plan import Plan
    >>> of = designs(Plan.read("builtin:cloudy-repair"))
    >>> found = frontier(of, np.array([100.0, 300.0]), np.arange(300.0, 2000.0, 100.0), (80, 95))
    >>> bool((found.smallest[0] >= found.smallest[1]).all())
    True
    """
    groups = of.must_hold
    count = sizes_wh.size
    known = [_first_guess(needed_wh(of, group, panel_w), sizes_wh) for group in groups]
    enough = [np.array([needed(g, one.guess.shape[1]) for g in goals]) for one in known]
    scenarios, turn = 0, 0
    while True:
        low, high, guess = (
            _over_groups(known, enough, name) for name in ("short", "served", "guess")
        )
        open_ = high - low > 1
        if progress is not None:
            progress(int((~open_).sum()), open_.size)
        if not open_.any():
            break
        for group, one, least in zip(groups, known, enough, strict=True):
            decides = _kth(one.guess, least) == guess
            checks = _checks(one, least, guess, open_, decides, count)
            scenarios += checks[0].size
            _run(of, group, one, panel_w, sizes_wh, checks, halve=turn >= GUESSES)
        turn += 1
    begins = tuple(np.clip(one.guess, one.short + 1, one.served) for one in known)
    return Frontier(panel_w, sizes_wh, tuple(goals), np.maximum(high, 0), begins, scenarios)


def _first_guess(wanted_wh: Array, sizes_wh: Array) -> Known:
    guess = np.searchsorted(sizes_wh, wanted_wh)
    return Known(guess, np.full_like(guess, sizes_wh.size), np.full_like(guess, -1))


def _kth(values: Index, least: Index) -> Index:
    """For each goal the value that enough weathers stay at or below, (p, goals)."""
    rising = np.sort(values, axis=1)
    none = np.full((values.shape[0], 1), -1)  # where a goal asks for no weather at all
    return np.concatenate([none, rising], axis=1)[:, least]


def _over_groups(known: Sequence[Known], enough: Sequence[Index], name: str) -> Index:
    """Where all groups together stand on each goal, (p, goals)."""
    each = [_kth(getattr(one, name), least) for one, least in zip(known, enough, strict=True)]
    return np.asarray(np.max(each, axis=0))


def _checks(
    one: Known, least: Index, guess: Index, open_: Mask, decides: Mask, count: int
) -> tuple[Index, Index, Index]:
    """Which (panel, weather, size) to run: as many as must succeed at a guess, and as many as must
    fail one step below it, none of which follow from others."""
    rank = np.argsort(np.argsort(one.guess, axis=1, kind="stable"), axis=1)
    at, below = np.full_like(one.guess, count), np.full_like(one.guess, -1)
    for goal, k in enumerate(least.tolist()):
        size = np.clip(guess[:, goal], 0, count)[:, None]
        asks = (rank < k) & open_[:, goal, None] & (one.served > size) & (at > size)
        at = np.where(asks, size, at)
    for goal in reversed(range(least.size)):
        size = guess[:, goal, None] - 1
        last = (rank >= least[goal] - 1) & (open_ & decides)[:, goal, None]
        asks = last & (one.short < size) & (below < size)
        below = np.where(asks, size, below)
    found = []
    for sizes, there in ((at, at < count), (below, below >= 0)):
        panel, window = np.nonzero(there)
        found.append((panel, window, sizes[panel, window]))
    panel, window, size = (np.concatenate(several) for several in zip(*found, strict=True))
    return panel, window, size


def _run(
    of: Designs,
    group: int,
    one: Known,
    panel_w: Array,
    sizes_wh: Array,
    checks: tuple[Index, Index, Index],
    halve: bool,
) -> None:
    """Simulate what is to be checked and learn from it."""
    panel, window, size = checks
    if panel.size == 0:
        return
    ok, margin = of.tried(group, panel_w[panel], sizes_wh[size], window)
    where = panel[ok], window[ok]
    np.minimum.at(one.served, where, size[ok])
    where = panel[~ok], window[~ok]
    np.maximum.at(one.short, where, size[~ok])
    one.served[one.served <= one.short] = sizes_wh.size
    low, high = one.short[panel, window], one.served[panel, window]
    keeps = max(1.0 - of.plan.pack.reserve_percent / 100.0, 0.01)
    better = sizes_wh[size] * np.maximum(keeps - margin, 0.02) / keeps
    step = np.searchsorted(sizes_wh, better)
    if halve:
        step = (low + high + 1) // 2
    one.guess[panel, window] = step
    np.clip(one.guess, one.short + 1, one.served, out=one.guess)
