"""The start days as a picture: strips of months with the chance as shade and number, and the
lowest charge over them.

Its words are those of `words`.
"""

from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from itertools import groupby
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.answers.caution.words import care_notes
from energy.answers.when.when import StartDay, When
from energy.answers.when.words import carried_on, headline
from energy.plan.places import zone_in_words
from energy.show.labels import Room, style
from energy.show.page import heading, lay_out, new_page, stacked, values_left
from energy.show.palette import (
    COLOURS,
    DASHES,
    EDGE_IN,
    HEADING_IN,
    RING,
    SMALL_PT,
    mix,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from energy.answers.caution.cautions import Caution

CAUTIONS_SHOWN = 2
ROW_IN, CHARGE_IN = 0.27, 2.0  # a month's strip; the panel of the charge
NAMES_IN = 0.75  # the column of the months' names
PALE, SHADES = 0.05, 0.67  # the shade of no weather, and what all add; a frame still stands out
WHITE_ON = 0.8  # from this chance on the number is white
FRAME_PT = 1.8
MOST_DATES = 16  # below the charge


def strips(answer: When, cautions: Sequence["Caution"] = ()) -> "Figure":
    """The chance of each start day, a strip a month, and the lowest charge over the days.

    Returns a matplotlib Figure of its own, 10 inches wide.

    >>> from energy.answers.when.when import when
    >>> from energy.plan import Plan
    >>> len(strips(when(Plan.read("builtin:cloudy-repair"))).axes)
    2
    """
    page = new_page()
    months = _months(answer)
    panels = (HEADING_IN, ROW_IN * len(months)), (HEADING_IN + 0.3, CHARGE_IN)
    days, charge = lay_out(
        page,
        (answer.plan.name, f"{answer.answer.upper()}: {headline(answer)}"),
        [*_notes(answer, cautions)],
        stacked(NAMES_IN + EDGE_IN, panels),
        below_in=0.3,
    )
    heading(
        days,
        "Weathers in which a start works, %",
        "the darker the more; framed: a yes; below: the day of the month",
    )
    _strips_panel(answer, days, months)
    heading(charge, "Lowest charge of the pack, %", "by start day")
    _charge_panel(answer, charge)
    return page


def _months(answer: When) -> list[tuple[int, int]]:
    """The months that the days lie in, (year, month), as they come."""
    return sorted({(day.start.year, day.start.month) for day in answer.days})


def _strips_panel(answer: When, panel: Any, months: Sequence[tuple[int, int]]) -> None:
    """The strips, a row a month, and the days of the month below."""
    cells = {day: _pieces(day.start, answer.step, months) for day in answer.days}
    first = min(opens for pieces in cells.values() for _, opens, _ in pieces)
    last = max(closes for pieces in cells.values() for _, _, closes in pieces)
    panel.set(xlim=(first, last), ylim=(len(months), 0.0))
    panel.spines["bottom"].set_visible(False)
    names = [f"{date(year, month, 1):%b %Y}" for year, month in months]
    panel.set_yticks([row + 0.5 for row in range(len(months))], names, **style(SMALL_PT))
    marks = range(first, last, answer.step if answer.step > 1 or last - first <= 20 else 5)
    panel.set_xticks(
        [mark + 0.5 for mark in marks], [f"{mark}" for mark in marks], **style(SMALL_PT)
    )
    for day in sorted(answer.days, key=lambda day: day.yes):  # frames above their neighbours
        for piece in cells[day]:
            _cell(panel, day, *piece)
        _number(panel, day, *cells[day][0])


def _pieces(
    start: date, step: int, months: Sequence[tuple[int, int]]
) -> list[tuple[int, int, int]]:
    """What a start day stands for, up to the next one asked: the row of its month with the days of
    that from which and to which, and the same of the next month where it goes on there."""
    days = [start + timedelta(k) for k in range(step)]
    spells = [(month, [*same]) for month, same in groupby(days, lambda day: (day.year, day.month))]
    return [
        (months.index(month), same[0].day, same[-1].day + 1)
        for month, same in spells
        if month in months
    ]


def _cell(panel: Any, day: StartDay, row: int, opens: int, closes: int) -> None:
    """A start day in its strip: as dark as its chance, a yes with a frame."""
    from matplotlib.patches import Rectangle

    share = _share(day)
    cell = Rectangle(
        (float(opens), row + 0.06),
        closes - opens,
        0.88,
        facecolor="white" if share is None else mix("white", "charge", PALE + SHADES * share),
        edgecolor=COLOURS["ink"] if day.yes else "white",
        linewidth=FRAME_PT if day.yes else 1.0,
        clip_on=False,
    )
    panel.add_patch(cell)


def _number(panel: Any, day: StartDay, row: int, opens: int, closes: int) -> None:
    """The chance of a start day, in its cell."""
    share, text, how = _share(day), "-", style(SMALL_PT)
    if share is not None:
        text = f"{np.floor(100.0 * share + 1e-9):.0f}"
        how |= {"color": "white"} if share >= WHITE_ON else {}
    panel.text((opens + closes) / 2.0, row + 0.5, text, ha="center", va="center", **how)


def _share(day: StartDay) -> float | None:
    """The share of the weathers that decide in which a start works."""
    return None if day.chance is None else day.worked / day.tried


def _charge_panel(answer: When, panel: Any) -> None:
    """The lowest charge over the start days: the middle weather, the dull tenth, the reserve on top
    of what the cold holds back in the middle weather."""
    judged = [day for day in answer.days if day.chance is not None]
    first = answer.days[0].start
    at = np.array([(day.start - first).days for day in judged], dtype=float)
    middle = np.array([day.lowest_percent for day in judged], dtype=float)
    dull = np.array([day.dull_tenth_percent for day in judged], dtype=float)
    last = float((answer.days[-1].start - first).days)
    panel.set(xlim=(-0.02 * last - 0.5, 1.02 * last + 0.5), ylim=(0.0, 100.0))
    values_left(panel, [0.0, 25.0, 50.0, 75.0, 100.0])
    _dates_below(answer, panel)
    room = Room(panel)
    marker = {"marker": "o", "markersize": 2.5} if len(judged) < 32 else {}
    several = any(day.tried > 1 for day in judged)
    name = "middling weather" if several else "the one weather tried"
    lines = [(name, middle, "charge", 2.0, DASHES["charge"])]
    lines += [("dull tenth", dull, "task", 1.5, DASHES["dull"])] * several
    for _, values, colour, width, dashes in lines:
        panel.plot(at, values, color=COLOURS[colour], linewidth=width, linestyle=dashes, **marker)
        room.keep_clear(at, values)
    left, right = panel.get_xlim()
    along = np.linspace(float(left), float(right), 40)
    level = np.interp(along, at, np.array([day.floor_percent for day in judged], dtype=float))
    panel.plot(along, level, color=COLOURS["limit"], linewidth=1.0, linestyle=DASHES["limit"])
    room.keep_clear(along, level)
    best = next(k for k, day in enumerate(judged) if day is answer.best)
    panel.plot(at[best], middle[best], **RING, markeredgecolor=COLOURS["charge"])
    room.keep_clear_of_ring(float(at[best]), float(middle[best]))
    room.label("best", at[[best]], middle[[best]], "charge")
    for name, values, colour, _, _ in lines:
        room.label(name, at, values, colour)
    cold = answer.cold_counts
    room.label(
        "reserve, with what the cold holds back" if cold else "reserve", along, level, "limit"
    )


def _dates_below(answer: When, panel: Any) -> None:
    """The first of each month below, or some of the days where they are few."""
    first = answer.days[0].start
    dates = [day.start for day in answer.days]
    months = _months(answer)
    if len(months) > MOST_DATES // 4:
        dates = [date(year, month, 1) for year, month in months[1:]]
    dates = dates[:: -(-len(dates) // MOST_DATES)]
    at = [(day - first).days for day in dates]
    names = [f"{day.day} {day:%b}" for day in dates]
    panel.set_xticks(at, names, **style(SMALL_PT))
    for x in at:
        panel.axvline(x, color=COLOURS["grid"], linewidth=0.5, zorder=0.5)


def _notes(answer: When, cautions: Sequence["Caution"]) -> Iterator[str]:
    """Below the panels: the weather, from when on another carries on, and the first cautions."""
    tried = max(day.tried for day in answer.days)
    weathers = "one weather" if tried == 1 else f"up to {tried} weathers a day, the same for all"
    source, clock = answer.budget.weather.source, zone_in_words(answer.plan.place.timezone)
    yield f"Weather: {source}; {weathers}. Clock: {clock}."
    if line := carried_on(answer):
        yield f"The forecast: {line}."
    yield from care_notes(cautions, CAUTIONS_SHOWN)
