"""What a picture looks like: its colours, lines, type sizes and measures, in one place.

Nothing is drawn here.
"""

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
    "locked": "#95acbc",  # 69: what the cold locks
    "band": "#afcff0",  # 82: where most weathers lie
    "grid": "#d5d7db",  # 86
    "daylight": "#fbdd8f",  # 89: the area below the sun's line
    "night": "#edeff7",  # 95
}
DASHES = {
    "charge": "-",
    "limit": (0, (5, 2.5)),
    "band": (0, (1, 1)),
    "other charging": (0, (6, 2, 1, 2)),
    "spilled": (0, (1.2, 1.6)),
}
FAMILY = "DejaVu Sans"  # comes with matplotlib
TITLE_PT, PLAN_PT, HEADING_PT, LABEL_PT, SMALL_PT = 13.0, 9.5, 9.0, 8.5, 7.5

DPI = 144
WIDTH_IN = 10.0
CHARGE_IN, FLOWS_IN, ROW_IN = 2.6, 1.6, 0.215
HEADING_IN = 0.36  # from one panel to the next, with the heading between them
EDGE_IN = 0.15
RIGHT_IN = 0.4  # half a clock label stands out to the right
LEAST_NAMES_IN, NAMES_IN = 0.4, 2.3  # the column of task names, and of the figures
