"""Which readings would teach most? Each kind is tried on the plan before it is made.

What a reading will say is not known, but how much doubt it leaves is. What counts is the doubt
about the plan's own lowest charge that comes from the kit.
"""

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from energy.answers.learn.component_names import tools_of
from energy.answers.learn.fit import expected_covariance
from energy.answers.learn.forward_model import ForwardModel, at_moment
from energy.answers.learn.observe import observe
from energy.answers.learn.posterior import EMPTY, Posterior, figures_of, refuse_another, words
from energy.answers.learn.readings import Row
from energy.model import Array
from energy.model.timeline import to_utc
from energy.plan import Plan, PlanError, require_plan
from energy.simulation.budget import Budget
from energy.weather.record import HOUR_S

SUGGESTED = 3
LEAST_GAIN = 0.02  # of the doubt: less is not worth a walk to the pack
START_PERCENT, LOW_PERCENT, POINTS = 90.0, 18.0, 30.0
NIGHT_H = 8.0
LONGEST_WORK_S = 6.0 * HOUR_S  # what runs longer is read at its ends anyway
SUNNY_SHARE, SUNNY_H = 0.25, 12.0  # of the most sun; from the first such moment on
SOLAR_TIMES = 4
NO_TASK: dict[str, Any] = {
    "name": "nothing", "supply": "dc12", "working_w": 0, "spread_percent": 0, "minutes": 1,
}  # fmt: skip


@dataclass(frozen=True)
class Suggestion:
    """A reading to make: what it teaches, in words, and the percent of the doubt about the plan's
    lowest charge (as far as the kit makes it) that is left after it."""

    about: str
    text: str
    doubt_left_percent: float


@dataclass(frozen=True)
class _Trial:
    """Readings tried: what they are about, the advice to make them, under which plan, and rows as
    they might come; covered where the panels are."""

    about: str
    text: str
    plan: Plan
    rows: tuple[Row, ...]


def what_to_read(
    plan: Plan,
    posterior: Posterior | None = None,
    previous: Budget | None = None,
    most: int = SUGGESTED,
) -> tuple[Suggestion, ...]:
    """The readings that would teach most about this plan, the best first.

    plan: the plan of the next day.
    posterior: what is known of the kit already; None where nothing is.
    previous: the budget of a plan that differs little, to save work.
    most: how many readings at the most.

    Raises PlanError where the plan's figures are of another kit.

    >>> suggestions = what_to_read(Plan.read("builtin:cloudy-repair"))
    >>> len(suggestions), suggestions[0].doubt_left_percent < 100
    (3, True)
    """
    require_plan(plan)
    figures, posterior = figures_of(plan), posterior or EMPTY
    refuse_another(posterior, figures)
    posterior = posterior.with_figures(figures)
    span = [_row(plan, 1, at) for at in (plan.span.start, plan.span.end)]
    whole_span = observe(plan, span, posterior, previous=previous)
    slope = _lowest_slope(whole_span, posterior)
    variance = float(slope @ posterior.covariance @ slope)
    if not 0.0 < variance < np.inf:
        return ()
    best: dict[str, Suggestion] = {}
    for trial in _trials(plan, whole_span):
        try:
            day = observe(trial.plan, trial.rows, posterior, previous=whole_span.budget)
        except PlanError:
            continue
        after = float(slope @ expected_covariance(posterior, day.at_planned_times()) @ slope)
        left = 100.0 * float(np.sqrt(max(after, 0.0) / variance))
        if not left <= 100.0 * (1.0 - LEAST_GAIN):  # or no number
            continue
        if trial.about not in best or left < best[trial.about].doubt_left_percent:
            best[trial.about] = Suggestion(trial.about, trial.text, left)
    ranked = sorted(best.values(), key=lambda suggestion: suggestion.doubt_left_percent)
    return tuple(ranked[:most])


def as_dict(suggestions: Sequence[Suggestion]) -> dict[str, Any]:
    """Suggestions as `--json` prints them."""
    return {
        "what_to_read": [
            {**asdict(suggestion), "doubt_left_percent": round(suggestion.doubt_left_percent)}
            for suggestion in suggestions
        ]
    }


def _lowest_slope(day: ForwardModel, posterior: Posterior) -> Array:
    """How the lowest charge of the plan moves with each figure [percent], (p,)."""
    count = posterior.mean.size
    steps = np.maximum(0.25 * posterior.sd, 0.01)
    moved = np.concatenate([np.diag(steps), -np.diag(steps)], axis=1)
    theta = np.maximum(posterior.mean[:, None] + moved, 0.05)
    lowest = day.charge(theta, np.zeros((day.nuisances, 2 * count))).min(axis=0)
    return np.asarray((lowest[:count] - lowest[count:]) / (2.0 * steps))


def _row(plan: Plan, number: int, at: datetime, percent: float | None = None, **values: Any) -> Row:
    """An imagined row; where no percent is given, with the plan's own charge at the start."""
    time_s = to_utc(at, ZoneInfo(plan.place.timezone))
    if percent is None:
        percent = plan.pack.start_percent
    return Row(number, at, time_s, battery_percent=percent, **values)


def _trials(plan: Plan, day: ForwardModel) -> list[_Trial]:
    kinds: tuple[Callable[[Plan, ForwardModel], list[_Trial]], ...] = (
        _around_tools,
        _idle_night,
        _known_charger,
        _sun,
        _sun_counter,
    )
    trials = []
    for kind in kinds:
        try:
            trials += kind(plan, day)
        except (PlanError, OverflowError):  # a plan for which this reading cannot be made
            continue
    return trials


