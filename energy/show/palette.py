"""What a picture looks like: its colours, lines, type sizes and measures, in one place.

Nothing is drawn here.
"""

from typing import Any

# Each colour was set by its lightness first (CIE L*, in the comment), so that in grey print and to
# any eye the marks still differ: what is read as a line or as words stands dark against white, what
# is an area stands light behind it. Hues then follow the things: cold blue, warm sun.
COLOURS = {
    "ink": "#131c26",  # 10: words, what must run
    "charge": "#093874",  # 24: the middle weather's charge
    "load": "#723a65",  # 33: what the tasks ask
    "quiet": "#5e646b",  # 42: words that stand back
    "limit": "#b13a29",  # 42: the reserve, and what a limit refuses
    "sun": "#a26b22",  # 50: what the sun gives
    "task": "#339c9f",  # 59: a task that runs
    "locked": "#95acbc",  # 69: what the cold holds back
    "band": "#afcff0",  # 82: where most weathers lie
    "grid": "#d5d7db",  # 86
    "daylight": "#fbdd8f",  # 89: the area below the sun's line
    "night": "#edeff7",  # 95
}
DASHES = {
    "charge": "-",
    "limit": (0, (5, 2.5)),
    "band": (0, (1, 1)),
    "dull": (0, (4, 1.2, 1, 1.2)),
    "other charging": (0, (6, 2, 1, 2)),
    "spilled": (0, (1.2, 1.6)),
}
# A ring marks a point: the lowest charge, a reading, a pose, a size.
RING: dict[str, Any] = {
    "marker": "o",
    "markersize": 7.0,
    "markerfacecolor": "white",
    "markeredgewidth": 1.6,
    "linestyle": "",
    "clip_on": False,
    "zorder": 5.5,
}
FAMILY = "DejaVu Sans"  # comes with matplotlib
TITLE_PT, PLAN_PT, HEADING_PT, LABEL_PT, SMALL_PT = 13.0, 9.5, 9.0, 8.5, 7.5

DPI = 144
PT_IN = 1.0 / 72.0
WIDTH_IN = 10.0
CHARGE_IN, FLOWS_IN = 2.6, 1.6  # the panels of the charge and of the power
HEADING_IN = 0.36  # above a panel, with its heading
CLOCK_IN = 0.18  # a row of words below a panel
EDGE_IN = 0.15
RIGHT_IN = 0.4  # half a clock label stands out to the right


def mix(start: str, end: str, share: float) -> tuple[float, float, float]:
    """A colour so far from one to the other, each a name of the table or of matplotlib.

    >>> mix("white", "black", 0.75)
    (0.25, 0.25, 0.25)
    """
    from matplotlib.colors import to_rgb

    first, last = (to_rgb(COLOURS.get(name, name)) for name in (start, end))
    red, green, blue = (a + share * (b - a) for a, b in zip(first, last, strict=True))
    return red, green, blue
