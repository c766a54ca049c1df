"""A budget as a picture: what was found, the charge, the tasks, and the sun against the load.

The page is laid out and written to a file here; the panels are drawn in `panels`. matplotlib is
imported when a picture is asked for, and none of its global state is touched.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from energy.answers.check.panels import Row, charge_panel, flows_panel, task_panel, task_rows
from energy.show.labels import balanced, shorten, style, width_in, wrap
from energy.show.palette import (
    CHARGE_IN,
    COLOURS,
    DPI,
    EDGE_IN,
    FLOWS_IN,
    HEADING_IN,
    HEADING_PT,
    LABEL_PT,
    LEAST_NAMES_IN,
    NAMES_IN,
    PLAN_PT,
    RIGHT_IN,
    ROW_IN,
    SMALL_PT,
    TITLE_PT,
    WIDTH_IN,
)
from energy.show.time_axis import clock_changes, time_axis, when
from energy.simulation.budget import Budget

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from energy.answers.caution.cautions import Caution

CAUTIONS_SHOWN = 3
MOST_LETTERS = 50  # of a task's name in the title
PT_IN = 1.0 / 72.0
CLOCK_IN = 0.18  # a row of words below a panel
HINTED = 1.04  # letters drawn on few pixels are up to so much wider
LEADING = 1.35  # from line to line, in heights of the type


def charge(budget: Budget, cautions: Sequence["Caution"] = ()) -> "Figure":
    """The picture of a budget: charge over time, tasks, sun and load of the middle weather.

    Returns a matplotlib Figure of its own, 10 inches wide and as high as its tasks need.

    >>> from energy.simulation.budget import budget
    >>> from energy.plan import Plan
    >>> len(charge(budget(Plan.read("builtin:cloudy-repair"))).axes)
    3
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDTH_IN, 1.0), dpi=DPI, facecolor="white")
    FigureCanvasAgg(figure)
    rows = task_rows(budget)
    head, foot = _head(budget, figure), _foot(budget, cautions, figure)
    panels = _lay_out(figure, head, foot, rows)
    time_axis(budget, panels)
    charge_panel(budget, panels[0])
    key = task_panel(budget, panels[1], rows, _names_in(figure, rows) * DPI / HINTED)
    _headings(panels, key)
    flows_panel(budget, panels[2])
    return figure


def finding(result: Budget) -> str:
    """What the picture shows, in a sentence or two, with whole percent.

    >>> from energy.simulation.budget import budget
    >>> from energy.plan import Plan
    >>> finding(budget(Plan.read("builtin:cloudy-repair"))).split(" weathers")[0]
    'No: stays powered in 27 of 31'
    """
    low = f"lowest {result.lowest().percent:.0f} % {when(result, result.lowest().at_s)}"
    if result.too_cold[result.middle]:
        middle = f"gets too cold to give {when(result, _stops_s(result))}"
    elif result.simulated.ran_short[result.middle]:
        middle = f"runs flat {when(result, _stops_s(result))}"
    else:
        middle = low if result.success[result.middle] else f"dips into the reserve, {low}"
    worked, tried = int(result.success.sum()), result.chance.scenarios
    share = "none" if worked == 0 else "all" if worked == tried else str(worked)
    answer = "Yes" if result.yes else "No"
    of = "" if share == "all" else "of "
    goal = f"goal {result.chance.goal:.0f} %"
    if (
        not result.yes
        and result.chance.percent >= result.chance.goal
        and result.chance.low is not None
    ):
        goal += f", low end {result.chance.low:.0f} %"  # which is what decides of a rough table
    text = f"{answer}: stays powered in {share} {of}{tried} weathers ({goal}); "
    if middle is not low:
        text += "the middle one "
    if tried == 1:
        text = "In the one weather tried it " + ("stays powered; " if middle is low else "")
    return _overloads(result) + text + middle


def _overloads(result: Budget) -> str:
    """The sentence that comes first where a limit refuses anything."""
    broken = sorted({overload.burst.task for overload in result.overloads})
    if not broken:
        return ""
    if len(broken) == 1:
        name = shorten(result.plan.task[broken[0]].name, MOST_LETTERS, len)
        return f'Overloads: "{name}" cannot run as planned. '
    return f"Overloads: {len(broken)} of {len(result.plan.task)} tasks cannot run as planned. "


def _stops_s(result: Budget) -> float:
    """When in the middle weather the pack first gives too little; else its lowest point."""
    first = float(result.simulated.first_short_s[result.middle])
    return first if first < float("inf") else result.lowest().at_s


Line = tuple[str, dict[str, Any]]


