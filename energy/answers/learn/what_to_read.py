"""Which readings would teach most? Each kind is tried on the plan before it is made.

What a reading will say is not known, but how much doubt it leaves is. What counts is the doubt
about the plan's own lowest charge that comes from the kit.
"""

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from energy.answers.learn.fit import expected_covariance
from energy.answers.learn.kit_names import tools_of
from energy.answers.learn.lived_day import Day, at_moment
from energy.answers.learn.observe import observe
from energy.answers.learn.posterior import NOTHING as NOT_READ
from energy.answers.learn.posterior import Posterior, figures_of, refuse_another, words
from energy.answers.learn.readings import Row
from energy.model import Array
from energy.model.timeline import to_utc
from energy.plan import Plan, PlanError
from energy.simulation.budget import Budget

SUGGESTED = 3
LEAST_GAIN = 0.02  # of the doubt: less is not worth a walk to the pack
START_PERCENT, LOW_PERCENT, POINTS = 90.0, 18.0, 30.0
NIGHT_H = 8.0
LONGEST_WORK_S = 6.0 * 3600.0  # what runs longer is read at its ends anyway
SOLAR_TIMES = 4
NOTHING: dict[str, Any] = {
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
class _Try:
    """A reading tried: under which plan, at which moments, and what is read."""

    about: str
    text: str
    plan: Plan
    rows: tuple[Row, ...]
    covered: bool = False


def what_to_read(
    plan: Plan,
    posterior: Posterior | None = None,
    known: Budget | None = None,
    most: int = SUGGESTED,
) -> tuple[Suggestion, ...]:
    """The readings that would teach most about this plan, the best first.

    posterior is what is known of the kit already; none where it is left out.

    >>> found = what_to_read(Plan.read("builtin:cloudy-repair"))
    >>> len(found), found[0].doubt_left_percent < 100
    (3, True)
    """
    figures, posterior = figures_of(plan), posterior or NOT_READ
    refuse_another(posterior, figures)
    posterior = posterior.with_figures(figures)
    whole = observe(plan, [_row(plan, 1, t) for t in _ends(plan)], posterior, known=known)
    slope = _lowest_slope(whole, posterior)
    before = float(slope @ posterior.covariance @ slope)
    if before <= 0.0:
        return ()
    found: dict[str, Suggestion] = {}
    for one in _tries(plan, whole):
        try:
            day = observe(one.plan, one.rows, posterior, known=whole.budget, covered=one.covered)
        except PlanError:
            continue
        after = float(slope @ expected_covariance(posterior, day) @ slope)
        left = 100.0 * float(np.sqrt(max(after, 0.0) / before))
        if left > 100.0 * (1.0 - LEAST_GAIN):
            continue
        if one.about not in found or left < found[one.about].doubt_left_percent:
            found[one.about] = Suggestion(one.about, one.text, left)
    return tuple(sorted(found.values(), key=lambda one: one.doubt_left_percent)[:most])


def as_dict(found: Sequence[Suggestion]) -> dict[str, Any]:
    """Suggestions as `--json` prints them."""
    return {
        "what_to_read": [
            {**asdict(one), "doubt_left_percent": round(one.doubt_left_percent)} for one in found
        ]
    }


def _lowest_slope(day: Day, posterior: Posterior) -> Array:
    """How the lowest charge of the plan moves with each figure [percent], (p,)."""
    count = posterior.mean.size
    steps = np.maximum(0.25 * posterior.sd, 0.01)
    moved = np.concatenate([np.diag(steps), -np.diag(steps)], axis=1)
    theta = np.maximum(posterior.mean[:, None] + moved, 0.05)
    lowest = day.charge(theta, np.zeros((day.nuisances, 2 * count))).min(axis=0)
    return np.asarray((lowest[:count] - lowest[count:]) / (2.0 * steps))


def _ends(plan: Plan) -> tuple[datetime, datetime]:
    return plan.span.start, plan.span.end


def _row(plan: Plan, number: int, at: datetime, percent: float | None = None, **seen: Any) -> Row:
    """An imagined row; at the span's start the plan's own charge stands for what is read."""
    time_s = to_utc(at, ZoneInfo(plan.place.timezone))
    if percent is None:
        percent = plan.pack.start_percent
    return Row(number, at, time_s, battery_percent=percent, **seen)


def _tries(plan: Plan, whole: Day) -> list[_Try]:
    kinds: tuple[Callable[[Plan, Day], list[_Try]], ...] = (
        _around_tools,
        _idle_night,
        _known_charger,
        _sun,
        _sun_counter,
    )
    found = []
    for kind in kinds:
        try:
            found += kind(plan, whole)
        except PlanError:  # a plan for which this reading cannot be made
            continue
    return found


def _around_tools(plan: Plan, whole: Day) -> list[_Try]:
    """Percent before the first and after the last burst of each tool, the panel out or covered."""
    found = []
    result, tools = whole.budget, tools_of(plan)
    for name in dict.fromkeys(tools):
        mine = [burst for burst in result.bursts if tools[burst.task] == name]
        today = [m for m in mine if (m.window, m.task) == (mine[0].window, mine[0].task)]
        if not today or today[-1].end_s - today[0].start_s > LONGEST_WORK_S:
            continue
        rows = _two(plan, result, whole, today[0].start_s, today[-1].end_s)
        text = f"ead the percentage before the first use of {words(f'tool:{name}')}, when half of"
        text += " it is done and when it is finished; nothing else running, wait a minute."
        found.append(_Try(name, f"R{text}", plan, rows))
        if plan.panel:
            found.append(_Try(name, f"Cover the panel for it and r{text}", plan, rows, True))
    return found


def _two(plan: Plan, result: Budget, whole: Day, start_s: float, end_s: float) -> tuple[Row, ...]:
    """Percentages at two moments, and one in the middle; the pack not so full that it cannot be
    read."""
    edges = whole.case.edges
    ends = [max(start_s, float(edges[0])), min(end_s, float(edges[-1]))]
    moments = [ends[0], sum(ends) / 2.0, ends[1]]
    charge = whole.charge(np.ones((whole.in_plan.size, 1)) * whole.in_plan[:, None], _still(whole))
    rows = []
    for number, at in enumerate(moments, start=1):
        percent = float(at_moment(edges, charge, at)[0])
        local = result.local(at).replace(tzinfo=None, microsecond=0)
        rows.append(_row(plan, number, local, min(percent, START_PERCENT)))
    return tuple(rows)


def _still(day: Day) -> Array:
    return np.zeros((day.nuisances, 1))


def _alone(plan: Plan, start: datetime, hours: float, **changes: Any) -> Plan:
    """The plan's kit with nothing to do for some hours."""
    end = start + timedelta(hours=hours)
    quiet: dict[str, Any] = {"panel": [], "task": [NOTHING], "charger": []}
    quiet["weather"] = {"kind": "clear"}
    span = {"span.start": start, "span.end": end}
    return plan.replace(**{**quiet, **span, **changes})


def _idle_night(plan: Plan, whole: Day) -> list[_Try]:
    start = plan.span.start
    changes: dict[str, Any] = {"pack.start_percent": 80.0}
    with_inverter = plan.pack.inverter is not None
    if with_inverter:
        changes["pack.inverter.on"] = "always"
    alone = _alone(plan, start, NIGHT_H, **changes)
    rows = [_row(alone, k, t, 80.0 - 10.0 * k) for k, t in enumerate(_ends(alone))]
    what = "only the inverter on" if with_inverter else "nothing on"
    text = f"Read the percentage at bedtime and at dawn with {what}: that is the idle draw."
    return [_Try("idle", text, alone, tuple(rows))]


def _known_charger(plan: Plan, whole: Day) -> list[_Try]:
    watts = 0.4 * plan.pack.charge_max_w
    hours = POINTS / 100.0 * plan.pack.capacity_wh / watts
    alone = _alone(plan, plan.span.start, hours, **{"pack.start_percent": LOW_PERCENT})
    middle = plan.span.start + timedelta(hours=hours / 2.0)
    times = [alone.span.start, middle.replace(microsecond=0), alone.span.end]
    rows = [
        _row(alone, k, t, LOW_PERCENT + k * POINTS / 2.0, charger_w=watts)
        for k, t in enumerate(times)
    ]
    text = (
        f"Once, charge from below 20 % by {POINTS:.0f} points from a charger whose watts you know,"
        " the panel covered: nothing else gives the capacity."
    )
    return [_Try("capacity", text, alone, tuple(rows))]


def _sunny(plan: Plan, whole: Day, count: int) -> list[datetime]:
    """So many moments while the panels give something, on the first such day."""
    sun = whole.sun_w
    if not plan.panel or sun.max() <= 0.0:
        return []
    good = np.flatnonzero(sun > 0.25 * sun.max())
    edges = whole.case.edges
    first = float(edges[good[0]])
    last = float(edges[good[edges[good] < first + 12.0 * 3600.0][-1] + 1])
    at = np.linspace(first, last, count)
    return [whole.budget.local(float(t)).replace(tzinfo=None, microsecond=0) for t in at]


def _sun(plan: Plan, whole: Day) -> list[_Try]:
    rows = [
        _row(plan, k, t, 70.0, solar_w=100.0, sky=0)
        for k, t in enumerate(_sunny(plan, whole, SOLAR_TIMES))
    ]
    text = (
        f"On a clear day read the solar watts with the percentage {SOLAR_TIMES} times between"
        " mid-morning and mid-afternoon, the pack not yet near full, and write sky clear."
    )
    return [_Try("panel", text, plan, tuple(rows))] if rows else []


def _sun_counter(plan: Plan, whole: Day) -> list[_Try]:
    rows = [
        _row(plan, k, t, 70.0, solar_wh=10.0 + 200.0 * k)
        for k, t in enumerate(_sunny(plan, whole, 3))
    ]
    text = "With each percentage of the day write the day's solar watt-hours too."
    return [_Try("sun", text, plan, tuple(rows))] if rows else []
