"""The budgets of a plan on many start days, what the days share worked out once: the weather's
record, the place, its sun, its clock.

All that is random is drawn from the plan's seed, the same for each day, and a record is shifted
alike: days differ by their sun, not by luck.
"""

from collections import deque
from collections.abc import Iterator, Sequence
from datetime import date

import numpy as np

from energy.model.timeline import Calendar
from energy.plan import Plan, PlanError
from energy.plan.dates import starting
from energy.simulation.budget import Budget, budget_in
from energy.simulation.case import calendar_of, days_of, span_of
from energy.weather.days import Days, site_of
from energy.weather.source import Source


def budgets_on(
    plan: Plan, starts: Sequence[date], record: Source
) -> Iterator[tuple[date, Budget | PlanError]]:
    """The budget of a plan that starts on each of some days, ascending, as `budget` would give it;
    or why there is none.

    record: what the plan's weather rests on (see `record_of`). An error is NotCovered where the
    weather does not reach that day, else of what the day itself shows, such as repeats that do not
    fit between its sunrise and its sunset.

    >>> from energy.weather.source import record_of
    >>> plan = Plan.read("builtin:cloudy-repair")
    >>> starts = [date(2026, 6, 1), date(2026, 12, 1)]
    >>> june, december = (result for _, result in budgets_on(plan, starts, record_of(plan)))
    >>> june.chance.percent > december.chance.percent
    True
    """
    laid_out = deque(_laid_out(plan, starts, record))
    _work_out_sun([days for _, days in laid_out if isinstance(days, Days)])
    while laid_out:  # each is let go with its day
        start, days = laid_out.popleft()
        if isinstance(days, PlanError):
            yield start, days
            continue
        try:
            result = budget_in(days)
        except PlanError as error:
            yield start, error
        else:
            yield start, result


def _work_out_sun(every: Sequence[Days]) -> None:
    """The sun over the place in all cells of all days at once, for each to take its own from."""
    if every:
        every[0].place_sun.at(np.concatenate([days.middles for days in every]))


def _laid_out(
    plan: Plan, starts: Sequence[date], record: Source
) -> Iterator[tuple[date, Days | PlanError]]:
    """The plan's days from each start on: on one site, and on parts of one calendar."""
    site, own = site_of(plan, record), calendar_of(plan)
    at = plan.place.latitude_deg, plan.place.longitude_deg
    every = Calendar(starts[0], starts[-1] + (own.last - own.first), own.zone, *at)
    for start in starts:
        try:
            moved = plan.replace(**starting(plan, start))
            calendar = every.part(start, start + (own.last - own.first))
            days = days_of(moved, record, calendar, span_of(moved), site)
        except PlanError as error:
            yield start, error
        else:
            yield start, days