def _head(result: Budget, figure: Any) -> list[Line]:
    """The lines above the panels: the plan's title, then what was found."""
    room = (WIDTH_IN - 2 * EDGE_IN) * DPI
    plan = shorten(result.plan.title or result.plan.origin, room, width_in(figure, PLAN_PT))
    found = balanced(finding(result), room, width_in(figure, TITLE_PT, bold=True), most=3)
    return [(plan, style(PLAN_PT)), *((line, style(TITLE_PT, bold=True)) for line in found)]


def _foot(result: Budget, cautions: Sequence["Caution"], figure: Any) -> list[Line]:
    """The lines below the panels: weather, clock, and the first cautions."""
    room, width = (WIDTH_IN - 2 * EDGE_IN) * DPI, width_in(figure, SMALL_PT)
    clock = result.calendar.zone.key
    if changes := clock_changes(result):
        clock += f", put forward or back on {' and '.join(changes)}"
    texts = [f"Weather: {result.weather.source}. Shaded from sunset to sunrise. Clock: {clock}."]
    texts += [f"Take care: {caution.text}" for caution in cautions[:CAUTIONS_SHOWN]]
    if len(cautions) > CAUTIONS_SHOWN:
        more = len(cautions) - CAUTIONS_SHOWN
        plural = "" if more == 1 else "s"
        texts.append(f"and {more} more caution{plural} with the answer in words")
    lines = [line for text in texts for line in wrap(text, room, width, most=3)]
    return [(line, style(SMALL_PT, colour="quiet")) for line in lines]


def _lay_out(
    figure: Any, head: Sequence[Line], foot: Sequence[Line], rows: Sequence[Row]
) -> list[Any]:
    """Size the page, write what stands around the panels, and make room for each."""
    high = (CHARGE_IN, ROW_IN * max(len(rows), 1), FLOWS_IN)
    spaces = (HEADING_IN - 0.06, HEADING_IN + CLOCK_IN, HEADING_IN)
    below = 2 * CLOCK_IN + 0.08  # clock and dates below the last panel
    total = 2 * EDGE_IN + _tall_in(head) + _tall_in(foot) + below + sum(high) + sum(spaces)
    figure.set_size_inches(WIDTH_IN, total)
    left = _names_in(figure, rows) + EDGE_IN + 8.0 * PT_IN
    wide = WIDTH_IN - left - RIGHT_IN
    top, panels = _write(figure, head, total - EDGE_IN), []
    for space, height in zip(spaces, high, strict=True):
        top -= space + height
        box = (left / WIDTH_IN, top / total, wide / WIDTH_IN, height / total)
        panels.append(figure.add_axes(box))
        _frame(panels[-1])
    _write(figure, foot, top - below)
    return panels


def _headings(panels: Sequence[Any], key: str) -> None:
    """What each panel shows, above it; beside the tasks how their bars are to be read."""
    words = ("Charge of the pack, %", "When the tasks run", "Power in W, means of 15 minutes")
    for panel, text, beside in zip(panels, words, ("", key, ""), strict=True):
        left, how = 0.0, style(HEADING_PT, bold=True)
        for part in (text, beside):
            if part:
                above = {"xytext": (left, 4.0), "textcoords": "offset points"}
                panel.annotate(
                    part, (0.0, 1.0), xycoords="axes fraction", va="bottom", **above, **how
                )
            width = width_in(panel.figure, HEADING_PT, bold=True)(part)
            left, how = left + width * 72.0 / DPI + 8.0, style(SMALL_PT)


def _tall_in(lines: Sequence[Line]) -> float:
    return sum(float(how["fontsize"]) for _, how in lines) * LEADING * PT_IN


def _write(figure: Any, lines: Sequence[Line], top_in: float) -> float:
    """Write lines from the left edge down; returns where the last one ends [in]."""
    for text, how in lines:
        total = figure.get_size_inches()[1]
        figure.text(EDGE_IN / WIDTH_IN, top_in / total, text, va="top", **how)
        top_in -= float(how["fontsize"]) * LEADING * PT_IN
    return top_in


def _names_in(figure: Any, rows: Sequence[Row]) -> float:
    """The width of the column of task names."""
    widest = (HINTED * width_in(figure, LABEL_PT, bold=r.must)(r.name) / DPI for r in rows)
    return min(max([LEAST_NAMES_IN, *widest]), NAMES_IN)


def _frame(panel: Any) -> None:
    """A plain panel: a line below, nothing else."""
    panel.set_facecolor("white")
    for side in ("left", "right", "top"):
        panel.spines[side].set_visible(False)
    panel.spines["bottom"].set(color=COLOURS["quiet"], linewidth=0.8)
