"""A plan under way: what was done of its tasks so far, in the words of whoever did it, and what
that leaves to come.

Where the rest lies in time is laid out in `bursts`.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import floor

from energy.model.timeline import Calendar, Interval, to_utc
from energy.plan import Plan, PlanError
from energy.plan.fields import number
from energy.plan.task import SECONDS_PER_H, SECONDS_PER_MIN, Task, called
from energy.plan.words import meant, shown
from energy.simulation.bursts import MIDNIGHT, Day, Left, days_of, overlap_s

Done = Mapping[str, float | str]  # by a task's name or tool: how much in its unit, "all" or "none"

SECONDS = {"minutes": SECONDS_PER_MIN, "hours": SECONDS_PER_H}
WORDS = {"all": float("inf"), "none": 0.0}
ROUNDING = 1e-6
NO_WINDOW = -1


@dataclass(frozen=True)
class Progress:
    """How far the tasks of one name and unit are.

    planned: in the whole span; done: as it was said; over: undone, and no time of its own is left
    for it; again: how much of that a choice may take up. left: what still comes of each task, by
    its number from 0, window by window; offered: the same with what may be taken up again, in a
    later window or, where the task is flexible, on the same day.
    """

    name: str
    unit: str
    planned: float
    done: float
    over: float
    again: float
    left: Mapping[int, tuple[Left, ...]] = field(repr=False)
    offered: Mapping[int, tuple[Left, ...]] = field(repr=False)

    def as_dict(self) -> dict[str, str | float]:
        """The stable answer that `--json` prints."""
        amounts = {"planned": self.planned, "done": self.done, "over": self.over}
        digits = 2 if self.unit in SECONDS else None
        return {"task": self.name, "unit": self.unit} | {
            key: round(value, digits) for key, value in amounts.items()
        }


@dataclass(frozen=True)
class _Times:
    """The whole plan, what of it lies ahead [UTC s], and the rest of the day as a window."""

    plan_span: Interval
    ahead: Interval
    today: Day


def progress(plan: Plan, calendar: Calendar, span: Interval, done: Done) -> tuple[Progress, ...]:
    """What was done of a plan's tasks before a span [UTC s], and what that leaves.

    done: by a task's name or tool how much of it since the plan's start, in the unit in which it is
    stated, or "all" or "none". Windows are done in the order of time. What is left of one that is
    under way comes in the rest of it; what begins at a stated time is open until the end of that
    date. Raises PlanError for names and amounts that cannot be.

    >>> from energy.simulation.case import calendar_of
    >>> plan = Plan.read("builtin:cloudy-repair")
    >>> calendar = calendar_of(plan)
    >>> noon, end = (to_utc(t, calendar.zone) for t in (plan.span.start.replace(hour=12),
    ...                                                 plan.span.end))
    >>> found, = progress(plan, calendar, (noon, end), {"drill the new holes": 10})
    >>> found.planned, [part.amount for part in found.left[2]]
    (24.0, [14.0])
    """
    if not done:
        return ()
    amounts = _amounts(plan, done)
    every = days_of(plan, calendar)
    date = calendar.moment(span[0]).date()
    rest = span[0], min(calendar.at(MIDNIGHT, date), span[1])
    times = _Times(
        plan_span=(to_utc(plan.span.start, calendar.zone), span[1]),
        ahead=span,
        today=Day(NO_WINDOW, date, rest, ()),
    )
    groups: dict[tuple[str, str], dict[int, Task]] = {}
    for name in amounts:
        for k in called(plan.task, name):
            groups.setdefault((name, plan.task[k].unit), {})[k] = plan.task[k]
    return tuple(
        _of_tasks(tasks, every, amounts[name], times) for (name, _), tasks in groups.items()
    )


def left_by_window(progress: Sequence[Progress]) -> dict[int, dict[int, Left]]:
    """What is left of each task, by the number of its window."""
    return {
        k: {part.day.number: part for part in left} for p in progress for k, left in p.left.items()
    }


def _of_tasks(
    tasks: Mapping[int, Task], every: Sequence[Sequence[Day]], amount: float, times: _Times
) -> Progress:
    """How far some tasks are: in each window as much is done as there is still to do."""
    left: dict[int, list[Left]] = {k: [] for k in tasks}
    lost = dict.fromkeys(tasks, 0.0)
    planned, to_do = 0.0, amount
    windows = [(day.window, k, day) for k in tasks for day in every[k]]
    for _, k, day in sorted(windows, key=lambda window: window[:2]):
        holds = _holds(tasks[k], day, times.plan_span)
        did = min(holds, to_do)
        planned, to_do = planned + holds, to_do - did
        rest = _left(tasks[k], day, holds - did, did > 0.0, times.ahead)
        lost[k] += holds - did - rest.amount
        if rest.amount > ROUNDING:
            left[k].append(rest)
    offered = {k: _offered(task, left[k], lost[k], times.today) for k, task in tasks.items()}
    first = tasks[min(tasks)]
    unit_s = SECONDS.get(first.unit, 1.0)
    still = sum(part.amount for k in tasks for part in left[k])
    return Progress(
        name=first.name,
        unit=first.unit,
        planned=planned / unit_s,
        done=(planned if amount == WORDS["all"] else amount) / unit_s,
        over=sum(lost.values()) / unit_s,
        again=(sum(part.amount for k in tasks for part in offered[k]) - still) / unit_s,
        left={k: tuple(left[k]) for k in tasks},
        offered=offered,
    )


def _holds(task: Task, day: Day, plan_span: Interval) -> float:
    """How many repeats, or seconds, of a window lie inside the plan's span."""
    inside_s = [overlap_s(interval, plan_span) for interval in day.intervals]
    return float(sum(s > 0.0 for s in inside_s)) if task.repeats is not None else sum(inside_s)


