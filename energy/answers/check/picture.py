"""A budget as a picture: what was found, the charge, the tasks, and the sun against the load.

The three panels are drawn in `panels`.
"""

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from energy.answers.caution.words import care_notes
from energy.answers.check.check import Check, task_answers
from energy.answers.check.checkpoints import checkpoints
from energy.answers.check.panels import Row, charge_panel, flows_panel, task_panel, task_rows
from energy.answers.check.words import what_decides
from energy.plan.places import zone_in_words
from energy.show.labels import width_in
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
    return draw(budget, finding(budget), task_rows(budget), cautions)


def draw(
    budget: Budget, title: str, rows: Sequence[Row], cautions: Sequence["Caution"] = ()
) -> "Figure":
    """The picture of a budget under a title, with these rows of tasks."""
    page = new_page()
    names_in = _names_in(page, rows)
    panels_in = (
        (HEADING_IN - 0.06, CHARGE_IN),
        (HEADING_IN + CLOCK_IN, ROW_IN * max(len(rows), 1)),
        (HEADING_IN, FLOWS_IN),
    )
    charge_axes, task_axes, flows_axes = panels = lay_out(
        page,
        (budget.plan.name, title),
        list(_notes(budget, cautions)),
        stacked(names_in + EDGE_IN + 8.0 * PT_IN, panels_in),
        below_in=2 * CLOCK_IN + 0.08,
    )
    time_axis(budget, panels)
    key = charge_panel(budget, charge_axes, checkpoints(budget))
    heading(charge_axes, "Charge of the pack, %", key)
    key = task_panel(budget, task_axes, rows, names_in * DPI / HINTED)
    heading(task_axes, "When the tasks run", key)
    flows_panel(budget, flows_axes)
    heading(flows_axes, "Power in W, means of 15 minutes")
    return page


def finding(result: Budget) -> str:
    """The answer, in the words of the terminal.

    >>> from energy.simulation.budget import budget
    >>> from energy.plan import Plan
    >>> finding(budget(Plan.read("builtin:cloudy-repair"))).split(";")[0]
    'ALMOST: Nothing stops in any of 31 weathers, but 4 use the reserve'
    """
    return f"{result.answer.upper()}: {what_decides(Check(result, task_answers(result)))}"


def _notes(result: Budget, cautions: Sequence["Caution"]) -> Iterator[str]:
    """Below the panels: weather, clock, and the first cautions."""
    clock = zone_in_words(result.calendar.zone.key)
    if changes := clock_changes(result):
        clock += f", put forward or back on {' and '.join(changes)}"
    yield f"Weather: {result.weather.source}. Shaded from sunset to sunrise. Clock: {clock}."
    yield from care_notes(cautions, CAUTIONS_SHOWN)


def _names_in(page: Any, rows: Sequence[Row]) -> float:
    """The width of the column of task names [in]."""
    widest = (HINTED * width_in(page, LABEL_PT, bold=row.must)(row.name) / DPI for row in rows)
    return min(max([LEAST_NAMES_IN, *widest]), NAMES_IN)
