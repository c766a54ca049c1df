"""What the page carries: the plan's weathers on coarser cells, and the plan as its script reads it.

The budget on just these numbers is made by the real simulation, so that the script has something to
be held against. How cells are made coarse is for `coarse`.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property
from typing import Any

import numpy as np

from energy.answers.check.check import Check, stated_sky, task_answers
from energy.answers.page.coarse import CarriedWeather, coarse_cells, means, rounded
from energy.model import Array, Index
from energy.plan import Plan, PlanError
from energy.plan.task import Task
from energy.simulation.budget import Budget, budget_in
from energy.simulation.case import calendar_of, derates, span_of
from energy.simulation.progress import Done
from energy.simulation.random_factors import lognormal, random_factors, standard_normals
from energy.simulation.solar import Solar, solar
from energy.weather.days import Days
from energy.weather.scenarios import weathers
from energy.weather.source import record_of
from energy.weather.weathers import Light, Weathers

MOST_SCENARIOS = 64
SPARE = 12  # tasks that may be added on the page
SKIES = ("clear", "few", "broken", "overcast")


@dataclass(frozen=True)
class Carried:
    """What the page carries of a plan; m scenarios, at most 64.

    full is the budget that it is made of. cells holds the edges of the page's cells [UTC s], lit
    the numbers of those with sun in any weather. weathers are the plan's own and, where a yes turns
    on the low end of the doubt about the place, that end's. skies holds the watts of the panels in
    the lit cells under each stated sky; none without panels. normals are the standard normal
    numbers behind the tasks' random factors by the tasks' names, spare those of tasks added on the
    page, each as many as the largest set of weathers has.
    """

    full: Budget
    cells: Array
    lit: Index
    weathers: tuple[CarriedWeather, ...]
    skies: Mapping[str, Array]
    normals: Mapping[str, Array]
    spare: tuple[Array, ...]

    @property
    def plan(self) -> Plan:
        """The plan."""
        return self.full.plan

    @property
    def scenarios(self) -> int:
        """How many of the plan's own weathers the page carries."""
        return self.weathers[0].count

    @property
    def most(self) -> int:
        """The most weathers of a set: at the low end there are many, however few the plan asks."""
        return max(weather.count for weather in self.weathers)

    @cached_property
    def check(self) -> Check:
        """The whole tool's answer."""
        return Check(self.full, task_answers(self.full))

    @cached_property
    def off_by_percent(self) -> float:
        """By how much the coarser sun moves the lowest charge, in the weather in which it moves it
        most [percent of charge]."""
        coarse = self.budget(self.plan)
        return float(
            max(
                np.abs(fine.lowest_percent[: mine.lowest_percent.size] - mine.lowest_percent).max()
                for fine, mine in zip((self.full, *self.full.bounds), coarse.deciding, strict=False)
            )
        )

    def budget(
        self,
        plan: Plan,
        now: datetime | None = None,
        percent: float | None = None,
        done: Done | None = None,
        factors: Mapping[str, Array] | None = None,
    ) -> Budget:
        """The budget of the plan, or of one changed on the page, on what the page carries.

        plan: the plan, its tasks changed.
        now: a naive time on its clock from which it is judged; None: from the start.
        percent: the charge then, in place of the plan's start charge.
        done: what was done by then (see `energy.simulation.progress`).
        factors: random factors of tasks by their name, (m,), in place of those carried.

        Raises PlanError as `energy.simulation.budget.budget` does.
        """
        if percent is not None:
            plan = plan.replace(**{"pack.start_percent": percent})
        days = replace(
            self.full.days,
            plan=plan,
            calendar=calendar_of(plan),
            span=span_of(plan, now),
            cells=self.cells,
        )
        sources = self.full.deciding[: len(self.weathers)]
        given = [
            self._weather(source, mine, days)
            for source, mine in zip(sources, self.weathers, strict=True)
        ]
        factor = [self._factor(plan, task, factors or {}) for task in plan.task]
        return budget_in(days, given, now, done, np.stack(factor))

    def _weather(self, source: Budget, mine: CarriedWeather, days: Days) -> tuple[Weathers, Solar]:
        """Carried weather as the simulation takes it; the light itself is not carried, only what
        the panels make of it."""
        weather, count = source.weather, mine.count
        dark = np.zeros((self.lit.size, 0))
        worth = weather.effective_sample_size
        seconds = np.diff(np.clip(days.cells, *days.span))[self.lit]
        taken_wh = (mine.sun_w * seconds[:, None]).sum(axis=0) / 3600.0
        carried = replace(
            weather,
            light=Light(self.lit, weather.light.sun, dark, dark, dark),
            air=replace(weather.air, temp_air=mine.temp_c, wind_speed=np.zeros((1, 1))),
            shift_days=weather.shift_days[:count],
            effective_sample_size=None if worth is None else min(worth, float(count)),
        )
        return carried, Solar(mine.sun_w, taken_wh, np.zeros(count), np.zeros(count))

    def _factor(self, plan: Plan, task: Task, given: Mapping[str, Array]) -> Array:
        """The random factors of a task, one for each of the most weathers."""
        if task.name in given:
            return given[task.name]
        if task.name not in self.normals:
            return random_factors(plan, "task", task.name, task.spread_percent, self.most)
        return lognormal(self.normals[task.name], task.spread_percent)

    def data(self) -> dict[str, Any]:
        """All that the page's script needs, as JSON takes it."""
        from energy.answers.page.data import data_of

        return data_of(self)


