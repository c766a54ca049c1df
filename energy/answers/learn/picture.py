"""What readings taught, as a picture: what was read, expected before, and found after."""

from typing import TYPE_CHECKING, Any

import numpy as np

from energy.answers.learn.learn import Learned
from energy.answers.learn.words import finding
from energy.model import Array
from energy.plan.places import zone_in_words
from energy.show.labels import Room
from energy.show.page import heading, lay_out, new_page, round_values, stacked, values_left
from energy.show.palette import CHARGE_IN, CLOCK_IN, COLOURS, DASHES, FLOWS_IN, HEADING_IN, RING
from energy.show.time_axis import hours, time_axis

if TYPE_CHECKING:
    from matplotlib.figure import Figure

LEFT_IN, BELOW_IN = 0.55, 0.48
AFTER_S = 3600.0  # shown after the last reading
LINES = (
    "The line before is what the plan and the figures stated would have given; the line after, what"
    " fits the readings best, with that day's sky and work as they came out."
)


def learned(answer: Learned) -> "Figure":
    """Charge as it was read, as it was expected, and as it follows from what was learned; the
    sun's watts beside it where any were read. A matplotlib Figure of its own, 10 inches wide.

    >>> from energy.answers.learn.learn import learn
    >>> from energy.answers.learn.readings import parse_readings
    >>> from energy.plan import Plan
    >>> plan = Plan.read("builtin:cloudy-repair")
    >>> text = "time,battery_percent\\n09:00,90\\n12:00,75\\n"
    >>> len(learned(learn(plan, parse_readings(text, plan))).axes)
    1
    """
    result, day = answer.day.budget, answer.day
    solar_rows = [reading for reading in day.observed if reading.kind == "solar_w"]
    panels_in = [(HEADING_IN, CHARGE_IN), (HEADING_IN + CLOCK_IN, FLOWS_IN)]
    page = new_page()
    panels = lay_out(
        page,
        (answer.plan.name, finding(answer).rstrip(".")),
        [LINES, f"Clock: {zone_in_words(result.calendar.zone.key)}."],
        stacked(LEFT_IN, panels_in if solar_rows else panels_in[:1]),
        BELOW_IN,
    )
    time_axis(result, panels, answer.readings.rows[-1].time_s + AFTER_S)
    x = hours(result, day.case.edges)
    heading(panels[0], "Charge of the pack, %")
    panels[0].set_ylim(-2.0, 104.0)
    values_left(panels[0], [0.0, 25.0, 50.0, 75.0, 100.0])
    charge_rows = [row for row in answer.readings.rows if row.battery_percent is not None]
    read_at = hours(result, [row.time_s for row in charge_rows])
    percent = np.array([row.battery_percent for row in charge_rows], dtype=float)
    _before_and_after(panels[0], x, answer.charge_percent(), (read_at, percent), "charge")
    if solar_rows:
        heading(panels[1], "Sun into the pack, W")
        before, after = (np.repeat(watts, 2) for watts in answer.solar_w())
        read_at = hours(result, [reading.row.time_s for reading in solar_rows])
        watts = np.array([reading.value for reading in solar_rows])
        peak = max(1.0, *(float(values.max()) for values in (before, after, watts)))
        panels[1].set_ylim(0.0, 1.35 * peak)
        values_left(panels[1], round_values(peak))
        steps = np.repeat(x, 2)[1:-1]
        panels[1].fill_between(steps, 0.0, after, color=COLOURS["daylight"], lw=0.0, zorder=2)
        _before_and_after(panels[1], steps, (before, after), (read_at, watts), "sun")
    return page


def _before_and_after(
    panel: Any, x: Array, lines: tuple[Array, Array], points: tuple[Array, Array], colour: str
) -> None:
    """The lines expected before and found after learning, over x, and rings where it was read."""
    room = Room(panel)
    before, after = lines
    panel.plot(x, before, color=COLOURS["quiet"], linestyle=DASHES["limit"], lw=1.3, zorder=3)
    panel.plot(x, after, color=COLOURS[colour], lw=2.0, zorder=4)
    panel.plot(*points, markeredgecolor=COLOURS["ink"], **RING)
    room.keep_clear(x, before)
    room.keep_clear(x, after)
    for at, value in zip(*points, strict=True):
        room.keep_clear_of_ring(at, value)
    apart = np.abs(before - after)
    far = apart >= 0.5 * apart.max()
    room.label("before", x[far], before[far], "quiet")
    room.label("after", x[far], after[far], colour)
    room.label("read", *points, "ink")
