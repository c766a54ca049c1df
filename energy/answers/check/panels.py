"""The three panels of a picture: the charge, the tasks, and the sun against the load.

Each function draws on axes that are there already, over hours from the start of the span; `picture`
lays out the page around them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from energy.model import Array
from energy.model.demand import Burst
from energy.model.timeline import Interval
from energy.show.labels import ON_A_LINE, ON_A_MARK, Room, shorten, style, width_in
from energy.show.moments import short_clock
from energy.show.page import round_values, values_left
from energy.show.palette import COLOURS, DASHES, LABEL_PT, RING
from energy.show.time_axis import hours, midnights
from energy.simulation.budget import Budget

MOST_ROWS = 14
MEANS_S = 900.0  # bursts of seconds are shown as means of 15 minutes
REST_SHARE = 0.05  # of the working watts: less is standby
MOST_EDGES = 3000  # enough for the band at any width
THIN_PX, HOLLOW_PX = 2.0, 9.0  # the narrowest bars
LEAST_LOCKED = 0.5  # percent of the pack: less is not worth a word
LEAST_SHARE = 0.02  # of the largest flow: less cannot be seen
TALL, LOW = 0.64, 0.32  # bars to scale, and those too short for it, as shares of a row


@dataclass(frozen=True)
class Row:
    """One line of the task panel: when it runs and when a limit turns it away [UTC s]."""

    name: str
    must: bool
    runs: tuple[Interval, ...]
    turned_away: tuple[Interval, ...]


def charge_panel(result: Budget, panel: Any) -> None:
    """The charge of the middle weather, the band of the others, the reserve and the cold."""
    panel.set_ylim(-2.0, 104.0)
    values_left(panel, [0.0, 25.0, 50.0, 75.0, 100.0])
    x, charge = hours(result, result.time_s), result.charge_percent[:, result.middle]
    cold_unavailable, floor = (np.repeat(percent, 2) for percent in cold_and_floor(result))
    steps = np.repeat(x, 2)[1:-1]
    room = _room(result, panel)
    room.keep_clear(x, charge)
    room.keep_clear(steps, floor)
    room.keep_clear_below(steps, cold_unavailable, ON_A_LINE)
    band = _band(result, panel, room)
    panel.plot(steps, floor, color=COLOURS["limit"], linestyle=DASHES["limit"], lw=1.3, zorder=3)
    panel.plot(x, charge, color=COLOURS["charge"], linestyle=DASHES["charge"], lw=2.0, zorder=4)
    _lowest_point(result, panel, room)
    reserve = f"reserve {result.plan.pack.reserve_percent:.0f} %"
    frozen = cold_unavailable.max() >= LEAST_LOCKED
    if frozen:
        hatch = {"facecolor": "none", "edgecolor": COLOURS["locked"], "hatch": "////"}
        panel.fill_between(steps, 0.0, cold_unavailable, linewidth=0.6, zorder=2, **hatch)
        reserve += " above what the cold locks"
    room.label(reserve, steps, floor, "limit")
    if frozen:
        room.label("locked by the cold", steps, cold_unavailable, "quiet")
    if band is not None:
        room.label(f"middle one of {result.chance.scenarios} weathers", x, charge, "charge")
        room.label("8 in 10 weathers lie here", *band, "quiet")


def cold_and_floor(result: Budget) -> tuple[Array, Array]:
    """What the cold locks in the middle weather, and the reserve above that: percent of charge, a
    value a segment (n,)."""
    shape = result.time_s.size - 1, result.charge_percent.shape[1]
    cold_unavailable = np.broadcast_to(result.cold_unavailable_percent, shape)[:, result.middle]
    return cold_unavailable, np.minimum(cold_unavailable + result.plan.pack.reserve_percent, 100.0)


def _lowest_point(result: Budget, panel: Any, room: Room) -> None:
    lowest = result.lowest()
    x, y = float(hours(result, lowest.at_s)), lowest.percent
    panel.plot([x], [y], markeredgecolor=COLOURS["charge"], **RING)
    room.keep_clear_of_ring(x, y)
    when = short_clock(result.calendar, lowest.at_s)
    room.label(f"lowest: {y:.0f} %, {when}", [x], [y], "charge")


def _room(result: Budget, panel: Any) -> Room:
    """The room for labels, with the midnights in it."""
    room = Room(panel)
    for x in hours(result, midnights(result)):
        room.keep_clear(np.full(2, x), np.array(panel.get_ylim()), ON_A_MARK)
    return room


def _band(result: Budget, panel: Any, room: Room) -> tuple[Array, Array] | None:
    """The 10th to the 90th percentile of the futures; returns where its label may stand."""
    if result.charge_percent.shape[1] < 2:
        return None
    rows = np.unique(np.linspace(0, result.time_s.size - 1, MOST_EDGES).astype(int))
    x = hours(result, result.time_s[rows])
    low, high = np.percentile(result.charge_percent[rows], [10.0, 90.0], axis=1)
    middle = result.charge_percent[rows, result.middle]
    panel.fill_between(x, low, high, color=COLOURS["band"], linewidth=0.0, zorder=2)
    for edge in (low, high):
        panel.plot(x, edge, color=COLOURS["charge"], linestyle=DASHES["band"], lw=0.7, zorder=2)
        room.keep_clear(x, edge)
    if float((high - low).max()) < 2.0:
        return None
    above, below = high - middle, middle - low
    room_there, wide = np.maximum(above, below), np.where(above > below, high, low)
    wide_enough = room_there >= 0.6 * room_there.max()
    return x[wide_enough], ((middle + wide) / 2.0)[wide_enough]


def task_rows(result: Budget) -> list[Row]:
    """What the task panel shows: a row a name in the plan's order; too many are summed.

    What must run keeps a row of its own as long as there are rows.
    """
    rows = []
    for name in dict.fromkeys(task.name for task in result.plan.task):
        same = {k for k, task in enumerate(result.plan.task) if task.name == name}
        must = any(result.plan.task[k].must for k in same)
        runs = tuple(i for burst in result.running if burst.task in same for i in _drawing(burst))
        overloads = [o.burst for o in result.overloads if o.burst.task in same]
        turned_away = tuple(sorted((burst.start_s, burst.end_s) for burst in overloads))
        rows.append(Row(name, must, runs, turned_away))
    if len(rows) <= MOST_ROWS:
        return rows
    first = sorted(range(len(rows)), key=lambda k: not rows[k].must)[: MOST_ROWS - 1]
    rest = [row for k, row in enumerate(rows) if k not in first]
    summed = Row(
        name=f"and {len(rest)} more",
        must=all(row.must for row in rest),
        runs=tuple(i for row in rest for i in row.runs),
        turned_away=tuple(i for row in rest for i in row.turned_away),
    )
    return [*(rows[k] for k in sorted(first)), summed]


def _drawing(burst: Burst) -> list[Interval]:
    """When a burst draws power: a compressor's rests, with their small draw, are left out."""
    intervals: list[Interval] = []
    least_w = REST_SHARE * max(piece.working_w for piece in burst.pieces)
    for piece in burst.pieces:
        if piece.working_w < least_w:
            continue
        if intervals and piece.start_s - intervals[-1][1] < 1.0:
            intervals[-1] = intervals[-1][0], piece.end_s
        else:
            intervals.append((piece.start_s, piece.end_s))
    return intervals


