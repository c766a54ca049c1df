"""What the display should read at a few moments of a plan, and below which reading to turn back.

The reading that still does is asked of the plan's own case: from that moment on, with that charge,
in the same scenarios and by the same rule as the whole.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, fields, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.model import Array, Index, Mask
from energy.model.simulate import simulate
from energy.show.numbers import for_json
from energy.show.time_axis import nights
from energy.simulation.budget import Budget
from energy.simulation.success import lowest_point, needed, succeeds

if TYPE_CHECKING:
    import pandas as pd

MOST, FEWEST = 4, 2
APART_S = 3600.0
ROUND_S = 300.0  # moments are put on whole five minutes
TOUCHING_S = 1.0  # windows of one task that follow each other are one block
FULL = 100
SURE_PERCENT = 1e-6  # more than rounding
SEGMENTS_AT_ONCE = 1000


@dataclass(frozen=True)
class Checkpoint:
    """A moment on the plan's clock and the charge then [percent]: on the middling day, on a dull
    one (the 10th percentile of the weathers, no more than on the middling day), and the least whole
    percent from which the rest of the plan reaches its goal: None where a full pack would not do, 0
    where an empty one would.

    lowest: whether it is the lowest point of the middling day.
    """

    at: datetime
    expected_percent: float
    dull_percent: float
    least_percent: int | None
    lowest: bool = False

    def as_dict(self) -> dict[str, Any]:
        """The checkpoint as `--json` prints it."""
        return {name: value for name, value in for_json(self, 1).items() if name != "lowest"}


def checkpoint_table(points: Sequence[Checkpoint]) -> "pd.DataFrame":
    """A row a checkpoint, indexed by its time."""
    import pandas as pd

    names = [field.name for field in fields(Checkpoint)]
    return pd.DataFrame([asdict(point) for point in points], columns=names).set_index("at")


def checkpoints(result: Budget) -> tuple[Checkpoint, ...]:
    """The moments at which to look at the display, in order of time, at most four.

    They are the lowest points, of the middling day and of a dull one, and the earliest others that
    lie an hour apart: before the block of work that takes most energy, after the last mains work of
    a day, at dusk; the end of the span where there are fewer than two. What a limit turns away is
    set aside. A lowest point at the very start is none of them.

    >>> from energy.plan import Plan
    >>> from energy.simulation.budget import budget
    >>> repair = Plan.read("builtin:cloudy-repair").replace(**{"pack.temperature": 25})
    >>> *_, last = checkpoints(budget(repair))
    >>> f"{last.at:%a %H:%M}", last.lowest, last.least_percent  # the reserve
    ('Tue 08:00', True, 15)
    """
    lowest_s = result.lowest().at_s
    points: list[Checkpoint] = []
    for time_s in reversed(_moments(result)):
        charge = _charge_at(result, time_s)
        # Where a full pack would not do, none does any earlier.
        beyond_full = bool(points) and points[-1].least_percent is None
        points.append(
            Checkpoint(
                at=result.local(time_s),
                expected_percent=(expected := float(charge[result.middle])),
                dull_percent=min(float(np.percentile(charge, 10.0)), expected),
                least_percent=None if beyond_full else _least(result, time_s),
                lowest=time_s == lowest_s,
            )
        )
    return tuple(_telling(result, points[::-1]))


def _telling(result: Budget, points: list[Checkpoint]) -> list[Checkpoint]:
    """The checkpoints of a plan that reaches its goal without those at which a middling day would
    turn back: it reaches it by weathers that had begun well by then. Two are kept at least."""
    if not result.reaches_goal:
        return points
    telling = [
        point
        for point in points
        if point.lowest
        or (point.least_percent is not None and point.least_percent <= point.expected_percent)
    ]
    return telling if len(telling) >= FEWEST else points


def _moments(result: Budget) -> list[float]:
    """When to look [UTC s]."""
    start_s, end_s = result.days.span
    lowest_s = [result.lowest(scenario).at_s for scenario in (result.middle, _dull(result))]
    later = sorted(t for t in _worth_a_look(result) if start_s < t < end_s)
    picked: list[float] = []
    for time_s in (*(t for t in lowest_s if t > start_s), *later, end_s):
        most = FEWEST if time_s == end_s else MOST
        if len(picked) < most and all(abs(time_s - t) >= APART_S for t in picked):
            picked.append(time_s)
    return sorted(picked)


def _dull(result: Budget) -> int:
    """The scenario of which one in ten falls lower; of equals one of the first."""
    order = result.worst_first
    return int(order[(order.size - 1) // 10])


def _worth_a_look(result: Budget) -> Iterator[float]:
    """Before the largest block that is still to begin, after a day's last mains work, and dusk."""
    if blocks := [block for block in _blocks(result) if block[1] > result.time_s[0]]:
        _, begins_s = max(blocks, key=lambda block: (round(block[0], 6), -block[1]))
        yield math.floor(begins_s / ROUND_S) * ROUND_S
    done_s = {
        result.local(burst.start_s).date(): burst.end_s
        for burst in sorted(result.running, key=lambda burst: burst.end_s)
        if result.plan.task[burst.task].supply == "ac"
    }
    dusks_s = [dusk_s for dusk_s, _ in nights(result)]
    yield from (math.ceil(time_s / ROUND_S) * ROUND_S for time_s in (*done_s.values(), *dusks_s))


