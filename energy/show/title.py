"""How every answer begins, and what it rests on: the plan's title and days, and its weather."""

from datetime import datetime

from rich.cells import cell_len
from rich.text import Text

from energy.show.chance import chance_line
from energy.show.layout import Part, folded, labelled
from energy.show.moments import day_name, hour_minute
from energy.simulation.budget import Budget
from energy.weather.source import FAR_KM

DEMO = "no plan given: the built-in demo, invented"
STYLES = {"YES": "bold green", "ALMOST": "bold yellow", "NO": "bold red", "NOT KNOWN": "bold red"}


def title_part(result: Budget, width: int, *, demo: bool, span: str = "") -> Part:
    """The plan's title, and the span it is about, the budget's where none is given; `demo` says
    that no plan was given."""
    span, title = span or span_words(result), result.plan.name
    between = width - cell_len(title) - cell_len(span)
    if between >= 2 and not demo:
        return Part([[Text.assemble((title, "bold"), " " * between + span), Text()]])
    below = folded(f"{span}; {DEMO}" if demo else span, width)
    lines = [*(Text(line, "bold") for line in folded(title, width)), *map(Text, below)]
    return Part([[*lines, Text()]])


def span_words(result: Budget) -> str:
    """From when to when a budget is, on the plan's clock.

    >>> from energy.plan import Plan
    >>> from energy.simulation.budget import budget
    >>> span_words(budget(Plan.read("builtin:cloudy-repair")))
    'Mon 14 Sep 07:00 to Tue 15 Sep 08:00'
    """
    ends: list[datetime] = [result.local(float(result.time_s[edge])) for edge in (0, -1)]
    return " to ".join(f"{day_name(end)} {hour_minute(end)}" for end in ends)


def answer_part(word: str, text: str, width: int) -> Part:
    """The answer's word, and the numbers that decide it.

    >>> for line in answer_part("YES", "Everything fits.", 40).lines: print(line)
    YES  Everything fits.
    <BLANKLINE>
    """
    first, *others = folded(f"{word}  {text}", width, len(word) + 2)
    headline = Text(first)
    headline.stylize(STYLES[word], 0, len(word))
    headline.stylize("bold", len(word))
    return Part([[headline, *(Text(line, "bold") for line in others), Text()]])


def weather_part(result: Budget, width: int, *, sharper: bool = False) -> Part:
    """What the answer rests on, with the chance; `sharper`: what would tell more, where room is."""
    line = weather_words(result)
    lines = [Text(line, "dim") for line in labelled("Weather", line, width)]
    more = labelled("Sharper", result.weather.sharpen, width) if sharper else []
    return Part([[*lines, *(Text(line, "dim") for line in more)], lines], gives=1)


def weather_words(result: Budget) -> str:
    """The weather that an answer rests on, and in how many of its scenarios the plan works."""
    away = ""
    if result.weather.distance_km > FAR_KM:
        away = f", {result.weather.distance_km:.0f} km away"
    chance = f"{'what can run, ' * bool(result.overloads)}{chance_line(result.chance)}"
    return f"{result.weather.source}{away}: {chance}"