def task_panel(result: Budget, panel: Any, rows: Sequence[Row], names_px: float) -> str:
    """Bars at the times the tasks run; returns how they are to be read."""
    panel.set_ylim(len(rows) - 0.5, -0.5)
    panel.set_yticks([])
    h_per_px = float(np.ptp(panel.get_xlim()) / panel.get_window_extent().width)
    limit, any_low = COLOURS["limit"], False
    for y, row in enumerate(rows):
        colour = COLOURS["ink" if row.must else "task"]
        long, short = _by_length(row.runs, 3600.0 * h_per_px * THIN_PX)
        for bursts, tall in ((long, TALL), (short, LOW)):
            bars = _bars(result, bursts, h_per_px * THIN_PX)
            panel.broken_barh(bars, (y - tall / 2, tall), color=colour, linewidth=0.0, zorder=3)
        hollow = _bars(result, row.turned_away, h_per_px * HOLLOW_PX)
        edge = {"facecolor": "white", "edgecolor": limit, "linewidth": 1.0}
        panel.broken_barh(hollow, (y - TALL / 2, TALL), zorder=4, **edge)
        crosses = [left + width / 2.0 for left, width in hollow]
        panel.plot(crosses, [y] * len(crosses), "x", color=limit, ms=4.0, mew=1.2, zorder=5)
        _name(panel, y, row, names_px)
        any_low = any_low or bool(short)
    key = {
        "low: too short to draw to scale": any_low,
        "dark: must run": any(row.must for row in rows),
        "hollow with a cross: refused by a limit": any(row.turned_away for row in rows),
    }
    return "; ".join(words for words, needed in key.items() if needed)


def _name(panel: Any, y: float, row: Row, room_px: float) -> None:
    width = width_in(panel.figure, LABEL_PT, bold=row.must)
    panel.annotate(
        shorten(row.name, room_px, width),
        (0.0, y),
        xycoords=panel.get_yaxis_transform(),
        xytext=(-5.0, 0.0),
        textcoords="offset points",
        ha="right",
        va="center_baseline",
        annotation_clip=False,
        **style(LABEL_PT, bold=row.must),
    )


