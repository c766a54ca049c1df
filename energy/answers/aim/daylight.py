"""What "a day" means for the panels: the daylight of whole local days in a plan's dates.

A plan may begin at nine or end after 34 hours; a day's yield must not change with that. Which pose
is best, and what the pack takes, are asked of the plan's own hours, in `poses` and `aim`.
"""

from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from itertools import pairwise

import numpy as np

from energy.answers.aim.poses import DAY_BINS, half_hours
from energy.model import Array
from energy.model.timeline import Interval, inside
from energy.plan import Plan, PlanError
from energy.simulation.budget import Budget
from energy.simulation.case import days_of, derates
from energy.simulation.solar import solar
from energy.weather.days import Days
from energy.weather.scenarios import weathers
from energy.weather.weathers import Weathers


@dataclass(frozen=True)
class Daylight:
    """The local dates, first to last, whose sun is counted in all weathers of a plan.

    counts: "whole-days", those that lie inside the plan; where there are none "touched-days", from
    midnight to midnight; "own-hours", the plan's own, where the weather held covers no more. spans
    are what is counted [UTC s]; wide holds the days and their weather where the plan's own are not
    enough: panels that are turned begin each of these days as stated. plan_days is how many days'
    light the plan's own hours hold, at least 1.
    """

    counts: str
    first: date
    last: date
    spans: tuple[Interval, ...]
    wide: tuple[Days, Weathers] | None = field(default=None, repr=False)
    plan_days: float = 1.0

    @property
    def days(self) -> int:
        """How many local dates are counted."""
        return (self.last - self.first).days + 1

    def half_hours_wh(self, result: Budget) -> Array:
        """What a budget's panels give in each half hour of the clock [Wh], (48,): the mean of all
        weathers and of the days counted, together a day's yield."""
        days, weather = self.wide or (result.days, result.weather)
        power = result.solar.panel_w
        if self.wide is not None:
            derate = derates(result.plan, weather.shift_days.size)
            spans = (replace(days, plan=_over(result, span), span=span) for span in self.spans)
            posed = [solar(span, weather, derate).panel_w for span in spans]
            power = np.sum(posed, axis=0)
        lit = weather.light.lit
        hours = (np.diff(days.cells) * inside(days.cells, self.spans) / 3600.0)[lit]
        half_hour = half_hours(result.calendar, days.cells[:-1][lit])
        total = np.bincount(half_hour, power.mean(axis=1) * hours, DAY_BINS)
        return np.asarray(total / self.days)


def given_wh(result: Budget) -> float:
    """What the panels give in a budget's span after the input's limit, all weathers' mean [Wh]."""
    sun = result.solar
    return float((sun.sun_wh - sun.loss_wh - sun.clipped_wh).mean())


def daylight(result: Budget) -> Daylight:
    """The days whose sun counts as a day's yield of a budget's plan.

    >>> from energy.simulation.budget import budget
    >>> answer = daylight(budget(Plan.read("builtin:january-job")))  # Monday 07:00 to Friday 18:00
    >>> answer.counts, answer.days, str(answer.first)
    ('whole-days', 3, '2027-01-12')
    """
    days = _counted(result)
    day_wh = float(days.half_hours_wh(result).sum())
    return replace(days, plan_days=max(given_wh(result) / day_wh, 1.0)) if day_wh > 0.0 else days


def _counted(result: Budget) -> Daylight:
    start, end = result.days.span
    first, last = result.local(start).date(), result.local(end - 1.0).date()
    dates = [first + timedelta(k) for k in range((last - first).days + 1)]
    midnights = [result.calendar.at(("clock", 0.0), day) for day in (*dates, last + timedelta(1))]
    spans = dict(zip(dates, pairwise(midnights), strict=True))
    whole_days = [day for day, span in spans.items() if start <= span[0] and span[1] <= end]
    if whole_days:
        return Daylight(
            "whole-days", whole_days[0], whole_days[-1], tuple(spans[day] for day in whole_days)
        )
    over = midnights[0], midnights[-1]
    own = result.days
    days = days_of(_over(result, over), own.record, own.calendar, over, own.site)
    try:
        weather, *_ = weathers(days)
    except PlanError:  # a record or a forecast of the plan's own hours alone
        return Daylight("own-hours", first, last, ((start, end),))
    return Daylight("touched-days", first, last, tuple(spans.values()), (days, weather))


def _over(result: Budget, span: Interval) -> Plan:
    """A budget's plan over another span [UTC s] of its dates."""
    start, end = (result.local(time_s).replace(tzinfo=None) for time_s in span)
    # No checks are needed: the span is that of whole dates which the plan touches.
    other = result.plan.span.model_copy(update={"start": start, "end": end})
    return result.plan.model_copy(update={"span": other})
