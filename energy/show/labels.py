"""Words in a picture: how wide they are, where a line breaks, and where a label finds room.

Everything is measured in pixels of the figure, from its lower left corner. What the labels say is
decided by each answer's `picture`.
"""

from collections.abc import Callable, Sequence
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.model import Array
from energy.show.palette import COLOURS, FAMILY, LABEL_PT

if TYPE_CHECKING:
    from matplotlib.figure import Figure

CELL_PX = 3.0  # labels are moved in steps of this
APART_PX = 6.0  # between two labels
FAR_PX = 14.0  # a label further from what it names gets a line to it
RING_PX = 8.0  # half a ring's width
MOST_ANCHORS = 60  # points of a line that its label is held near
ON_A_MARK, ON_A_LINE, ON_A_LABEL = 3.0, 1e4, 1e8  # per cell, against a pixel of distance

Width = Callable[[str], float]


def style(size_pt: float, *, bold: bool = False, colour: str = "ink") -> dict[str, Any]:
    """The keywords of a text; a $ or a backslash in a name is just that."""
    return {
        "fontsize": size_pt,
        "fontweight": "bold" if bold else "normal",
        "fontfamily": FAMILY,
        "fontstyle": "normal",
        "color": COLOURS[colour],
        "parse_math": False,
    }


def width_in(figure: Any, size_pt: float, *, bold: bool = False) -> Width:
    """A function that tells how many pixels wide a text is; it measures each text once."""
    from matplotlib.font_manager import FontProperties

    font = FontProperties(family=FAMILY, size=size_pt, weight="bold" if bold else "normal")
    renderer = figure.canvas.get_renderer()

    @cache
    def width(text: str) -> float:
        return float(renderer.get_text_width_height_descent(text, font, ismath=False)[0])

    return width


def shorten(text: str, room: float, width: Width) -> str:
    """A text cut to its room, with an ellipsis where something is missing.

    >>> shorten("cut the rusted bolts", 12, len)
    'cut the rus…'
    """
    text = " ".join(text.split())
    if width(text) <= room:
        return text
    keep = len(text)
    while keep and width(text[:keep].rstrip() + "…") > room:
        keep -= 1
    return text[:keep].rstrip() + "…"


def wrap(text: str, room: float, width: Width, most: int) -> list[str]:
    """A text broken into at most so many lines that fit their room, the last one shortened.

    >>> wrap("stays powered in 27 of 31 weathers", 16, len, 3)
    ['stays powered in', '27 of 31', 'weathers']
    """
    lines: list[str] = []
    words = text.split()
    while words and len(lines) < most - 1:
        count = 1
        while count < len(words) and width(" ".join(words[: count + 1])) <= room:
            count += 1
        lines.append(shorten(" ".join(words[:count]), room, width))
        words = words[count:]
    return [*lines, shorten(" ".join(words), room, width)] if words else lines


def balanced(text: str, room: float, width: Width, most: int) -> list[str]:
    """A text broken into as few lines as `wrap` needs, of about the same length.

    >>> balanced("stays powered in 27 of 31 weathers", 30, len, 3)
    ['stays powered in', '27 of 31 weathers']
    """
    lines = wrap(text, room, width, most)
    narrower = lines
    while len(narrower) == len(lines) and " ".join(narrower) == " ".join(lines):
        lines, room = narrower, 0.97 * room
        narrower = wrap(text, room, width, most)
    return lines


