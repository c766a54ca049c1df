"""The map of the chance over panel watts and battery watt-hours, with the goals' contours.

What the sizes are is found in `size`; the look is that of all pictures here.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.answers.size.bundles import in_words
from energy.answers.size.figures import size_text
from energy.answers.size.kits import Kits
from energy.answers.size.size import GOALS, Size
from energy.answers.size.words import both, headline
from energy.model import Array
from energy.show.labels import ON_A_LABEL, ON_A_LINE, Room, style
from energy.show.page import heading, lay_out, new_page, stacked
from energy.show.palette import (
    COLOURS,
    FAMILY,
    HEADING_IN,
    HEADING_PT,
    LABEL_PT,
    RING,
    SMALL_PT,
    mix,
)
from energy.simulation.success import needed

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MAP_IN, LEFT_IN, BELOW_IN = 4.6, 0.75, 0.55
ESTIMATED = (20.0, 40.0, 60.0)  # percent; shades below the goals, from the quick estimate
ENOUGH_PX = 40.0  # from a line's name to the next line
NAME_PX = (120.0, 28.0)  # from name to name, across and upwards
MOST_LACKS = 3  # marks of packs that do not do
MARK = {**RING, "markersize": 9.0, "markeredgewidth": 2.0}


def size_map(answer: Size, kits: Kits | None = None) -> "Figure":
    """The picture of an answer: the chance as an area, the goals as lines, the pick as a ring; the
    kits of a list that reach the goal as diamonds, those that do not as crosses.

    >>> from energy.answers.size.size import size
    >>> from energy.plan import Plan
    >>> len(size_map(size(Plan.read("builtin:cloudy-repair"))).axes)
    1
    """
    page = new_page()
    (panel,) = lay_out(
        page,
        (answer.plan.name, finding(answer, kits)),
        [_note(answer), *_kits_note(kits)],
        stacked(LEFT_IN, [(HEADING_IN, MAP_IN)]),
        BELOW_IN,
    )
    _axes(panel, answer)
    room, marks = Room(panel), _marks(panel, answer, kits)
    if not answer.designs.overloads:
        _areas(panel, answer)
        _too_weak(panel, room, answer)
        _contours(panel, room, answer, marks)
    _draw(panel, room, marks)
    return page


def _note(answer: Size) -> str:
    """What weather the map is for, and how its lines were found."""
    first = answer.designs.groups[0]
    if answer.whole_years is not None:
        years = answer.whole_years.own.years
        return (
            f"Weather: {first.weather.source}; whole years: {years}. The lines are the"
            " share of all days on which nothing asked is lost."
        )
    text = f"Weather: {first.weather.source}; {first.success.size} weathers."
    if answer.designs.overloads:
        return text
    return (
        f"{text} The lines are simulated; the shades below them are a quick estimate of 60, 40 and"
        " 20 %."
    )


def _axes(panel: Any, answer: Size) -> None:
    """Panel watts below and battery watt-hours on the left."""
    watts, sizes = answer.frontier.panel_w, answer.frontier.sizes_wh
    panel.set_xlim(watts[0], watts[-1])
    panel.set_ylim(sizes[0], sizes[-1])
    panel.spines["left"].set(visible=True, color=COLOURS["quiet"], linewidth=0.8)
    panel.tick_params(length=3.0, color=COLOURS["quiet"], labelcolor=COLOURS["ink"])
    panel.tick_params(labelsize=SMALL_PT, labelfontfamily=FAMILY)
    heading(panel, "Battery, Wh on the label")
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


def _kits_note(kits: Kits | None) -> list[str]:
    """What the marks of kits mean."""
    if kits is None:
        return []
    return [
        "Filled marks: kits of the list that reach the goal. Crosses: packs that do not, with all"
        " panels of the list. A pointed mark at the edge lies beyond it. The lines are for packs"
        " whose limits grow with their size; a kit is judged by its own."
    ]


def finding(answer: Size, kits: Kits | None = None) -> str:
    """What the map shows, in a sentence.

    >>> from energy.answers.size.size import size
    >>> from energy.plan import Plan
    >>> finding(size(Plan.read("builtin:cloudy-repair"))).split(" reach")[0].split()[0]
    'Take'
    """
    if kits is not None:
        return ": ".join(headline(answer, kits)).removesuffix(".")
    if answer.pick is None:
        return answer.why
    days = " of all days" if answer.whole_years is not None else ""
    return (
        f"Take {both(answer.pick.panel_w, answer.pick.battery_wh)} to reach {answer.goal:g} %{days}"
    )


def _lines(answer: Size) -> list[tuple[float, Array]]:
    """Chance and the pack from which on it holds at each panel size, NaN where none does. Below
    the least goal of the frontier as proposed, from there on as simulated."""
    frontier = answer.frontier
    sizes = np.append(frontier.sizes_wh, np.nan)
    lines = []
    for level in ESTIMATED if frontier.begins else ():
        steps = [
            np.sort(group, axis=1)[:, needed(level, group.shape[1]) - 1]
            for group in frontier.begins
        ]
        lines.append((level, sizes[np.max(steps, axis=0)]))
    return lines + [(g, sizes[frontier.smallest[:, k]]) for k, g in enumerate(frontier.goals)]


def _areas(panel: Any, answer: Size) -> None:
    """The chance in light steps, the darker the surer."""
    lines = [(level, sizes) for level, sizes in _lines(answer) if level > 0.0]
    for k, (_, sizes) in enumerate(lines, start=1):
        shade = mix("white", "band", k / len(lines))
        there, top = np.isfinite(sizes), panel.get_ylim()[1]
        watts = answer.frontier.panel_w[there]
        panel.fill_between(watts, sizes[there], top, color=shade, lw=0.0, zorder=1)


def _contours(panel: Any, room: Room, answer: Size, marks: "Sequence[_Mark]") -> None:
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
    marked = [(np.array([mark.at[0]]), np.array([mark.at[1]])) for mark in marks]
    named: list[Array] = []
    for goal, sizes in lines.items():
        others = [line for other, line in lines.items() if other != goal]
        words = f"{goal:g} %, the goal" if goal == answer.goal else f"{goal:g} %"
        _name_line(panel, room, words, (along, sizes), others, marked, named)


def _name_line(
    panel: Any,
    room: Room,
    words: str,
    line: tuple[Array, Array],
    others: list[Array],
    marked: list[tuple[Array, Array]],
    named: list[Array],
) -> None:
    """Write a goal on its line where other lines, names, marks and the edges are far enough."""
    along, sizes = line
    points = room.pixels(along, sizes)
    away = np.minimum.reduce(
        [
            points[:, 0] - room.left - 80.0,
            room.right - points[:, 0] - 80.0,
            points[:, 1] - room.bottom,
            room.top - points[:, 1],
            *(
                np.nan_to_num(np.abs(points[:, 1] - room.pixels(along, other)[:, 1]), nan=1e3)
                for other in others
            ),
            *(np.hypot(*(points - room.pixels(*mark)).T) / 4.0 for mark in marked),
        ]
    )
    away = np.nan_to_num(away, nan=-1e6)
    for other in [*named, *(room.pixels(*mark)[0] for mark in marked)]:
        distance = np.abs(points - other)
        away[(distance[:, 0] < NAME_PX[0]) & (distance[:, 1] < NAME_PX[1])] -= 1e3
    k = int(np.argmax(np.minimum(away, ENOUGH_PX) - 0.02 * np.abs(np.arange(away.size) - 150)))
    named.append(points[k])
    text = panel.text(
        along[k],
        sizes[k],
        words,
        ha="center",
        va="center",
        zorder=5,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.5},
        **style(LABEL_PT, bold="goal" in words, colour="charge"),
    )
    box = text.get_window_extent().transformed(panel.transData.inverted())
    for height in np.linspace(box.y0, box.y1, 6):
        room.keep_clear(np.array([box.x0, box.x1]), np.full(2, height), ON_A_LABEL)


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


def _marks(panel: Any, answer: Size, kits: Kits | None) -> "list[_Mark]":
    """The pick, the plan's own size where it lies on the map, and the kits of a list."""
    own = answer.designs.base_w, answer.plan.pack.capacity_wh
    pick = "the pick" if kits is None else "the ideal"
    marks = [_Mark(own, f"the plan's own: {_sizes(own)}", "s", "load")]
    if answer.pick is not None:
        marks.insert(0, _Mark(answer.pick.sizes, f"{pick}: {_sizes(answer.pick.sizes)}", "o"))
    (left, right), (low, high) = panel.get_xlim(), panel.get_ylim()
    inside = [m for m in marks if left <= m.at[0] <= right and low <= m.at[1] <= high]
    return inside + ([] if kits is None else _kit_marks(kits, (left, right, low, high)))