def carried(budget: Budget) -> Carried:
    """What the page carries of a whole plan's budget. Raises PlanError for that of a day under way.

    >>> from energy.simulation.budget import budget
    >>> page = carried(budget(Plan.read("builtin:cloudy-repair")))
    >>> page.scenarios, page.budget(page.plan).answer
    (31, 'almost')
    """
    plan = budget.plan
    if budget.now is not None:
        raise PlanError([f"{plan.origin}: the page is made of the whole plan, without --now"])
    sources = budget.deciding[:2]
    cells = coarse_cells(budget.days.cells, budget.days.span)
    sun_w = [_sun_w(each, cells) for each in sources]
    skies = _skies(budget, cells) if plan.panel else {}
    shine = np.column_stack([*sun_w, *(watts[:, None] for watts in skies.values())])
    lit = np.flatnonzero(shine.any(axis=1))
    count = max(watts.shape[1] for watts in sun_w)
    return Carried(
        full=budget,
        cells=cells,
        lit=lit,
        weathers=tuple(
            rounded(watts[lit], _temp_c(each, cells))
            for each, watts in zip(sources, sun_w, strict=True)
        ),
        skies={sky: np.round(watts[lit], 1) for sky, watts in skies.items()},
        normals={task.name: _normals(plan, "task", task.name, count) for task in plan.task},
        spare=tuple(_normals(plan, "added task", str(k), count) for k in range(SPARE)),
    )


def _normals(plan: Plan, kind: str, name: str, count: int) -> Array:
    """Standard normal numbers, rounded to what the page holds of them."""
    normals = standard_normals(plan, kind, name, count).astype(np.float32)
    return normals.astype(float)


def _sun_w(source: Budget, cells: Array) -> Array:
    """What the panels give on the page's cells [W], (cells, m)."""
    lit_w = source.solar.panel_w[:, :MOST_SCENARIOS]
    return _all_cells(lit_w, source.weather.light.lit, source.days, cells)


def _all_cells(lit_w: Array, lit: Index, days: Days, cells: Array) -> Array:
    """Watts of the lit cells of the days as means over the page's cells, (cells, m)."""
    watts = np.zeros((days.cells.size - 1, lit_w.shape[1]))
    watts[lit] = lit_w
    return means(watts, days.cells, cells)


def _temp_c(source: Budget, cells: Array) -> Array:
    """The air around the pack on the page's cells [deg C], (cells, m or 1)."""
    temperature = source.plan.pack.temperature
    if temperature is not None:
        return np.full((cells.size - 1, 1), temperature)
    return means(source.weather.air.temp_air[:, :MOST_SCENARIOS], source.days.cells, cells)


def _skies(budget: Budget, cells: Array) -> dict[str, Array]:
    """What the panels give on the page's cells under stated skies [W], each (cells,)."""
    watts = {}
    for sky in SKIES:
        plan = budget.plan.replace(**stated_sky(budget, sky))
        days = replace(budget.days, plan=plan, record=record_of(plan))
        weather = weathers(days)[0]
        under = solar(days, weather, derates(plan, 1))
        watts[sky] = _all_cells(under.panel_w, weather.light.lit, days, cells)[:, 0]
    return watts
