"""When a plan's tasks run: every burst of every task inside a span.

What a burst draws is for `model.demand`, which of them the limits let run for `model.limits`.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property

import numpy as np

from energy.model.demand import Burst, bursts
from energy.model.limits import Begun
from energy.model.timeline import (
    Calendar,
    Interval,
    equal_shares,
    one_after_another,
    one_at_a_time,
    snap,
    to_utc,
)
from energy.plan import Plan, PlanError
from energy.plan.task import Task
from energy.weather.record import DAY_S

MIDNIGHT = ("clock", 1440.0)
ROUNDING_S = 1e-3
Spells = dict[date, Interval | None]  # each day's window from first start to last end; None: done


@dataclass(frozen=True)
class Day:
    """A window of a task: its number, the local date on which it starts, from when to when the task
    may run in it, and the plan's repeats or block there [UTC s].

    What is stated at a time may run until the end of that date, or as long as it takes. cut_s: when
    it is cut because the task starts again, None where it is not.
    """

    number: int
    date: date
    window: Interval
    intervals: tuple[Interval, ...]
    cut_s: float | None = None


@dataclass(frozen=True)
class Left:
    """What is left of a task in one of its windows: how many repeats, or seconds of a block, and
    from when to when they may come [UTC s].

    begun: some of it was done. as_planned: nothing was done and all lies ahead, at its own times.
    """

    day: Day
    window: Interval
    amount: float
    begun: bool
    as_planned: bool


@dataclass(frozen=True)
class Placed:
    """A plan's bursts inside a span, whatever the weather: all of them, the (task, window) that
    began before it, and lines about what does not fit the plan's own."""

    bursts: tuple[Burst, ...]
    begun: Begun
    notes: tuple[str, ...]

    @cached_property
    def marks_s(self) -> list[float]:
        """When anything starts or ends [UTC s], in no order."""
        pieces = (piece for burst in self.bursts for piece in burst.pieces)
        return [time_s for piece in pieces for time_s in (piece.start_s, piece.end_s)]


def days_of(plan: Plan, calendar: Calendar) -> list[list[Day]]:
    """The windows of every task that hold something of it, in the plan's order.

    Raises PlanError for what only the days themselves show: repeats that do not fit between sunrise
    and sunset, and work that waits for a sunrise in the polar night.
    """
    every: list[list[Day]] = []
    problems: list[str] = []
    for k, task in enumerate(plan.task):
        where = f'{plan.origin}: task {k + 1} "{task.name}"'
        try:
            every.append(_once_at_a_time([*_days(task, calendar)]))
        except ValueError as error:
            problems.append(f"{where}: {error}")
        else:
            if _waits_in_vain(task, every[-1], calendar, to_utc(plan.span.end, calendar.zone)):
                problems.append(f"{where} waits for daylight that does not come")
    if problems:
        raise PlanError(problems)
    return every


def _once_at_a_time(days: Sequence[Day]) -> list[Day]:
    """A task's days, each ended where the next begins."""
    kept, cuts = one_at_a_time([list(day.intervals) for day in days])
    if not cuts:
        return list(days)
    cut_days = []
    for day, intervals in zip(days, kept, strict=True):
        if tuple(intervals) != day.intervals:
            cut_s = intervals[-1][1] if intervals else day.intervals[0][0]
            day = replace(day, intervals=tuple(intervals), cut_s=cut_s)
        cut_days.append(day)
    return cut_days


def _days(task: Task, calendar: Calendar) -> Iterator[Day]:
    amount = task.repeats or task.duration_s
    for number, day in enumerate(calendar.days(task.days)):
        if task.at is None:
            window = calendar.window(task.between, day)
        else:
            start_s = calendar.at(task.at, day)
            ends_s = laid(task, (start_s, np.inf), amount)[-1][1]
            window = start_s, max(ends_s, calendar.at(MIDNIGHT, day))
        if window is not None:
            yield Day(number, day, window, tuple(laid(task, window, amount)))