def _draw(panel: Any, room: Room, marks: "Sequence[_Mark]") -> None:
    """Marks with their labels."""
    (left, right), (low, high) = panel.get_xlim(), panel.get_ylim()
    for mark in marks:
        (watts, label), edge = mark.at, {"markeredgecolor": COLOURS[mark.colour]}
        face = {"markerfacecolor": COLOURS[mark.colour], "markersize": 7.0} if mark.filled else {}
        panel.plot([watts], [label], **{**MARK, **edge, **face, "marker": mark.marker})
        wide, tall = 0.008 * (right - left), 0.016 * (high - low)
        for height in (label - tall, label, label + tall):
            room.keep_clear(np.array([watts - wide, watts + wide]), np.full(2, height))
    for mark in sorted(marks, key=lambda m: m.at):  # from the left: lines cross no label
        room.label(mark.words, [mark.at[0]], [mark.at[1]], mark.colour)


@dataclass(frozen=True)
class _Mark:
    """A point of the map [W, Wh], what its label says, and how it is drawn."""

    at: tuple[float, float]
    words: str
    marker: str
    colour: str = "ink"
    filled: bool = False


def _sizes(at: tuple[float, float]) -> str:
    return f"{size_text(at[0])} W, {size_text(at[1])} Wh"


def _kit_marks(kits: Kits, edges: tuple[float, float, float, float]) -> list[_Mark]:
    """A mark for each size of the kits, those at the same place with one label."""
    works: dict[tuple[float, float], dict[str, list[str]]] = {}
    for kit in sorted(kits.best, key=lambda kit: kit.rank):
        packs = works.setdefault((kit.panel_w, kit.battery_wh), {})
        packs.setdefault(in_words(kit.packs), []).extend(kit.best)
    marks = [
        _at_edge(at, "; ".join(map(_titled, packs.items())), "D", "ink", edges)
        for at, packs in works.items()
    ]
    for lack in kits.lacks[:MOST_LACKS]:
        at = lack.panel_w, lack.battery_wh
        if at not in works:
            short = "too weak" if lack.missing_wh is None else f"{lack.missing_wh:g} Wh short"
            words = f"{in_words(lack.packs)}: {short}"
            marks.append(_at_edge(at, words, "X", "limit", edges))
    return marks


def _titled(packs: tuple[str, list[str]]) -> str:
    """Packs with what they are first by, else with the first of their titles.

    >>> _titled(("1 x box", ["second cheapest", "lightest"]))
    '1 x box: lightest'
    """
    words, titles = packs
    first = [title for title in titles if " " not in title] or titles[:1]
    return ": ".join([words, *([", ".join(first)] if first else [])])


def _at_edge(
    at: tuple[float, float],
    words: str,
    marker: str,
    colour: str,
    edges: tuple[float, float, float, float],
) -> _Mark:
    """A filled mark at its place; beyond the map a pointed one at the edge, with its sizes."""
    left, right, low, high = edges
    place = min(max(at[0], left), right), min(max(at[1], low), high)
    if place != at:
        words = f"{words} ({_sizes(at)})"
        across = "<" if at[0] < left else ">"
        marker = across if place[0] != at[0] else ("v" if at[1] < low else "^")
    return _Mark(place, words, marker, colour, filled=True)
