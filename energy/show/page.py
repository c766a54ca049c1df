"""One layout for the page of a picture: head, panels, foot."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.show.labels import balanced, shorten, style, width_in, wrap
from energy.show.palette import (
    COLOURS,
    DPI,
    EDGE_IN,
    HEADING_IN,
    HEADING_PT,
    PLAN_PT,
    RIGHT_IN,
    SMALL_PT,
    TITLE_PT,
    WIDTH_IN,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure


LEFT_IN, BELOW_IN, CLOCK_IN = 0.55, 0.48, 0.18
LEADING = 1.35 / 72.0


Line = tuple[str, dict[str, Any]]


def new_page() -> "Figure":
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDTH_IN, 1.0), dpi=DPI, facecolor="white")
    FigureCanvasAgg(figure)
    return figure


def lay_out(
    figure: Any, title: str, words: str, foot: Sequence[str], high: Sequence[float]
) -> list[Any]:
    """Size the page, write what stands around the panels, and make room for each."""
    wide = (WIDTH_IN - 2.0 * EDGE_IN) * DPI
    head: list[Line] = [(shorten(title, wide, width_in(figure, PLAN_PT)), style(PLAN_PT))]
    bold = width_in(figure, TITLE_PT, bold=True)
    head += [(line, style(TITLE_PT, bold=True)) for line in balanced(words, wide, bold, most=3)]
    small = width_in(figure, SMALL_PT)
    quiet = style(SMALL_PT, colour="quiet")
    below = [(line, quiet) for text in foot for line in wrap(text, wide, small, most=2)]
    tall = [sum(float(how["fontsize"]) for _, how in lines) * LEADING for lines in (head, below)]
    between = (len(high) - 1) * (HEADING_IN + CLOCK_IN)
    total = 2 * EDGE_IN + sum(tall) + HEADING_IN + sum(high) + between + BELOW_IN
    figure.set_size_inches(WIDTH_IN, total)
    write_lines(figure, head, total - EDGE_IN)
    write_lines(figure, below, EDGE_IN + tall[1])
    top, panels = total - EDGE_IN - tall[0] - HEADING_IN, []
    for height in high:
        box = (LEFT_IN, top - height, WIDTH_IN - LEFT_IN - RIGHT_IN, height)
        share = (box[0] / WIDTH_IN, box[1] / total, box[2] / WIDTH_IN, box[3] / total)
        panels.append(figure.add_axes(share))
        frame(panels[-1])
        top -= height + HEADING_IN + CLOCK_IN
    return panels


def write_lines(figure: Any, lines: Sequence[Line], top_in: float) -> None:
    """Write lines from the left edge down."""
    for text, how in lines:
        height = top_in / figure.get_size_inches()[1]
        figure.text(EDGE_IN / WIDTH_IN, height, text, va="top", **how)
        top_in -= float(how["fontsize"]) * LEADING


def frame(panel: Any) -> None:
    """A plain panel: a line below, nothing else."""
    panel.set_facecolor("white")
    for side in ("left", "right", "top"):
        panel.spines[side].set_visible(False)
    panel.spines["bottom"].set(color=COLOURS["quiet"], linewidth=0.8)


def heading(panel: Any, text: str) -> None:
    above = {"xytext": (0.0, 4.0), "textcoords": "offset points", "va": "bottom"}
    panel.annotate(
        text, (0.0, 1.0), xycoords="axes fraction", **above, **style(HEADING_PT, bold=True)
    )


def values_left(panel: Any, ticks: Sequence[float]) -> None:
    """The figures on the left with their faint lines."""
    panel.set_yticks(list(ticks), [f"{value:g}" for value in ticks], **style(SMALL_PT))
    panel.tick_params(axis="both", length=0.0, pad=4.0)
    for value in ticks:
        panel.axhline(value, color=COLOURS["grid"], linewidth=0.5, zorder=0.5)


def values_below(panel: Any, end: float) -> None:
    """Round figures below the panel."""
    ticks = round_values(end)
    panel.set_xticks(ticks, [f"{value:g}" for value in ticks], **style(SMALL_PT))


def round_values(peak: float) -> list[float]:
    """Zero and a few round figures up to a peak.

    >>> round_values(730.0)
    [0.0, 200.0, 400.0, 600.0]
    """
    decade = 10.0 ** np.floor(np.log10(peak / 2.0))
    step = next(float(f * decade) for f in (1.0, 2.0, 5.0, 10.0) if peak / (f * decade) < 5.0)
    return [step * k for k in range(int(peak / step) + 1)]
