"""The map of the chance over panel watts and battery watt-hours, with the goals' contours.

What the sizes are is found in `answers`; the look is that of all pictures here.
"""

from typing import TYPE_CHECKING, Any

import numpy as np

from energy.answers.size.figures import size_text
from energy.answers.size.size import GOALS, Size
from energy.answers.size.words import both
from energy.model import Array
from energy.show.labels import ON_A_LABEL, ON_A_LINE, Room, balanced, shorten, style, width_in, wrap
from energy.show.palette import (
    COLOURS,
    DPI,
    EDGE_IN,
    HEADING_IN,
    HEADING_PT,
    LABEL_PT,
    PLAN_PT,
    SMALL_PT,
    TITLE_PT,
    WIDTH_IN,
)
from energy.simulation.result import needed

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MAP_IN, LEFT_IN, BELOW_IN = 4.6, 0.75, 0.55
LEADING = 1.35 / 72.0  # inches from line to line, for each point of the type
ESTIMATED = (20.0, 40.0, 60.0)  # percent; shades below the goals, from the quick estimate
ENOUGH_PX = 40.0  # from a line's name to the next line
NAME_PX = (120.0, 28.0)  # from name to name, across and upwards
RING = {"markersize": 9.0, "markerfacecolor": "white", "markeredgewidth": 2.0, "zorder": 6}


