"""The search for a choice: the programme proposes, the simulation decides, failures are cut off."""

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from energy.answers.choosing.options import Option, options, tables
from energy.answers.choosing.programme import Counts, Programme, Solution, solve
from energy.answers.choosing.slots import Slots, clashes, conflicts, groups, in_the_way
from energy.budget import Budget, changed
from energy.model import Array, Index
from energy.plan import Plan
from energy.scene import ranked
from energy.weather.record import DAY_S

Progress = Callable[[str], None]

MOST_TRIES = 80
LAST_TRY_S = 1.0  # for a proposal that is under way when the time is up
KEEPS_MORE = 0.002  # of the store, when the margin does not tell; twice as much each time
BY_RANK_S = 4.0  # at least for the choice task by task
STARTS = 3  # of a block that are tried one by one
LEVELS_IN_TIME = 60  # one level of a large plan may take a sixtieth of the time allowed
FILL_TRIES = 20  # a large plan's choice is filled up with what still holds in so many tries
CUTS = 30  # failed proposals cut off before the programme is told to keep more in the store
EXACT_TASKS, EXACT_LANES = 8, 40  # up to here which weathers may fail is a choice too


@dataclass(frozen=True)
class Found:
    """A proposal that holds, its budget, how much more the programme thought possible [percent],
    and whether the search ended before it was through."""

    counts: Counts
    budget: Budget
    gap_percent: float
    out_of_time: bool