def _by_length(
    intervals: Sequence[Interval], least_s: float
) -> tuple[list[Interval], list[Interval]]:
    """What can be drawn to scale, and what is too short for that."""
    long = [i for i in intervals if i[1] - i[0] >= least_s]
    return long, [i for i in intervals if i[1] - i[0] < least_s]


def _bars(
    result: Budget, intervals: Sequence[Interval], least_h: float
) -> list[tuple[float, float]]:
    """Left ends and widths in hours, none too narrow to be seen; what then overlaps is one bar."""
    end = float(hours(result, result.time_s[-1]))
    bars: list[tuple[float, float]] = []
    for start_s, end_s in sorted(intervals):
        left, right = float(hours(result, start_s)), float(hours(result, end_s))
        width = max(right - left, least_h)
        left = min(max((left + right - width) / 2.0, 0.0), end - width)
        if bars and left < sum(bars[-1]):
            left, width = bars[-1][0], max(left + width - bars[-1][0], bars[-1][1])
            bars.pop()
        bars.append((left, width))
    return bars


def means(time_s: Array, watts: Array, each_s: float = MEANS_S) -> tuple[Array, Array]:
    """Mean watts over equal stretches of the clock, the first and last cut to the span.

    time_s (n + 1,) are the edges of watts (n,). Returns the new edges and their means.

    >>> means(np.array([0.0, 45.0, 1800.0]), np.array([800.0, 0.0]))[1]
    array([40.,  0.])
    """
    inner = np.arange(np.floor(time_s[0] / each_s + 1.0) * each_s, time_s[-1], each_s)
    edges = np.concatenate([[time_s[0]], inner, [time_s[-1]]])
    joules = np.concatenate([[0.0], np.cumsum(watts * np.diff(time_s))])
    return edges, np.diff(np.interp(edges, time_s, joules)) / np.diff(edges)


@dataclass(frozen=True)
class Flow:
    """One line of the power panel: its words, its watts and the height it is drawn at."""

    text: str
    watts: Array
    top: Array
    colour: str
    dashes: Any


def flows_panel(result: Budget, panel: Any) -> None:
    """What the sun gives, what the tasks ask, what was curtailed or not served; watts."""
    edges, mean = result.time_s, {}
    for name, watts in result.flows().items():
        edges, steps = means(result.time_s, watts)
        mean[name] = np.repeat(steps, 2)
    x = np.repeat(hours(result, edges), 2)[1:-1]
    sun, load, charger = mean["solar_w"], mean["load_w"], mean["charger_w"]
    curtailed, short = mean["spilled_w"], load - mean["delivered_w"]
    short = np.where(short > 0.5, short, 0.0)
    peak = max(1.0, *(float(top.max()) for top in (sun + curtailed, load, charger)))
    panel.set_ylim(0.0, 1.35 * peak)
    values_left(panel, round_values(peak))
    _flow_areas(panel, x, sun, load, short)
    room = _room(result, panel)
    room.keep_clear_below(x, load)
    flows = (
        Flow("sun into the pack", sun, sun, "sun", "-"),
        Flow(
            "spilled: more than the pack takes",
            curtailed,
            sun + curtailed,
            "sun",
            DASHES["spilled"],
        ),
        Flow("other charging", charger, charger, "charge", DASHES["other charging"]),
        Flow("load asked", load, load, "load", "-"),
        Flow("asked but not served", short, load, "limit", ""),
    )
    most = max(float(flow.watts.sum()) for flow in flows)
    shown = [f for f in flows if f.watts.sum() > LEAST_SHARE * most or f.watts is short]
    shown = [flow for flow in shown if flow.watts.any()]
    for flow in shown:
        there = np.convolve(flow.watts > 0.0, [1, 1, 1], "same") > 0
        line = np.where(there, flow.top, np.nan)
        panel.plot(x, line, color=COLOURS[flow.colour], linestyle=flow.dashes, lw=1.2, zorder=4)
        room.keep_clear(x, flow.top)
    for flow in shown:
        tall = flow.watts >= 0.6 * flow.watts.max()
        room.label(flow.text, x[tall], flow.top[tall], flow.colour)


def _flow_areas(panel: Any, x: Array, sun: Array, load: Array, short: Array) -> None:
    """The areas below sun and load, the load's clear enough to see the sun through it."""
    panel.fill_between(x, 0.0, sun, color=COLOURS["daylight"], linewidth=0.0, zorder=2)
    see_through = COLOURS["load"], 0.30
    panel.fill_between(x, 0.0, load, facecolor=see_through, linewidth=0.0, zorder=3)
    if short.any():
        crossed = {"facecolor": "none", "edgecolor": COLOURS["limit"], "hatch": "xxx"}
        panel.fill_between(x, load - short, load, where=short > 0.0, lw=0.0, zorder=3, **crossed)
