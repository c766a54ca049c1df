"""Where to point the panels, as a picture: the yield of all poses, and the watts over the day.

Its words are those of `words`; what they show is worked out in the answer.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.answers.aim.aim import Aim
from energy.answers.aim.poses import BIN_MIN, DAY_BINS
from energy.answers.aim.words import (
    day_in_words,
    finding,
    sun_words,
    turned,
    turning_words,
    unused_words,
)
from energy.model import Array
from energy.plan.kit import COMPASS, Panel
from energy.plan.places import zone_in_words
from energy.plan.words import and_list
from energy.show.labels import ON_A_LABEL, ON_A_MARK, Room, style
from energy.show.numbers import watt_hours
from energy.show.page import Box, heading, lay_out, new_page, round_values, values_left
from energy.show.palette import COLOURS, EDGE_IN, HEADING_PT, RING, SMALL_PT, WIDTH_IN, mix

if TYPE_CHECKING:
    from matplotlib.figure import Figure

LOST_PERCENT = (2.0, 10.0, 30.0)  # the lines of the map
MAP_IN, DAY_IN = 3.6, 4.6  # the two panels, side by side
ABOVE_IN, BELOW_IN = 0.42, 0.36
OUTSIDE = 1.13  # the map's frame, in radii of its rim


def aim_picture(answer: Aim) -> "Figure":
    """The yield of all poses as a map, and the watts over the day of the settings.

    Returns a matplotlib Figure of its own, 10 inches wide.

    >>> from energy.answers.aim.aim import aim
    >>> from energy.plan import Plan
    >>> len(aim_picture(aim(Plan.read("builtin:cloudy-repair"))).axes)
    2
    """
    result, page = answer.plan.budget, new_page()
    sun = f"{sun_words(answer).capitalize()}."
    remarks = (turning_words(answer), unused_words(answer), sun, day_in_words(answer))
    yields, day = lay_out(
        page,
        (result.plan.name, finding(answer)),
        [*filter(None, remarks), f"Clock: {zone_in_words(result.calendar.zone.key)}."],
        [
            Box(3.0 * EDGE_IN, ABOVE_IN, MAP_IN, MAP_IN),
            Box(WIDTH_IN - DAY_IN - 3.0 * EDGE_IN, ABOVE_IN, DAY_IN, MAP_IN),
        ],
        BELOW_IN,
    )
    if answer.azimuth_deg is None:
        heading(yields, "Yield by tilt, % of the best", "over all headings")
        _tilts_panel(answer, yields)
    else:
        heading(yields, "Yield by pose", "middle: flat; rim: upright; north is up")
        _map_panel(answer, yields)
    heading(day, "Power in W", "means of all weathers and days, by the clock")
    _day_panel(answer, day)
    return page


def _map_panel(answer: Aim, panel: Any) -> None:
    """The share of the best yield that each pose loses, as a map seen from above."""
    panel.spines["bottom"].set_visible(False)
    panel.set(xlim=(-90 * OUTSIDE, 90 * OUTSIDE), ylim=(-90 * OUTSIDE, 90 * OUTSIDE))
    panel.set_xticks([])
    panel.set_yticks([])
    tilts, azimuths = np.linspace(0.0, 90.0, 91), np.linspace(0.0, 360.0, 181)
    surface = answer.yields.at(tilts, azimuths)
    lost = 100.0 * np.maximum(1.0 - surface / max(float(surface.max()), 1e-9), 0.0)
    x, y = _seen_from_above(tilts[:, None], azimuths[None, :])
    darker = [mix("daylight", "sun", share) for share in (0.45, 0.15)]
    lighter = [mix("daylight", "white", share) for share in (0.3, 0.75)]
    levels = [-1.0, *LOST_PERCENT, 101.0]
    panel.contourf(x, y, lost, levels=levels, colors=[*darker, *lighter], zorder=1)
    edge = {"colors": [COLOURS["sun"]], "linewidths": 0.7, "zorder": 2}
    lines = panel.contour(x, y, lost, levels=LOST_PERCENT, **edge)
    _rose(panel)
    room = Room(panel)
    longest = [max(pieces, key=len, default=np.empty((0, 2))) for pieces in lines.allsegs]
    _mark_poses(answer, panel, room, longest)
    for level, line in zip(LOST_PERCENT, longest, strict=True):
        if len(line):
            room.label(f"−{level:.0f} %", line[:, 0], line[:, 1], "sun")


def _seen_from_above(tilt_deg: Any, azimuth_deg: Any) -> tuple[Array, Array]:
    """Where a pose lies on the map: north is up, east is right, the rim is upright."""
    turned = np.radians(azimuth_deg)
    return tilt_deg * np.sin(turned), tilt_deg * np.cos(turned)


def _rose(panel: Any) -> None:
    """The rim with the winds outside, and rings every 30 degrees of tilt."""
    around = np.linspace(0.0, 360.0, 181)
    for tilt in (30.0, 60.0, 90.0):
        colour, width = ("quiet", 0.8) if tilt == 90.0 else ("locked", 0.5)
        panel.plot(*_seen_from_above(tilt, around), color=COLOURS[colour], lw=width, zorder=3)
    for wind in ("N", "E", "S", "W"):
        x, y = _seen_from_above(97.0, COMPASS[wind])
        panel.text(x, y, wind, ha="center", va="center", **style(HEADING_PT, bold=True))


def _mark_poses(answer: Aim, panel: Any, room: Room, lines: Sequence[Any]) -> None:
    """The best pose, the plan's own ones that stand still, and the tilts of the rings.

    lines are those of the map, kept clear of words.
    """
    best = (answer.tilt_deg, answer.azimuth_deg or 0.0)
    planned = dict.fromkeys(pose for p in answer.panels if (pose := _standing(p)) is not None)
    marks = [("as planned", pose, "ink") for pose in planned if pose != best]
    if answer.follow.own_wh > 0.0:
        marks.insert(0, ("best", best, "charge"))
    for line in lines:
        if len(line):
            room.keep_clear(line[:, 0], line[:, 1])
    around = np.linspace(0.0, 360.0, 181)
    room.keep_clear(*_seen_from_above(90.0, around))
    for tilt in (30.0, 60.0):
        room.keep_clear(*_seen_from_above(tilt, around), ON_A_MARK)
    for _, pose, colour in marks:
        _mark(panel, room, _seen_from_above(*pose), colour)
    for words, pose, colour in marks:
        x, y = _seen_from_above(*pose)
        room.label(words, np.atleast_1d(x), np.atleast_1d(y), colour)
    for tilt in (30.0, 60.0):
        opposite = (best[1] + 180.0 + np.array([-40.0, 0.0, 40.0])) % 360.0
        room.label(f"{tilt:.0f}° up", *_seen_from_above(tilt, opposite), "quiet")


def _mark(panel: Any, room: Room, place: tuple[Any, Any], colour: str) -> None:
    """A dot for the best pose, a ring for another, kept clear of words."""
    x, y = (float(value) for value in place)
    face = COLOURS["charge"] if colour == "charge" else "white"
    panel.plot([x], [y], **{**RING, "markeredgecolor": COLOURS[colour], "markerfacecolor": face})
    room.keep_clear_of_ring(x, y, ON_A_LABEL)


def _standing(panel: Panel) -> tuple[float, float] | None:
    """Tilt and azimuth of a panel that stands still."""
    if panel.aim == "flat":
        return 0.0, 0.0
    return (panel.tilt_deg, panel.facing_deg) if panel.aim == "fixed" else None


def _tilts_panel(answer: Aim, panel: Any) -> None:
    """What each tilt gives on a boat that swings."""
    tilts = np.linspace(0.0, 90.0, 91)
    wh = answer.yields.at(tilts, np.zeros(1))[:, 0]
    share = 100.0 * wh / max(float(wh.max()), 1e-9)
    panel.set(xlim=(0.0, 90.0), ylim=(0.0, 120.0))
    values_left(panel, [0.0, 50.0, 100.0])
    panel.set_xticks([0, 30, 60, 90], ["flat", "30°", "60°", "upright"], **style(SMALL_PT))
    panel.fill_between(tilts, 0.0, share, color=COLOURS["daylight"], linewidth=0.0, zorder=2)
    panel.plot(tilts, share, color=COLOURS["sun"], lw=1.6, zorder=4)
    room = Room(panel)
    room.keep_clear(tilts, share)
    planned = dict.fromkeys(panel.tilt_deg for panel in answer.panels)
    marks = [("best", answer.tilt_deg, "charge")]
    marks += [("as planned", tilt, "ink") for tilt in planned if tilt != answer.tilt_deg]
    for words, tilt, colour in marks:
        there = float(np.interp(tilt, tilts, share))
        _mark(panel, room, (tilt, there), colour)
        room.label(words, [tilt], [there], colour)


def _day_panel(answer: Aim, panel: Any) -> None:
    """The watts over the day of the settings, each line with its words and its Wh a day."""
    turns = turned(answer)
    lines = [
        ("square to the sun all day", answer.follow, "quiet", (0, (6, 2, 1, 2))),
        *([] if turns is None else [(f"turned at {and_list(turns.at)}", turns, "task", "-")]),
        ("as planned", answer.plan, "ink", (0, (5, 2.5))),
        ("flat", answer.flat, "quiet", (0, (1.2, 1.6))),
        ("best pose", answer.best, "sun", "-"),
    ]
    hours = np.asarray((np.arange(DAY_BINS) + 0.5) * BIN_MIN / 60.0, dtype=float)
    watts = np.stack([setting.watts() for _, setting, _, _ in lines])
    peak = max(1.0, float(watts.max()))
    _clock(panel, hours[watts.max(axis=0) > 0.002 * peak])
    panel.set_ylim(0.0, 1.3 * peak)
    values_left(panel, round_values(peak))
    panel.fill_between(hours, 0.0, watts[-1], color=COLOURS["daylight"], linewidth=0.0, zorder=2)
    room = Room(panel)
    for (_, _, colour, dashes), y in zip(lines, watts, strict=True):
        width = 2.0 if colour == "sun" else 1.3
        panel.plot(hours, y, color=COLOURS[colour], linestyle=dashes, lw=width, zorder=4)
        room.keep_clear(hours, y)
    for k in np.flatnonzero(watts.any(axis=1)):
        (words, setting, colour, _), y = lines[k], watts[k]
        apart = np.abs(np.delete(watts, k, axis=0) - y).min(axis=0)
        there = np.argsort(-np.where(y > 0.5 * y.max(), apart, -1.0))[:4]
        room.label(f"{words}, {watt_hours(setting.wh_per_day)} Wh", hours[there], y[there], colour)


def _clock(panel: Any, lit: Array) -> None:
    """The part of the day to show, with the clock below it; lit are its half hours' middles."""
    half = BIN_MIN / 120.0
    start, end = (lit[0] - half, lit[-1] + half) if lit.size else (0.0, 24.0)
    step = next(s for s in (1, 2, 3, 6) if (end - start) / s <= 8.0)
    marks = np.arange(np.ceil(start / step) * step, end + 0.01, step)
    panel.set_xlim(start, end)
    panel.set_xticks(marks, [f"{int(hour):02d}:00" for hour in marks], **style(SMALL_PT))
