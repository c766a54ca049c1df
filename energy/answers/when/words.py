"""The answer in words: the day to choose, a row a day or a column a month, what waiting gains.

Pictures are drawn in `picture`.
"""

from collections.abc import Callable, Sequence
from datetime import date

from energy.answers.caution.words import warning_part
from energy.answers.fix.words import fix_part
from energy.answers.when.dullest import Dullest
from energy.answers.when.seasons import Season
from energy.answers.when.when import StartDay, When
from energy.plan.words import and_list
from energy.show import table
from energy.show.chance import DULL_CORNER
from energy.show.layout import (
    TIE,
    Part,
    Sheet,
    Slow,
    ended,
    folded,
    labelled,
    listed,
    notes_part,
    part,
    texts,
)
from energy.show.moments import day_name
from energy.show.table import Column
from energy.show.title import answer_part, title_part, weather_words
from energy.simulation.success import needed

MOST_ROWS, LEAST_ROWS = 16, 5  # days in the table
MOST_SEASONS = 3
LABEL_COLUMNS, MONTH_COLUMNS = 20, 5  # of the table by month
FLOOR = "reserve + cold"  # what should be left: the reserve, and what the cold holds back
PAST = ("climate", "monthly", "file", "history")
NO_FORECAST = "none: this weather knows the season, not which day is better"
CARRIES_ON = {"climate": "the built-in climate table, which is rough", "history": "history"}


def sheet(
    answer: When,
    width: int,
    dullest: Callable[[], Dullest | None] | None = None,
    *,
    demo: bool = False,
    every: bool = False,
    every_day: bool = False,
    every_fix: bool = False,
) -> Sheet:
    """The answer, and its days behind an option.

    width: columns. dullest: finds what the hardest month would need, where that is asked. demo: the
    plan is the built-in one. every: all notes. every_day: all days, where they are shown as rows.
    every_fix: every change that was found.
    """
    result = answer.budget
    parts: list[Part | Slow] = [
        title_part(result, width, demo=demo, span=f"starts {dates_words(answer)}"),
        answer_part(answer.answer.upper(), f"{headline(answer)}.", width),
        warning_part(result, width),
    ]
    months = by_month(answer)
    parts.append(_months_part(answer, width) if months else _rows(answer, width, every_day))
    if dullest is not None and answer.whole_year:
        parts.append(lambda: _dullest_part(dullest(), width, every=every_fix))
    for label, line in remarks(answer):
        parts.append(part(labelled(label, line, width)))
    parts += [_weather(answer, width), notes_part(result.notes, width, every)]
    details = {"days": lambda width: texts(table.lines(day_columns(answer), width))}
    return Sheet(parts, details if months else {})


def _months_part(answer: When, width: int) -> Part:
    """A column a month; how many starts were asked gives way."""
    versions = (month_lines(answer, width, asked=asked) for asked in (True, False))
    return Part([texts([*lines, ""]) for lines in versions], gives=4)


def _rows(answer: When, width: int, every: bool) -> Part:
    """A row a day, of as many as there is room for, or of every one."""
    heading, *rows = table.rows(day_columns(answer), width)
    if every:
        return part([*heading, *(line for row in rows for line in row), ""])

    def more(count: int) -> str:
        hidden = answer.best.worked and answer.best in answer.days[-count:]
        best = ", the best among them" if hidden else ""
        return f"{count} more{best}: --days"

    return ended(listed(heading, rows, more, most=MOST_ROWS, least=LEAST_ROWS, gives=3), "")


def _weather(answer: When, width: int) -> Part:
    """What the answer rests on, with the chance on the best day where there is room."""
    full = f"on {day_name(answer.best.start)}, {weather_words(answer.budget)}"
    short = weather_words(answer.budget).split(": ")[0]
    return Part([texts(labelled("Weather", words, width)) for words in (full, short)], gives=1)


def dates_words(answer: When) -> str:
    """From which start day to which."""
    first, last = answer.days[0].start, answer.days[-1].start
    if first == last:
        return dated(first)
    year = f" {first.year}" * (first.year != last.year)
    return f"{day_name(first)}{year} to {dated(last)}"