def laid(task: Task, window: Interval, amount: float | None) -> list[Interval]:
    """A task's repeats in a window [UTC s], or its block of so many seconds from the start of that;
    without an amount all of the window. Raises ValueError where repeats do not fit."""
    start_s, end_s = window
    if task.repeats is None:
        return [(start_s, end_s if amount is None else min(snap(start_s + amount), end_s))]
    assert amount is not None
    assert task.repeat_s is not None
    assert task.pace_s is not None
    if task.at is not None:
        return one_after_another(start_s, round(amount), task.repeat_s, task.pace_s)
    return equal_shares(window, round(amount), task.repeat_s)


def place_bursts(
    plan: Plan,
    calendar: Calendar,
    span: Interval,
    left: Mapping[int, Mapping[int, Left]] | None = None,
) -> Placed:
    """Every burst of every task inside the span judged [UTC s].

    left: of some tasks, by number from 0, what was not done before the span, by the window's
    number; the others go by the clock. Raises PlanError as `days_of` does.
    """
    plan_span = to_utc(plan.span.start, calendar.zone), to_utc(plan.span.end, calendar.zone)
    every, left = days_of(plan, calendar), left or {}
    placed: list[Burst] = []
    begun: set[tuple[int, int]] = set()
    notes: list[str] = []
    spells: list[Spells] = []
    for k, (task, days) in enumerate(zip(plan.task, every, strict=True)):
        notes += _cut_short(task, days, plan_span)
        notes += _starts_again(task, calendar, days, plan_span)
        if task.must and not _all_day(task) and _cut_off(task, days, plan_span, calendar.first):
            notes.append(
                f'what of "{task.name}", which must run, comes before the start or after the end of'
                " the span is not judged"
            )
        spells.append({})
        for day in days:
            intervals, is_begun = day.intervals, False
            if k not in left:
                is_begun = any(plan_span[0] <= start < span[0] for start, _ in intervals)
            elif (rest := left[k].get(day.number)) is None:
                intervals = ()
            elif not rest.as_planned:
                intervals, is_begun = tuple(laid(task, rest.window, rest.amount)), rest.begun
            placed += bursts(task, k, day.number, intervals, span)
            if is_begun:
                begun.add((k, day.number))
            spells[k][day.date] = (intervals[0][0], intervals[-1][1]) if intervals else None
    notes += [*_too_early(plan, calendar, spells, span), *_no_sunset(plan, calendar)]
    return Placed(tuple(placed), frozenset(begun), tuple(notes))


def _starts_again(
    task: Task, calendar: Calendar, days: Sequence[Day], plan_span: Interval
) -> Iterator[str]:
    """A line where a task is cut because it starts again before it is over."""
    cuts = [d.cut_s for d in days if d.cut_s is not None and plan_span[0] < d.cut_s < plan_span[1]]
    if cuts:
        when = f"{calendar.moment(cuts[0]):%Y-%m-%d at %H:%M}"
        when += f", the first of {len(cuts)} times" if len(cuts) > 1 else ""
        again = f'"{task.name}" still runs when it starts again on {when}'
        yield f"{again}: it is cut there, for nothing runs twice at once"


def _cut_short(task: Task, days: Sequence[Day], plan_span: Interval) -> Iterator[str]:
    """A line where windows of the plan are too short for the task's block."""
    if task.duration_s is None or task.repeats is not None:
        return
    short = [
        day.date
        for day in days
        if day.window[0] + task.duration_s > day.window[1] + ROUNDING_S
        and overlap_s(day.window, plan_span) > 0.0
    ]
    if short:
        when = f"{short[0]}, the first of {len(short)} times," if len(short) > 1 else f"{short[0]}"
        yield f'"{task.name}" is longer than its window on {when} and is cut there'


