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
from energy.simulation.success import needed

Progress = Callable[[int, int], None]
GUESSES = 3  # rounds that follow the margins; then the bounds are halved


@dataclass
class SizeBounds:
    """Between which sizes each weather of a group begins to succeed.

    initial, smallest_enough, largest_too_small: (p, m), an index into the list of n sizes: where a
        weather seems to begin to succeed, the smallest size known to be enough (n: none), and the
        largest known to be too small (-1: none).
    group: number of the group of weathers.
    must_succeed: how many of the weathers have to succeed for each goal, (goals,).
    """

    initial: Index
    smallest_enough: Index
    largest_too_small: Index
    group: int
    must_succeed: Index


@dataclass(frozen=True)
class Frontier:
    """For each panel size and goal the smallest pack of a list that reaches it.

    panel_w: panel sizes [W], rising, (p,).
    sizes_wh: the list of pack sizes [Wh], rising, (n,).
    goals: percent, rising.
    smallest: an index into sizes_wh, (p, goals); n where no pack of the list reaches the goal.
    begins: for each group the index from which on each weather is served, (p, m): simulated where
        the frontier needed it, else as proposed. Empty for whole years.
    scenarios: how many were simulated.
    """

    panel_w: Array
    sizes_wh: Array
    goals: tuple[float, ...]
    smallest: Index
    begins: tuple[Index, ...] = ()
    scenarios: int = 0

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
    designs: Designs,
    panel_w: Array,
    sizes_wh: Array,
    goals: Sequence[float],
    progress: Progress | None = None,
) -> Frontier:
    """Find the smallest pack of a list for each panel size and goal.

    designs: the plan laid out for many sizes.
    panel_w, sizes_wh: the sizes to look at [W, Wh], each rising, (p,) and (n,).
    goals: percent of the weathers, rising.
    progress: is told how many of the p x goals are settled, of how many.

    >>> from energy.answers.size.designs import make_designs
    >>> from energy.plan import Plan
    >>> designs = make_designs(Plan.read("builtin:cloudy-repair"))
    >>> panel_w, sizes_wh = np.array([100.0, 300.0]), np.arange(300.0, 2000.0, 100.0)
    >>> smallest = frontier(designs, panel_w, sizes_wh, (80, 95)).smallest
    >>> bool((smallest[0] >= smallest[1]).all())
    True
    """
    groups = [_first_bounds(designs, k, panel_w, sizes_wh, goals) for k in designs.must_hold]
    scenarios, rounds = 0, 0
    while True:
        low, high, guess = (
            np.max([_reached(getattr(bounds, name), bounds) for bounds in groups], axis=0)
            for name in ("largest_too_small", "smallest_enough", "initial")
        )
        unsettled = high - low > 1
        if progress is not None:
            progress(int((~unsettled).sum()), unsettled.size)
        if not unsettled.any():
            break
        for bounds in groups:
            checks = _checks(bounds, guess, unsettled, sizes_wh.size)
            scenarios += checks[0].size
            _learn(designs, bounds, panel_w, sizes_wh, checks, halve=rounds >= GUESSES)
        rounds += 1
    begins = tuple(
        np.clip(bounds.initial, bounds.largest_too_small + 1, bounds.smallest_enough)
        for bounds in groups
    )
    return Frontier(panel_w, sizes_wh, tuple(goals), np.maximum(high, 0), begins, scenarios)


def _first_bounds(
    designs: Designs, group: int, panel_w: Array, sizes_wh: Array, goals: Sequence[float]
) -> SizeBounds:
    """What is known before anything is simulated: the proposal."""
    initial = np.searchsorted(sizes_wh, needed_wh(designs, group, panel_w))
    return SizeBounds(
        initial=initial,
        smallest_enough=np.full_like(initial, sizes_wh.size),
        largest_too_small=np.full_like(initial, -1),
        group=group,
        must_succeed=np.array([needed(goal, initial.shape[1]) for goal in goals]),
    )


def _reached(begins: Index, bounds: SizeBounds) -> Index:
    """The size at which so many weathers succeed as each goal asks for, (p, goals), where they
    begin to succeed at some sizes, (p, m)."""
    rising = np.sort(begins, axis=1)
    none = np.full((begins.shape[0], 1), -1)  # where a goal asks for no weather at all
    return np.concatenate([none, rising], axis=1)[:, bounds.must_succeed]


def _checks(
    bounds: SizeBounds, guess: Index, unsettled: Mask, count: int
) -> tuple[Index, Index, Index]:
    """Which (panel, scenario, size) to run: as many as must succeed at a guess, and as many as must
    fail one step below it, none of which follow from others."""
    rank = np.argsort(np.argsort(bounds.initial, axis=1, kind="stable"), axis=1)
    decides = unsettled & (_reached(bounds.initial, bounds) == guess)
    at, below = np.full_like(bounds.initial, count), np.full_like(bounds.initial, -1)
    for goal, must_succeed in enumerate(bounds.must_succeed.tolist()):
        size = np.clip(guess[:, goal], 0, count)[:, None]
        asks = (rank < must_succeed) & unsettled[:, goal, None] & (bounds.smallest_enough > size)
        at = np.where(asks & (at > size), size, at)
    for goal in reversed(range(bounds.must_succeed.size)):
        size = guess[:, goal, None] - 1
        last = (rank >= bounds.must_succeed[goal] - 1) & decides[:, goal, None]
        asks = last & (bounds.largest_too_small < size)
        below = np.where(asks & (below < size), size, below)
    checks = []
    for sizes, asked in ((at, at < count), (below, below >= 0)):
        panel, scenario = np.nonzero(asked)
        checks.append((panel, scenario, sizes[panel, scenario]))
    panel, scenario, size = (np.concatenate(several) for several in zip(*checks, strict=True))
    return panel, scenario, size


def _learn(
    designs: Designs,
    bounds: SizeBounds,
    panel_w: Array,
    sizes_wh: Array,
    checks: tuple[Index, Index, Index],
    halve: bool,
) -> None:
    """Simulate what is to be checked and narrow the bounds; the next guess follows the margin, or
    halves the bounds."""
    panel, scenario, size = checks
    if panel.size == 0:
        return
    success, margin = designs.tried(bounds.group, panel_w[panel], sizes_wh[size], scenario)
    served, failed = (panel[success], scenario[success]), (panel[~success], scenario[~success])
    np.minimum.at(bounds.smallest_enough, served, size[success])
    np.maximum.at(bounds.largest_too_small, failed, size[~success])
    bounds.smallest_enough[bounds.smallest_enough <= bounds.largest_too_small] = sizes_wh.size
    if halve:
        low = bounds.largest_too_small[panel, scenario]
        guess = (low + bounds.smallest_enough[panel, scenario] + 1) // 2
    else:
        keeps = max(1.0 - designs.plan.pack.reserve_percent / 100.0, 0.01)
        better_wh = sizes_wh[size] * np.maximum(keeps - margin, 0.02) / keeps
        guess = np.searchsorted(sizes_wh, better_wh)
    bounds.initial[panel, scenario] = guess
    np.clip(
        bounds.initial,
        bounds.largest_too_small + 1,
        bounds.smallest_enough,
        out=bounds.initial,
    )
