"""The three panels of a picture: the charge, the tasks, and the sun against the load.

Each function draws on axes that are there already, over hours from the start of the span; `picture`
lays out the page around them.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from energy.answers.check.checkpoints import FULL, Checkpoint
from energy.model import Array, Index
from energy.model.demand import Burst
from energy.model.timeline import Interval
from energy.show.labels import ON_A_LINE, ON_A_MARK, Room, shorten, style, width_in
from energy.show.moments import short_clock
from energy.show.page import round_values, values_left
from energy.show.palette import COLOURS, DASHES, LABEL_PT, RING
from energy.show.time_axis import hours, midnights
from energy.simulation.budget import Budget

MOST_ROWS = 14
SAME_S = 1.0  # shorter is not left out
MEANS_S = 900.0  # bursts of seconds are shown as means of 15 minutes
REST_SHARE = 0.05  # of the working watts: less is standby
MOST_EDGES = 3000  # enough for the band at any width
THIN_PX, EMPTY_PX, HOLLOW_PX = 2.0, 4.0, 9.0  # the narrowest bars
LEAST_LOCKED = 0.5  # percent of the pack: less is not worth a word
LEAST_SHARE = 0.02  # of the largest flow: less cannot be seen
BAR_PT = 13.0  # of a reading to turn back at
TALL, LOW = 0.64, 0.32  # bars to scale, and those too short for it, as shares of a row


Line = tuple[Array, Array]  # its points


@dataclass(frozen=True)
class Row:
    """One line of the task panel: when it runs, when a limit turns it away, and when it was planned
    and is left out [UTC s]."""

    name: str
    must: bool
    runs: tuple[Interval, ...]
    turned_away: tuple[Interval, ...]
    left_out: tuple[Interval, ...] = ()


def charge_panel(result: Budget, panel: Any, points: Sequence[Checkpoint]) -> str:
    """The charge of a middling and of a dull day, the band of the weathers, the reserve, the cold
    and the checkpoints; returns how the marks are to be read."""
    panel.set_ylim(-2.0, 104.0)
    values_left(panel, [0.0, 25.0, 50.0, 75.0, 100.0])
    x, charge = hours(result, result.time_s), result.middle_charge_percent
    cold_unavailable, floor = (np.repeat(percent, 2) for percent in cold_and_floor(result))
    wells, steps = result.plan.pack.kinetic_c, np.repeat(x, 2)[1:-1]
    empty = cold_unavailable / (wells or 1.0)  # of lead-acid both wells are level there
    room = _room(result, panel)
    room.keep_clear(x, charge)
    room.keep_clear(steps, floor)
    room.keep_clear_below(steps, empty, ON_A_LINE)
    areas = _band(result, panel, room)
    panel.plot(steps, floor, color=COLOURS["limit"], linestyle=DASHES["limit"], lw=1.3, zorder=3)
    panel.plot(x, charge, color=COLOURS["charge"], linestyle=DASHES["charge"], lw=2.0, zorder=4)
    _lowest_point(result, panel, room)
    key = _turn_back_marks(result, panel, room, points)
    reserve = f"reserve {result.plan.pack.reserve_percent:.0f} %"
    frozen = cold_unavailable.max() >= LEAST_LOCKED
    if frozen:
        hatch = {"facecolor": "none", "edgecolor": COLOURS["locked"], "hatch": "////"}
        panel.fill_between(steps, 0.0, empty, linewidth=0.6, zorder=2, **hatch)
        reserve += " and some for the cold" if wells else " above what the cold holds back"
    room.label(reserve, steps, floor, "limit")
    if frozen:
        room.label("held back by the cold", steps, empty, "quiet")
    if areas is not None:
        band, dull = areas
        room.label(f"a middling day, of {result.chance.scenarios} weathers", x, charge, "charge")
        room.label("a dull day: one in ten is lower", *dull, "charge")
        room.label("8 in 10 weathers lie here", *band, "quiet")
    return key


def _turn_back_marks(result: Budget, panel: Any, room: Room, points: Sequence[Checkpoint]) -> str:
    """At each checkpoint a dot on the middling day, and a bar at the reading to turn back at."""
    bar = {"marker": "_", "markersize": BAR_PT, "markeredgewidth": 2.2, "linestyle": ""}
    charge = result.middle_charge_percent
    for point in points:
        x = float(hours(result, point.at.timestamp()))
        on_curve = np.interp(x, hours(result, result.time_s), charge)
        least = FULL if point.least_percent is None else point.least_percent
        panel.plot([x, x], [on_curve, least], color=COLOURS["limit"], lw=0.7, zorder=4.2)
        if not point.lowest:
            panel.plot([x], [on_curve], "o", ms=5.0, color=COLOURS["charge"], zorder=5)
        mark = {"marker": "x", "ms": 6.0, "mew": 1.6} if point.least_percent is None else bar
        panel.plot([x], [least], color=COLOURS["limit"], clip_on=False, zorder=5.2, **mark)
        room.keep_clear(np.full(2, x), np.array([on_curve, least]))
        room.keep_clear_of_ring(x, on_curve)
        room.keep_clear_of_ring(x, least)
    for point in points:
        if point.least_percent is not None:
            x = float(hours(result, point.at.timestamp()))
            text = f"{point.least_percent} %" if point.least_percent else "any"
            room.label(text, [x], [point.least_percent], "limit")
    key = {
        "short bar: below this reading turn back": any(p.least_percent is not None for p in points),
        "cross: not even a full pack would do": any(p.least_percent is None for p in points),
    }
    return "; ".join(words for words, needed in key.items() if needed)


def cold_and_floor(result: Budget) -> tuple[Array, Array]:
    """What the cold holds back in the middle weather, and the reserve above that: percent of
    charge, a value a segment (n,)."""
    shape = result.time_s.size - 1, result.success.size
    cold_unavailable = np.broadcast_to(result.cold_unavailable_percent, shape)[:, result.middle]
    return cold_unavailable, np.minimum(cold_unavailable + result.plan.pack.reserve_percent, 100.0)


def dull_tenth(result: Budget, rows: Index) -> Array:
    """The charge that one weather in ten is below, at some edges of the segments [percent]."""
    return np.asarray(np.percentile(result.charge_percent[rows], 10.0, axis=1))


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


def _band(result: Budget, panel: Any, room: Room) -> tuple[Line, Line] | None:
    """The 10th to the 90th percentile of the scenarios, the lower one as the line of a dull day;
    returns where its label and the line's may stand."""
    if result.success.size < 2:
        return None
    rows = np.unique(np.linspace(0, result.time_s.size - 1, MOST_EDGES).astype(int))
    x = hours(result, result.time_s[rows])
    low, high = dull_tenth(result, rows), np.percentile(result.charge_percent[rows], 90.0, axis=1)
    middle = result.middle_charge_percent[rows]
    panel.fill_between(x, low, high, color=COLOURS["band"], linewidth=0.0, zorder=2)
    for edge, dashes, width in ((low, "dull", 1.3), (high, "band", 0.7)):
        how = {"color": COLOURS["charge"], "linestyle": DASHES[dashes], "lw": width}
        panel.plot(x, edge, zorder=3.5, **how)
        room.keep_clear(x, edge)
    if float((high - low).max()) < 2.0:
        return None
    above, below = high - middle, middle - low
    room_there, wide = np.maximum(above, below), np.where(above > below, high, low)
    wide_enough = room_there >= 0.6 * room_there.max()
    apart = below >= 0.6 * below.max()
    return (x[wide_enough], ((middle + wide) / 2.0)[wide_enough]), (x[apart], low[apart])


