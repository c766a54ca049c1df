"""What each task could do: how many repeats, on which day, from when, and what that asks.

A choice is for `choose`; here are its pieces, laid on slots of time, and the plan's tables that a
set of choices makes.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np

from energy.budget import Budget
from energy.model.demand import Burst, bursts
from energy.model.timeline import Interval, equal_shares
from energy.plan.task import Task, at_other_times

PARTS = 4  # a block of minutes is cut by quarters


@dataclass(frozen=True)
class Option:
    """One thing that a task could do.

    task from 0; window: the number of its window of the task; day: the local date on which that
    starts, None for all windows at once. share: how much of the task one unit of it is; most: how
    many units there may be (more than one only where each is one more repeat, back to back from
    `starts_s`), in_all: how many of all the window's options together. unit: the plan's key for
    it, repeats: how many of that key one unit is. bursts are those of one unit.
    """

    task: int
    window: int
    day: date | None
    starts_s: float | None
    share: float
    most: int
    in_all: int
    unit: str
    repeats: float
    bursts: tuple[Burst, ...]

    @property
    def interval(self) -> Interval:
        """From its first burst's begin to its last one's end [UTC s]."""
        return self.bursts[0].start_s, max(burst.end_s for burst in self.bursts)


def options(b: Budget, slot_s: float) -> list[Option]:
    """Every option of every task of a plan, in the plan's order.

    >>> from energy.budget import budget
    >>> from energy.plan import Plan
    >>> found = options(budget(Plan.read("builtin:cloudy-repair")), 1800.0)
    >>> {option.task for option in found} == set(range(9))
    True
    """
    return [option for k in range(len(b.plan.task)) for option in _of_task(b, k, slot_s)]


@dataclass(frozen=True)
class _Window:
    """A window of a task that holds some of it in the span: its number, the date on which it
    starts, all of it and what lies in the span [UTC s], and the plan's bursts there."""

    number: int
    day: date
    whole: Interval
    inside: Interval
    bursts: tuple[Burst, ...]

    @property
    def cut(self) -> bool:
        """Whether a part of it lies outside the span."""
        return self.whole != self.inside


def _of_task(b: Budget, k: int, slot_s: float) -> Iterator[Option]:
    task = b.plan.task[k]
    amount = task.times or task.charges
    windows = list(_windows(b, k))
    whole = amount is None and task.duration_s is None
    if whole or any(window.day < b.calendar.first for window in windows):
        yield from _all_or_nothing(b, k)
        return
    for window in windows:
        if amount is None:
            found = list(_block(b, k, window, slot_s))
        elif task.flexible and task.at is None:
            found = list(_repeats_anywhere(b, k, window, slot_s))
        else:
            found = list(_fewer(b, k, window, amount))
        for option in found or [_as_planned(b, k, window)]:
            yield replace(option, share=option.share / len(windows))


def _windows(b: Budget, k: int) -> Iterator[_Window]:
    task, calendar = b.plan.task[k], b.calendar
    first, last = float(b.time_s[0]), float(b.time_s[-1])
    for number, day in enumerate(calendar.days(task.days)):
        window = calendar.window(task.between, day)
        if task.at is not None:
            at = calendar.at(task.at, day)
            window = (at, at + _block_s(task))
        mine = tuple(burst for burst in b.bursts if (burst.task, burst.window) == (k, number))
        if window is not None and mine:
            inside = max(window[0], first), min(window[1], last)
            yield _Window(number, day, window, inside, mine)


def _all_or_nothing(b: Budget, k: int) -> Iterator[Option]:
    mine = tuple(burst for burst in b.bursts if burst.task == k)
    if mine:
        yield Option(k, mine[0].window, None, None, 1.0, 1, 1, "", 1.0, mine)


def _as_planned(b: Budget, k: int, window: _Window) -> Option:
    """All that the plan does in a window, at its own times."""
    task = b.plan.task[k]
    unit, amount = _unit(task), float(task.times or task.charges or 0)
    if not amount:
        unit, amount = "minutes", (task.duration_s or 0.0) / 60.0
    return Option(k, window.number, window.day, None, 1.0, 1, 1, unit, amount, window.bursts)


def _fewer(b: Budget, k: int, window: _Window, amount: int) -> Iterator[Option]:
    """One to all of the repeats of a window, spread as the plan spreads them; of a window that the
    span cuts all or none."""
    task, span = b.plan.task[k], (float(b.time_s[0]), float(b.time_s[-1]))
    for n in () if window.cut else range(1, amount + 1):
        placed = _placed(task, window.whole, n)
        found = bursts(task, k, window.number, placed, span) if placed else []
        if found:
            yield Option(
                k, window.number, window.day, None, n / amount, 1, 1, _unit(task), n, tuple(found)
            )


