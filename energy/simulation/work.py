"""How much an answer may simulate, counted in cells (a moment in a weather), never in time.

What one budget may cost is bounded in `weather.weathers`; here are answers that need many.
"""

from energy.plan import PlanError
from energy.simulation.result import Budget

MOST_CELLS = 150_000_000  # one to two minutes
SEARCHED = 0.1  # what a cell costs in a search of choices, beside one of a budget; measured


def cells_of(result: Budget) -> int:
    """How many cells a budget has, with the ends of its doubt left out.

    >>> from energy.plan import Plan
    >>> from energy.simulation.budget import budget
    >>> demo = budget(Plan.read("builtin:cloudy-repair"))
    >>> cells_of(demo) == (demo.time_s.size - 1) * demo.success.size
    True
    """
    return (result.time_s.size - 1) * result.success.size


def check_searchable(result: Budget, cells: float, what: str) -> None:
    """Raise PlanError where an answer would simulate more cells than may be.

    result: the budget of the plan.
    cells: how many it takes, growing with the span or faster.
    what: what is sought, in words.
    """
    if cells > MOST_CELLS:
        days = (result.time_s[-1] - result.time_s[0]) / 86400.0
        fewer = max(int(days * MOST_CELLS / cells), 1)
        raise PlanError(
            [
                f"{result.plan.origin}: {what} in {result.success.size:,} weathers of"
                f" {result.time_s.size - 1:,} moments is more than can be searched: shorten the"
                f" span, to about {fewer} day{'' if fewer == 1 else 's'}"
            ]
        )