def dated(day: date) -> str:
    """A date with its year.

    >>> dated(date(2026, 9, 14))
    'Mon 14 Sep 2026'
    """
    return f"{day_name(day)} {day.year}"


def headline(answer: When) -> str:
    """The day to choose, or the season, with the numbers that decide it."""
    if answer.whole_year:
        return _year_words(answer)
    first, best, yes = answer.days[0], answer.best, answer.first_yes
    place, need = where(answer), needs(answer)
    if yes is None:
        none = f"None of these {len(answer.days)} days is a yes"
        if not answer.days[1:]:
            none = f"{day_name(first.start)} is not a yes"
        if answer.budget.overloads:
            return f"{none}: a limit turns work away, as energy check says"
        if not best.worked:
            return f"{none}: it works in none of the weathers tried{place}"
        which = f". Best is {day_name(best.start)}" * (len(answer.days) > 1)
        return f"{none}{which}: it {works(best)}{place}{need}"
    if yes is first:
        surest = f"; most sure is {day_name(best.start)}" * (best is not first)
        return f"Start on {day_name(yes.start)}: it {works(yes)}{place}{need}{surest}"
    now = f"it {works(first)}" if first.why or first.tried == 1 else f"in {first.worked}"
    words = f"Wait until {day_name(yes.start)}: it {works(yes)}{place}"
    return f"{words}, on {day_name(first.start)} {now}{need}"


def needs(answer: When) -> str:
    """How many weathers the goal needs; empty where one was tried."""
    tried = answer.best.tried
    return f"; {needed(answer.chance.goal, tried)} are needed" if tried > 1 else ""


def works(day: StartDay) -> str:
    """In how many weathers a start works, as a verb.

    >>> works(StartDay(date(2026, 9, 14), "no", "clear", why="does not fit"))
    'cannot be done as planned'
    """
    if day.why:
        return "cannot be done as planned"
    if day.tried == 1:
        return f"{'works' if day.worked else 'fails'} in the one weather tried"
    return f"works in {day.worked} of {day.tried} weathers"


def where(answer: When) -> str:
    """Where the weathers are that decide."""
    return DULL_CORNER * (answer.budget.low_end is not answer.budget)


def _year_words(answer: When) -> str:
    """In which parts of the year a start works."""
    asked = "" if answer.step == 1 else f"; one day in {answer.step} was asked"
    if not answer.seasons:
        if answer.budget.overloads:
            return "At no time of the year: a limit turns work away, as energy check says"
        best = f"best is {dated(answer.best.start)}: it {works(answer.best)}{where(answer)}"
        return f"At no time of the year; {best}{needs(answer)}{asked}"
    always = all(day.yes for day in answer.days)
    words = "Start all the year round" if always else season_words(answer.seasons)
    tried = answer.best.tried
    if tried == 1:
        return f"{words}, under the one weather tried{asked}"
    least = f"{needed(answer.chance.goal, tried)} of {tried} weathers or more{where(answer)}"
    return f"{words}: it then works in {least}{asked}"


def season_words(seasons: Sequence[Season]) -> str:
    """The seasons in which to start, the longest of many.

    >>> season_words([Season(date(2026, 3, 14), date(2026, 10, 2))])
    'Start from 14 March to 2 October'
    """
    longest = sorted(seasons, key=lambda season: season.days, reverse=True)[:MOST_SEASONS]
    names = [
        f"from {_in_year(s.first)} to {_in_year(s.last)}"
        if s.first != s.last
        else f"on {_in_year(s.first)}"
        for s in seasons
        if s in longest
    ]
    more = len(seasons) - len(longest)
    also = f", and in {more} shorter time{'' if more == 1 else 's'}" if more else ""
    return f"Start {and_list(names)}{also}"


def _in_year(day: date) -> str:
    return f"{day.day} {day:%B}"


