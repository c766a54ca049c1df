"""The one pass: a plan and its weather become segments, sun, demand and scenarios, and are
simulated.

Every answer asks `budget` once or in a loop. What came of it is asked of the `Budget`, in
`result`; the physics lives in `model`, the weather in `weather`, the laying out of a plan in
`case`.
"""

from collections.abc import Callable, Container, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from typing import Any

import numpy as np

from energy.model import Array
from energy.model.case import Case
from energy.model.demand import Burst
from energy.model.simulate import Simulated, simulate
from energy.plan import Plan, PlanError, require_plan
from energy.plan.task import called
from energy.simulation.bursts import Placed, place_bursts
from energy.simulation.cables import mains_notes
from energy.simulation.case import calendar_of, days_of, derates, idle_notes, lay_out, span_of
from energy.simulation.clock_changes import clock_notes
from energy.simulation.demand import Demand, demand_of
from energy.simulation.progress import Done, Progress, left_by_window, progress
from energy.simulation.result import Budget as Budget
from energy.simulation.result import Lowest as Lowest
from energy.simulation.solar import Solar, solar
from energy.simulation.strings import laid_out, pwm_notes
from energy.weather.days import Days
from energy.weather.scenarios import weathers
from energy.weather.source import record_of
from energy.weather.weathers import Weathers

Step = Callable[[Case], Simulated]
Given = tuple[Weathers, Solar | None]  # the weather, and what the panels give where it is known
WITHOUT_BOOKS: Step = partial(simulate, books=False)
WITHOUT_LEDGER: Step = partial(simulate, ledger=False)
DOUBTS = (-1.645, 1.645)  # the 5 and the 95 % point of the doubt about the means


def budget(
    plan: Plan,
    now: datetime | None = None,
    battery_percent: float | None = None,
    previous: Budget | None = None,
    done: Done | None = None,
    step: Step = WITHOUT_LEDGER,
) -> Budget:
    """Simulate a plan in all its weathers, from its start or from a measured charge at `now`.

    plan: what is simulated.
    now: a naive time on the plan's clock inside the span, from which it is simulated; what lies
        before is done. None: from the start.
    battery_percent: the charge at `now` [percent], in place of the plan's start charge.
    previous: the budget of a plan that differs little; what the change leaves alone is taken over.
    done: by a task's name or tool how much of it was done by `now`, where that is not what was
        planned (see `energy.simulation.progress`).
    step: the pass of the simulation, or a quicker relative of it, for a search.

    Raises PlanError for what only the days themselves show (a record too short, repeats that do not
    fit between sunrise and sunset), for names and amounts in `done` that cannot be, and for more
    moments and weathers than can be simulated.

    >>> plan = Plan.read("builtin:cloudy-repair")
    >>> budget(plan).verdict in ("stays-powered", "dips-into-reserve", "runs-flat", "overloads")
    True
    """
    require_plan(plan)
    if battery_percent is not None:
        plan = plan.replace(**{"pack.start_percent": battery_percent})
    if previous is not None and not _same_weather(previous.plan, plan):
        previous = None
    calendar = previous.calendar if previous is not None else calendar_of(plan)
    span = span_of(plan, now)
    if previous is not None:
        days = days_of(plan, previous.days.record, calendar, span, previous.days.site)
    else:
        days = days_of(plan, record_of(plan), calendar, span)
    done = done or {}
    asked = plan.task, now, done
    if previous is not None and (previous.plan.task, previous.now, previous.done) == asked:
        steps, placed = previous.progress, previous.placed
    else:
        steps = progress(plan, calendar, span, done)
        placed = place_bursts(plan, calendar, span, left_by_window(steps))
    demand = demand_of(days, placed, previous=None if previous is None else previous.demand)
    shared = _Shared(days, demand, now, done, steps)
    if previous is not None and np.array_equal(previous.days.cells, days.cells):
        same_sun = _same_panels(previous.plan, plan)
        given = [
            (each.weather, each.solar if same_sun else _other_sun(days, each))
            for each in (previous, *previous.bounds)
        ]
        return _judged_in_all(shared, given, step)
    several = weathers(days, DOUBTS, demand.edges.size - 1)
    return _judged_in_all(shared, [(weather, None) for weather in several], step)


def budget_of(plan: Plan | Budget) -> Budget:
    """The budget of a plan, for an answer that may be asked about either."""
    return plan if isinstance(plan, Budget) else budget(plan)


def check_now(
    plan: Plan, now: datetime | None, battery_percent: float | None, done: Done | None = None
) -> None:
    """Raise PlanError for a time outside the span, a charge that cannot be, or one without the
    other."""
    if now is None and battery_percent is None:
        if done:
            raise PlanError(["--done needs --now and --battery, the charge measured then"])
        return
    if now is None or battery_percent is None:
        raise PlanError(["--now and --battery, the charge measured then, are needed together"])
    span = plan.span
    if not span.start <= now < span.end:
        raise PlanError(
            [
                f"the time {now:%Y-%m-%d %H:%M} lies outside the plan's span,"
                f" {span.start:%Y-%m-%d %H:%M} to {span.end:%Y-%m-%d %H:%M}"
            ]
        )
    if not 0.0 <= battery_percent <= 100.0:
        raise PlanError([f"--battery must be between 0 and 100 (got {battery_percent:g})"])