def _block(b: Budget, k: int, window: _Window, slot_s: float) -> Iterator[Option]:
    """A block of minutes, or a part of it, from its own time or from any slot."""
    task = b.plan.task[k]
    long, starts = task.duration_s or 0.0, [window.whole[0]]
    ends_s, moves = window.whole[1], task.flexible and task.at is None
    if moves:
        if window.cut:
            long = window.bursts[-1].end_s - window.bursts[0].start_s
        ends_s = window.inside[1]
        starts = _starts(window.inside, long / PARTS, slot_s)
        moves = len(starts) > 1 or window.cut
    span = float(b.time_s[0]), float(b.time_s[-1])
    for start in starts:
        for parts in range(1, PARTS + 1):
            end = start + long * parts / PARTS
            if end > ends_s + 1.0 and (moves or parts < PARTS):
                continue
            found = bursts(task, k, window.number, [(start, min(end, ends_s))], span)
            if found:
                yield Option(
                    task=k,
                    window=window.number,
                    day=window.day,
                    starts_s=start if moves else None,
                    share=parts / PARTS,
                    most=1,
                    in_all=1,
                    unit="minutes",
                    repeats=long / 60.0 * parts / PARTS,
                    bursts=tuple(found),
                )


def _repeats_anywhere(b: Budget, k: int, window: _Window, slot_s: float) -> Iterator[Option]:
    """Repeats one after another from any slot of the window."""
    task = b.plan.task[k]
    amount, each_s = task.times or task.charges or 1, task.repeat_s or 0.0
    if window.cut:
        amount = min(amount, len(window.bursts))
    span = float(b.time_s[0]), float(b.time_s[-1])
    most = min(max(1, int((slot_s + 1e-6) // each_s)), amount)
    for start in _starts(window.inside, each_s, slot_s):
        fits = min(most, int((window.inside[1] - start + 1e-6) // each_s))
        found = bursts(task, k, window.number, [(start, start + each_s)], span)
        if found and fits:
            yield Option(
                task=k,
                window=window.number,
                day=window.day,
                starts_s=start,
                share=1.0 / amount,
                most=fits,
                in_all=amount,
                unit=_unit(task),
                repeats=1,
                bursts=tuple(found),
            )


def _starts(window: Interval, long_s: float, slot_s: float) -> list[float]:
    """Whole minutes, a slot apart, from which something fits into a window."""
    first = float(np.ceil(window[0] / 60.0) * 60.0)
    return [float(t) for t in np.arange(first, window[1] - long_s + 1.0, slot_s)]


def _placed(task: Task, window: Interval, number: int) -> list[Interval]:
    each_s = task.repeat_s or 0.0
    if task.at is not None:
        return [(window[0] + i * each_s, window[0] + (i + 1) * each_s) for i in range(number)]
    try:
        return equal_shares(window, number, each_s)
    except ValueError:
        return []


def _block_s(task: Task) -> float:
    """How long what begins at a stated time goes on."""
    return task.repeats * (task.repeat_s or 0.0) if task.repeats else task.duration_s or 1.0


def _unit(task: Task) -> str:
    return "charges" if task.charges is not None else "times"


def in_a_row(option: Option, count: int) -> list[Burst]:
    """The bursts of so many units of an option, one after another."""
    begin, end = option.interval
    found = []
    for k in range(count):
        late = k * (end - begin)
        for burst in option.bursts:
            pieces = tuple(
                replace(piece, start_s=piece.start_s + late, end_s=piece.end_s + late)
                for piece in burst.pieces
            )
            found.append(replace(burst, pieces=pieces))
    return found


def tables(b: Budget, chosen: Mapping[int, int], every: Sequence[Option]) -> list[dict[str, Any]]:
    """The plan's [[task]] tables for a choice: option number -> how many units of it.

    A task that stays as it is keeps its table; one that changes becomes a table for each day and
    start. Tasks of one name share their luck, so that splitting one changes no draw.
    """
    found: list[dict[str, Any]] = []
    inside = {option.task for option in every}
    for k, table in enumerate(b.plan.source["task"]):
        mine = [(every[i], n) for i, n in sorted(chosen.items()) if every[i].task == k and n]
        kept = sum(option.share * n for option, n in mine)
        moved = any(option.starts_s is not None for option, _ in mine)
        if k not in inside or (kept > 1.0 - 1e-9 and not moved):
            found.append(table)
            continue
        found += [_table(b, table, option, n) for option, n in mine]
    return found


def _table(b: Budget, table: Mapping[str, Any], option: Option, number: int) -> dict[str, Any]:
    task = b.plan.task[option.task]
    keys: dict[str, Any] = {"days": None, "flexible": None}
    if option.day is not None:
        # a window that passes midnight may be begun on one date and used on the next
        day = option.day if option.starts_s is None else b.local(option.starts_s).date()
        keys["days"] = [(day - b.calendar.first).days + 1]
        keys[option.unit] = (
            round(option.repeats, 6) if option.unit == "minutes" else int(option.repeats) * number
        )
    if option.starts_s is not None:
        keys["at"] = b.calendar.clock(option.starts_s)
    return at_other_times(table, name=task.name, **keys)