def by_month(answer: When) -> bool:
    """Whether the days are too many for a row each."""
    return answer.whole_year or len(answer.days) > 31


def day_columns(answer: When) -> list[Column]:
    """A row a start day."""
    days, best, worst, yes = answer.days, answer.best, answer.worst, answer.first_yes
    years = len({day.start.year for day in days}) > 1
    names = [dated(day.start) if years else day_name(day.start) for day in days]
    marks = [
        "best"
        if day is best
        else f"first{TIE}yes"
        if day is yes
        else "worst"
        if day is worst
        else ""
        for day in days
    ]
    counts = [_of(day) for day in days]
    columns = [
        Column("start", names),
        Column("answer", [day.answer for day in days]),
        Column("dull corner" if where(answer) else "works in", counts, right=True),
        Column("lowest", [_percent(day.lowest_percent) for day in days], right=True),
    ]
    if any(day.tried > 1 for day in days):
        dull = [_percent(day.dull_tenth_percent) for day in days]
        columns.append(Column("dull day", dull, right=True))
    if answer.cold_counts:
        floor = [_percent(day.floor_percent) for day in days]
        columns.append(Column(FLOOR, floor, right=True, drop=2))
    return [*columns, Column("", marks, drop=1)]


def _of(day: StartDay) -> str:
    return "" if day.chance is None else f"{day.worked} of {day.tried}"


def _percent(value: float | None) -> str:
    return "" if value is None else f"{value:.0f} %"


