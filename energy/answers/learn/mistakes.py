"""Mistakes in writing down that explain readings better than any kit does: one odd reading, a first
percentage that was not the charge, a clock that was hours off, a display off throughout.

Each is weighed against the kit by the sum of squares that it leaves, a likelihood ratio, with a
price for how seldom such a mistake is made.

An odd reading, the first one too, is left out with a line: the others teach without it. For a
clock nothing is learned at all. The readings cannot tell it from work that was done earlier or
later than planned, nor from panels that faced elsewhere; all of them would count at a wrong time,
and a kit file remembers them. To write the times again costs a minute, and times with their offset
from UTC are believed. A display that is off by the same points throughout moves nothing that is
read, so that only the plan's own start tells of it: that is said, and no more.

On invented days of worn kits none of 209 that were written rightly was doubted. A clock an hour off
was noticed on 83 to 100 % of days with the panel folded, on all afternoons called clear with
watts, on 25 to 79 % of sunny days; never where all work was counted and no sun read, as the work
then moves with the rows. A first reading 30 points too low was noticed on 92 %
(`tests/answers/learn/test_mistakes.py`).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np

from energy.answers.learn.fit import OUTLIER_SIGMAS, Fit, fit, outliers
from energy.answers.learn.forward_model import ForwardModel
from energy.answers.learn.observe import START_UNREAD, observe
from energy.answers.learn.posterior import Posterior
from energy.answers.learn.readings import Readings, Row
from energy.plan import Plan, PlanError
from energy.plan.places import zone_in_words
from energy.weather.record import HOUR_S

HOURS = (-1, 1, -2, 2)  # that a clock may be off: summer time, UTC
LEAST_OBSERVED = 3  # fewer do not tell a clock
# What a mistake must take off the sum of squares: one odd reading as in `outliers`; a clock, and
# one on a day that contradicts its plan anyway, by judgement, tried on invented days of worn kits.
ODD, CLOCK, CLOCK_ANYWAY = OUTLIER_SIGMAS**2, 10.0, 5.0
# Of charge, between the first percentage and what the plan's start leads to.
NEAR_POINTS, FAR_POINTS = 3.0, 15.0
ASK = (
    "was something else running, less done than planned (write its count), a charger's watts not"
    " written since the row before, or another time? If not, the plan states something wrong"
)


@dataclass(frozen=True)
class Believed:
    """A day with what is believed of its readings, the fit to that, None where nothing is left, and
    of what is not believed the rows and a line each. squares is the sum of squares that is left,
    with the price of the mistakes."""

    day: ForwardModel
    fit: Fit | None
    left_out: tuple[Row, ...]
    lines: tuple[str, ...]
    squares: float


def believed(
    plan: Plan, readings: Readings, prior: Posterior, day: ForwardModel, later: bool
) -> Believed:
    """What is believed of the readings of a day that `observe` laid out with all of them.

    Raises PlanError where they fit far better at another hour.
    """
    planned = day.at_planned_times()
    best = _likeliest(readings.rows, prior, planned)
    anyway = best.fit is not None and best.fit.contradicts(prior, len(best.day.observed))
    price = CLOCK_ANYWAY if anyway else CLOCK
    if best.squares > price and not readings.with_offset:
        hours, squares = _other_clock(plan, readings.rows, prior, planned, later)
        if squares + price < best.squares:
            lines = [*day.unused, _clock_in_words(hours, plan)]
            raise PlanError([*readings.problems, *(f"{readings.name}: {line}" for line in lines)])
    if planned is day:
        return best
    if best.lines or best.fit is None:
        return _likeliest(readings.rows, prior, day)
    fitted = fit(prior, [day])  # what is not odd at planned times is not at others
    return Believed(day, fitted, (), (), fitted.cost)


def _likeliest(rows: Sequence[Row], prior: Posterior, day: ForwardModel) -> Believed:
    """The day without its odd readings, or from another start where that explains more."""
    by_kit = _without_outliers(prior, day)
    if by_kit.squares > ODD:
        by_start = _without_start(rows, prior, day)
        if by_start is not None and by_start.squares < by_kit.squares:
            return by_start
    return by_kit


def _without_outliers(prior: Posterior, day: ForwardModel) -> Believed:
    """The day without the readings that nothing the plan says explains."""
    odd = outliers(prior, day)
    lines = []
    for k, z in odd.items():
        seen, way = day.observed[k], "higher" if z > 0.0 else "lower"
        lines.append(
            f"line {seen.row.number}: {seen.column} of {seen.value:g} is {way} than the plan's day"
            f" can explain, and left out; {ASK}"
        )
    rows = tuple(day.observed[k].row for k in odd)
    kept = tuple(seen for k, seen in enumerate(day.observed) if k not in odd)
    day = replace(day, observed=kept)
    fitted = fit(prior, [day]) if kept else None
    cost = fitted.cost if fitted else 0.0
    return Believed(day, fitted, rows, tuple(lines), cost + ODD * len(lines))


def _without_start(rows: Sequence[Row], prior: Posterior, day: ForwardModel) -> Believed | None:
    """The day with a start that nobody read; None where nobody did. A first reading that the plan's
    own start bears out has two witnesses."""
    first = _first(rows)
    if first is None:
        return None
    witnesses = 1 + (abs(_above_the_plan(day, first)) <= NEAR_POINTS)
    unread = replace(day, start_sd_percent=START_UNREAD)
    fitted = fit(prior, [unread])
    begun = 100.0 * day.case.battery.start_share + START_UNREAD * fitted.nuisance[0][0]
    line = (
        f"line {first.number}: battery_percent of {first.battery_percent:g} does not fit the"
        f" others, and is left out: they fit a start near {np.clip(begun, 0.0, 100.0):.0f} %; was"
        " that the state of charge?"
    )
    return Believed(unread, fitted, (first,), (line,), fitted.cost + ODD * witnesses)


def _first(rows: Sequence[Row]) -> Row | None:
    """The row with the first percentage, from which a day begins."""
    return next((row for row in rows if row.battery_percent is not None), None)


def _above_the_plan(day: ForwardModel, first: Row) -> float:
    """How many points the first percentage is above what the plan's own start leads to."""
    middle = np.median(day.budget.charge_percent, axis=1)
    expected = float(np.interp(first.time_s, day.budget.time_s, middle))
    return (first.battery_percent or 0.0) - expected