def size_map(answer: Size) -> "Figure":
    """The picture of an answer: the chance as an area, the goals as lines, the pick as a ring.

    >>> from energy.answers.size.size import size
    >>> from energy.plan import Plan
    >>> len(size_map(size(Plan.read("builtin:cloudy-repair"))).axes)
    1
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDTH_IN, 1.0), dpi=DPI, facecolor="white")
    FigureCanvasAgg(figure)
    panel = _lay_out(figure, answer)
    watts, sizes = answer.frontier.panel_w, answer.frontier.sizes_wh
    panel.set_xlim(watts[0], watts[-1])
    panel.set_ylim(sizes[0], sizes[-1])
    room = Room(panel)
    if not answer.designs.overloads:
        _areas(panel, answer)
        _too_weak(panel, room, answer)
        _contours(panel, room, answer)
    _marks(panel, room, answer)
    return figure


def _lay_out(figure: Any, answer: Size) -> Any:
    """Write the words around the map and make room for it."""
    wide = (WIDTH_IN - 2 * EDGE_IN) * DPI
    title = shorten(answer.plan.title or answer.plan.origin, wide, width_in(figure, PLAN_PT))
    bold = width_in(figure, TITLE_PT, bold=True)
    head = [(title, style(PLAN_PT))]
    head += [
        (line, style(TITLE_PT, bold=True)) for line in balanced(finding(answer), wide, bold, 3)
    ]
    first = answer.designs.groups[0]
    texts = [f"Weather: {first.weather.source}; {first.success.size} windows."]
    if not answer.designs.overloads:
        texts[0] += (
            " The lines are simulated; the shades below them are a quick estimate of 60, 40 and"
            " 20 %."
        )
    if answer.whole_years is not None:
        texts = [
            f"Weather: {first.weather.source}; whole years: {answer.whole_years.own.years}."
            " The lines are the share of all days on which nothing asked is lost."
        ]
    small = width_in(figure, SMALL_PT)
    foot = [
        (line, style(SMALL_PT, colour="quiet"))
        for text in texts
        for line in wrap(text, wide, small, 3)
    ]
    tall = [sum(float(how["fontsize"]) for _, how in lines) * LEADING for lines in (head, foot)]
    total = 2 * EDGE_IN + sum(tall) + HEADING_IN + MAP_IN + BELOW_IN
    figure.set_size_inches(WIDTH_IN, total)
    _write(figure, head, total - EDGE_IN, total)
    _write(figure, foot, EDGE_IN + tall[1], total)
    bottom = EDGE_IN + tall[1] + BELOW_IN
    box = (LEFT_IN, bottom, WIDTH_IN - LEFT_IN - 0.4, MAP_IN)
    panel = figure.add_axes((box[0] / WIDTH_IN, box[1] / total, box[2] / WIDTH_IN, box[3] / total))
    _frame(panel)
    return panel


def _write(
    figure: Any, lines: list[tuple[str, dict[str, Any]]], top_in: float, total: float
) -> None:
    for text, how in lines:
        figure.text(EDGE_IN / WIDTH_IN, top_in / total, text, va="top", **how)
        top_in -= float(how["fontsize"]) * LEADING


def _frame(panel: Any) -> None:
    panel.set_facecolor("white")
    for side in ("right", "top"):
        panel.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        panel.spines[side].set(color=COLOURS["quiet"], linewidth=0.8)
    panel.tick_params(length=3.0, color=COLOURS["quiet"], labelsize=SMALL_PT)
    for label in (*panel.get_xticklabels(), *panel.get_yticklabels()):
        label.set(**style(SMALL_PT))
    panel.annotate(
        "Battery, Wh on the label",
        (0.0, 1.0),
        xycoords="axes fraction",
        xytext=(0.0, 6.0),
        textcoords="offset points",
        va="bottom",
        **style(HEADING_PT, bold=True),
    )
    panel.annotate(
        "Panels, W on the label",
        (1.0, 0.0),
        xycoords="axes fraction",
        xytext=(0.0, -20.0),
        textcoords="offset points",
        ha="right",
        va="top",
        **style(HEADING_PT, bold=True),
    )


def finding(answer: Size) -> str:
    """What the map shows, in a sentence.

    >>> from energy.answers.size.size import size
    >>> from energy.plan import Plan
    >>> finding(size(Plan.read("builtin:cloudy-repair"))).split(" reach")[0].split()[0]
    'Take'
    """
    if answer.pick is None:
        return answer.why
    days = " of all days" if answer.whole_years is not None else ""
    return (
        f"Take {both(answer.pick.panel_w, answer.pick.battery_wh)} to reach {answer.goal:g} %{days}"
    )


def _lines(answer: Size) -> list[tuple[float, Array]]:
    """Chance and the pack from which on it holds at each panel size, NaN where none does. Below
    the least goal of the frontier as proposed, from there on as simulated."""
    found = answer.frontier
    sizes = np.append(found.sizes_wh, np.nan)
    lines = []
    for level in ESTIMATED if found.begins else ():
        steps = [
            np.sort(group, axis=1)[:, needed(level, group.shape[1]) - 1] for group in found.begins
        ]
        lines.append((level, sizes[np.max(steps, axis=0)]))
    return lines + [(g, sizes[found.smallest[:, k]]) for k, g in enumerate(found.goals)]


def _areas(panel: Any, answer: Size) -> None:
    """The chance in light steps, the darker the surer."""
    light, dark = (np.array(_rgb(colour)) for colour in ("#ffffff", COLOURS["band"]))
    lines = [(level, sizes) for level, sizes in _lines(answer) if level > 0.0]
    for k, (_, sizes) in enumerate(lines, start=1):
        shade = light + k / len(lines) * (dark - light)
        there, top = np.isfinite(sizes), panel.get_ylim()[1]
        watts = answer.frontier.panel_w[there]
        panel.fill_between(watts, sizes[there], top, color=shade, lw=0.0, zorder=1)


def _rgb(colour: str) -> tuple[float, float, float]:
    red, green, blue = (int(colour[k : k + 2], 16) / 255.0 for k in (1, 3, 5))
    return red, green, blue


def _contours(panel: Any, room: Room, answer: Size) -> None:
    """A line for each goal, named on it; the plan's own goal strong."""
    watts = answer.frontier.panel_w
    along = np.linspace(watts[0], watts[-1], 241)
    lines = {}
    for goal, sizes in _lines(answer):
        there = np.isfinite(sizes)
        if goal in (*GOALS, answer.goal) and there.any():
            line = np.interp(along, watts[there], sizes[there])
            lines[goal] = np.where(along < watts[there][0], np.nan, line)
    for goal, line in lines.items():
        own, there = goal == answer.goal, np.isfinite(line)
        panel.plot(along, line, color=COLOURS["charge"], lw=2.2 if own else 1.0, zorder=4)
        room.keep_clear(along[there], line[there], ON_A_LINE)
    named: list[Array] = []
    for goal, sizes in lines.items():
        others = [line for other, line in lines.items() if other != goal]
        _name_line(panel, room, answer, goal, (along, sizes), others, named)