def _left(task: Task, day: Day, undone: float, begun: bool, ahead: Interval) -> Left:
    """What of a window still comes: of what is undone as much as there is room for."""
    window = max(day.window[0], ahead[0]), min(day.window[1], ahead[1])
    if task.at is not None and window[1] > window[0]:
        window = window[0], ahead[1]  # once begun it goes on to its end
    if not begun and day.window[0] >= ahead[0]:
        return Left(day, window, undone, begun=False, as_planned=True)
    return Left(day, window, min(undone, _room(task, window)), begun, as_planned=False)


def _room(task: Task, window: Interval) -> float:
    """How many repeats fit into a window, or how many seconds of a block."""
    long_s = max(window[1] - window[0], 0.0)
    if task.repeats is None:
        return long_s
    assert task.repeat_s is not None
    assert task.pace_s is not None
    if task.at is not None:  # as many as begin in time
        return float(-(-long_s // task.pace_s))
    return float(floor(long_s) // task.repeat_s)  # a plan's clock has whole seconds


def _offered(task: Task, left: Sequence[Left], lost: float, today: Day) -> tuple[Left, ...]:
    """What is left, with as much of what is over as its windows hold and, of a flexible task, the
    rest of the day."""
    offered = []
    for part in left:
        more = min(lost, max(_room(task, part.window) - part.amount, 0.0))
        lost -= more
        if more > ROUNDING:
            part = replace(part, amount=part.amount + more, as_planned=False)
        offered.append(part)
    more = min(lost, _room(task, today.window)) if task.flexible and task.at is None else 0.0
    if more > ROUNDING:
        offered.append(Left(today, today.window, more, begun=False, as_planned=False))
    return tuple(offered)


def _amounts(plan: Plan, done: Done) -> dict[str, float]:
    """By name how many repeats, or seconds, were done. Raises PlanError, a line a problem."""
    amounts, problems = {}, []
    named: dict[int, str] = {}
    for name, said in done.items():
        numbers = called(plan.task, name)
        if not numbers:
            line = f"--done names no task of the plan (got {shown(name)})"
            words = [word for task in plan.task for word in (task.name, task.tool) if word]
            problems.append(line + meant(name, words))
            continue
        if before := named.get(numbers[0]):
            problems.append(f"--done names one task twice: {shown(before)} and {shown(name)}")
            continue
        named |= dict.fromkeys(numbers, name)
        units = list(dict.fromkeys(plan.task[k].unit for k in numbers))
        try:
            amounts[name] = _amount(said, units)
        except ValueError as error:
            problems.append(f"--done {shown(name)}: {error}")
    if problems:
        raise PlanError(problems)
    return amounts


def _amount(said: float | str, units: Sequence[str]) -> float:
    """Repeats or seconds of an amount in the unit of its tasks. Raises ValueError."""
    if isinstance(said, str) and said.strip().casefold() in WORDS:
        return WORDS[said.strip().casefold()]
    if len(units) > 1:
        raise ValueError(f"it is stated in {' and in '.join(units)}; say all or none")
    try:
        amount = number(float(said) if isinstance(said, str) else said)
    except ValueError:
        amount = None
    if amount is None:
        raise ValueError(f"the amount must be {units[0]}, all or none (got {shown(said)})")
    if amount < 0.0:
        raise ValueError(f"the amount must be at least 0 (got {amount:g})")
    if units[0] not in SECONDS and amount % 1.0:
        raise ValueError(f"the amount must be a whole number of {units[0]} (got {amount:g})")
    return amount * SECONDS.get(units[0], 1.0)