class Room:
    """The room of one panel, in which each label takes the free place nearest to what it names."""

    def __init__(self, axes: Any):
        self.axes = axes
        box = axes.get_window_extent()
        self.left, self.bottom = box.x0, box.y0
        self.right, self.top = box.x1, box.y1
        shape = int((box.y1 - box.y0) // CELL_PX), int((box.x1 - box.x0) // CELL_PX)
        self.taken: Array = np.zeros(shape)

    def pixels(self, x: Array, y: Array) -> Array:
        """Data as pixels of the figure, (n, 2)."""
        pairs = np.column_stack([np.asarray(x, dtype=float), np.asarray(y, dtype=float)])
        return np.asarray(self.axes.transData.transform(pairs))

    def keep_clear(self, x: Array, y: Array, cost: float = ON_A_LINE) -> None:
        """Keep labels off a line, at any cost or at a small one."""
        points = self.pixels(x, y)
        length = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(points, axis=0)).sum(axis=1))])
        along = np.linspace(0.0, length[-1], int(length[-1] / CELL_PX * 1.5) + 2)
        col = (np.interp(along, length, points[:, 0]) - self.left) // CELL_PX
        row = (np.interp(along, length, points[:, 1]) - self.bottom) // CELL_PX
        inside = (col >= 0) & (col < self.taken.shape[1]) & (row >= 0) & (row < self.taken.shape[0])
        hit = row[inside].astype(int), col[inside].astype(int)
        self.taken[hit] = np.maximum(self.taken[hit], cost)

    def keep_clear_below(self, x: Array, y: Array, cost: float = ON_A_MARK) -> None:
        """Keep labels out of the area between a line and zero where there is other room."""
        for share in np.linspace(0.0, 1.0, 24):
            self.keep_clear(x, share * y, cost)

    def keep_clear_of_ring(self, x: float, y: float, cost: float = ON_A_LINE) -> None:
        """Keep labels off a ring."""
        width_px = self.right - self.left
        around = RING_PX / width_px * float(np.ptp(self.axes.get_xlim()))
        self.keep_clear(np.array([x - around, x + around]), np.array([y, y]), cost)

    def label(
        self,
        text: str,
        x: Sequence[float] | Array,
        y: Sequence[float] | Array,
        colour: str,
        others: Array | None = None,
    ) -> bool:
        """Write a label near the nearest of some points, off the lines and the labels before;
        whether there was room for it.

        others: what has other labels, data, (n, 2): it lies nearer to its own points than to any.
        """
        pick = slice(None, None, max(1, len(x) // MOST_ANCHORS))
        anchors = self.pixels(np.asarray(x)[pick], np.asarray(y)[pick])
        words = self.axes.text(
            0.0,
            0.0,
            text,
            transform=self.axes.transAxes,
            ha="left",
            va="bottom",
            zorder=6,
            **style(LABEL_PT, colour=colour),
        )
        size = words.get_window_extent()
        away_from = np.empty((0, 2)) if others is None else self.pixels(*np.asarray(others).T)
        shape = size.width + 2 * APART_PX, size.height + APART_PX
        place = self._nearest(*shape, anchors, away_from)
        if place is None:
            words.remove()
            return False
        left, bottom = place[0] + APART_PX, place[1] + APART_PX / 2
        words.set_position(self._share(left, bottom))
        self._point_at(anchors, (left, bottom, left + size.width, bottom + size.height), colour)
        return True

    def _nearest(
        self, width: float, height: float, anchors: Array, others: Array
    ) -> tuple[float, float] | None:
        """The lower left corner of the cheapest place, which is taken from now on."""
        rows, cols = int(np.ceil(height / CELL_PX)), int(np.ceil(width / CELL_PX))
        if rows > self.taken.shape[0] or cols > self.taken.shape[1]:
            return None
        total = np.zeros((self.taken.shape[0] + 1, self.taken.shape[1] + 1))
        total[1:, 1:] = self.taken.cumsum(axis=0).cumsum(axis=1)
        cost = total[rows:, cols:] - total[:-rows, cols:] - total[rows:, :-cols]
        cost = cost + total[:-rows, :-cols]
        low = self.bottom + CELL_PX * np.arange(cost.shape[0])[:, None]
        left = self.left + CELL_PX * np.arange(cost.shape[1])[None, :]

        def away(points: Array) -> Array:
            """How far the nearest of some points is from each place."""
            nearest = np.full(cost.shape, np.inf)
            for x, y in points:
                across = np.maximum(np.maximum(left - x, x - left - width), 0.0)
                along = np.maximum(np.maximum(low - y, y - low - height), 0.0)
                nearest = np.minimum(nearest, across**2 + along**2)
            return np.asarray(np.sqrt(nearest))

        own = away(anchors)
        mistaken = away(others) < own + FAR_PX
        cost = np.round(cost) + own + ON_A_LABEL * mistaken
        row, col = np.unravel_index(int(cost.argmin()), cost.shape)
        if cost[row, col] >= ON_A_LABEL:
            return None
        self.taken[row : row + rows, col : col + cols] = ON_A_LABEL
        return float(left[0, col]), float(low[row, 0])

    def _point_at(
        self, anchors: Array, box: tuple[float, float, float, float], colour: str
    ) -> None:
        """Draw a line from a label that had to move away to what it names."""
        nearest = np.clip(anchors, box[:2], box[2:])
        away = np.hypot(*(anchors - nearest).T)
        k = int(away.argmin())
        if away[k] <= FAR_PX:
            return
        start, end = self._share(*nearest[k]), self._share(*anchors[k])
        self.axes.plot(
            [start[0], end[0]],
            [start[1], end[1]],
            transform=self.axes.transAxes,
            color=COLOURS[colour],
            linewidth=0.6,
            marker="o",
            markersize=2.5,
            markevery=[1],
            solid_capstyle="butt",
            zorder=5,
        )

    def _share(self, x_px: float, y_px: float) -> tuple[float, float]:
        width, height = self.right - self.left, self.top - self.bottom
        return (x_px - self.left) / width, (y_px - self.bottom) / height


def letters_lacking(figure: "Figure") -> str:
    """The letters of a picture that its font lacks, in order, each once.

    >>> from energy.show.page import new_page
    >>> page = new_page()
    >>> _ = page.text(0.0, 0.0, "\u8336 tea")
    >>> letters_lacking(page)
    '\u8336'
    """
    from matplotlib.font_manager import FontProperties, findfont, get_font
    from matplotlib.text import Text

    drawable = get_font(findfont(FontProperties(family=FAMILY))).get_charmap()
    shown = {letter for text in figure.findobj(Text) for letter in text.get_text()}
    return "".join(sorted(letter for letter in shown if ord(letter) not in drawable | {10: 0}))