def task_rows(result: Budget, planned: Budget | None = None) -> list[Row]:
    """What the task panel shows: a row a name in the plan's order; too many are summed.

    planned: the budget of the plan from which something was left out. What must run keeps a row of
    its own as long as there are rows.
    """
    rows, tasks = [], (planned or result).plan.task
    for name in dict.fromkeys(task.name for task in tasks):
        runs = _drawn(result, result.running, name)
        overloads = [o.burst for o in result.overloads if _name_of(result, o.burst) == name]
        row = Row(
            name=name,
            must=any(task.must for task in tasks if task.name == name),
            runs=tuple(runs),
            turned_away=tuple(sorted((burst.start_s, burst.end_s) for burst in overloads)),
            left_out=()
            if planned is None
            else tuple(_missing(_drawn(planned, planned.bursts, name), runs)),
        )
        rows.append(row)
    if len(rows) <= MOST_ROWS:
        return rows
    first = sorted(range(len(rows)), key=lambda k: not rows[k].must)[: MOST_ROWS - 1]
    rest = [row for k, row in enumerate(rows) if k not in first]
    summed = Row(
        name=f"and {len(rest)} more",
        must=all(row.must for row in rest),
        runs=tuple(i for row in rest for i in row.runs),
        turned_away=tuple(i for row in rest for i in row.turned_away),
        left_out=tuple(i for row in rest for i in row.left_out),
    )
    return [*(rows[k] for k in sorted(first)), summed]


def _name_of(result: Budget, burst: Burst) -> str:
    return result.plan.task[burst.task].name


def _drawn(result: Budget, bursts: Sequence[Burst], name: str) -> list[Interval]:
    """When the tasks of a name draw power."""
    mine = (burst for burst in bursts if _name_of(result, burst) == name)
    return [interval for burst in mine for interval in _drawing(burst)]


def _missing(planned: Sequence[Interval], runs: Sequence[Interval]) -> list[Interval]:
    """As much of what was planned as does not run, where nothing of it runs: first what is free of
    it as a whole, and the last before the first.

    >>> _missing([(0.0, 10.0), (20.0, 30.0), (40.0, 50.0)], [(5.0, 15.0)])
    [(20.0, 30.0), (40.0, 50.0)]
    """
    left_s = sum(end - start for start, end in planned) - sum(end - start for start, end in runs)
    missing: list[Interval] = []
    for _, start, end in sorted(_free(planned, runs), reverse=True):
        if left_s > SAME_S:
            missing.append((max(start, end - left_s), end))
            left_s -= missing[-1][1] - missing[-1][0]
    return sorted(missing)


def _free(
    planned: Sequence[Interval], runs: Sequence[Interval]
) -> Iterator[tuple[bool, float, float]]:
    """The stretches of what was planned in which nothing runs; first: whether it is all of one."""
    for start, end in planned:
        cuts = sorted(t for run in runs for t in run if start < t < end)
        for a, b in pairwise([start, *cuts, end]):
            if not any(on < b and a < off for on, off in runs):
                yield not cuts, a, b


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
        empty = _bars(result, row.left_out, h_per_px * EMPTY_PX)
        outline = {"facecolor": "white", "edgecolor": COLOURS["task"], "linewidth": 1.0}
        panel.broken_barh(empty, (y - TALL / 2, TALL), zorder=2.5, **outline)
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
        "empty: left out": any(row.left_out for row in rows),
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
            "not used: more than the pack takes",
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
