"""A choice of tasks in the terminal: the day as a timetable, what is left out, how many more."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from energy.answers.choose.choose import Choose, Row
from energy.answers.choose.how_many import HowMany
from energy.plan.words import and_list
from energy.show import files
from energy.show.chance import chance_line
from energy.show.moments import day_name
from energy.show.numbers import watt_hours
from energy.simulation.overloads import why_turned_away

MOST_EFFORT = 6  # that the command takes
SECOND_AT_S = 300.0  # two repeats nearer than this are said to be so far apart
UNITS = {
    "times": ("more time", "more times"),
    "charges": ("more charge", "more charges"),
    "minutes": ("more minute", "more minutes"),
}


def show_choice(answer: Choose, out: Console) -> None:
    """Print the timetable of a choice, what is left out and why, and the chance."""
    result = answer.budget
    out.print(Text(result.plan.title or result.plan.origin, style="bold"))
    if not answer.possible:
        if not answer.alone:
            none = f"NO: no choice was found{_further(answer)}."
            out.print(Text(none, style="bold red"))
            return
        when = "" if answer.short_at is None else f"{answer.short_at:%a %d %b %H:%M}"
        out.print(Text(f"NO: {answer.alone} does not fit, even alone.", style="bold red"))
        if result.overloads:
            out.print(Text(f"{why_turned_away(result)}."))
            return
        if answer.short_at is None:
            out.print(Text("Two hand-held tools need the same hands: plan them one after another."))
            return
        why = (
            f"it falls below the reserve of {result.plan.pack.reserve_percent:.0f} % at {when},"
            f" and in all it is {watt_hours(answer.short_wh)} Wh short"
        )
        if answer.too_cold:
            why = f"the pack is too cold to give at {when}: keep it warmer, doing less is no help"
        out.print(Text(f"In the weather that decides {why}."))
        return
    words = "everything fits" if not answer.left_out else "this fits"
    out.print(Text(f"YES: {words}.", style="bold green"))
    line = chance_line(result.chance)
    out.print(Text(f"Weather: {result.weather.source}. {line[0].upper()}{line[1:]}."))
    if answer.stopped:
        out.print(Text("Stopped before its end: the best so far."))
    if not answer.proven:
        most = f"at most {max(answer.gap_percent, 1.0):.0f} % is missing"
        gap = f"of what could fit of priority {answer.gap_priority} {most}"
        out.print(Text(f"Not proven best: {gap}{_further(answer)}."))
    out.print(_timetable(answer))
    if answer.left_out:
        out.print(_left_out(answer))


def _further(answer: Choose) -> str:
    """How to search further, where one can."""
    more = answer.effort + 1
    return f"; --effort {more} looks further" if more <= MOST_EFFORT else ""


def _timetable(answer: Choose) -> Table:
    """A line a block: when, what, and at what pace."""
    table = Table(box=None, show_header=False, pad_edge=False)
    table.add_column(no_wrap=True)
    table.add_column(overflow="fold")
    several = answer.budget.calendar.first != answer.budget.calendar.last
    last = ""
    for row in answer.timetable:
        day = day_name(row.start)
        if several and day != last:
            table.add_row(Text(day, style="bold"), "")
        last = day
        until = row.end + timedelta(minutes=1) if row.end.second or row.end.microsecond else row.end
        later = f" ({until:%a})" if until.date() != row.start.date() else ""
        table.add_row(f"{row.start:%H:%M} to {until:%H:%M}{later}", Text(what_to_do(row)))
    return table


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
    apart = timedelta(seconds=row.each_s + row.pause_s)
    second = (row.start.astimezone(UTC) + apart).astimezone(row.start.tzinfo)
    later = f" ({second:%a})" if second.date() != row.start.date() else ""
    return f"{row.start:%H:%M} and {second:%H:%M}{later}"


def _left_out(answer: Choose) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, title="left out", title_justify="left")
    table.add_column("what", overflow="fold")
    table.add_column("how much")
    table.add_column("needs, Wh", justify="right")
    table.add_column("why", overflow="fold")
    for one in answer.left_out:
        table.add_row(Text(one.task), one.words, watt_hours(one.needs_wh), Text(one.why))
    return table


def show_how_many(answer: HowMany, out: Console) -> None:
    """Print how many more of a tool fit, where, and what the limit is."""
    unit, more = UNITS[answer.unit]
    text = f"{answer.tool}: {answer.count} {unit if answer.count == 1 else more}"
    if answer.each_s is not None:
        text += f" of {answer.each_s:.0f} s"
    where = f", {_where(answer.runs)}" if answer.runs else ""
    out.print(Text(f"{text}{where}.", style="bold"))
    chance = answer.budget.chance
    line = chance_line(chance)
    if answer.planned:
        out.print(Text(f"With that: {line}; the goal is {chance.goal:.0f} %."))
    else:
        out.print(
            Text(
                f"What is planned already misses the goal of {chance.goal:.0f} % before any is"
                f" added: {line}. energy check says what would mend that."
            )
        )
    if answer.why_not:
        out.print(Text(f"Not the charge is the limit: {answer.why_not}."))
    elif answer.full and answer.planned:
        out.print(Text("No more fit into the time; the charge would do for more."))
    elif answer.one_more_fails is not None:
        out.print(Text(_one_more(answer)))
    if answer.beside:
        out.print(Text("Some of it runs beside what is planned of it: that takes a second one."))
    if answer.set_aside:
        names = and_list([f'"{name}"' for name in answer.set_aside])
        out.print(Text(f"Set aside, overloading as planned: {names}. energy check says why."))


def _one_more(answer: HowMany) -> str:
    """What fails with one more."""
    result = answer.budget.low_end
    if (fails := answer.one_more_fails or 0) <= result.may_fail:
        return "With one more the chance falls below the goal."
    where = " in a dull corner of the region" if result.weather.mean_uncertain else ""
    share = f"{fails} of {result.success.size}"
    return f"One more and at least {share} weathers fail{where}; {result.may_fail} may."


def _where(spells: Sequence[tuple[datetime, datetime]]) -> str:
    """From when to when, and on which day or how many."""
    opens, closes = spells[0][0], spells[-1][1]
    days = len({start.date() for start, _ in spells})
    first = f"{opens:%a} {opens.day} {opens:%b}"
    last = f"{closes:%a} {closes.day} {closes:%b}"
    if days == 1 and first == last:
        return f"between {opens:%H:%M} and {closes:%H:%M} on {first}"
    if days == 1:
        return f"between {opens:%H:%M} on {first} and {closes:%H:%M} on {last}"
    return f"on {days} days, from {first} {opens:%H:%M} to {last} {closes:%H:%M}"


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
    files.write_safely(path, lambda beside: beside.write_bytes(calendar.to_ical()))
