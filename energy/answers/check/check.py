"""Does this day of work, or this night out, stay powered? The answer of `energy check`.

It words what the `Budget` knows: verdict, chance, lowest charge, tasks and why one does not run.
Fixes and cautions are answers of their own.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from energy.answers.check.checkpoints import Checkpoint, checkpoint_table, checkpoints
from energy.plan import Plan, PlanError, require_plan
from energy.show.moments import clock
from energy.show.numbers import for_json
from energy.simulation.answered import Answered
from energy.simulation.budget import Budget, budget, check_now
from energy.simulation.overloads import why_never, why_not_beside
from energy.simulation.progress import Done

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from energy.answers.caution.cautions import Caution

SKIES = ("clear", "broken", "overcast")


@dataclass(frozen=True)
class TaskAnswer:
    """How one task fares: Wh at its outlet, watts, and in what share of the weathers all of it
    is served [percent]; why_not is the number that broke it."""

    name: str
    tool: str
    supply: str
    must: bool
    energy_wh: float
    unmet_wh: float
    peak_w: float
    runs: bool
    why_not: str | None
    chance_percent: float


@dataclass(frozen=True)
class Now:
    """A day under way: the charge measured and what the plan expected at that time [percent];
    None where the weather held does not reach back to the plan's start."""

    at: datetime
    measured_percent: float
    expected_percent: float | None


@dataclass(frozen=True)
class Sky:
    """How the plan fares under one stated sky in all its days; the lowest charge in percent.

    too_cold: what stops it is the cold, in which the pack gives nothing.
    """

    sky: str
    verdict: str
    lowest_percent: float
    too_cold: bool = False


@dataclass(frozen=True)
class Check(Answered):
    """The answer, with the budget it rests on."""

    budget: Budget
    tasks: tuple[TaskAnswer, ...]
    now: Now | None = None
    skies: tuple[Sky, ...] = ()

    @cached_property
    def checkpoints(self) -> tuple[Checkpoint, ...]:
        """When to look at the display, what to expect, and below what to turn back."""
        return checkpoints(self.budget)

    def as_dict(self) -> dict[str, Any]:
        """The stable answer that `--json` prints; times are ISO on the plan's clock."""
        result = self.budget
        lowest = result.lowest()

        def clock(time_s: float | None) -> Any:
            return for_json(None if time_s is None else result.local(time_s), None)

        answer: dict[str, Any] = {
            "title": result.plan.title,
            "answer": self.answer,
            "verdict": result.verdict,
            "weather": {
                "kind": result.plan.weather.kind,
                "from": result.weather.source,
                "sharpen": result.weather.sharpen,
            },
            "chance": result.chance.as_dict(),
            "lowest_charge": {
                "percent": round(lowest.percent, 1),
                "at": clock(lowest.at_s),
                "spare_wh": round(lowest.spare_wh, 1),
                "dull_tenth_percent": round(result.dull_tenth_percent, 1),
            },
            "too_cold_from": clock(result.too_cold_from_s),
            "end_charge_percent": round(float(result.middle_charge_percent[-1]), 1),
            "full_again_at": clock(result.full_again_s),
            "ledger_wh": {name: round(wh, 2) for name, wh in result.middle_ledger_wh.items()},
            "tasks": [for_json(task, 2) for task in self.tasks],
            "checkpoints": [point.as_dict() for point in self.checkpoints],
        }
        if self.now is not None:
            done = [progress.as_dict() for progress in result.progress]
            answer["now"] = for_json(self.now, 1) | {"done": done}
        if self.skies:
            answer["skies"] = [for_json(sky, 1) for sky in self.skies]
        return answer

    def _repr_html_(self) -> str:
        return str(self.table().to_html())

    def table(self, of: Literal["tasks", "checkpoints"] = "tasks") -> "pd.DataFrame":
        """One row a task, indexed by its name; or a row a checkpoint, by its time on the plan's
        clock."""
        import pandas as pd

        if of == "checkpoints":
            return checkpoint_table(self.checkpoints)
        return pd.DataFrame([asdict(task) for task in self.tasks]).set_index("name")

    def timeline(self) -> "pd.DataFrame":
        """Charge and flows over time (see `Budget.timeline`)."""
        return self.budget.timeline()

    def plot(self, cautions: Sequence["Caution"] = ()) -> "Figure":
        """The charge across the span with tasks, sun and load, and what to take care of: a
        matplotlib figure."""
        from energy.answers.check import picture  # a result shows itself when asked

        return picture.charge(self.budget, cautions)