def _other_clock(
    plan: Plan, rows: Sequence[Row], prior: Posterior, day: ForwardModel, later: bool
) -> tuple[int, float]:
    """By how many hours later all times fit best, and the sum of squares that is left then;
    infinite where at no other hour all rows lie in the plan's span and teach as much."""
    best = (0, np.inf)
    for hours in HOURS:
        by = timedelta(hours=hours)
        if not plan.span.start <= rows[0].at + by <= rows[-1].at + by <= plan.span.end:
            continue
        moved = [replace(r, at=r.at + by, time_s=r.time_s + hours * HOUR_S) for r in rows]
        try:
            other = observe(plan, moved, prior, later=later, previous=day.budget)
        except PlanError:  # what was counted cannot have been done then
            continue
        if len(other.observed) >= max(len(day.observed), LEAST_OBSERVED):
            best = min(
                best,
                (hours, fit(prior, [other.at_planned_times()]).cost),
                key=lambda shift: shift[1],
            )
    return best


def _clock_in_words(hours: int, plan: Plan) -> str:
    by, later = f"{abs(hours)} h", hours > 0
    zone = zone_in_words(plan.place.timezone)
    side = "east" if later else "west"
    panels = f", or did the panels face more to the {side}" if plan.panel else ""
    return (
        f"these readings fit far better with every time {by} {'later' if later else 'earlier'}, and"
        f" nothing is learned: is their clock {by} {'behind' if later else 'ahead of'} the plan's"
        f" ({zone}), was the work done {by} {'earlier' if later else 'later'} than"
        f" planned{panels}? Write it as it was; times with their offset from UTC, such as"
        " 2026-05-20T08:00+02:00, are believed"
    )


def start_note(plan: Plan, day: ForwardModel, rows: Sequence[Row]) -> list[str]:
    """A line where the first percentage is far from what the plan's own start leads to: by more
    than all that is planned to have moved by then."""
    first = _first(rows)
    if first is None or first.battery_percent is None:
        return []
    off, start = _above_the_plan(day, first), plan.pack.start_percent
    if abs(off) <= FAR_POINTS + abs(first.battery_percent - off - start):
        return []
    return [
        f"line {first.number}: battery_percent of {first.battery_percent:g} is {abs(off):.0f}"
        f" points {'above' if off > 0.0 else 'below'} what the plan's start of {start:g} % leads"
        " to: was it the state of charge? A display that is off by as much throughout would look"
        " the same"
    ]
