"""A choice of tasks in the terminal: the day as a timetable, what is left out, how many more."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from rich.text import Text

from energy.answers.caution.words import warning_part
from energy.answers.check.words import checkpoints_part, works_in
from energy.answers.choose.choose import Choose, Row
from energy.answers.choose.how_many import HowMany
from energy.plan.words import and_list
from energy.show import files
from energy.show.chance import DULL_CORNER, chance_line
from energy.show.layout import TIE, Part, Sheet, folded, notes_part, part
from energy.show.moments import day_name, hour_minute
from energy.show.numbers import watt_hours
from energy.show.title import answer_part, title_part, weather_part
from energy.simulation.overloads import NEVER, why_turned_away

MOST_LEFT_OUT = 5  # with their reasons
MOST_EFFORT = 6  # that the command takes
SECOND_AT_S = 300.0  # two repeats nearer than this are said to be so far apart
UNITS = {
    "times": ("more time", "more times"),
    "charges": ("more charge", "more charges"),
    "minutes": ("more minute", "more minutes"),
}


def sheet(
    answer: Choose,
    width: int,
    before: Part | None = None,
    *,
    demo: bool = False,
    every: bool = False,
) -> Sheet:
    """A choice: the timetable, what is left out and why, the charge to expect, the chance.

    width: columns. before: what is said of a day under way. demo: the plan is the built-in one.
    every: all that is left out, and all notes.
    """
    result = answer.budget
    parts = [title_part(result, width, demo=demo), answer_part(*headline(answer), width)]
    parts += [warning_part(result, width), *([] if before is None else [before])]
    closing = [weather_part(result, width), notes_part(result.notes, width, every)]
    if not answer.possible:
        return Sheet([*parts, *closing])
    parts += [replace(part([*_timetable(answer, width), ""]), counted=False)]
    if answer.left_out:
        parts.append(_left_out(answer, width, every))
    return Sheet([*parts, checkpoints_part(answer.checkpoints, width), *closing])


def headline(answer: Choose) -> tuple[str, str]:
    """The answer's word, and what fits, or why nothing does."""
    if not answer.possible:
        return "NO", f"{_why_none(answer)}."
    fits = "This fits" if answer.left_out else "Everything fits"
    if answer.chance.scenarios > 1:
        fits += f", in {works_in(answer.budget)}"
    return "YES", f"{fits}{_never(answer)}{_not_proven(answer)}."


def _why_none(answer: Choose) -> str:
    """Why nothing fits, or what does not even alone."""
    result = answer.budget
    if not answer.alone:
        return f"no choice was found{_further(answer)}"
    text = f"{answer.alone} does not fit, even alone"
    if result.overloads:
        return f"{text}: {why_turned_away(result)}"
    if answer.short_at is None:
        return f"{text}: two hand-held tools need the same hands: plan them one after another"
    when = f"{answer.short_at:%a %d %b} {hour_minute(answer.short_at)}"
    if answer.too_cold:
        return (
            f"{text}: the pack is too cold to give at {when}: keep it warmer, doing less is no help"
        )
    return (
        f"{text}: in the weather that decides it falls below the reserve of"
        f" {result.plan.pack.reserve_percent:.0f} % at {when}, and in all"
        f" {watt_hours(answer.short_wh)} Wh are missing"
    )


def _never(answer: Choose) -> str:
    """What is left out because it can never run."""
    never = dict.fromkeys(left.task for left in answer.left_out if NEVER in left.why)
    names = [f'"{name}"' for name in never]
    return f", without {and_list(names)}, which can never run here" if names else ""


def _not_proven(answer: Choose) -> str:
    """That the search was cut short, or may have missed something, and how much at most."""
    if answer.stopped:
        return ". Stopped before its end: the best so far"
    if answer.proven:
        return ""
    most = f"at most {max(answer.gap_percent, 1.0):.0f} % is missing"
    several = len({task.priority for task in answer.budget.plan.task}) > 1
    which = f" of priority {answer.gap_priority}" * several
    return f". Of what could fit{which} {most}{_further(answer)}"


def _further(answer: Choose) -> str:
    """How to search further, where one can."""
    more = answer.effort + 1
    return f"; --effort {more} looks further" if more <= MOST_EFFORT else ""


def _timetable(answer: Choose, width: int) -> list[str]:
    """A line a block: when, what, and at what pace; a line a day where there are several."""
    several = answer.budget.calendar.first != answer.budget.calendar.last
    wide = max((len(_from_to(row)) for row in answer.timetable), default=0)
    lines, last = [], ""
    for row in answer.timetable:
        day = day_name(row.start)
        if several and day != last:
            lines.append(day)
        last = day
        when = f"{_from_to(row):<{wide}}".replace(" ", TIE)
        lines += folded(f"  {when}  {what_to_do(row)}", width, wide + 4)
    return lines


def _from_to(row: Row) -> str:
    """When a block begins and ends, in whole minutes."""
    partly = row.end.second or row.end.microsecond
    until = _later(row.end, timedelta(minutes=1)) if partly else row.end
    later = f" ({until:%a})" if until.date() != row.start.date() else ""
    return f"{hour_minute(row.start)} to {hour_minute(until)}{later}"


def _later(at: datetime, by: timedelta) -> datetime:
    """A moment so much later on the same clock, also where that is put forward or back."""
    return (at.astimezone(UTC) + by).astimezone(at.tzinfo)


