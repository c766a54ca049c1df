"""Which tasks fit, when to run each, and what is left out: the answer of `energy choose`.

A programme on slots of time proposes, priority by priority; the full simulation of the plan so
made decides. What fails is cut off and the next best is sought.
"""

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.answers.choosing.options import Option, options, tables
from energy.answers.choosing.programme import Counts, Programme, Solution, solve
from energy.answers.choosing.slots import Slots, clashes, conflicts, groups, in_the_way
from energy.budget import Budget, budget, changed
from energy.model import Array, Index
from energy.plan import Plan
from energy.refused import why_refused
from energy.scene import ranked

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

Progress = Callable[[str], None]

SLOT_S = 1800.0
SECONDS = 20.0
MOST_TRIES = 80
A_LEVEL = 60  # of a large plan may take this part of the time allowed
FILL_S = 0.4  # a large plan's choice is filled up with what still holds for so long
CUTS = 30  # failed proposals cut off before the programme is told to keep more in the store
EXACT_TASKS, EXACT_LANES = 8, 40  # up to here which weathers may fail is a choice too


@dataclass(frozen=True)
class Row:
    """A line of the timetable: so many repeats (or one block), from the first to the last."""

    task: str
    times: int
    start: datetime
    end: datetime


@dataclass(frozen=True)
class LeftOut:
    """What is not done: of which task how many, why, and what it would need from the pack [Wh];
    words says how much that is."""

    task: str
    times: int
    why: str
    needs_wh: float
    words: str = ""


@dataclass(frozen=True)
class Choose:
    """The tasks that fit, as a timetable; `change` is what `Plan.replace` takes.

    served: at each priority the sum over its tasks of value times the share that runs. possible
    is False where what must run does not fit alone: then short_wh and short_at say by how much and
    when. gap_percent: how much more the programme thinks possible, 0 where it is proven best.
    """

    budget: Budget
    possible: bool
    timetable: tuple[Row, ...]
    left_out: tuple[LeftOut, ...]
    served: dict[str, float]
    gap_percent: float
    out_of_time: bool
    change: dict[str, Any] = field(repr=False)
    short_wh: float = 0.0
    short_at: datetime | None = None

    @property
    def yes(self) -> bool:
        """Whether there is a choice that reaches the goal."""
        return self.possible

    def table(self) -> "pd.DataFrame":
        """The timetable, a row a line, on the plan's clock."""
        import pandas as pd

        return pd.DataFrame([asdict(row) for row in self.timetable])

    def plot(self) -> "Figure":
        """The tasks as chosen, and the charge above them: a matplotlib figure."""
        from energy.show import plots  # the one way up: it shows itself

        return plots.charge(self.budget)

    def as_dict(self) -> dict[str, Any]:
        """The stable answer that `--json` prints."""
        chance = asdict(self.budget.chance)
        return {
            "timetable": [
                {
                    "task": row.task,
                    "times": row.times,
                    "start": row.start.isoformat(timespec="seconds"),
                    "end": row.end.isoformat(timespec="seconds"),
                }
                for row in self.timetable
            ],
            "left_out": [
                {
                    "task": one.task,
                    "times": one.times,
                    "why": one.why,
                    "needs_wh": round(one.needs_wh, 1),
                }
                for one in self.left_out
            ],
            "served": {key: round(value, 4) for key, value in self.served.items()},
            "chance": {k: round(v, 1) if isinstance(v, float) else v for k, v in chance.items()},
            "gap_percent": round(self.gap_percent, 2),
        }


def choose(
    plan: Plan,
    *,
    slot_s: float = SLOT_S,
    seconds: float = SECONDS,
    progress: Progress | None = None,
) -> Choose:
    """The best choice of a plan's tasks that still reaches the goal of its chance.

    What must run comes first, then priority by priority. Tasks marked flexible may start at any
    slot of their window; the others keep their way of running and may do less. `progress` is told
    a line for each proposal tried.

    >>> found = choose(Plan.read("builtin:cloudy-repair"))
    >>> found.budget.yes
    True
    """
    whole = budget(plan)
    search = _Search(whole, slot_s, seconds, progress)
    if whole.yes and not clashes(whole):
        return _answer(search, None, whole)
    found = search.run()
    if found is None:
        return _impossible(search)
    return _answer(search, found, found.budget)