def _name_line(
    panel: Any,
    room: Room,
    answer: Size,
    goal: float,
    line: tuple[Array, Array],
    others: list[Array],
    named: list[Array],
) -> None:
    """Write a goal on its line where other lines, names, marks and the edges are far enough."""
    along, sizes = line
    points = room.pixels(along, sizes)
    away = np.minimum.reduce(
        [
            points[:, 0] - room.left - 40.0,
            room.right - points[:, 0] - 40.0,
            points[:, 1] - room.bottom,
            room.top - points[:, 1],
            *(
                np.nan_to_num(np.abs(points[:, 1] - room.pixels(along, other)[:, 1]), nan=1e3)
                for other in others
            ),
            *(np.hypot(*(points - room.pixels(*mark)).T) / 4.0 for mark in _own_points(answer)),
        ]
    )
    away = np.nan_to_num(away, nan=-1e6)
    for other in named:
        beside = np.abs(points - other)
        away[(beside[:, 0] < NAME_PX[0]) & (beside[:, 1] < NAME_PX[1])] -= 1e3
    k = int(np.argmax(np.minimum(away, ENOUGH_PX) - 0.02 * np.abs(np.arange(away.size) - 150)))
    named.append(points[k])
    words = f"{goal:g} %, the goal" if goal == answer.goal else f"{goal:g} %"
    text = panel.text(
        along[k],
        sizes[k],
        words,
        ha="center",
        va="center",
        zorder=5,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.5},
        **style(LABEL_PT, bold=goal == answer.goal, colour="charge"),
    )
    box = text.get_window_extent().transformed(panel.transData.inverted())
    for height in np.linspace(box.y0, box.y1, 6):
        room.keep_clear(np.array([box.x0, box.x1]), np.full(2, height), ON_A_LABEL)


def _own_points(answer: Size) -> list[tuple[Array, Array]]:
    points = [(answer.designs.base_w, answer.plan.pack.capacity_wh)]
    if answer.pick is not None:
        points.append((answer.pick.panel_w, answer.pick.battery_wh))
    return [(np.array([watts]), np.array([label])) for watts, label in points]


def _too_weak(panel: Any, room: Room, answer: Size) -> None:
    """The packs that cannot give the power, whatever they hold."""
    if answer.least_wh is None:
        return
    (left, right), low = panel.get_xlim(), panel.get_ylim()[0]
    hatch = {"facecolor": "none", "edgecolor": COLOURS["limit"], "hatch": "///"}
    panel.fill_between([left, right], low, answer.least_wh, lw=0.0, alpha=0.35, zorder=2, **hatch)
    if room.pixels(np.array([left]), np.array([answer.least_wh]))[0, 1] - room.bottom > 30.0:
        panel.text(
            (left + right) / 2.0,
            (low + answer.least_wh) / 2.0,
            "too weak for what runs together",
            ha="center",
            va="center",
            zorder=5,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 2.0},
            **style(LABEL_PT, colour="limit"),
        )


def _marks(panel: Any, room: Room, answer: Size) -> None:
    """The pick, and the plan's own kit where it lies on the map."""
    own = answer.designs.base_w, answer.plan.pack.capacity_wh
    points = [(own, "the plan's own", "s", "load")]
    if answer.pick is not None:
        pick = answer.pick.panel_w, answer.pick.battery_wh
        points.insert(0, (pick, "the pick", "o", "ink"))
    (left, right), (low, high) = panel.get_xlim(), panel.get_ylim()
    points = [one for one in points if left <= one[0][0] <= right and low <= one[0][1] <= high]
    for (watts, label), _, mark, colour in points:
        panel.plot([watts], [label], mark, markeredgecolor=COLOURS[colour], clip_on=False, **RING)
        wide, tall = 0.008 * (right - left), 0.016 * (high - low)
        for height in (label - tall, label, label + tall):
            room.keep_clear(np.array([watts - wide, watts + wide]), np.full(2, height))
    for (watts, label), words, _, colour in sorted(points):  # from the left: lines cross no label
        room.label(
            f"{words}: {size_text(watts)} W, {size_text(label)} Wh", [watts], [label], colour
        )