def changed(previous: Budget, changes: Mapping[str, Any], step: Step = WITHOUT_LEDGER) -> Budget:
    """The budget of a plan with some keys changed (see `Plan.replace`), in the same weathers.

    step: as for `budget`.

    >>> demo = budget(Plan.read("builtin:cloudy-repair"))
    >>> changed(demo, {"pack.capacity_wh": 1100}).plan.pack.capacity_wh
    1100.0
    """
    plan = previous.plan.replace(**changes)
    done = {name: amount for name, amount in previous.done.items() if called(plan.task, name)}
    return budget(plan, previous.now, previous=previous, done=done, step=step)


def with_bursts(previous: Budget, bursts: Sequence[Burst]) -> Budget:
    """The budget of the same plan if just these bursts of its tasks were wanted, in the same
    weathers; without the ends of the doubt.

    >>> demo = budget(Plan.read("builtin:cloudy-repair"))
    >>> bool(with_bursts(demo, demo.bursts[:3]).lowest_percent.min() > demo.lowest_percent.min())
    True
    """
    placed = Placed(tuple(bursts), previous.placed.begun, previous.placed.notes)
    return _asked(previous, demand_of(previous.days, placed))


def budget_in(
    days: Days,
    given: Sequence[Given] | None = None,
    now: datetime | None = None,
    done: Done | None = None,
    factor: Array | None = None,
) -> Budget:
    """The budget of a plan's days that are laid out already, or in weathers in which it is known
    what the panels give.

    days: the plan with the cells on which air and panels are given, over the span that is judged.
    given: weather and panels, first those of the plan, then those at the ends of the doubt about
        the means; those of the days where it is left out.
    now, done: as for `budget`; the span of the days begins at `now`.
    factor: random factors of the tasks, (tasks, m or more), in place of those drawn here.

    Raises PlanError as `budget` does.

    >>> demo = budget(Plan.read("builtin:cloudy-repair"))
    >>> again = budget_in(demo.days, [(demo.weather, demo.solar)])
    >>> bool(np.array_equal(again.charge_percent, demo.charge_percent))
    True
    """
    done = done or {}
    steps = progress(days.plan, days.calendar, days.span, done)
    placed = place_bursts(days.plan, days.calendar, days.span, left_by_window(steps))
    shared = _Shared(days, demand_of(days, placed), now, done, steps, factor)
    if given is None:
        segments = shared.demand.edges.size - 1
        given = [(weather, None) for weather in weathers(days, DOUBTS, segments)]
    return _judged_in_all(shared, given)


def as_done(previous: Budget, tasks: Container[int]) -> Budget:
    """The budget of the same plan where some tasks, by their numbers from 0, were done: no limit
    turns them away; without the ends of the doubt.

    >>> repair = Plan.read("builtin:cloudy-repair").replace(**{"task.2.start_w": 9000})
    >>> len(budget(repair).overloads), len(as_done(budget(repair), [1]).overloads)
    (16, 0)
    """
    return _asked(previous, demand_of(previous.days, previous.placed, tasks))


def _asked(previous: Budget, demand: Demand) -> Budget:
    """The budget of the same plan with another demand, without the ends of the doubt."""
    shared = _Shared(previous.days, demand, previous.now, previous.done, previous.progress)
    return _judged(shared, previous.weather, previous.solar)


@dataclass(frozen=True)
class _Shared:
    """What the budgets of a plan share, whatever the weather."""

    days: Days
    demand: Demand
    now: datetime | None
    done: Done
    progress: tuple[Progress, ...]
    factor: Array | None = None


def _judged_in_all(shared: _Shared, given: Sequence[Given], step: Step = WITHOUT_LEDGER) -> Budget:
    """One pass in the plan's weathers, and one at each end of the doubt about the means."""
    several = [_judged(shared, *each, step) for each in given]
    return replace(several[0], bounds=tuple(several[1:]))


def _judged(
    shared: _Shared, weather: Weathers, sun: Solar | None, step: Step = WITHOUT_LEDGER
) -> Budget:
    """One pass; sun, where given, is what the panels give."""
    days, demand = shared.days, shared.demand
    plan, cold = days.plan, days.site.cold
    ready = lay_out(days, demand, weather, sun, shared.factor)
    simulated = step(ready.case)
    return Budget(
        days=days,
        weather=weather,
        time_s=ready.case.edges,
        capacity_wh=ready.case.battery.capacity_wh,
        simulated=simulated,
        demand=demand,
        asked_wh=demand.asked_wh,
        unmet_wh=simulated.unmet_wh + demand.turned_away_wh[:, None] * ready.case.factor,
        notes=(
            *weather.notes,
            *clock_notes(days, shared.now),
            *pwm_notes(laid_out(plan, cold)),
            *demand.placed.notes,
            *idle_notes(days),
            *mains_notes(plan, cold),
        ),
        case=ready.case,
        solar=ready.solar,
        derate=ready.derate,
        now=shared.now,
        done=shared.done,
        progress=shared.progress,
    )


def _other_sun(days: Days, previous: Budget) -> Solar:
    """What the panels of a plan's days give in the weather of a budget in the same cells."""
    weather = previous.weather
    derate = derates(days.plan, weather.shift_days.size)
    return solar(days, weather, derate, previous.solar)


def _same_weather(plan: Plan, other: Plan) -> bool:
    """Whether two plans have the same days and weathers."""
    return (plan.place, plan.span, plan.weather) == (other.place, other.span, other.weather)


def _same_panels(plan: Plan, other: Plan) -> bool:
    """Whether two plans in the same weather get the same power from their panels."""
    return (plan.panel, plan.run, plan.pack.solar_input, plan.pack.nominal_v) == (
        other.panel,
        other.run,
        other.pack.solar_input,
        other.pack.nominal_v,
    )