@dataclass(frozen=True)
class _Found:
    """A proposal that holds, its budget, what the programme thought possible, and whether its
    time ran out."""

    counts: Counts
    budget: Budget
    gap_percent: float
    out_of_time: bool


class _Search:
    """One search: the options of a plan, the programme over them, and the weathers looked at."""

    def __init__(self, whole: Budget, slot_s: float, seconds: float, progress: Progress | None):
        self.whole, self.progress = whole, progress
        self.until_s = time.monotonic() + seconds
        self.options = options(whole, slot_s)
        deciding = _deciding(whole)
        self.slots = Slots(deciding, self.options, slot_s)
        self.levels = _levels(whole.plan, self.options)
        goal = whole.plan.goal.chance_percent / 100.0
        lanes, worst_first = deciding.success.size, _worst_first(deciding).tolist()
        self.may_fail = may_fail = int((1.0 - goal) * lanes + 1e-9)
        exact = len(whole.plan.task) <= EXACT_TASKS and lanes <= EXACT_LANES
        self.dullest = set() if exact else set(worst_first[:may_fail])
        self.exact, self.cuts = exact, CUTS if exact else 2
        self.patience_s = np.inf if exact else seconds / A_LEVEL
        self.programme = Programme(
            most=np.array([option.most for option in self.options], dtype=np.int64),
            groups=groups(whole, self.options),
            together=conflicts(whole, self.options),
            on=self.slots.on,
            on_wh=self.slots.on_wh,
            may_fail=may_fail if exact else 0,
        )
        self.seen: set[int] = set()
        self._see(worst_first[min(may_fail, lanes - 1)])

    def run(self) -> _Found | None:
        """The first proposal that holds in the full simulation, best first; None if none does."""
        bound: tuple[float, ...] = ()
        tightened = False
        for number in range(MOST_TRIES):
            late = time.monotonic() > self.until_s
            until_s = max(self.until_s, time.monotonic() + 1.0)
            solution = solve(self.programme, self.levels, until_s, self.patience_s)
            if solution is None or not self._serves_what_must(solution):
                return None
            if not tightened:
                bound = solution.bound
            found = self.simulated(solution.counts)
            if found is None:
                return None
            if self.progress is not None:
                self.progress(f"proposal {number + 1}: {found.chance.percent:.0f} %")
            blocked = [*(refusal.burst for refusal in found.refusals), *clashes(found)]
            if found.yes and not blocked:
                counts, found = self._filled_up(solution.counts, found)
                gap = _gap_percent([float(level @ counts) for level in self.levels], bound)
                return _Found(counts, found, gap, late or not solution.finished)
            if blocked:
                for burst in blocked:
                    members = in_the_way(self.options, solution.counts, burst)
                    self.programme.together.append(members)
            elif not self._see_more(found):
                tightened = tightened or late or len(self.programme.beaten) >= self.cuts
                if tightened:
                    self._keep_more(found)
                else:
                    self.programme.beaten.append(solution.counts)
        return None

    def _filled_up(self, counts: Counts, found: Budget) -> tuple[Counts, Budget]:
        """What the simulation still leaves room for, one step more of a task after another.

        The programme of a small plan is exact, and nothing is left there.
        """
        if self.exact:
            return counts, found
        until_s = time.monotonic() + FILL_S
        for k in ranked(self.whole.plan):
            for more in self._steps_up(counts, k):
                if time.monotonic() > until_s:
                    return counts, found
                tried = self.simulated(more)
                if tried is not None and tried.yes and not clashes(tried):
                    counts, found = more, tried
        return counts, found

    def _steps_up(self, counts: Counts, k: int) -> Iterator[Counts]:
        """Choices with a little more of one task: in each window the next larger option, or one
        more unit at a start that has room."""
        mine = [i for i, option in enumerate(self.options) if option.task == k]
        for window in sorted({self.options[i].window for i in mine}):
            inside = [i for i in mine if self.options[i].window == window]
            taken = [i for i in inside if counts[i]]
            done = sum(self.options[i].share * counts[i] for i in taken)
            if self.options[inside[0]].starts_s is None:  # one of them at most
                larger = [i for i in inside if self.options[i].share > done + 1e-9]
                for i in sorted(larger, key=lambda i: -self.options[i].share)[:2] + larger[:1]:
                    more = counts.copy()
                    more[taken] = 0
                    more[i] = 1
                    yield more
            elif done < sum(self.options[i].share for i in inside) - 1e-9:
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
        tasks = self.whole.plan.task
        needed = sum(task.must for task in tasks)
        return not needed or solution.served[0] > needed - 1e-3

    def _see(self, lane: int) -> None:
        """Look at one more weather."""
        self.seen.add(lane)
        self.programme.lanes.append(self.slots.lane(lane))

    def _see_more(self, found: Budget) -> bool:
        """Look at the worst that fail and were not looked at yet; False where there are none."""
        deciding = _deciding(found)
        failing = [
            lane
            for lane in _worst_first(deciding).tolist()
            if not deciding.success[lane] and lane not in self.seen and lane not in self.dullest
        ]
        for lane in failing[:2]:
            self._see(lane)
        return bool(failing)

    def _keep_more(self, found: Budget) -> None:
        """Let the programme keep more in the store, by what the simulation fell short of it."""
        short = max(-found.margin_percent, 0.2) / 100.0
        self.programme.lanes[:] = [
            replace(lane, floor_wh=lane.floor_wh + short * lane.full_wh)
            for lane in self.programme.lanes
        ]

    def simulated(self, counts: Counts) -> Budget | None:
        """The budget of the plan that a choice makes; None for a choice of nothing."""
        chosen = {int(i): int(counts[i]) for i in np.flatnonzero(counts)}
        made = tables(self.whole, chosen, self.options)
        return changed(self.whole, {"task": made}) if made else None


