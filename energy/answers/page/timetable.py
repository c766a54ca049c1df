"""The tasks of a plan as rows that hands can follow: when, what, how much, how many watts."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import groupby

from energy.answers.check.check import Check
from energy.model.demand import Burst
from energy.plan.task import Task
from energy.show.layout import tied
from energy.show.moments import day_name, hour_minute
from energy.simulation.budget import Budget

TOUCHING_S = 1.0  # what follows so closely goes on
DAY = timedelta(days=1)
SUN_DRIFT = timedelta(minutes=10)  # about the same time, of what goes by the sun
RUN_OF_DAYS = 3  # and more are said from the first to the last
LONG_SPAN = timedelta(days=28)  # a weekday with its date comes again


@dataclass(frozen=True)
class Row:
    """A task at the times at which it runs: on which days, from when to when, how much of it each
    day, its watts, and why it cannot run where it cannot."""

    days: str
    times: str
    name: str
    amount: str
    watts: str
    must: bool
    why_not: str


@dataclass(frozen=True)
class Spell:
    """From when to when a task is under way in a window [UTC s], and how many repeats of it."""

    start_s: float
    end_s: float
    count: int


def timetable(answer: Check) -> tuple[Row, ...]:
    """The tasks in the order in which they begin; days at the same times share a row.

    >>> from energy.answers.check.check import check
    >>> from energy.plan import Plan
    >>> row = timetable(check(Plan.read("builtin:cloudy-repair")))[1]
    >>> row.days, row.times, row.name
    ('Mon 14', '09:34 to 11:55', 'cut the rusted bolts')
    """
    result = answer.budget
    rows: list[tuple[float, Row]] = []
    for k, (task, said) in enumerate(zip(result.plan.task, answer.tasks, strict=True)):
        for times, same in _by_clock(result, task, _spells(result.bursts_by_task.get(k, []))):
            count = same[0].count if same and task.kind != "cycling" else task.repeats
            row = Row(
                days=_days(result, same),
                times=times,
                name=task.name,
                amount=tied(amount(task, count)),
                watts=tied(f"{task.peak_w:.0f} W"),
                must=task.must,
                why_not=said.why_not or "",
            )
            rows.append((same[0].start_s if same else float("inf"), row))
    return tuple(row for _, row in sorted(rows, key=lambda pair: pair[0]))


def amount(task: Task, count: int | None) -> str:
    """How much of a task there is, if it is so many repeats.

    >>> amount(Task(name="cut", supply="ac", working_w=900, times=16, each_s=45), 12)
    '12 times, 45 s each'
    """
    if task.repeats is None:
        return "" if task.duration_s is None else _length(task.duration_s)
    if task.charges is not None:
        return f"{count} charge{'s' * (count != 1)}"
    once = "" if task.repeat_s is None else _length(task.repeat_s)
    return once if count == 1 else f"{count} times, {once} each"


def _length(seconds: float) -> str:
    """A length of time in its usual unit."""
    if seconds < 120.0:
        return f"{seconds:.3g} s"
    minutes = seconds / 60.0
    return f"{minutes:.3g} min" if minutes < 120.0 else f"{minutes / 60.0:.3g} h"


def _spells(bursts: Sequence[Burst]) -> list[Spell]:
    """When a task is under way in each of its windows; windows that follow each other without a
    break are one."""
    spells: list[Spell] = []
    for _, mine in groupby(sorted(bursts, key=lambda b: b.start_s), key=lambda b: b.window):
        several = list(mine)
        end_s = max(burst.end_s for burst in several)
        spell = Spell(several[0].start_s, end_s, len(several))
        if spells and spell.start_s - spells[-1].end_s <= TOUCHING_S:
            before = spells.pop()
            spell = Spell(before.start_s, end_s, before.count + spell.count)
        spells.append(spell)
    return spells


def _by_clock(result: Budget, task: Task, spells: Sequence[Spell]) -> list[tuple[str, list[Spell]]]:
    """The spells of a task by what the clock says of them: each at its own times, but about those
    of the first where it goes by the sun."""
    moments = [moment for moment in (*(task.between or ()), task.at) if moment is not None]
    by_sun = any(anchor != "clock" for anchor, _ in moments)
    may_differ = SUN_DRIFT if by_sun else timedelta(0)
    alike: list[list[Spell]] = []
    for spell in spells:
        for group in alike:
            counts = task.repeats is not None and group[0].count != spell.count
            told = by_sun or _clock(result, group[0]) == _clock(result, spell)
            if told and not counts and _apart(result, group[0], spell) <= may_differ:
                group.append(spell)
                break
        else:
            alike.append([spell])
    return [(_times(result, group), group) for group in alike] or [("", [])]


def _apart(result: Budget, one: Spell, other: Spell) -> timedelta:
    """How far two spells stand apart on the clock, at their starts or at their ends."""
    (start, end), (other_start, other_end) = _walls(result, one), _walls(result, other)
    later = (other_start - start + DAY / 2) % DAY - DAY / 2
    return max(abs(later), abs(later + (other_end - other_start) - (end - start)))


def _walls(result: Budget, spell: Spell) -> tuple[datetime, datetime]:
    """What the clock on the wall shows at a spell's start and end, in whole minutes."""
    start, end = (
        result.local(time_s).replace(tzinfo=None, second=0, microsecond=0)
        for time_s in (spell.start_s, spell.end_s)
    )
    return start, end


def _times(result: Budget, spells: Sequence[Spell]) -> str:
    """From when to when some spells are under way that are about alike."""
    texts = list(dict.fromkeys(_clock(result, spell) for spell in spells))
    return texts[0] if len(texts) == 1 else f"about {texts[0]}, by the sun"


def _clock(result: Budget, spell: Spell) -> str:
    start, end = _walls(result, spell)
    at, until = (hour_minute(result.local(time_s)) for time_s in (spell.start_s, spell.end_s))
    if at == until and end - start < DAY:
        return at
    day = f"{_date(result, end)} " if end - start >= DAY else ""
    return f"{at} to {day}{until}"


def _days(result: Budget, spells: Sequence[Spell]) -> str:
    """On which days some spells begin; three and more that follow each other as a run."""
    dates = list(dict.fromkeys(result.local(spell.start_s).date() for spell in spells))
    runs: list[list[date]] = []
    for day in dates:
        if runs and day - runs[-1][-1] == DAY:
            runs[-1].append(day)
        else:
            runs.append([day])
    words = []
    for run in runs:
        names = [_date(result, day) for day in run]
        words += [f"{names[0]} to {names[-1]}"] if len(run) >= RUN_OF_DAYS else names
    return ", ".join(words)


def _date(result: Budget, day: date) -> str:
    """A date in as few words as tell it from the others of the span."""
    long = result.calendar.last - result.calendar.first >= LONG_SPAN
    return day_name(day) if long else f"{day:%a} {day.day}"