def _blocks(result: Budget) -> list[tuple[float, float]]:
    """Energy [Wh] and beginning [UTC s] of what each task does in one of its windows, or in several
    that follow each other without a break."""
    blocks: list[tuple[float, float]] = []
    before = None
    for burst in sorted(result.running, key=lambda burst: (burst.task, burst.start_s)):
        wh = burst.energy_wh
        if before is not None and before.task == burst.task:
            goes_on = burst.start_s - before.end_s <= TOUCHING_S
            if goes_on or before.window == burst.window:
                wh, begins_s = wh + blocks[-1][0], blocks[-1][1]
                blocks[-1], before = (wh, begins_s), burst
                continue
        blocks.append((wh, burst.start_s))
        before = burst
    return blocks


def _charge_at(result: Budget, time_s: float) -> Array:
    """The charge of each scenario at a moment [percent], (m,)."""
    row = _row(result, time_s)
    begins_s, ends_s = result.time_s[row : row + 2]
    share = (time_s - begins_s) / (ends_s - begins_s)
    before, after = result.simulated.store_wh[row : row + 2] * (100.0 / result.capacity_wh)
    return np.asarray(before + share * (after - before))


def _row(result: Budget, time_s: float) -> int:
    """The segment in which a moment lies; the last one for the end."""
    row = int(np.searchsorted(result.time_s, time_s, side="right")) - 1
    return min(row, result.time_s.size - 2)


def _least(result: Budget, time_s: float) -> int | None:
    """The least whole percent from which the rest of the plan reaches its goal; None: not even from
    a full pack."""
    low_end_first = sorted(result.deciding, key=lambda budget: budget is not result.low_end)
    least = math.ceil(result.plan.pack.reserve_percent - 1e-9)
    for budget in low_end_first:
        least = _Rest(budget, time_s).least(least)
        if least > FULL:
            return None
    return least


class _Rest:
    """What is left of a budget from a moment on.

    wanted: the percent at which each scenario would have been left with just the reserve, if all
    that it spares, or lacks, had been gone, or there, at once. More charge never does worse: each
    scenario fails up to `too_little` percent and succeeds from `enough` on; between them it takes
    a run to know. All (m,).
    """

    def __init__(self, result: Budget, time_s: float):
        self.result, self.case = result, None
        self.reserve_percent = result.plan.pack.reserve_percent
        row, charge = _row(result, time_s), _charge_at(result, time_s)
        case = result.case.between(row, result.time_s.size - 1)
        went = replace(result.simulated, store_wh=result.simulated.store_wh[row:])
        _, above = lowest_point(case, went)
        self.wanted = charge - above + self.reserve_percent
        self.too_little, self.enough = np.full(above.size, -np.inf), np.full(above.size, np.inf)
        # What a lithium pack starts with more or less has shrunk, or is as much, whenever it is
        # lowest: a pack that is full or empty on the way forgets some of it. So what is kept is
        # kept with less than what it spares gone, and what is not needs more than what it lacks.
        if case.battery.lithium and self.reserve_percent > 0.0:
            kept = above >= self.reserve_percent
            self.too_little[~kept] = self.wanted[~kept] - SURE_PERCENT
            self.enough[kept] = self.wanted[kept] + SURE_PERCENT
        if time_s < result.time_s[-1]:
            self.case = replace(case, edges=np.concatenate([[time_s], case.edges[1:]]))

    def least(self, from_percent: int) -> int:
        """The least whole percent, from one on, from which the rest reaches its goal; more than 100
        where not even a full pack does: by a good guess, else by halving."""
        number = needed(self.result.plan.goal.chance_percent, self.wanted.size)
        guess = math.ceil(float(np.sort(self.wanted)[max(number, 1) - 1]) - 1e-6)
        guess = min(max(guess, from_percent), FULL)
        too_little, enough = from_percent - 1, FULL + 1

        def does(percent: int) -> bool:
            return bool(self._success(percent).sum() >= number)

        for tried in (guess, guess - 1, FULL):
            if too_little < tried < enough:
                too_little, enough = (too_little, tried) if does(tried) else (tried, enough)
        while enough - too_little > 1:
            tried = (too_little + enough) // 2
            too_little, enough = (too_little, tried) if does(tried) else (tried, enough)
        return enough

    def _success(self, percent: int) -> Mask:
        """In which scenarios the rest succeeds from a charge, (m,)."""
        if self.case is None:
            left = percent - _cold_at_end(self.result)
            return np.asarray(left >= self.reserve_percent - 1e-9)
        unsure = np.flatnonzero((self.too_little < percent) & (percent < self.enough))
        keeping = self._keeping(unsure, percent)
        self.enough[keeping] = percent
        self.too_little[np.setdiff1d(unsure, keeping)] = percent
        return self.enough <= percent

    def _keeping(self, scenarios: Index, percent: int) -> Index:
        """Those of some scenarios that succeed; in blocks of time, which bound the memory, and from
        each of which those that fail are left out."""
        assert self.case is not None
        segments = self.case.edges.size - 1
        store_wh = self.case.battery.capacity_wh[scenarios] * (percent / 100.0)
        state = store_wh, np.zeros_like(store_wh)
        for first in range(0, segments, SEGMENTS_AT_ONCE):
            if scenarios.size == 0:
                break
            last = min(first + SEGMENTS_AT_ONCE, segments)
            case = self.case.between(first, last).scenarios(scenarios)
            simulated = simulate(case, state=state, books=False)
            _, above = lowest_point(case, simulated)
            kept = succeeds(above, simulated, self.reserve_percent)
            assert simulated.end is not None
            scenarios, state = scenarios[kept], (simulated.end[0][kept], simulated.end[1][kept])
        return scenarios


def _cold_at_end(result: Budget) -> Array:
    """What the cold withholds at the end of the span [percent of charge], (m,)."""
    rows = slice(result.time_s.size - 2, result.time_s.size - 1)
    shape = result.capacity_wh.shape
    return np.broadcast_to(100.0 * result.case.cold_unavailable(rows)[0], shape)
