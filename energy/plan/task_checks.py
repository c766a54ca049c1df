"""What the keys of a plan's tasks must say together, looked for in its merged tables.

As in `checks`: each check reads only what it needs and lets wrong types pass.
"""

from collections.abc import Callable, Iterator
from graphlib import CycleError, TopologicalSorter
from itertools import pairwise

from energy.plan.fields import number
from energy.plan.messages import Path, Problem
from energy.plan.moments import DAY_MIN, Window, clock_minutes, moment, window
from energy.plan.profiles import Table
from energy.plan.raw_tables import has, stated
from energy.plan.task import (
    AMOUNTS,
    FIGURES,
    SECONDS_PER_H,
    SECONDS_PER_MIN,
    Task,
    charge_s,
    without_effect,
)
from energy.plan.words import and_list, nearest_of, shown

MOST_STARTS = 200_000  # bursts and cycles of all tasks together; what the simulation can lay out
NEEDS = {
    "steady": ("working_w",),
    "intermittent": ("working_w",),
    "cycling": ("on_w", "duty_percent", "period_min"),
    "charging": ("energy_wh", "power_w"),
    "trace": ("trace",),
}


def check_tasks(
    tasks: list[tuple[int, Table]], dates: int | None, lacking: set[Path]
) -> Iterator[Problem]:
    """Every problem that more than one key of the tasks makes.

    tasks: their tables with their numbers from 0; dates: how many the span touches, None where
    that cannot be said; lacking: the tables whose profile is unknown.
    """
    yield from _relations(tasks)
    starts = 0.0
    for k, task in tasks:
        figures = () if ("task", k) in lacking else _figures(task)
        problems = (
            *figures,
            *_amount(task),
            *_fits(task),
            *_starts_again(task),
            *days(task, dates),
        )
        yield from (Problem(("task", k), text) for text in problems)
        starts += _starts(task, dates or 1)
    if starts > MOST_STARTS:
        text = f"the tasks start {starts:,.0f} times; at most {MOST_STARTS:,} are possible"
        yield Problem((), text)


def days(table: Table, dates: int | None) -> Iterator[str]:
    """The days of a task or a charger: each named once, and within the span."""
    named = table.get("days")
    if not isinstance(named, list | tuple):
        return
    numbers = [day for day in named if isinstance(day, int) and not isinstance(day, bool)]
    beyond = [day for day in numbers if dates is not None and day > dates]
    if beyond:
        yield f"days must lie between 1 and {dates}, the days of the span (got {shown(beyond[0])})"
    if len(set(numbers)) < len(numbers):
        yield f"days must name each day once (got {shown(named)})"


def _kind(task: Table) -> str:
    kind = stated(task, "kind", Task)
    return kind if isinstance(kind, str) else ""


def _figures(task: Table) -> Iterator[str]:
    """The figures that its kind needs, or those that it does not read: of a task without a kind
    they tell which was meant."""
    kind, unread = _kind(task), without_effect(task)
    lacking = _lacking(task, kind)
    if unread and not (lacking and has(task, "kind")):
        does = "does" if len(unread) == 1 else "do"
        meant = [k for k in FIGURES if set(unread) <= set(FIGURES[k])]
        kinds = ", or ".join(
            " with ".join(filter(None, (f'kind = "{k}"', and_list(_lacking(task, k)))))
            for k in meant
        )
        yield (
            f'{and_list(unread)} {does} nothing with kind = "{kind}", which takes'
            f" {and_list(FIGURES[kind])}" + f"; did you mean {kinds}?" * bool(meant)
        )
        return
    yield from (f'kind = "{kind}" needs {key}' for key in lacking)


def _lacking(task: Table, kind: str) -> list[str]:
    return [key for key in NEEDS.get(kind, ()) if not has(task, key)]


def _amount(task: Table) -> Iterator[str]:
    """How much is to be done must be said in one way, and in a way that suits the tool."""
    kind, said = _kind(task), [key for key in AMOUNTS if has(task, key)]
    each = [key for key in ("each_s", "each_min") if has(task, key)]
    if len(said) > 1:
        yield f"say how much in one way, not {' and '.join(said)}"
    if len(each) > 1:
        yield "give each_s or each_min, not both"
    if each and "times" not in said:
        yield f"{each[0]} needs times"
    if "times" in said and not each and kind != "trace":
        charges = "; for full charges give charges instead" if kind == "charging" else ""
        yield f"times needs each_s or each_min{charges}"
    if "charges" in said and kind in NEEDS and kind != "charging":
        yield f'charges is for a charging tool (this one is "{kind}")'
    counted = {"times", "charges"} & set(said) or (not said and kind in ("charging", "trace"))
    if has(task, "pause_s") and not counted:
        yield "pause_s needs times or charges"
    if has(task, "at") and has(task, "between"):
        yield "give at or between, not both"
    if has(task, "at") and not said and kind != "charging":
        yield "at needs to know how long: minutes, hours, or times with each_s or each_min"


def _relations(tasks: list[tuple[int, Table]]) -> Iterator[Problem]:
    """What is wrong with the tasks that others name by `with` and `after`."""
    ranks: dict[str, dict[str, None]] = {}  # by name, each once, as written
    for _, task in tasks:
        if isinstance(name := task.get("name"), str):
            ranks.setdefault(name, {})[_rank(task)] = None
    guess = nearest_of(ranks)
    for k, task in tasks:
        for key in ("with", "after"):
            if isinstance(task.get(key), str):
                yield from (Problem(("task", k), text) for text in _named(task, key, ranks, guess))
    yield from _circle(tasks)