class Search:
    """One search: the options of a plan, the programme over them, and the weathers looked at."""

    def __init__(self, whole: Budget, slot_s: float, seconds: float, progress: Progress | None):
        self.whole, self.progress = whole, progress
        self.seconds, self.until_s = seconds, time.monotonic() + seconds
        self.options = options(whole, slot_s)
        deciding = deciding_of(whole)
        self.slots = Slots(deciding, self.options, slot_s)
        self.levels = _levels(whole.plan, self.options)
        first = {option.task: i for i, option in reversed(list(enumerate(self.options)))}
        self.must_run = sum(whole.plan.task[k].must for k in first)
        self.everything = [
            sum(float(level[i]) / self.options[i].share for i in first.values())
            for level in self.levels
        ]
        self.keeps_more = KEEPS_MORE
        goal = whole.plan.goal.chance_percent / 100.0
        lanes, worst = deciding.success.size, worst_first(deciding).tolist()
        self.may_fail = may_fail = int((1.0 - goal) * lanes + 1e-9)
        exact = len(whole.plan.task) <= EXACT_TASKS and lanes <= EXACT_LANES
        self.dullest = set() if exact else set(worst[:may_fail])
        self.exact, self.cuts = exact, CUTS if exact else 2
        self.patience_s = np.inf if exact else seconds / LEVELS_IN_TIME
        self.programme = Programme(
            most=np.array([option.most for option in self.options], dtype=np.int64),
            groups=groups(self.options),
            together=conflicts(whole, self.options),
            on=self.slots.on,
            on_wh=self.slots.on_wh,
            may_fail=may_fail if exact else 0,
        )
        self.seen: set[int] = set()
        self._see(worst[min(may_fail, lanes - 1)])

    def run(self) -> Found | None:
        """The first proposal that holds in the full simulation, best first; else, when time or
        tries run out, what holds task by task; None if nothing does."""
        bound: tuple[float, ...] = ()
        tightened = False
        for number in range(MOST_TRIES):
            late = time.monotonic() > self.until_s
            if late and number:
                break
            until_s = max(self.until_s, time.monotonic() + LAST_TRY_S)
            solution = solve(self.programme, self.levels, until_s, self.patience_s)
            if solution is None or not self._serves_what_must(solution):
                break
            if not tightened:
                bound = solution.bound
            found = self._simulated(solution.counts)
            if found is None:
                break
            if self.progress is not None:
                self.progress(f"proposal {number + 1}: {found.chance.percent:.0f} %")
            blocked = [*(refusal.burst for refusal in found.refusals), *clashes(found)]
            if found.yes and not blocked:
                counts, found, through = self._filled_up(solution.counts, found, bound)
                gap = _gap_percent(self._served(counts), bound)
                unproven = late or not (solution.finished and through)
                unproven = unproven or (tightened and gap > 0.0)
                return Found(counts, found, gap, unproven)
            if blocked:
                for burst in blocked:
                    parts = in_the_way(self.options, solution.counts, burst)
                    self.programme.blocked.append(parts)
            elif not self._see_more(found):
                tightened = tightened or len(self.programme.beaten) >= self.cuts
                if tightened:
                    self._keep_more(found)
                else:
                    self.programme.beaten.append(solution.counts)
        return self._by_rank(bound)

    def _by_rank(self, bound: Sequence[float]) -> Found | None:
        """As much of each task as still holds: first what must run, then by rank."""
        until_s = time.monotonic() + max(self.seconds / 4.0, BY_RANK_S)
        tasks = self.whole.plan.task
        counts, held = np.zeros(len(self.options), dtype=np.int64), None
        for k in sorted(ranked(self.whole.plan), key=lambda k: not tasks[k].must):
            for i in self._most_first(k):
                more = counts.copy()
                more[i] = self.options[i].most
                if time.monotonic() > until_s or not self._allowed(more):
                    continue
                tried = self._holding(more)
                if tried is not None:
                    counts, held = more, tried
        served = self._served(counts)
        if held is None or (self.must_run and served[0] < self.must_run - 1e-3):
            return None
        return Found(counts, held, _gap_percent(served, bound or self.everything), True)

    def _most_first(self, k: int) -> list[int]:
        """The options of a task, most first, of alike ones those nearest noon; few of the starts
        of one that runs in one go."""
        rise, fall = self.whole.calendar.sun_times(self.whole.calendar.first)
        noon_s = (rise + fall) / 2.0

        def away(i: int) -> float:
            begin, end = self.options[i].interval
            return abs(((begin + end) / 2.0 - noon_s + DAY_S / 2.0) % DAY_S - DAY_S / 2.0)

        found: list[int] = []
        of: dict[tuple[int, float], int] = {}
        mine = [i for i, option in enumerate(self.options) if option.task == k]
        first = min((self.options[i].interval[0] for i in mine), default=0.0)  # as it is planned
        for i in sorted(mine, key=lambda i: (-self.options[i].share, away(i))):
            option = self.options[i]
            key = option.window, option.share
            of[key] = of.get(key, 0) + 1
            if option.unit != "minutes" or of[key] <= STARTS or option.interval[0] == first:
                found.append(i)
        return found

    def _filled_up(
        self, counts: Counts, found: Budget, bound: Sequence[float]
    ) -> tuple[Counts, Budget, bool]:
        """What the simulation still leaves room for, one step more of a task after another; and
        whether all of them could be tried.

        The programme of a small plan is exact, and what reaches the bound is the best: nothing is
        left there.
        """
        if self.exact or _gap_percent(self._served(counts), bound) == 0.0:
            return counts, found, True
        tries = 0
        for k in ranked(self.whole.plan):
            for more in self._steps_up(counts, k):
                tries += 1
                if tries > FILL_TRIES:
                    return counts, found, False
                tried = self._holding(more)
                if tried is not None:
                    counts, found = more, tried
        return counts, found, True

    def _steps_up(self, counts: Counts, k: int) -> Iterator[Counts]:
        """Choices with a little more of one task: in each window the next larger option, or one
        more unit at a start that has room."""
        mine = [i for i, option in enumerate(self.options) if option.task == k]
        for window in sorted({self.options[i].window for i in mine}):
            inside = [i for i in mine if self.options[i].window == window]
            taken = [i for i in inside if counts[i]]
            done = sum(self.options[i].share * counts[i] for i in taken)
            if self.options[inside[0]].in_all == 1:
                larger = [i for i in inside if self.options[i].share > done + 1e-9]
                for i in sorted(larger, key=lambda i: -self.options[i].share)[:2] + larger[:1]:
                    more = counts.copy()
                    more[taken] = 0
                    more[i] = 1
                    yield more
            elif sum(counts[taken]) < self.options[inside[0]].in_all:
                for i in inside:
                    if not counts[i]:
                        more = counts.copy()
                        more[i] = 1
                        if self._allowed(more):
                            yield more

    def _allowed(self, counts: Counts) -> bool:
        """Whether a choice keeps to what may be taken of each window."""
        return all(counts[members].sum() <= most for members, most in self.programme.groups)

    def _serves_what_must(self, solution: Solution) -> bool:
        return not self.must_run or solution.served[0] > self.must_run - 1e-3

    def _served(self, counts: Counts) -> list[float]:
        """What a choice serves, level by level."""
        return [float(level @ counts) for level in self.levels]

    def _see(self, lane: int) -> None:
        """Look at one more weather."""
        self.seen.add(lane)
        self.programme.lanes.append(self.slots.lane(lane))

    def _see_more(self, found: Budget) -> bool:
        """Look at the worst that fail and were not looked at yet; False where there are none."""
        deciding = deciding_of(found)
        failing = [
            lane
            for lane in worst_first(deciding).tolist()
            if not deciding.success[lane] and lane not in self.seen and lane not in self.dullest
        ]
        for lane in failing[:2]:
            self._see(lane)
        return bool(failing)

    def _keep_more(self, found: Budget) -> None:
        """Let the programme keep more in the store, by what the simulation fell short of it."""
        short = max(-found.margin_percent / 100.0, self.keeps_more)
        self.keeps_more *= 2.0
        self.programme.lanes[:] = [
            replace(lane, floor_wh=lane.floor_wh + short * lane.full_wh)
            for lane in self.programme.lanes
        ]

    def _holding(self, counts: Counts) -> Budget | None:
        """The budget of the plan that a choice makes, where that is a yes."""
        found = self._simulated(counts)
        return found if found is not None and found.yes and not clashes(found) else None

    def _simulated(self, counts: Counts) -> Budget | None:
        """The budget of the plan that a choice makes; None for a choice of nothing."""
        chosen = {int(i): int(counts[i]) for i in np.flatnonzero(counts)}
        made = tables(self.whole, chosen, self.options)
        return changed(self.whole, {"task": made}) if made else None


