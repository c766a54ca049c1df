"""Which tasks fit, when to run each, and what is left out: the answer of `energy choose`.

A programme on slots of time proposes, priority by priority; the full simulation of the plan so
made decides. What fails is cut off and the next best is sought.
"""

from dataclasses import asdict, dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.answers.choosing.options import tables
from energy.answers.choosing.search import Found, Progress, Search, deciding_of, worst_first
from energy.answers.choosing.slots import clashes
from energy.budget import Budget, budget, changed
from energy.plan import Plan
from energy.refused import why_refused

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

SLOT_S = 1800.0
SECONDS = 20.0
ALL_OR_NOTHING = "; all or nothing: give it hours, and a part of them may fit"


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
    is False where nothing fits: then `alone` says what does not even by itself (what must run, or
    the smallest task), short_wh and short_at by how much and when; it is empty where the search was
    merely too short; too_cold: what stops it is the cold, in which the pack gives nothing.
    gap_percent: how much more the programme thinks possible, 0 where it is proven best.
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
    too_cold: bool = False
    alone: str = ""

    @property
    def yes(self) -> bool:
        """Whether there is a choice that reaches the goal."""
        return self.possible

    def _repr_html_(self) -> str:
        return str(self.table().to_html())

    def table(self) -> "pd.DataFrame":
        """The timetable, a row a line, on the plan's clock."""
        import pandas as pd

        return pd.DataFrame([asdict(row) for row in self.timetable])

    def timeline(self) -> "pd.DataFrame":
        """Charge and flows of the chosen plan over time (see `Budget.timeline`)."""
        return self.budget.timeline()

    def plot(self) -> "Figure":
        """The tasks as chosen, and the charge above them: a matplotlib figure."""
        from energy.show import plots  # the one way up: it shows itself

        return plots.charge(self.budget)

    def as_dict(self) -> dict[str, Any]:
        """The stable answer that `--json` prints."""
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
            "chance": self.budget.chance.as_dict(),
            "gap_percent": round(self.gap_percent, 2),
            "short_wh": round(self.short_wh, 1),
            "short_at": None
            if self.short_at is None
            else self.short_at.isoformat(timespec="seconds"),
            "too_cold": self.too_cold,
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
    search = Search(whole, slot_s, seconds, progress)
    if whole.yes and not clashes(whole):
        return _answer(search, None, whole)
    found = search.run()
    if found is None:
        return _impossible(search)
    return _answer(search, found, found.budget)


def _answer(search: Search, found: Found | None, b: Budget) -> Choose:
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


def _left_out(search: Search, found: Found, k: int, done: float) -> LeftOut:
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


def _why(search: Search, found: Found, k: int) -> str:
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
    with_all = changed(whole, {"task": made})
    chance = with_all.chance
    if with_all.yes and not clashes(with_all):
        return "no room for it was found; --seconds 200 looks longer"
    parts = "" if task.times or task.charges or task.duration_s else ALL_OR_NOTHING
    if chance.low is not None and whole.weather.rough:
        return f"with all of it the low end of the chance falls to {chance.low:.0f} %{parts}"
    works = round(chance.percent * chance.futures / 100.0)
    return f"with all of it the rest works in {works} of {chance.futures} weathers only{parts}"


def _bus_wh(search: Search, i: int) -> float:
    return float(search.slots.linear_wh[i].sum() + search.slots.square_wh[i].sum())


def _impossible(search: Search) -> Choose:
    """What must run, or else the smallest task, does not fit even alone: by how much, and when."""
    whole = search.whole
    tasks = whole.plan.task
    kept = [k for k, task in enumerate(tasks) if task.must]
    words = "what must run"
    if not kept:
        inside = sorted({burst.task for burst in whole.bursts}, key=lambda k: whole.asked_wh[k])
        kept, words = inside[:1], "what is drawn with nothing running"
        if inside:
            words = f'"{tasks[inside[0]].name}", the smallest task,'
    gone = {f"task.{k + 1}": None for k in range(len(tasks)) if k not in kept}
    alone = changed(whole, gone) if kept and gone else whole
    deciding = deciding_of(alone)
    lane = int(worst_first(deciding)[min(search.may_fail, deciding.success.size - 1)])
    lowest = deciding.lowest(lane)
    locked = deciding.locked_percent
    locked = locked[:, lane if locked.shape[1] > 1 else 0]
    least = np.append(locked, locked[-1]) + deciding.plan.pack.reserve_percent
    below = np.flatnonzero(deciding.charge_percent[:, lane] < least)
    first_s = float(deciding.time_s[below[0]]) if below.size else lowest.at_s
    short_wh = max(-lowest.spare_wh, 0.0) + _unserved_wh(deciding, lane)
    return Choose(
        budget=alone,
        possible=False,
        timetable=(),
        left_out=(),
        served={},
        gap_percent=0.0,
        out_of_time=alone.yes,
        change={},
        short_wh=short_wh,
        short_at=alone.local(first_s),
        too_cold=bool(deciding.too_cold[lane]),
        alone="" if alone.yes else words,
    )


def _unserved_wh(b: Budget, lane: int) -> float:
    """What the tasks lacked in a weather, as it would be taken from the pack [Wh]."""
    pack = b.plan.pack
    efficiency = {"dc12": pack.dc12.efficiency_percent, "usb": pack.usb.efficiency_percent}
    efficiency["ac"] = pack.inverter.efficiency_percent if pack.inverter is not None else 100.0
    return sum(
        float(b.unmet_wh[k, lane]) * 100.0 / efficiency[task.supply]
        for k, task in enumerate(b.plan.task)
    )
