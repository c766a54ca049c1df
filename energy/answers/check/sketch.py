"""The charge as a few lines of characters, for a terminal; drawn by plotext without colours.

Pictures for a file are drawn in `picture`.
"""

import math

import numpy as np

from energy.answers.check.panels import cold_and_floor
from energy.show.moments import short_clock
from energy.show.time_axis import clock_marks, hours, midnights
from energy.simulation.budget import Budget

LEAST_WIDTH, LEAST_HEIGHT = 32, 5  # below this nothing can be read
LABEL_COLUMNS = 9  # "reserve" with its space and the axis
CLOCK_COLUMNS = 9  # from one clock label to the next


def sketch(budget: Budget, width: int = 72, height: int = 8) -> str:
    """Draw the middle weather's charge [%] against the local clock, with the reserve.

    width and height in characters; the lines carry no blanks at their ends.

    >>> from energy.simulation.budget import budget
    >>> from energy.plan import Plan
    >>> print(sketch(budget(Plan.read("builtin:cloudy-repair"))).splitlines()[0])
    Charge of the pack, middle weather; lowest 54 %, Tue 08:00
    """
    import plotext

    width, height = max(width, LEAST_WIDTH), max(height, LEAST_HEIGHT)
    x, end = hours(budget, budget.time_s), float(hours(budget, budget.time_s[-1]))
    across = np.linspace(0.0, end, 2 * width)  # two dots a character
    charge = np.interp(across, x, budget.charge_percent[:, budget.middle])
    segment = np.clip(np.searchsorted(x, across, side="right") - 1, 0, x.size - 2)
    floor = cold_and_floor(budget)[1][segment]
    plotext.terminal.limit(False, False)
    figure = plotext.figure.clear()
    figure.theme("colorless").plot_size(width, height - 1)
    figure.axes(False)
    figure.axes(True, axis="y", side="left")
    figure.ruler("x", "lower").lim(0.0, end).ticks(*_clock(budget, width))
    figure.ruler("y", "left").lim(0.0, 100.0).ticks(*_percents(float(floor[0]), height - 2))
    figure.draw(figure.signal(across.tolist(), floor.tolist(), marker="-"))
    figure.draw(figure.signal(across.tolist(), charge.tolist(), marker="braille").lines())
    drawn = figure.build().string(colorless=True)
    figure.clear()
    return "\n".join([_heading(budget), *(line.rstrip() for line in drawn.rstrip().split("\n"))])


def _heading(result: Budget) -> str:
    lowest = result.lowest()
    weather = "middle weather" if result.chance.scenarios > 1 else "the one weather tried"
    when = short_clock(result.calendar, lowest.at_s)
    return f"Charge of the pack, {weather}; lowest {lowest.percent:.0f} %, {when}"


def _clock(result: Budget, width: int) -> tuple[list[float], list[str]]:
    """Where the clock is written below, and what; a midnight names its day."""
    most = (width - LABEL_COLUMNS) // CLOCK_COLUMNS
    days = midnights(result)
    marks = clock_marks(result, most) or days[:: math.ceil(len(days) / most)]
    local = [result.local(mark) for mark in marks]
    words = [
        f"{at:%a} {at.day}" if mark in days else f"{at:%H:%M}"
        for mark, at in zip(marks, local, strict=True)
    ]
    return [float(mark) for mark in hours(result, marks)], words


def _percents(reserve: float, rows: int) -> tuple[list[float], list[str]]:
    """The figures on the left; the reserve comes before a round figure on the same row."""
    round_figures = [p for p in (0.0, 50.0, 100.0) if abs(p - reserve) > 100.0 / rows]
    return [reserve, *round_figures], ["reserve", *(f"{p:.0f} %" for p in round_figures)]
