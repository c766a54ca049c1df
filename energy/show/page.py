"""The page that every picture is laid out on: title and finding above, panels, notes below.

Lengths are inches. What stands in the panels is drawn by each answer's own `picture`. matplotlib is
imported when a picture is asked for, and none of its global state is touched.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.show.labels import balanced, shorten, style, width_in, wrap
from energy.show.palette import (
    COLOURS,
    DPI,
    EDGE_IN,
    HEADING_PT,
    PLAN_PT,
    PT_IN,
    RIGHT_IN,
    SMALL_PT,
    TITLE_PT,
    WIDTH_IN,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_LINES = 3  # of the finding, and of each note
LEADING = 1.35  # from line to line, in heights of the type
HEADING_UP_PT, HEADING_GAP_PT = 4.0, 8.0  # above its panel; to what stands beside it

Line = tuple[str, dict[str, Any]]  # a text and the keywords of its style


@dataclass(frozen=True)
class Box:
    """Where a panel stands [in]: from the page's left edge, and down from the head's last line."""

    left_in: float
    down_in: float
    width_in: float
    height_in: float


def stacked(left_in: float, panels_in: Sequence[tuple[float, float]]) -> list[Box]:
    """Boxes one below the other, each given as the gap above it and its height [in].

    >>> [box.down_in for box in stacked(0.5, [(0.25, 2.5), (0.5, 1.5)])]
    [0.25, 3.25]
    """
    boxes, down_in = [], 0.0
    for gap_in, height_in in panels_in:
        boxes.append(Box(left_in, down_in + gap_in, WIDTH_IN - left_in - RIGHT_IN, height_in))
        down_in += gap_in + height_in
    return boxes


def new_page() -> "Figure":
    """A matplotlib Figure of its own, 10 inches wide; `lay_out` gives it its height."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    page = Figure(figsize=(WIDTH_IN, 1.0), dpi=DPI, facecolor="white")
    FigureCanvasAgg(page)
    return page


def lay_out(
    page: "Figure",
    head: tuple[str, str],
    notes: Sequence[str],
    boxes: Sequence[Box],
    below_in: float,
) -> "list[Axes]":
    """Size the page, write what stands around the panels, and make a plain panel of each box.

    head is the plan's title and what the picture shows; the notes stand below_in under the panels,
    which is room for their clock or scale.

    >>> page = new_page()
    >>> len(lay_out(page, ("a plan", "Yes."), ["Clock: UTC."], stacked(0.5, [(0.3, 2.0)]), 0.4))
    1
    >>> [text.get_text() for text in page.texts]
    ['a plan', 'Yes.', 'Clock: UTC.']
    """
    room_px = (WIDTH_IN - 2.0 * EDGE_IN) * DPI
    title, finding = head
    bold, small = width_in(page, TITLE_PT, bold=True), width_in(page, SMALL_PT)
    above: list[Line] = [(shorten(title, room_px, width_in(page, PLAN_PT)), style(PLAN_PT))]
    for line in balanced(finding, room_px, bold, MOST_LINES):
        above.append((line, style(TITLE_PT, bold=True)))
    below: list[Line] = [
        (line, style(SMALL_PT, colour="quiet"))
        for note in notes
        for line in wrap(note, room_px, small, MOST_LINES)
    ]
    panels_in = max(box.down_in + box.height_in for box in boxes) + below_in
    total_in = 2.0 * EDGE_IN + _height_in(above) + panels_in + _height_in(below)
    page.set_size_inches(WIDTH_IN, total_in)
    _write(page, above, total_in - EDGE_IN)
    _write(page, below, EDGE_IN + _height_in(below))
    top_in = total_in - EDGE_IN - _height_in(above)
    return [_panel(page, box, top_in) for box in boxes]


def _height_in(lines: Sequence[Line]) -> float:
    return sum(float(how["fontsize"]) for _, how in lines) * LEADING * PT_IN


def _write(page: "Figure", lines: Sequence[Line], top_in: float) -> None:
    """Write lines from the left edge down."""
    height_in = page.get_size_inches()[1]
    for text, how in lines:
        page.text(EDGE_IN / WIDTH_IN, top_in / height_in, text, va="top", **how)
        top_in -= float(how["fontsize"]) * LEADING * PT_IN


def _panel(page: "Figure", box: Box, top_in: float) -> "Axes":
    """A plain panel: a line below, nothing else."""
    height_in = page.get_size_inches()[1]
    bottom_in = top_in - box.down_in - box.height_in
    share = (
        box.left_in / WIDTH_IN,
        bottom_in / height_in,
        box.width_in / WIDTH_IN,
        box.height_in / height_in,
    )
    panel = page.add_axes(share, facecolor="white")
    panel.spines[["left", "right", "top"]].set_visible(False)
    panel.spines["bottom"].set(color=COLOURS["quiet"], linewidth=0.8)
    panel.tick_params(axis="both", length=0.0, pad=4.0)
    return panel


def heading(panel: "Axes", text: str, note: str = "") -> None:
    """What a panel shows, above it; a note in small type after it: how it is read."""
    left_pt = 0.0
    for part, how in ((text, style(HEADING_PT, bold=True)), (note, style(SMALL_PT))):
        panel.annotate(
            part,
            (0.0, 1.0),
            xycoords="axes fraction",
            xytext=(left_pt, HEADING_UP_PT),
            textcoords="offset points",
            va="bottom",
            **how,
        )
        width_px = width_in(panel.figure, HEADING_PT, bold=True)(part)
        left_pt += width_px / DPI / PT_IN + HEADING_GAP_PT


def values_left(panel: "Axes", values: Sequence[float]) -> None:
    """Figures on the left with their faint lines."""
    panel.set_yticks(list(values), [f"{value:g}" for value in values], **style(SMALL_PT))
    for value in values:
        panel.axhline(value, color=COLOURS["grid"], linewidth=0.5, zorder=0.5)


def round_values(peak: float) -> list[float]:
    """Zero and a few round figures up to a peak.

    >>> round_values(730.0)
    [0.0, 200.0, 400.0, 600.0]
    """
    decade = 10.0 ** np.floor(np.log10(peak / 2.0))
    step = next(float(f * decade) for f in (1.0, 2.0, 5.0, 10.0) if peak / (f * decade) < 5.0)
    return [step * k for k in range(int(peak / step) + 1)]
