"""The tasks of a plan as rows that hands can follow: when, what, how much, how many watts."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from energy.answers.check.check import Check
from energy.model.demand import Burst
from energy.plan.task import Task
from energy.show.layout import tied
from energy.show.moments import day_name
from energy.simulation.budget import Budget

WHOLE_DAY_S = 23.5 * 3600.0
TOUCHING_S = 1.0  # what follows so closely goes on
MOST_DAYS = 4  # named one by one


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
    """The tasks in the order in which they begin; one row where the clock is the same every day.

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
    """The spells of a task by what the clock says of them."""
    moments = [moment for moment in (*(task.between or ()), task.at) if moment is not None]
    if any(anchor != "clock" for anchor, _ in moments) and len(spells) > 1:
        return [(f"{_clock(result, spells[0])}, by the sun", list(spells))]
    same: dict[tuple[str, int], list[Spell]] = {}
    for spell in spells:
        count = spell.count if task.repeats is not None else 0
        same.setdefault((_clock(result, spell), count), []).append(spell)
    return [(times, several) for (times, _), several in same.items()] or [("", [])]


def _clock(result: Budget, spell: Spell) -> str:
    if spell.end_s - spell.start_s > WHOLE_DAY_S:
        return "day and night"
    start, end = (f"{result.local(time_s):%H:%M}" for time_s in (spell.start_s, spell.end_s))
    return start if start == end else f"{start} to {end}"


def _days(result: Budget, spells: Sequence[Spell]) -> str:
    """On which days some spells begin."""
    dates = list(dict.fromkeys(result.local(spell.start_s).date() for spell in spells))
    every = (result.calendar.last - result.calendar.first).days + 1
    if len(dates) > MOST_DAYS:
        most = "every day" if len(dates) >= every - 1 else f"{len(dates)} days"
        return f"{most} from {day_name(dates[0])}"
    return ", ".join(f"{date:%a} {date.day}" for date in dates)