def _levels(plan: Plan, every: Sequence[Option]) -> list[Array]:
    """What a unit of each option serves: first of what must run, then at each priority."""
    tasks = plan.task
    share = np.array([option.share for option in every])
    of = np.array([option.task for option in every])
    must = np.array([task.must for task in tasks])[of]
    value = np.array([task.value for task in tasks])[of]
    priority = np.array([task.priority for task in tasks])[of]
    found = [np.where(must, share, 0.0)] if must.any() else []
    for level in sorted({task.priority for task in tasks if not task.must}):
        found.append(np.where((priority == level) & ~must, value * share, 0.0))
    return found


def _deciding(b: Budget) -> Budget:
    """The weathers that decide: where a table is rough, those at the low end of its doubt."""
    return b.ends[0] if b.weather.rough and b.ends else b


def _worst_first(b: Budget) -> Index:
    """Lanes from the one that falls lowest."""
    return np.argsort(b.lowest_percent - b.locked_at_lowest_percent, kind="stable")


def _gap_percent(served: Sequence[float], bound: Sequence[float]) -> float:
    """How far what is served stays below the bound, at the first level where it does."""
    for got, most in zip(served, bound, strict=True):
        if got < most - 1e-6:
            return 100.0 * (most - got) / most
    return 0.0


def _answer(search: _Search, found: _Found | None, b: Budget) -> Choose:
    whole = search.whole
    tasks = whole.plan.task
    done = np.ones(len(tasks))
    change: dict[str, Any] = {}
    if found is not None:
        done[[option.task for option in search.options]] = 0.0  # the rest lies outside the span
        for i in np.flatnonzero(found.counts):
            option = search.options[i]
            done[option.task] += option.share * found.counts[i]
        chosen = {int(i): int(found.counts[i]) for i in np.flatnonzero(found.counts)}
        change = {"task": tables(whole, chosen, search.options)}
    left_out: tuple[LeftOut, ...] = ()
    if found is not None:
        missing = np.flatnonzero(done < 1.0 - 1e-6).tolist()
        left_out = tuple(_left_out(search, found, k, float(done[k])) for k in missing)
    served: dict[str, float] = {}
    inside = {option.task for option in search.options}
    for k, task in sorted(enumerate(tasks), key=lambda item: item[1].priority):
        if k not in inside:
            continue
        key = str(task.priority)
        served[key] = served.get(key, 0.0) + task.value * float(min(done[k], 1.0))
    return Choose(
        budget=b,
        possible=True,
        timetable=_timetable(b),
        left_out=left_out,
        served=served,
        gap_percent=0.0 if found is None else found.gap_percent,
        out_of_time=found is not None and found.out_of_time,
        change=change,
    )