def what_to_do(row: Row) -> str:
    """A block in words, with how many and at what pace.

    >>> at = datetime(2026, 9, 14, 9, 30)
    >>> what_to_do(Row("cut the bolts", 16, at, at.replace(hour=10), each_s=45.0, pause_s=75.0))
    'cut the bolts, 16 times, one every 2 min'
    >>> what_to_do(Row("charge", 2, at, at.replace(hour=12), each_s=1800.0, pause_s=5400.0))
    'charge, 2 times, at 09:30 and 11:30'
    """
    if row.times == 1 or row.each_s is None or row.pause_s is None:
        return row.task
    every_s = row.each_s + row.pause_s
    every = f"{every_s / 60.0:.0f} min" if every_s >= 90.0 else f"{every_s:.0f} s"
    pace = f"one every {every}"
    if row.pause_s < 1.0:
        pace = "one after another"
    elif row.times == 2:
        pace = f"{every} apart" if every_s < SECOND_AT_S else f"at {_two_times(row)}"
    return f"{row.task}, {row.times} times, {pace}"


def _two_times(row: Row) -> str:
    """When the two repeats of a block begin."""
    assert row.each_s is not None
    assert row.pause_s is not None
    second = _later(row.start, timedelta(seconds=row.each_s + row.pause_s))
    later = f" ({second:%a})" if second.date() != row.start.date() else ""
    return f"{hour_minute(row.start)} and {hour_minute(second)}{later}"


def _left_out(answer: Choose, width: int, every: bool) -> Part:
    """What is left out, how much of it, and why; a few, or all."""
    items = [
        folded(
            f"  {left.task}, {left.words} ({watt_hours(left.needs_wh)} Wh): {left.why}", width, 4
        )
        for left in answer.left_out
    ]
    if every:
        return part(["Left out", *(line for item in items for line in item), ""])
    versions = []
    for count in range(min(len(items), MOST_LEFT_OUT), 0, -1):
        others = dict.fromkeys(left.task for left in answer.left_out[count:])
        names = and_list([f'"{name}"' for name in others])
        rest = folded(f"  and {names}: --left-out", width, 4) if names else []
        lines = ["Left out", *(line for item in items[:count] for line in item), *rest, ""]
        versions.append([Text(line) for line in lines])
    return Part(versions, gives=1)


def how_many_sheet(answer: HowMany, width: int, before: Part | None = None) -> Sheet:
    """How many more of a tool fit, where, and what the limit is."""
    result = answer.budget
    parts = [title_part(result, width, demo=False), warning_part(result, width)]
    parts += [] if before is None else [before]
    first, *others = _how_many(answer)
    lines = [Text(line, "bold") for line in folded(first, width)]
    lines += [Text(line) for words in others for line in folded(words, width)]
    return Sheet([*parts, Part([[*lines, Text()]]), weather_part(result, width)])


def _how_many(answer: HowMany) -> Iterator[str]:
    unit, more = UNITS[answer.unit]
    text = f"{answer.tool}: {answer.count} {unit if answer.count == 1 else more}"
    if answer.each_s is not None:
        text += f" of {answer.each_s:.0f} s"
    yield f"{text}{f', {_where(answer.runs)}' if answer.runs else ''}."
    chance = answer.budget.chance
    if not answer.planned:
        yield (
            f"What is planned already misses the goal of {chance.goal:.0f} % before any is added:"
            f" {chance_line(chance)}. energy check says what would mend that."
        )
    if answer.why_not:
        yield f"Not the charge is the limit: {answer.why_not}."
    elif answer.full and answer.planned:
        yield "No more fit into the time; the charge would do for more."
    elif answer.one_more_fails is not None:
        yield _one_more(answer)
    if answer.beside:
        yield "Some of it runs beside what is planned of it: that takes a second one."
    if answer.set_aside:
        names = and_list([f'"{name}"' for name in answer.set_aside])
        yield f"Set aside, overloading as planned: {names}. energy check says why."


def _one_more(answer: HowMany) -> str:
    """What fails with one more."""
    result = answer.budget.low_end
    if (fails := answer.one_more_fails or 0) <= result.may_fail:
        return "With one more the chance falls below the goal."
    where = DULL_CORNER * result.weather.mean_uncertain
    if result.success.size == 1:
        return "With one more the plan fails in the one weather tried."
    share = f"{fails} of {result.success.size}"
    return f"One more and at least {share} weathers fail{where}; the goal allows {result.may_fail}."


def _where(spells: Sequence[tuple[datetime, datetime]]) -> str:
    """From when to when, and on which day or how many."""
    opens, closes = spells[0][0], spells[-1][1]
    days = len({start.date() for start, _ in spells})
    first, last = day_name(opens), day_name(closes)
    at, until = hour_minute(opens), hour_minute(closes)
    if days == 1 and first == last:
        return f"between {at} and {until} on {first}"
    if days == 1:
        return f"between {at} on {first} and {until} on {last}"
    return f"on {days} days, from {first} {at} to {last} {until}"


def write_calendar(answer: Choose, path: Path) -> None:
    """Write the timetable as iCalendar (RFC 5545), an event a line, in UTC.

    Its stamp is the start of what is planned: the same plan gives the same bytes.
    """
    from icalendar import Calendar, Event

    calendar = Calendar()
    calendar.add("prodid", f"-//{files.MARK}//timetable//EN")
    calendar.add("version", "2.0")
    stamp = answer.budget.local(float(answer.budget.time_s[0])).astimezone(UTC)
    for number, row in enumerate(answer.timetable):
        event = Event()
        event.add("uid", f"{number}-{row.start:%Y%m%dT%H%M%S}@energy-timetable")
        event.add("dtstamp", stamp)
        event.add("dtstart", row.start.astimezone(UTC))
        event.add("dtend", row.end.astimezone(UTC))
        event.add("summary", what_to_do(row))
        calendar.add_component(event)
    files.write_safely(path, lambda place: place.write_bytes(calendar.to_ical()))