def _levels(plan: Plan, every: Sequence[Option]) -> list[Array]:
    """What a unit of each option serves: first of what must run, then at each priority."""
    tasks = plan.task
    share = np.array([option.share for option in every])
    of = np.array([option.task for option in every], dtype=np.intp)
    must = np.array([task.must for task in tasks])[of]
    value = np.array([task.value for task in tasks])[of]
    priority = np.array([task.priority for task in tasks])[of]
    found = [np.where(must, share, 0.0)] if must.any() else []
    for level in sorted({task.priority for task in tasks if not task.must}):
        found.append(np.where((priority == level) & ~must, value * share, 0.0))
    return found


def deciding_of(b: Budget) -> Budget:
    """The weathers that decide: where a table is rough, those at the low end of its doubt."""
    return b.ends[0] if b.weather.rough and b.ends else b


def worst_first(b: Budget) -> Index:
    """Lanes from the one that falls lowest."""
    return np.argsort(b.lowest_percent - b.locked_at_lowest_percent, kind="stable")


def _gap_percent(served: Sequence[float], bound: Sequence[float]) -> float:
    """How far what is served stays below the bound, at the first level where it does."""
    for got, most in zip(served, bound, strict=True):
        if got < most - 1e-6:
            return 100.0 * (most - got) / most
    return 0.0
