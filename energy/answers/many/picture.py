"""Answers as marks on a map, latitude against longitude, over the land.

Each answer has its own shape and lightness, so that it is read in grey as well.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.answers.caution.words import LABEL_WORDS
from energy.answers.many.many import Many
from energy.answers.many.row import Row
from energy.answers.many.words import headline, warning_words
from energy.plan.places import is_open_water
from energy.plan.words import visible
from energy.show.labels import ON_A_LABEL, Room, shorten, style, width_in
from energy.show.page import HEADING_UP_PT, Box, lay_out, new_page
from energy.show.palette import COLOURS, FAMILY, LABEL_PT, RIGHT_IN, SMALL_PT, WIDTH_IN

if TYPE_CHECKING:
    from matplotlib.figure import Figure

LEFT_IN, ABOVE_IN, BELOW_IN = 0.6, 0.45, 0.3
LOWEST_IN, HIGHEST_IN = 2.5, 7.0
LEAST_SPAN_DEG = 1.0
NARROWER_DEG = 30.0
MARGIN = 0.06  # of the span, on each side
MOST_NAMES = 25
DOT_PX = 4.0  # of the land's edge
STEPS_DEG = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 60.0)
MARKS: dict[str, dict[str, Any]] = {
    "yes": {"marker": "o", "s": 46.0, "facecolor": COLOURS["charge"], "edgecolor": "white"},
    "almost": {"marker": "D", "s": 30.0, "facecolor": COLOURS["daylight"], "edgecolor": "#6b4a12"},
    "no": {"marker": "X", "s": 58.0, "facecolor": COLOURS["limit"], "edgecolor": "white"},
    "problem": {"marker": "s", "s": 30.0, "facecolor": "white", "edgecolor": COLOURS["ink"]},
    "": {"marker": "P", "s": 34.0, "facecolor": COLOURS["task"], "edgecolor": "white"},
}
RING = {"s": 110.0, "facecolor": "none", "edgecolor": COLOURS["limit"], "linewidth": 1.6}
EDGE_WIDTH, NAME_PX = 0.8, 200.0


def answers_map(answer: Many, title: str = "", notes: Sequence[str] = ()) -> "Figure":
    """Each plan's answer at its place, north up; with names where there are few.

    title: of what was asked; notes: remarks without full stops, below the map. Returns a
    matplotlib Figure of its own, 10 inches wide.

    >>> row = Row("hut", 46.5, 8.0, "yes", 97.0)
    >>> counts = {"yes": 1, "almost": 0, "no": 0, "problem": 0}
    >>> len(answers_map(Many("check", counts, complete=True, kept=(row,))).axes)
    1
    """
    rows = answer.rows
    placed = [row for row in rows if row.latitude is not None]
    latitude = np.array([row.latitude for row in placed], dtype=float)
    longitude = _side_by_side(np.array([row.longitude for row in placed], dtype=float))
    (south, north), (west, east) = _range(latitude, 90.0), _range(longitude, np.inf)
    across_in = WIDTH_IN - LEFT_IN - RIGHT_IN
    shrunk = float(np.cos(np.radians(0.5 * (south + north))))  # a degree of longitude
    height_in = float(
        np.clip((north - south) / (east - west) / shrunk * across_in, LOWEST_IN, HIGHEST_IN)
    )
    page = new_page()
    (panel,) = lay_out(
        page,
        (visible(title) or f"{answer.question} of many plans", headline(answer)),
        [
            *(f"{note[0].upper()}{visible(note[1:])}." for note in notes),
            *(f"{LABEL_WORDS}: {words}" for words in warning_words(answer, "ringed")),
            *_notes(len(rows) - len(placed)),
        ],
        [Box(LEFT_IN, ABOVE_IN, across_in, height_in)],
        BELOW_IN,
    )
    per_degree = across_in / height_in / shrunk  # of longitude to latitude, as the paper has it
    limits = {
        "xlim": _widened(west, east, (north - south) * per_degree, np.inf),
        "ylim": _widened(south, north, (east - west) / per_degree, 90.0),
    }
    panel.set(**limits, aspect=1.0 / shrunk)
    panel.set_anchor("W")
    _axes(panel)
    _land(panel)
    _marks(panel, placed, latitude, longitude)
    if len(placed) <= MOST_NAMES:
        _names(panel, placed, latitude, longitude)
    return page


def _notes(without_place: int) -> list[str]:
    """How the map is read."""
    lost = f" Not drawn, for want of a place: {without_place}." if without_place else ""
    return [f"Shaded: land and its waters as far as the time zones of countries reach.{lost}"]


def _side_by_side(longitude: Any) -> Any:
    """Longitudes that run on over the date line where that makes a narrower map of it.

    >>> _side_by_side(np.array([179.0, -179.0])).tolist()
    [179.0, 181.0]
    """
    eastward = longitude % 360.0
    narrower = np.ptp(eastward) < np.ptp(longitude) - NARROWER_DEG if longitude.size else False
    return eastward if narrower else longitude


def _range(degrees: Any, most: float) -> tuple[float, float]:
    """The ends of an axis with a margin, a degree at least."""
    low, high = (float(degrees.min()), float(degrees.max())) if degrees.size else (-1.0, 1.0)
    spare = max(MARGIN * (high - low), (LEAST_SPAN_DEG - (high - low)) / 2.0)
    return max(low - spare, -most), min(high + spare, most)


def _widened(low: float, high: float, span: float, most: float) -> tuple[float, float]:
    """A range that spans so much at least, on both sides alike but where an end would pass its
    limit.

    >>> _widened(84.0, 86.0, 10.0, 90.0), _widened(4.0, 6.0, 1.0, 90.0)
    ((80.0, 90.0), (4.0, 6.0))
    """
    span = max(span, high - low)
    low = float(np.clip((low + high - span) / 2.0, -most, most - span))
    return low, low + span


def _axes(panel: Any) -> None:
    """Degrees around the map, with faint lines."""
    panel.spines[["left", "right", "top", "bottom"]].set(visible=True, color=COLOURS["quiet"])
    for axis, (low, high), letters in (
        (panel.xaxis, panel.get_xlim(), "EW"),
        (panel.yaxis, panel.get_ylim(), "NS"),
    ):
        step = next((step for step in STEPS_DEG if (high - low) / step <= 8.0), STEPS_DEG[-1])
        values = np.arange(np.ceil(low / step), np.floor(high / step) + 1.0) * step
        axis.set_ticks(values, [_degrees(value, letters) for value in values], **style(SMALL_PT))
    panel.grid(color=COLOURS["grid"], linewidth=0.5, zorder=0.6)


def _degrees(value: float, letters: str) -> str:
    """A latitude or longitude with its letter.

    >>> _degrees(190.0, "EW"), _degrees(46.5, "NS"), _degrees(-0.0, "NS")
    ('170° W', '46.5° N', '0°')
    """
    value = round((value + 180.0) % 360.0 - 180.0, 6)
    return f"{abs(value):g}° {letters[int(value < 0.0)]}" if value % 180.0 else f"{abs(value):g}°"


def _land(panel: Any) -> None:
    """Land with its coastal waters, as the time zones of countries reach."""
    from matplotlib.colors import ListedColormap

    (west, east), (south, north) = panel.get_xlim(), panel.get_ylim()
    shape = panel.get_window_extent()
    across, up = int(shape.width / DOT_PX), int(shape.height / DOT_PX)
    longitudes = west + (east - west) * (np.arange(across) + 0.5) / across
    latitudes = south + (north - south) * (np.arange(up) + 0.5) / up
    land = [
        [not is_open_water(y, (x + 180.0) % 360.0 - 180.0) for x in longitudes] for y in latitudes
    ]
    panel.imshow(
        np.ma.masked_equal(land, False),
        cmap=ListedColormap([COLOURS["night"]]),
        extent=(west, east, south, north),
        aspect=panel.get_aspect(),
        origin="lower",
        interpolation="nearest",
        zorder=0.4,
    )


def _marks(panel: Any, rows: Sequence[Row], latitude: Any, longitude: Any) -> None:
    """A mark for each answer, the worst on top, and what the marks mean above the map."""
    kinds = np.array([row.kind if row.kind in MARKS else "" for row in rows])
    for order, (kind, mark) in enumerate(MARKS.items()):
        here = kinds == kind
        if here.any():
            panel.scatter(
                longitude[here],
                latitude[here],
                label=f"{kind or 'answered'}, {here.sum()}",
                linewidth=EDGE_WIDTH,
                zorder=3.0 + 0.1 * order,
                clip_on=False,
                **mark,
            )
    warned = np.array([bool(row.warning) for row in rows], dtype=bool)
    if warned.any():
        at, label = (longitude[warned], latitude[warned]), f"{LABEL_WORDS.lower()}, {warned.sum()}"
        panel.scatter(*at, label=label, zorder=4.0, clip_on=False, **RING)
    if len(rows):
        panel.legend(
            loc="lower left",
            bbox_to_anchor=(0.0, 1.0),
            ncols=len(MARKS) + 1,
            frameon=False,
            borderpad=0.0,
            handletextpad=0.2,
            columnspacing=1.4,
            prop={"family": FAMILY, "size": LABEL_PT},
            labelcolor=COLOURS["ink"],
        )


def _names(panel: Any, rows: Sequence[Row], latitude: Any, longitude: Any) -> None:
    """The places' names, each beside its own mark and no other's."""
    panel.apply_aspect()
    room, width = Room(panel), width_in(panel.figure, LABEL_PT)
    marks = np.column_stack([longitude, latitude])
    for x, y in marks:
        room.keep_clear_of_ring(x, y, ON_A_LABEL)
    without = 0
    for k, (row, (x, y)) in enumerate(zip(rows, marks, strict=True)):
        name, others = shorten(visible(row.name), NAME_PX, width), np.delete(marks, k, axis=0)
        without += not room.label(name, [x], [y], "ink", others)
    if without:
        panel.annotate(
            f"too near to others for a name: {without}",
            (1.0, 1.0),
            xycoords="axes fraction",
            xytext=(0.0, HEADING_UP_PT),
            textcoords="offset points",
            ha="right",
            **style(SMALL_PT, colour="quiet"),
        )