def _named(
    task: Table, key: str, ranks: dict[str, dict[str, None]], guess: Callable[[str], str]
) -> Iterator[str]:
    other = task[key]
    if other == task.get("name"):
        yield f"{key} names the task itself"
    elif other not in ranks:
        yield f"{key} names no task of the plan (got {shown(other)}){guess(other)}"
    elif key == "with":
        unlike = next((rank for rank in ranks[other] if rank != _rank(task)), None)
        if unlike is not None:
            yield (
                f"with = {shown(other)} needs the same must and priority of both:"
                f" {shown(other)} has {unlike}, {shown(task.get('name'))} {_rank(task)}"
            )


def _rank(task: Table) -> str:
    must, priority = stated(task, "must", Task), stated(task, "priority", Task)
    return f"must = {shown(must)} and priority = {shown(priority)}"


def _circle(tasks: list[tuple[int, Table]]) -> Iterator[Problem]:
    """Tasks that wait for one another: one circle, told at the first of them."""
    place: dict[str, int] = {}
    waits: dict[str, list[str]] = {}
    for k, task in tasks:
        name, other = task.get("name"), task.get("after")
        if isinstance(name, str) and isinstance(other, str) and name != other:
            place.setdefault(name, k)
            waits.setdefault(name, []).append(other)
    try:
        TopologicalSorter(waits).prepare()
    except CycleError as error:
        around = error.args[1][:0:-1]  # each waits for the next
        first = min(range(len(around)), key=lambda i: place[around[i]])
        circle = [*around[first:], *around[: first + 1]]
        yield Problem(
            ("task", place[circle[0]]),
            f"after goes round in a circle: {' after '.join(shown(name) for name in circle)}",
        )


def _fits(task: Table) -> Iterator[str]:
    minutes, repeats = _window_minutes(task), _repeats(task)
    if minutes is None or repeats is None:
        return
    times, each_s = repeats
    if times >= 1.0 and times * each_s > minutes * 60.0 + 1e-6:
        what = "charges" if _kind(task) == "charging" and not has(task, "times") else "times"
        yield (
            f"{times:g} {what} of {_duration(each_s)} do not fit into the window of"
            f" {_duration(60.0 * minutes)}"
        )


def _starts_again(task: Table) -> Iterator[str]:
    """What begins at a time of the clock must be over when it begins again on another day."""
    days = task.get("days")
    if isinstance(days, list | tuple):
        numbers = sorted({day for day in days if isinstance(day, int)})
        gap = min((b - a for a, b in pairwise(numbers)), default=None)
    else:
        gap = 1
    try:
        anchor, _ = moment(task.get("at"))
    except ValueError:
        return
    repeats = _repeats(task)
    lasts_s = _block_s(task)
    if repeats is not None:
        pauses = max(repeats[0] - 1, 0) * (number(task.get("pause_s")) or 0.0)
        lasts_s = repeats[0] * repeats[1] + pauses
    if gap is None or anchor != "clock" or lasts_s is None:
        return
    if lasts_s > gap * DAY_MIN * 60.0 + 1e-6:
        yield (
            f"{_duration(lasts_s)} from {task['at']} are not over when it"
            f" starts again {24 * gap} h later: give at most {24 * gap} h, or one day, such as"
            " days = [1]"
        )


def _starts(task: Table, dates: int) -> float:
    """How often a task starts in the span, at most."""
    days = task.get("days")
    windows = len(days) if isinstance(days, list | tuple) else dates + 1
    repeats = _repeats(task)
    starts, each_s = repeats or (1.0, 60.0 * (_window_minutes(task) or DAY_MIN))
    period_min = number(task.get("period_min"))
    if _kind(task) == "cycling" and period_min is not None and period_min > 0.0:
        if repeats is None:
            each_s = _block_s(task) or each_s
        starts *= max(1.0, each_s / (60.0 * period_min))
    return starts * windows


def _window_minutes(task: Table) -> float | None:
    """Length of the task's window by the clock; None where there is none, or the sun decides."""
    if has(task, "at"):
        return None
    try:
        between: Window | None = window(task.get("between"))
    except ValueError:
        return None
    return clock_minutes(between)


def _repeats(task: Table) -> tuple[float, float] | None:
    """How often and how long each [s], for a task that is counted; None for a block."""
    if has(task, "minutes") or has(task, "hours"):
        return None
    times, each_s = number(task.get("times")), number(task.get("each_s"))
    if each_s is None and (each_min := number(task.get("each_min"))) is not None:
        each_s = each_min * SECONDS_PER_MIN
    if _kind(task) == "charging" and times is None:
        times = number(task.get("charges", 1))
        energy, power = number(task.get("energy_wh")), number(task.get("power_w"))
        taper = number(stated(task, "taper_from_percent", Task))
        if energy is not None and power is not None and taper is not None and power > 0.0:
            each_s = charge_s(energy, power, taper)
    trace = task.get("trace")
    if _kind(task) == "trace" and each_s is None and isinstance(trace, tuple):
        each_s = trace[-1][0] - trace[0][0]
    return None if times is None or each_s is None else (times, each_s)


def _block_s(task: Table) -> float | None:
    """Length of a block [s], where the task states one."""
    minutes, hours = number(task.get("minutes")), number(task.get("hours"))
    if hours is not None:
        return SECONDS_PER_H * hours
    return None if minutes is None else SECONDS_PER_MIN * minutes


def _duration(seconds: float) -> str:
    for unit, size in (("h", 3600.0), ("min", 60.0)):
        if seconds >= size:
            return f"{seconds / size:.4g} {unit}"
    return f"{seconds:.4g} s"