def _around_tools(plan: Plan, day: ForwardModel) -> list[_Trial]:
    """Percent before the first and after the last burst of each tool, the panel out or covered."""
    trials = []
    tools = tools_of(plan)
    for name in dict.fromkeys(tools):
        bursts = [burst for burst in day.budget.bursts if tools[burst.task] == name]
        first = (bursts[0].window, bursts[0].task) if bursts else None
        work = [burst for burst in bursts if (burst.window, burst.task) == first]
        if not work or work[-1].end_s - work[0].start_s > LONGEST_WORK_S:
            continue
        rows = _three_rows(plan, day, work[0].start_s, work[-1].end_s)
        text = f"ead the percentage before the first use of {words(f'tool:{name}')}, when half of"
        text += " it is done and when it is finished; nothing else running, wait a minute."
        trials.append(_Trial(name, f"R{text}", plan, rows))
        if plan.panel:
            covered = tuple(replace(row, panel=0.0) for row in rows)
            text = f"Cover the panel for it, write covered under panel, and r{text}"
            trials.append(_Trial(name, text, plan, covered))
    return trials


def _three_rows(plan: Plan, day: ForwardModel, start_s: float, end_s: float) -> tuple[Row, ...]:
    """Percentages at two moments, and one in the middle; the pack not so full that it cannot be
    read."""
    edges = day.case.edges
    start_s, end_s = max(start_s, float(edges[0])), min(end_s, float(edges[-1]))
    charge = day.charge(day.stated_factor[:, None], np.zeros((day.nuisances, 1)))
    rows = []
    for number, at_s in enumerate((start_s, (start_s + end_s) / 2.0, end_s), start=1):
        percent = float(at_moment(edges, charge, at_s)[0])
        rows.append(_row(plan, number, _local(day, at_s), min(percent, START_PERCENT)))
    return tuple(rows)


def _local(day: ForwardModel, at_s: float) -> datetime:
    """A moment on the plan's clock, to the second."""
    return day.budget.local(at_s).replace(tzinfo=None, microsecond=0)


def _alone(plan: Plan, hours: float, **changes: Any) -> Plan:
    """The plan's kit with nothing to do and no panel for some hours from the span's start."""
    quiet: dict[str, Any] = {
        "panel": [],
        "task": [NO_TASK],
        "charger": [],
        "weather": {"kind": "clear"},
        "span.start": plan.span.start,
        "span.end": plan.span.start + timedelta(hours=hours),
    }
    return plan.replace(**{**quiet, **changes})


def _idle_night(plan: Plan, day: ForwardModel) -> list[_Trial]:
    changes: dict[str, Any] = {"pack.start_percent": 80.0}
    with_inverter = plan.pack.inverter is not None
    if with_inverter:
        changes["pack.inverter.on"] = "always"
    alone = _alone(plan, NIGHT_H, **changes)
    rest = "inverter" if with_inverter else "nothing"
    rows = (
        _row(alone, 0, alone.span.start, 80.0),
        _row(alone, 1, alone.span.end, 70.0, tool=rest),
    )
    running = "only the inverter on" if with_inverter else "nothing on"
    text = (
        f"Read the percentage at bedtime and at dawn with {running}, and write {rest} under tool at"
        " dawn: that is the idle draw."
    )
    return [_Trial("idle", text, alone, rows)]


def _known_charger(plan: Plan, day: ForwardModel) -> list[_Trial]:
    watts = 0.4 * plan.pack.charge_max_w
    hours = POINTS / 100.0 * plan.pack.capacity_wh / watts
    alone = _alone(plan, hours, **{"pack.start_percent": LOW_PERCENT})
    middle = plan.span.start + timedelta(hours=hours / 2.0)
    times = [alone.span.start, middle.replace(microsecond=0), alone.span.end]
    rows = [
        _row(alone, k, at, LOW_PERCENT + k * POINTS / 2.0, charger_w=watts, tool="nothing")
        for k, at in enumerate(times)
    ]
    text = (
        f"Once, charge from below 20 % by {POINTS:.0f} points from a charger whose watts you know,"
        " the panel covered, and write charger_w, nothing under tool and covered under panel:"
        " nothing else gives the capacity."
    )
    return [_Trial("capacity", text, alone, tuple(rows))]


def _sunny_times(plan: Plan, day: ForwardModel, count: int) -> list[datetime]:
    """So many moments while the panels give something, on the first such day."""
    if not plan.panel or not day.sun_w.max() > 0.0:
        return []
    sunny = np.flatnonzero(day.sun_w > SUNNY_SHARE * day.sun_w.max())
    edges = day.case.edges
    first_s = float(edges[sunny[0]])
    last_s = float(edges[sunny[edges[sunny] < first_s + SUNNY_H * HOUR_S][-1] + 1])
    return [_local(day, float(at_s)) for at_s in np.linspace(first_s, last_s, count)]


def _sun(plan: Plan, day: ForwardModel) -> list[_Trial]:
    rows = [
        _row(plan, k, at, 70.0, solar_w=100.0, sky=0)
        for k, at in enumerate(_sunny_times(plan, day, SOLAR_TIMES))
    ]
    text = (
        f"On a clear day read the solar watts with the percentage {SOLAR_TIMES} times between"
        " mid-morning and mid-afternoon, the pack not yet near full, and write sky clear."
    )
    return [_Trial("panel", text, plan, tuple(rows))] if rows else []


def _sun_counter(plan: Plan, day: ForwardModel) -> list[_Trial]:
    rows = [
        _row(plan, k, at, 70.0, solar_wh=10.0 + 200.0 * k)
        for k, at in enumerate(_sunny_times(plan, day, 3))
    ]
    text = "With each percentage of the day write the day's solar watt-hours too."
    return [_Trial("sun", text, plan, tuple(rows))] if rows else []
