"""Measured against predicted charge, as a picture."""

from typing import TYPE_CHECKING, Any

import numpy as np

from energy.answers.learn.learn import Learned
from energy.answers.learn.words import finding
from energy.model import Array
from energy.show.labels import Room
from energy.show.page import heading, lay_out, new_page, round_values, values_left
from energy.show.palette import CHARGE_IN, COLOURS, DASHES, FLOWS_IN
from energy.show.time_axis import hours, time_axis

if TYPE_CHECKING:
    from matplotlib.figure import Figure

RING = {"markersize": 6.5, "markerfacecolor": "white", "markeredgewidth": 1.6}
AFTER_S = 3600.0  # shown after the last reading


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
    watts = [reading for reading in day.observed if reading.kind == "solar_w"]
    page = new_page()
    high = [CHARGE_IN, FLOWS_IN] if watts else [CHARGE_IN]
    foot = "The line before is what the plan and the figures stated would have given; the line"
    foot += " after, what fits the readings best, with that day's sky and work as they came out."
    title = answer.plan.title or answer.plan.origin
    panels = lay_out(
        page,
        title,
        finding(answer).rstrip("."),
        [foot, f"Clock: {result.calendar.zone.key}."],
        high,
    )
    time_axis(result, panels, answer.readings.rows[-1].time_s + AFTER_S)
    heading(panels[0], "Charge of the pack, %")
    panels[0].set_ylim(-2.0, 104.0)
    values_left(panels[0], [0.0, 25.0, 50.0, 75.0, 100.0])
    before, after = answer.charge_percent()
    x = hours(result, day.case.edges)
    read = [row for row in answer.readings.rows if row.battery_percent is not None]
    points = hours(result, [row.time_s for row in read]), [row.battery_percent for row in read]
    _measured(panels[0], x, before, after, points, "charge")
    if watts:
        heading(panels[1], "Sun into the pack, W")
        sun_before, sun_after = (np.repeat(sun, 2) for sun in answer.solar_w())
        values = [reading.value for reading in watts]
        at = hours(result, [reading.row.time_s for reading in watts])
        peak = max(float(sun_before.max()), float(sun_after.max()), *values, 1.0)
        panels[1].set_ylim(0.0, 1.35 * peak)
        values_left(panels[1], round_values(peak))
        steps = np.repeat(x, 2)[1:-1]
        panels[1].fill_between(steps, 0.0, sun_after, color=COLOURS["daylight"], lw=0.0, zorder=2)
        _measured(panels[1], steps, sun_before, sun_after, (at, values), "sun")
    return page


def _measured(
    panel: Any, x: Array, before: Array, after: Array, points: tuple[Any, Any], colour: str
) -> None:
    """Lines of what was expected and what was fitted, and rings where it was read."""
    room = Room(panel)
    panel.plot(x, before, color=COLOURS["quiet"], linestyle=DASHES["limit"], lw=1.3, zorder=3)
    panel.plot(x, after, color=COLOURS[colour], lw=2.0, zorder=4)
    ring = {"markeredgecolor": COLOURS["ink"], "clip_on": False, "zorder": 5.5, **RING}
    panel.plot(points[0], points[1], "o", **ring)
    room.keep_clear(x, before)
    room.keep_clear(x, after)
    around = 0.008 * float(np.ptp(panel.get_xlim()))
    for at, value in zip(*points, strict=True):
        room.keep_clear(np.array([at - around, at + around]), np.array([value, value]))
    pick = slice(None, None, max(1, x.size // 60))
    apart = np.abs(before - after)[pick]
    far = apart >= 0.5 * apart.max()
    room.label("before", x[pick][far], before[pick][far], "quiet")
    room.label("after", x[pick][far], after[pick][far], colour)
    room.label("read", points[0], points[1], "ink")