def _timetable(b: Budget) -> tuple[Row, ...]:
    """A line for each task and window of a budget's plan, in order of time."""
    of: dict[tuple[int, int], list[tuple[float, float]]] = {}
    for burst in b.bursts:
        of.setdefault((burst.task, burst.window), []).append((burst.start_s, burst.end_s))
    rows = []
    for (k, _), times in of.items():
        task = b.plan.task[k]
        counted = task.times is not None or task.charges is not None
        rows.append(
            Row(
                task=task.name,
                times=len(times) if counted else 1,
                start=b.local(min(start for start, _ in times)),
                end=b.local(max(end for _, end in times)),
            )
        )
    return tuple(sorted(rows, key=lambda row: (row.start, row.end)))


def _left_out(search: _Search, found: _Found, k: int, done: float) -> LeftOut:
    """What of a task is not done, and why."""
    whole = search.whole
    task = whole.plan.task[k]
    mine = [i for i, option in enumerate(search.options) if option.task == k]
    full_wh = max((_bus_wh(search, i) / search.options[i].share for i in mine), default=0.0)
    windows = {search.options[i].window for i in mine}
    counted = task.times or task.charges
    amount = (counted or 1) * max(len(windows), 1)
    left = amount * (1.0 - done)
    words = f"{round(left)} of {amount}"
    if counted is None and task.duration_s is not None:
        words = f"{left * task.duration_s / 60.0:.0f} of {amount * task.duration_s / 60.0:.0f} min"
    elif amount == 1:
        words = "all of it"
    return LeftOut(
        task=task.name,
        times=max(round(left), 1),
        why=_why(search, found, k),
        needs_wh=float(full_wh * (1.0 - done)),
        words=words,
    )


def _why(search: _Search, found: _Found, k: int) -> str:
    """The limit that refuses a task, or in how many weathers the rest would work with it."""
    whole = search.whole
    task = whole.plan.task[k]
    alone = [refusal for refusal in whole.refusals if refusal.burst.task == k]
    if alone:
        bursts = sum(burst.task == k for burst in whole.bursts)
        return why_refused(task.supply, task.start_w, alone, bursts)
    others = {
        int(i): int(found.counts[i])
        for i in np.flatnonzero(found.counts)
        if search.options[i].task != k
    }
    made = [*tables(whole, others, search.options), whole.plan.source["task"][k]]
    chance = changed(whole, {"task": made}).chance
    works = round(chance.percent * chance.futures / 100.0)
    return f"with all of it the rest works in {works} of {chance.futures} weathers only"


def _bus_wh(search: _Search, i: int) -> float:
    return float(search.slots.linear_wh[i].sum() + search.slots.square_wh[i].sum())


def _impossible(search: _Search) -> Choose:
    """What must run does not fit even alone: by how much, and when."""
    whole = search.whole
    must = [k for k, task in enumerate(whole.plan.task) if task.must]
    gone = {f"task.{k + 1}": None for k in range(len(whole.plan.task)) if k not in must}
    alone = changed(whole, gone) if must and gone else whole
    deciding = _deciding(alone)
    lane = int(_worst_first(deciding)[min(search.may_fail, deciding.success.size - 1)])
    lowest = deciding.lowest(lane)
    return Choose(
        budget=alone,
        possible=False,
        timetable=(),
        left_out=(),
        served={},
        gap_percent=0.0,
        out_of_time=False,
        change={},
        short_wh=max(-lowest.spare_wh, 0.0),
        short_at=alone.local(lowest.at_s),
    )
