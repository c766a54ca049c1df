"""A budget as a picture: what was found, the charge, the tasks, and the sun against the load.

The three panels are drawn in `panels`.
"""

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from energy.answers.check.panels import Row, charge_panel, flows_panel, task_panel, task_rows
from energy.show.labels import shorten, width_in
from energy.show.moments import at_clock
from energy.show.page import heading, lay_out, new_page, stacked
from energy.show.palette import (
    CHARGE_IN,
    CLOCK_IN,
    DPI,
    EDGE_IN,
    FLOWS_IN,
    HEADING_IN,
    LABEL_PT,
    PT_IN,
)
from energy.show.time_axis import clock_changes, time_axis
from energy.simulation.budget import Budget

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from energy.answers.caution.cautions import Caution

CAUTIONS_SHOWN = 3
MOST_LETTERS = 50  # of a task's name in the title
ROW_IN = 0.215  # a task's row
LEAST_NAMES_IN, NAMES_IN = 0.4, 2.3  # the column of task names, and of the figures
HINTED = 1.04  # letters drawn on few pixels are up to so much wider


def charge(budget: Budget, cautions: Sequence["Caution"] = ()) -> "Figure":
    """The picture of a budget: charge over time, tasks, sun and load of the middle weather.

    The first cautions stand below. Returns a matplotlib Figure of its own, 10 inches wide and as
    high as its tasks need.

    >>> from energy.simulation.budget import budget
    >>> from energy.plan import Plan
    >>> len(charge(budget(Plan.read("builtin:cloudy-repair"))).axes)
    3
    """
    page, rows = new_page(), task_rows(budget)
    names_in = _names_in(page, rows)
    panels_in = (
        (HEADING_IN - 0.06, CHARGE_IN),
        (HEADING_IN + CLOCK_IN, ROW_IN * max(len(rows), 1)),
        (HEADING_IN, FLOWS_IN),
    )
    charge_axes, task_axes, flows_axes = panels = lay_out(
        page,
        (budget.plan.title or budget.plan.origin, finding(budget)),
        list(_notes(budget, cautions)),
        stacked(names_in + EDGE_IN + 8.0 * PT_IN, panels_in),
        below_in=2 * CLOCK_IN + 0.08,
    )
    time_axis(budget, panels)
    charge_panel(budget, charge_axes)
    heading(charge_axes, "Charge of the pack, %")
    key = task_panel(budget, task_axes, rows, names_in * DPI / HINTED)
    heading(task_axes, "When the tasks run", key)
    flows_panel(budget, flows_axes)
    heading(flows_axes, "Power in W, means of 15 minutes")
    return page


def finding(result: Budget) -> str:
    """What the picture shows, in a sentence or two, with whole percent.

    >>> from energy.simulation.budget import budget
    >>> from energy.plan import Plan
    >>> finding(budget(Plan.read("builtin:cloudy-repair"))).split(" weathers")[0]
    'Almost: keeps the reserve in 27 of 31'
    """
    lowest = result.lowest()
    low = f"lowest {lowest.percent:.0f} % {at_clock(result.calendar, lowest.at_s)}"
    stops = at_clock(result.calendar, _stops_s(result))
    if result.too_cold[result.middle]:
        middle = f"gets too cold to give {stops}"
    elif result.simulated.ran_short[result.middle]:
        middle = f"runs flat {stops}"
    else:
        middle = low if result.success[result.middle] else f"dips into the reserve, {low}"
    worked, tried = int(result.success.sum()), result.chance.scenarios
    share = "none" if worked == 0 else "all" if worked == tried else str(worked)
    answer = result.answer.capitalize()
    of = "" if share == "all" else "of "
    goal = f"goal {result.chance.goal:.0f} %"
    if (
        not result.yes
        and result.chance.percent >= result.chance.goal
        and result.chance.low is not None
    ):
        goal += f", low end {result.chance.low:.0f} %"  # which is what decides of a rough table
    holds = "keeps the reserve" if answer == "Almost" else "stays powered"
    text = f"{answer}: {holds} in {share} {of}{tried} weathers ({goal}); "
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


def _notes(result: Budget, cautions: Sequence["Caution"]) -> Iterator[str]:
    """Below the panels: weather, clock, and the first cautions."""
    clock = result.calendar.zone.key
    if changes := clock_changes(result):
        clock += f", put forward or back on {' and '.join(changes)}"
    yield f"Weather: {result.weather.source}. Shaded from sunset to sunrise. Clock: {clock}."
    yield from (f"Take care: {caution.text}" for caution in cautions[:CAUTIONS_SHOWN])
    if len(cautions) > CAUTIONS_SHOWN:
        more = len(cautions) - CAUTIONS_SHOWN
        plural = "" if more == 1 else "s"
        yield f"and {more} more caution{plural} with the answer in words"


def _names_in(page: Any, rows: Sequence[Row]) -> float:
    """The width of the column of task names [in]."""
    widest = (HINTED * width_in(page, LABEL_PT, bold=row.must)(row.name) / DPI for row in rows)
    return min(max([LEAST_NAMES_IN, *widest]), NAMES_IN)