def check(
    plan: Plan,
    *,
    now: datetime | None = None,
    battery_percent: float | None = None,
    done: Done | None = None,
    skies: bool = False,
) -> Check:
    """Judge a plan in all its weathers.

    plan: the plan to judge.
    now: a naive time on the plan's clock; with battery_percent the rest of the span is judged from
        there. What was planned until then counts as done, but for the tasks in `done`.
    battery_percent: the charge measured at `now`, 0 to 100.
    done: by a task's name how much of it was done since the plan's start, in the unit in which the
        task is stated (times, charges, minutes, hours; minutes where it has a window alone), or
        "all" or "none". The rest is open; what is undone and whose time is over is left out.
    skies: sets a clear, a broken and an overcast sky beside the chance.

    Raises PlanError for a wrong plan, record, time, name or amount.

    >>> plan = Plan.read("builtin:cloudy-repair")
    >>> answer = check(plan)
    >>> answer.answer, answer.chance.scenarios
    ('almost', 31)
    >>> noon = datetime(2026, 9, 14, 12)
    >>> late = check(plan, now=noon, battery_percent=70, done={"tea": "none"})
    >>> late.as_dict()["now"]["done"]
    [{'task': 'tea', 'unit': 'times', 'planned': 1, 'done': 0, 'over': 0}]
    """
    require_plan(plan)
    check_now(plan, now, battery_percent, done)
    if now is None or battery_percent is None:
        result = budget(plan)
        return Check(result, task_answers(result), skies=under_skies(result) if skies else ())
    rest = budget(plan, now, battery_percent, done=done)
    at = rest.local(float(rest.time_s[0]))
    measured = Now(at, battery_percent, _expected_percent(plan, rest))
    under = under_skies(rest, now, battery_percent, done) if skies else ()
    return Check(rest, task_answers(rest), measured, under)


def _expected_percent(plan: Plan, rest: Budget) -> float | None:
    """The charge that the whole plan expects where its rest begins."""
    try:
        planned = budget(plan)
    except PlanError:
        return None  # a forecast fetched on the way begins after the plan
    charge = planned.middle_charge_percent
    return float(np.interp(rest.time_s[0], planned.time_s, charge))


def under_skies(
    result: Budget,
    now: datetime | None = None,
    battery_percent: float | None = None,
    done: Done | None = None,
) -> tuple[Sky, ...]:
    """The plan of a budget again, under a clear, a broken and an overcast sky, each at its mean."""
    skies = []
    for sky in SKIES:
        plan = result.plan.replace(**stated_sky(result, sky))
        under = budget(plan, now, battery_percent, done=done)
        cold = bool(under.too_cold[under.middle])
        skies.append(Sky(sky, under.verdict, under.lowest().percent, cold))
    return tuple(skies)


def stated_sky(result: Budget, sky: str) -> dict[str, Any]:
    """Changes that put the plan of a budget under one sky, at its mean.

    Where the plan states no air temperature, the range of the middle weather's air is kept.
    """
    temp_air = result.weather.air.temp_air
    air = temp_air[:, min(result.middle, temp_air.shape[1] - 1)]
    stated = result.plan.weather.temp_air_c
    weather = {
        "kind": "sky",
        "futures": 1,
        "temp_air_c": (float(air.min()), float(air.max())) if stated is None else stated,
        "wind_speed_m_s": result.plan.weather.wind_speed_m_s,
        "sky": sky,
    }
    return {"weather": weather, "place.elevation_m": result.days.site.elevation_m}


def task_answers(result: Budget) -> tuple[TaskAnswer, ...]:
    """How each task fares, in the plan's order."""
    answers = []
    for k, task in enumerate(result.plan.task):
        answers.append(
            TaskAnswer(
                name=task.name,
                tool=task.tool or "",
                supply=task.supply,
                must=task.must,
                energy_wh=float(result.asked_wh[k]),
                unmet_wh=float(result.unmet_wh[k, result.middle]),
                peak_w=task.peak_w,
                runs=k not in result.overloads_by_task,
                why_not=_why_not(result, k),
                chance_percent=100.0 * float((result.unmet_wh[k] <= 1e-9).mean()),
            )
        )
    return tuple(answers)


def _why_not(result: Budget, k: int) -> str | None:
    """What stops a task, by its number from 0, in the middle weather; None where nothing does."""
    bursts = len(result.bursts_by_task.get(k, []))
    flat_s = float(result.simulated.first_unmet_s[k, result.middle])
    if k in result.overloads_by_task:
        return why_never(result, k) or why_not_beside(result, k, bursts)
    if np.isfinite(flat_s):
        at = clock(result.calendar, flat_s)
        if result.too_cold_at(flat_s, result.middle):
            limit_c = result.plan.pack.discharge_min_c
            return f"pack too cold to give at {at} (below {limit_c:g} degrees C)"
        return f"pack flat from {at}"
    if bursts:
        return None
    if result.now is not None:
        return f"nothing of it comes after {clock(result.calendar, float(result.time_s[0]))}"
    return "nothing of it lies inside the span"