def month_lines(answer: When, width: int, *, asked: bool = True) -> list[str]:
    """A column a month, as many side by side as there is room for: how many starts are a yes, and
    the fewest weathers and the lowest charge of any. asked: and how many were asked."""
    months = _months(answer)
    several = any(day.tried > 1 for day in answer.days)
    tried = max(day.tried for day in answer.days)
    labels = ["starts asked"] * asked + ["of them a yes" if asked else "starts: a yes"]
    labels += [f"fewest of {tried}"] * several + ["lowest, %"] + ["dull day, %"] * several
    labels += [f"{FLOOR}, %"] * answer.cold_counts
    columns = []
    for name, days in months:
        judged = [day for day in days if day.chance is not None]
        cells = [f"{len(days)}"] * asked + [f"{sum(day.yes for day in days)}"]
        cells += [_least([day.worked for day in judged])] * several
        cells.append(_least([day.lowest_percent for day in judged]))
        cells += [_least([day.dull_tenth_percent for day in judged])] * several
        most = max((day.floor_percent or 0.0 for day in judged), default=0.0)
        cells += [f"{most:.0f}" if judged else "-"] * answer.cold_counts
        columns.append(Column(name, cells, right=True))
    abreast = max((width - LABEL_COLUMNS) // MONTH_COLUMNS, 1)
    blocks = -(-len(columns) // abreast)
    abreast = -(-len(columns) // blocks)
    lines = []
    for k in range(0, len(columns), abreast):
        lines += [""] * (k > 0)
        lines += table.lines([Column("", labels), *columns[k : k + abreast]], width)
    return lines


def _least(values: Sequence[float | None]) -> str:
    judged = [value for value in values if value is not None]
    return f"{min(judged):.0f}" if judged else "-"


def _months(answer: When) -> list[tuple[str, list[StartDay]]]:
    """The days by month: of a whole year from January on, else as they come."""
    months: dict[tuple[int, int], list[StartDay]] = {}
    for day in answer.days:
        year = 0 if answer.whole_year else day.start.year
        months.setdefault((year, day.start.month), []).append(day)
    ordered = sorted(months.items())
    return [(f"{days[0].start:%b}", days) for _, days in ordered]


def remarks(answer: When) -> list[tuple[str, str]]:
    """What is to be said of the days, each under its label."""
    lines = []
    if answer.days[1:] and not answer.whole_year and answer.best.worked:
        lines.append(("Waiting", f"{waiting(answer)}."))
    if answer.days[1:] and not answer.whole_year and answer.plan.weather.kind in PAST:
        origin = answer.plan.origin
        ask = (
            ""
            if origin.startswith("builtin:")
            else f"; for days ahead: energy weather {origin} --forecast"
        )
        lines.append(("Forecast", f"{NO_FORECAST}{ask}."))
    if line := carried_on(answer):
        lines.append(("Forecast", f"{line}."))
    if answer.left_out and answer.plan.weather.kind != "forecast":
        lines.append(("Left out", f"{answer.left_out} days that the weather held does not reach."))
    lines += [("Not asked", f"{line}.") for line in not_asked(answer)]
    if undone := [day for day in answer.days if day.why]:
        more = f", the first of {len(undone)} days" * (len(undone) > 1)
        why = undone[0].why.removeprefix(f"{answer.plan.origin}: ")
        lines.append(("Not done", f"on {day_name(undone[0].start)}{more}: {why}."))
    if answer.first_yes is None and not answer.whole_year and not answer.budget.overloads:
        ask = f"energy check {answer.plan.origin} --date {answer.best.start}"
        lines.append(("Change", f"{ask} finds what makes it a yes."))
    return lines


def not_asked(answer: When) -> list[str]:
    """A line for each task that is asked on some starts and not on others."""
    judged, lines = sum(not day.why for day in answer.days), []
    for task in answer.plan.task:
        without = [day for day in answer.days if task.name in day.not_asked]
        if 0 < len(without) < judged:
            starts = f"{len(without)} of {judged} starts, the first {dated(without[0].start)}"
            lines.append(f'nothing of "{task.name}" on {starts}: its window is empty then')
    return lines


def waiting(answer: When) -> str:
    """What waiting gains, and what it costs.

    >>> from energy.answers.when.when import when
    >>> from energy.plan import Plan
    >>> waiting(when(Plan.read("builtin:two-night-trip"), end=date(2026, 10, 11)))
    'until Sat 10 Oct gains 1 weather; until Sun 11 Oct costs 1 weather'
    """
    first, best, worst = answer.days[0], answer.best, answer.worst
    gains = "gains nothing"
    if best is not first:
        gains = f"until {day_name(best.start)} gains {_between(first, best)}"
    if worst is first or worst.rank >= first.rank:
        return gains
    costs = f"costs {_between(worst, first)}"
    if worst.why:
        costs = f"it {works(worst)}"
    return f"{gains}; until {day_name(worst.start)} {costs}"


def _between(worse: StartDay, better: StartDay) -> str:
    """By how much one day is better than another, first in weathers, else in charge."""
    if worse.why:
        return works(better).removeprefix("works in ")
    more = better.worked - worse.worked
    if better.tried != worse.tried:
        return f"{_of(better)} weathers in place of {_of(worse)}"
    if more > 0 and better.tried > 1:
        return f"{more} weather{'' if more == 1 else 's'}"
    if better.answer != worse.answer:
        return f'"{better.answer}" in place of "{worse.answer}"'
    assert better.lowest_percent is not None
    assert worse.lowest_percent is not None
    points = round(better.lowest_percent - worse.lowest_percent)
    if points > 0:
        return f"{points} point{'' if points == 1 else 's'} of charge"
    return "hardly anything"


def carried_on(answer: When) -> str:
    """From which start on an answer rests in part on what carries on after its forecast; empty
    where none does."""
    late = next((day for day in answer.days if ", then " in day.rests_on), None)
    if late is None:
        return ""
    after = CARRIES_ON[late.rests_on.split(", then ")[1]]
    return f"a start from {day_name(late.start)} on outlasts it and rests in part on {after}"


def _dullest_part(dullest: Dullest | None, width: int, *, every: bool) -> Part:
    """What the hardest month would need."""
    if dullest is None:
        return part([])
    changes = fix_part(dullest.fixes, width, every=every, clash=False)
    line = f"{dullest.month} is the hardest month; the worst start is {dated(dullest.day.start)}."
    return Part(
        [[*texts(folded(line, width)), *version] for version in changes.versions], changes.gives
    )
