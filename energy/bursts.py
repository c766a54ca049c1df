"""When a plan's tasks run: every burst of every task inside a span.

What a burst draws is for `model.demand`, which of them the limits let run for `model.limits`.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

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

ROUNDING_S = 1e-3
Spells = Mapping[date, Interval]  # from the first start to the last end of each day's window


@dataclass(frozen=True)
class Placed:
    """A plan's bursts inside a span, whatever the weather: all of them, the (task, window) that
    began before it, and lines about what does not fit the plan's own."""

    bursts: tuple[Burst, ...]
    begun: Begun
    notes: tuple[str, ...]


def place_bursts(plan: Plan, calendar: Calendar, span: Interval) -> Placed:
    """Every burst of every task inside the span judged [UTC s].

    Raises PlanError for what only the days themselves show, such as repeats that do not fit between
    sunrise and sunset.
    """
    whole = to_utc(plan.span.start, calendar.zone), to_utc(plan.span.end, calendar.zone)
    placed: list[Burst] = []
    begun: set[tuple[int, int]] = set()
    notes: list[str] = []
    problems: list[str] = []
    spells: list[dict[date, Interval]] = [{} for _ in plan.task]
    for k, task in enumerate(plan.task):
        cut_off, days, in_days = False, calendar.days(task.days), []
        for day in days:
            try:
                found, block_cut = _in_day(plan, calendar, k, day)
            except ValueError as error:
                problems.append(f'{plan.origin}: task {k + 1} "{task.name}": {error}')
                break
            if block_cut:
                notes.append(f'"{task.name}" is longer than its window on {day} and is cut there')
            in_days.append(found)
        in_days, cuts = one_at_a_time(in_days)
        notes += _starts_again(task, calendar, [t for t in cuts if whole[0] < t < whole[1]])
        for number, (day, found) in enumerate(zip(days, in_days, strict=False)):
            if found:
                spells[k][day] = found[0][0], found[-1][1]
            placed += bursts(task, k, number, found, span)
            if any(whole[0] <= start < span[0] for start, _ in found):
                begun.add((k, number))
            inside_s = sum(max(min(b, whole[1]) - max(a, whole[0]), 0.0) for a, b in found)
            outside_s = sum(b - a for a, b in found) - inside_s
            cut_off |= outside_s > 1.0 and day >= calendar.first
        if cut_off and task.must and not _all_day(task):
            notes.append(
                f'what of "{task.name}", which must run, comes before the start or after the end of'
                " the span is not judged"
            )
    if problems:
        raise PlanError(problems)
    notes += [*_too_early(plan, calendar, spells, span), *_no_sunset(plan, calendar)]
    return Placed(tuple(placed), frozenset(begun), tuple(notes))


def _starts_again(task: Task, calendar: Calendar, cuts: Sequence[float]) -> list[str]:
    """A line where a task is cut [UTC s] because it starts again before it is over."""
    if not cuts:
        return []
    when = f"{calendar.moment(cuts[0]):%Y-%m-%d at %H:%M}"
    when += f", the first of {len(cuts)} times" if len(cuts) > 1 else ""
    again = f'"{task.name}" still runs when it starts again on {when}'
    return [f"{again}: it is cut there, for nothing runs twice at once"]


def _too_early(
    plan: Plan, calendar: Calendar, spells: Sequence[Spells], span: Interval
) -> Iterator[str]:
    """A line for each task that begins inside the span before the one it waits for is done.

    The window of a day waits for what the other does on that day, else on the last day before, and
    where there is none for the first.
    """
    for task, mine in zip(plan.task, spells, strict=True):
        if task.after is None:
            continue
        done: dict[date, float] = {}
        for other, its in zip(plan.task, spells, strict=True):
            if other.name == task.after:
                for day, (_, end_s) in its.items():
                    done[day] = max(end_s, done.get(day, end_s))
        for day, (start_s, _) in mine.items():
            if not done or not span[0] <= start_s < span[1]:
                continue
            end_s = done[max((d for d in done if d <= day), default=min(done))]
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


def _all_day(task: Task) -> bool:
    """Whether a task simply runs on, day and night."""
    amount = task.repeats or task.duration_s
    return task.between is None and task.at is None and amount is None


def _in_day(plan: Plan, calendar: Calendar, number: int, day: date) -> tuple[list[Interval], bool]:
    """A task's bursts in the window that starts on a day; whether a block had to be cut."""
    task = plan.task[number]
    repeats, each_s = task.repeats, task.repeat_s
    if task.at is not None:
        start = calendar.at(task.at, day)
        if repeats is None:
            assert task.duration_s is not None
            return [(start, snap(start + task.duration_s))], False
        assert each_s is not None
        assert task.pace_s is not None
        return one_after_another(start, repeats, each_s, task.pace_s), False
    window = calendar.window(task.between, day)
    if window is None:
        return [], False
    if repeats is not None:
        assert each_s is not None
        return equal_shares(window, repeats, each_s), False
    if task.duration_s is None:
        return [window], False
    end = snap(window[0] + task.duration_s)
    return [(window[0], min(end, window[1]))], end > window[1] + 1e-3
