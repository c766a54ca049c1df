"""The charge across the span as the shapes of a small drawing, for a page without a script.

Positions are in the drawing's own units, of which a narrow telephone shows one a pixel; colours are
the style sheet's.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from energy.answers.check.checkpoints import FULL, Checkpoint
from energy.answers.check.panels import cold_and_floor, dull_tenth
from energy.model import Array
from energy.show.moments import short_clock
from energy.show.time_axis import clock_marks, hours, midnights, nights
from energy.simulation.budget import Budget

WIDTH, HEIGHT = 328.0, 196.0
LEFT, RIGHT, TOP, BOTTOM = 46.0, 320.0, 10.0, 152.0  # of the plot inside it
MOST_POINTS, MOST_CLOCKS, MOST_DAYS = 400, 4, 5
CLOCK_DOWN, DAY_DOWN = 18.0, 38.0  # below the plot, to the words' feet


@dataclass(frozen=True)
class Word:
    """A word of the drawing and where it stands."""

    x: float
    y: float
    text: str


@dataclass(frozen=True)
class Picture:
    """The drawing: lines as SVG points, nights as (left, width), turn-back bars as (x, y), words,
    and the same in a sentence."""

    middling: str
    dull: str
    reserve: str
    nights: tuple[tuple[float, float], ...]
    midnights: tuple[float, ...]
    bars: tuple[tuple[float, float], ...]
    lowest: tuple[float, float]
    percents: tuple[Word, ...]
    clocks: tuple[Word, ...]
    days: tuple[Word, ...]
    sentence: str
    width: float = WIDTH
    height: float = HEIGHT
    plot: tuple[float, float, float, float] = (LEFT, TOP, RIGHT - LEFT, BOTTOM - TOP)


def picture(result: Budget, points: Sequence[Checkpoint]) -> Picture:
    """The charge of a middling and of a dull day [%], the reserve, nights and the checkpoints.

    >>> from energy.plan import Plan
    >>> from energy.simulation.budget import budget
    >>> drawn = picture(budget(Plan.read("builtin:cloudy-repair")), ())
    >>> drawn.middling.split()[0], [word.text for word in drawn.days]
    ('46,10', ['Mon 14', 'Tue 15'])
    """
    lowest = result.lowest()
    rows = np.unique(np.linspace(0, result.time_s.size - 1, MOST_POINTS).astype(int))
    rows = np.union1d(rows, np.searchsorted(result.time_s, lowest.at_s))
    x = _x(result, result.time_s[rows])
    several = result.success.size > 1
    _, floor = cold_and_floor(result)
    segments = np.unique(np.append(rows[:-1], np.flatnonzero(np.diff(floor)) + 1))
    ends = np.append(result.time_s[segments[1:]], result.time_s[-1])
    steps = np.column_stack([result.time_s[segments], ends]).ravel()
    turning = [(point.at.timestamp(), point.least_percent) for point in points]
    return Picture(
        middling=_line(x, result.middle_charge_percent[rows]),
        dull=_line(x, dull_tenth(result, rows)) if several else "",
        reserve=_line(_x(result, steps), np.repeat(floor[segments], 2)),
        nights=tuple(
            (_at(result, dusk), round(_at(result, dawn) - _at(result, dusk), 1))
            for dusk, dawn in nights(result)
        ),
        midnights=tuple(_at(result, time_s) for time_s in midnights(result)),
        bars=tuple(
            (_at(result, time_s), _y(float(FULL if least is None else least)))
            for time_s, least in turning
        ),
        lowest=(_at(result, lowest.at_s), _y(lowest.percent)),
        percents=tuple(Word(LEFT - 4.0, _y(p) + 5.0, f"{p:.0f} %") for p in (0.0, 50.0, 100.0)),
        clocks=tuple(
            Word(_at(result, mark), BOTTOM + CLOCK_DOWN, f"{result.local(mark):%H:%M}")
            for mark in clock_marks(result, MOST_CLOCKS)
        ),
        days=_days(result),
        sentence=_sentence(result),
    )


def _days(result: Budget) -> tuple[Word, ...]:
    """The dates, each at its beginning, as many as there is room for."""
    starts = [float(result.time_s[0]), *midnights(result)]
    words: list[Word] = []
    apart = (RIGHT - LEFT) / MOST_DAYS
    for time_s in starts:
        at, x = result.local(time_s), _at(result, time_s)
        if (not words or x - words[-1].x >= apart) and RIGHT - x >= 0.75 * apart:
            words.append(Word(x, BOTTOM + DAY_DOWN, f"{at:%a} {at.day}"))
    return tuple(words)


def _sentence(result: Budget) -> str:
    """What the drawing shows, for who cannot see it."""
    charge, lowest = result.middle_charge_percent, result.lowest()
    at = short_clock(result.calendar, lowest.at_s)
    return (
        f"The charge of the pack on a middling day: {charge[0]:.0f} % at the start, lowest"
        f" {lowest.percent:.0f} % at {at}, {charge[-1]:.0f} % at the end; the reserve is"
        f" {result.plan.pack.reserve_percent:.0f} %"
    )


def _x(result: Budget, time_s: Array) -> Array:
    share = hours(result, time_s) / hours(result, result.time_s[-1])
    return np.asarray(LEFT + (RIGHT - LEFT) * share)


def _at(result: Budget, time_s: float) -> float:
    return round(float(_x(result, np.asarray(time_s))), 1)


def _y(percent: float) -> float:
    return round(BOTTOM - (BOTTOM - TOP) * percent / 100.0, 1)


def _line(x: Array, percent: Array) -> str:
    """Points as SVG takes them."""
    return " ".join(
        f"{round(float(a), 1):g},{_y(float(b)):g}" for a, b in zip(x, percent, strict=True)
    )
