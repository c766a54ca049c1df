"""The charge as a few lines of characters, for a terminal; drawn by plotext without colours.

Pictures for a file are drawn in `picture`.
"""

import math

import numpy as np

from energy.answers.check.panels import cold_and_floor, dull_tenth
from energy.show.time_axis import clock_marks, hours, midnights
from energy.simulation.budget import Budget

LEAST_WIDTH, LEAST_ROWS = 32, 5  # below this nothing can be read
LABEL_COLUMNS = 9  # "reserve" with its space and the axis
CLOCK_COLUMNS = 9  # from one clock label to the next
DOTS_APART = 3  # half characters between the dots of the dull day


def sketch(budget: Budget, width: int = 72, rows: int = 7) -> str:
    """Draw the charge [%] of a middling day as a line and of a dull one (the lowest tenth at each
    time) as dots, with the reserve dashed, above the local clock.

    width: columns. rows: lines in all, the clock's among them; at least five. The lines carry no
    blanks at their ends.

    >>> from energy.simulation.budget import budget
    >>> from energy.plan import Plan
    >>> lines = sketch(budget(Plan.read("builtin:cloudy-repair")), 72, 5).splitlines()
    >>> len(lines), lines[-1].split()
    (5, ['08:00', '12:00', '16:00', '20:00', 'Tue', '15', '04:00', '08:00'])
    """
    import plotext

    width, rows = max(width, LEAST_WIDTH), max(rows, LEAST_ROWS)
    x, end = hours(budget, budget.time_s), float(hours(budget, budget.time_s[-1]))
    across = np.linspace(0.0, end, 2 * width)  # two dots a character
    charge = np.interp(across, x, budget.middle_charge_percent)
    segment = np.clip(np.searchsorted(x, across, side="right") - 1, 0, x.size - 2)
    floor = cold_and_floor(budget)[1][segment]
    plotext.terminal.limit(False, False)
    figure = plotext.figure.clear()
    figure.theme("colorless").plot_size(width, rows)
    figure.axes(False)
    figure.axes(True, axis="y", side="left")
    figure.ruler("x", "lower").lim(0.0, end).ticks(*_clock(budget, width))
    figure.ruler("y", "left").lim(0.0, 100.0).ticks(*_percents(float(floor[0]), rows - 1))
    figure.draw(figure.signal(across.tolist(), floor.tolist(), marker="-"))
    if budget.success.size > 1:
        apart = across[::DOTS_APART]
        dull = np.interp(apart, x, dull_tenth(budget, np.arange(x.size)))
        figure.draw(figure.signal(apart.tolist(), dull.tolist(), marker="braille"))
    figure.draw(figure.signal(across.tolist(), charge.tolist(), marker="braille").lines())
    drawn = figure.build().string(colorless=True)
    figure.clear()
    return "\n".join(line.rstrip() for line in drawn.rstrip().split("\n"))


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
    apart = 100.0 / (rows - 1)  # from row to row
    round_figures = [p for p in (0.0, 50.0, 100.0) if abs(p - reserve) > apart]
    return [reserve, *round_figures], ["reserve", *(f"{p:.0f} %" for p in round_figures)]