def _cut_off(task: Task, days: Sequence[Day], plan_span: Interval, first: date) -> bool:
    """Whether the plan's span cuts one of a task's days, or leaves out one that was asked for: by
    its number, or as the only one. The evening before the span is not asked for."""
    asked = [(day, inside_s(day.intervals, plan_span)) for day in days if day.date >= first]
    wanted = task.days is not None or not any(within_s for _, within_s in asked)
    return any(
        (within_s > 0.0 or wanted) and inside_s(day.intervals) - within_s > 1.0
        for day, within_s in asked
    )


def inside_s(intervals: Sequence[Interval], span: Interval = (-np.inf, np.inf)) -> float:
    """Seconds of some intervals that lie inside a span.

    >>> inside_s([(0.0, 10.0), (20.0, 30.0)], (6.0, 22.0))
    6.0
    """
    return sum(overlap_s(interval, span) for interval in intervals)


def overlap_s(first: Interval, second: Interval) -> float:
    """Seconds that two intervals have in common.

    >>> overlap_s((0.0, 10.0), (6.0, 20.0))
    4.0
    """
    return max(min(first[1], second[1]) - max(first[0], second[0]), 0.0)


def done_by(day: date, done: Mapping[date, float]) -> float:
    """When what a window of a day waits for is done [UTC s], by when it is on each of its days: on
    that day, else on the last before, and where there is none on the first."""
    return done[max((other for other in done if other <= day), default=min(done))]


def _too_early(
    plan: Plan, calendar: Calendar, spells: Sequence[Spells], span: Interval
) -> Iterator[str]:
    """A line for each task that begins inside the span before the one it waits for is done."""
    for task, mine in zip(plan.task, spells, strict=True):
        if task.after is None:
            continue
        done: dict[date, float] = {}
        for other, its in zip(plan.task, spells, strict=True):
            for day, spell in its.items() if other.name == task.after else ():
                done[day] = max(spell[1] if spell else 0.0, done.get(day, 0.0))
        for day, spell in mine.items() if done else ():
            if spell is None or not span[0] <= spell[0] < span[1]:
                continue
            start_s, end_s = spell[0], done_by(day, done)
            if start_s < end_s - ROUNDING_S:
                begins, over = (_when(calendar, t) for t in (start_s, end_s))
                yield (
                    f'"{task.name}" waits for "{task.after}", but begins at {begins}, before that'
                    f" is done at {over}"
                )
                break


def _when(calendar: Calendar, time_s: float) -> str:
    """A moment as a line says it, with its day where the span has several."""
    at = calendar.moment(time_s)
    day = "" if calendar.first == calendar.last else f"{at:%a} {at.day} {at:%b} "
    return f"{day}{at:%H:%M}"


def _no_sunset(plan: Plan, calendar: Calendar) -> list[str]:
    """A line where a task waits for a sunrise or sunset that does not come."""
    moments = [m for t in plan.task for m in (*(t.between or ()), t.at) if m is not None]
    if all(anchor == "clock" for anchor, _ in moments):
        return []
    rise, fall = calendar.sun_times(calendar.first)
    if fall == rise:
        return ["the sun does not rise: sunrise and sunset are both taken as its noon"]
    if fall - rise >= DAY_S:
        return ["the sun does not set: sunrise and sunset are taken as 12 hours from its noon"]
    return []


def _waits_in_vain(task: Task, days: Sequence[Day], calendar: Calendar, ends_s: float) -> bool:
    """Whether work of a stated amount waits for daylight that comes on none of the plan's days, or
    not before the plan ends [UTC s]."""
    if task.between is None or not (task.repeats or task.duration_s):
        return False
    by_daylight = [anchor for anchor, _ in task.between] == ["sunrise", "sunset"]
    asked = any(day >= calendar.first for day in calendar.days(task.days))
    comes = (day.date >= calendar.first and day.window[0] < ends_s for day in days)
    return by_daylight and asked and not any(comes)


def _all_day(task: Task) -> bool:
    """Whether a task simply runs on, day and night."""
    amount = task.repeats or task.duration_s
    return task.between is None and task.at is None and amount is None
