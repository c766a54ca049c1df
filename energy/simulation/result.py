"""What came of a plan in its weathers: charge, sun and loads, and what is asked of them.

Success, chance, lowest charge and verdict are worked out here, for every answer alike. How a plan
is brought here is for `budget`.
"""

from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from energy.model import Array, Index, Mask
from energy.model.case import Case
from energy.model.demand import Burst
from energy.model.limits import Overload, running
from energy.model.simulate import Simulated, simulate
from energy.model.timeline import Calendar
from energy.plan import Plan
from energy.simulation.bursts import Placed
from energy.simulation.demand import Demand
from energy.simulation.progress import Done, Progress
from energy.simulation.solar import Solar
from energy.simulation.success import Chance, lowest_point, needed, reached, succeeds, wilson
from energy.weather.days import Days
from energy.weather.weathers import Weathers

if TYPE_CHECKING:
    import pandas as pd

FULL_PERCENT = 99.5
LEDGER = (
    "sun_on_panel",
    "panel_losses",
    "refused",
    "spilled",
    "other_charging",
    "charge_loss",
    "discharge_loss",
    "idle",
    "conversion_loss",
    "delivered",
    "unmet",
    "stored_change",
)


@dataclass(frozen=True)
class Lowest:
    """The lowest point of one scenario: percent of charge, when [UTC s], Wh above the reserve, and
    the percent that the cold holds back then: 100 where it is too cold to give."""

    percent: float
    at_s: float
    spare_wh: float
    cold_unavailable_percent: float


@dataclass(frozen=True)
class Budget:
    """Charge, sun and load of a plan over time (n segments) and scenarios (m).

    time_s [UTC s], (n + 1,); charge_percent of label x health, (n + 1, m); unmet_wh (tasks, m) with
    overloads counted in; asked_wh (tasks,) the stated energy inside the span; notes are lines the
    answer should say; progress is how far those tasks are that `done` names. days, case, solar, now
    and done are what it was made from; derate (m,) is the mean share of their labels that the
    panels give in each scenario; bounds are the budgets at both ends of the doubt about the means
    of synthetic weather.
    """

    days: Days = field(repr=False)
    weather: Weathers
    time_s: Array
    capacity_wh: Array
    simulated: Simulated
    demand: Demand = field(repr=False)
    asked_wh: Array
    unmet_wh: Array
    notes: tuple[str, ...]
    case: Case = field(repr=False)
    solar: Solar = field(repr=False)
    derate: Array = field(repr=False)
    now: datetime | None = None
    done: Done = field(default_factory=dict)
    progress: tuple[Progress, ...] = ()
    bounds: "tuple[Budget, ...]" = field(default=(), repr=False)

    @property
    def plan(self) -> Plan:
        """The plan."""
        return self.days.plan

    @property
    def calendar(self) -> Calendar:
        """The plan's local dates with their clock and sun."""
        return self.days.calendar

    @property
    def placed(self) -> Placed:
        """When the tasks run."""
        return self.demand.placed

    @property
    def overloads(self) -> tuple[Overload, ...]:
        """The bursts that the limits turn away, each with its limit."""
        return self.demand.overloads

    @property
    def bursts(self) -> tuple[Burst, ...]:
        """All bursts of all tasks inside the span."""
        return self.placed.bursts

    @cached_property
    def running(self) -> tuple[Burst, ...]:
        """The bursts that run: those that no limit turned away."""
        return running(self.bursts, self.overloads)

    @cached_property
    def bursts_by_task(self) -> dict[int, list[Burst]]:
        """The bursts of each task that has some, by its number from 0."""
        own: dict[int, list[Burst]] = {}
        for burst in self.bursts:
            own.setdefault(burst.task, []).append(burst)
        return own

    @cached_property
    def overloads_by_task(self) -> dict[int, list[Overload]]:
        """The overloads of each task that has some, by its number from 0."""
        own: dict[int, list[Overload]] = {}
        for overload in self.overloads:
            own.setdefault(overload.burst.task, []).append(overload)
        return own

    @property
    def charge_percent(self) -> Array:
        """State of charge at the segments' edges, (n + 1, m); made anew each time."""
        return self.simulated.store_wh * (100.0 / self.capacity_wh)

    @property
    def middle_charge_percent(self) -> Array:
        """State of charge at the segments' edges in the middle scenario, (n + 1,)."""
        store_wh = self.simulated.store_wh[:, self.middle]
        return np.asarray(store_wh * (100.0 / self.capacity_wh[self.middle]))

    @property
    def cold_unavailable_percent(self) -> Array:
        """What the cold holds back in each segment [percent of charge], (n, m or 1)."""
        return 100.0 * self.case.cold_unavailable()

    @cached_property
    def _lowest(self) -> tuple[Index, Array]:
        """Edge and height above the cold's share [percent] of each scenario's lowest point."""
        return lowest_point(self.case, self.simulated)

    @property
    def lowest_percent(self) -> Array:
        """State of charge at each scenario's lowest point, (m,)."""
        edge, _ = self._lowest
        store_wh = self.simulated.store_wh[edge, np.arange(edge.size)]
        return np.asarray(store_wh * (100.0 / self.capacity_wh))

    @property
    def cold_unavailable_at_lowest_percent(self) -> Array:
        """What the cold holds back at each scenario's lowest point [percent of charge], (m,)."""
        return np.asarray(self.lowest_percent - self._lowest[1])

    def too_cold_at(self, time_s: Array | float, scenario: Index | int) -> Mask:
        """Whether it is too cold for the pack to give at moments of scenarios, which are one
        shape."""
        row = np.searchsorted(self.time_s, time_s, side="right") - 1
        row = self.case.temp_row[np.clip(row, 0, self.time_s.size - 2)]
        air = self.case.temp_pack
        return self.case.battery.too_cold(air[row, scenario if air.shape[1] > 1 else 0])

    @cached_property
    def too_cold(self) -> Mask:
        """Which futures fail because the pack is too cold to give, not because it is empty, (m,).

        Where anything goes short, its first moment tells; else the lowest point does.
        """
        first = self.simulated.first_short_s
        at_first = self.too_cold_at(first, np.arange(first.size))
        at_lowest = self.cold_unavailable_at_lowest_percent > 99.9
        return ~self.success & np.where(self.simulated.ran_short, at_first, at_lowest)

    @property
    def too_cold_from_s(self) -> float | None:
        """From when the pack is first too cold to give in the middle weather [UTC s], or None."""
        case = self.middle_case
        cold = np.flatnonzero(case.battery.too_cold(case.temp_c()[:, 0]))
        return float(self.time_s[cold[0]]) if cold.size else None

    @cached_property
    def success(self) -> Mask:
        """Which scenarios keep the reserve and leave nothing unmet for want of energy, (m,)."""
        return succeeds(self._lowest[1], self.simulated, self.plan.pack.reserve_percent)

    @property
    def powered(self) -> Mask:
        """In which scenarios nothing that was planned stops, whether the reserve is kept or not,
        (m,). What a limit turns away stops in all of them."""
        return ~self.simulated.ran_short & (not self.overloads)

    @cached_property
    def margin_percent(self) -> float:
        """How far the weather that decides against the goal stays above the reserve [percent of
        charge]: where the chance falls short, below 0. It does not see overloads."""
        return min(budget._own_margin_percent for budget in self.deciding)

    @property
    def _own_margin_percent(self) -> float:
        above = np.sort(self._lowest[1] - self.plan.pack.reserve_percent)
        return float(above[min(self.may_fail, above.size - 1)])

    @property
    def may_fail(self) -> int:
        """In how many of the scenarios the plan may fail and still reach its goal."""
        return self.success.size - needed(self.plan.goal.chance_percent, self.success.size)

    @property
    def low_end(self) -> "Budget":
        """The budget on whose scenarios a yes turns: where the place is only roughly known, the one
        at the low end of that doubt."""
        return self.bounds[0] if self.weather.mean_uncertain and self.bounds else self

    @property
    def alone(self) -> "Budget":
        """This budget without those at the bounds of the doubt about the means."""
        return replace(self, bounds=())

    @cached_property
    def middle(self) -> int:
        """The scenario whose lowest charge is the median; of equals the one nearest to the dates.

        Where the cold holds a part back, the lowest charge is counted from there, as the reserve.
        Weathers in which the pack runs flat are equals, the more is unmet the lower, though what an
        empty lead-acid pack still shows differs.
        """
        lowest = np.round(self._lowest[1], 9)
        lowest = np.where(self.simulated.ran_short, lowest.min(), lowest)
        unmet = np.round(self.unmet_wh.sum(axis=0), 6)
        shift = np.broadcast_to(self.weather.shift_days, lowest.shape)
        order = np.lexsort((-unmet, lowest))
        median = order[(lowest.size - 1) // 2]
        equal = np.flatnonzero((lowest == lowest[median]) & (unmet == unmet[median]))
        return int(min(equal, key=lambda k: (abs(shift[k]), shift[k], k)))

    @cached_property
    def worst_first(self) -> Index:
        """The scenarios from the one that falls lowest, counted as for `middle`; equals in their
        order, (m,)."""
        return np.argsort(np.round(self._lowest[1], 6), kind="stable")

    @property
    def middle_case(self) -> Case:
        """The case of the middle scenario alone."""
        return self.case.scenarios(slice(self.middle, self.middle + 1))

    @cached_property
    def ledger_wh(self) -> dict[str, Array]:
        """Where the watt-hours went, name -> (m,), from a pass of its own: few ask for it."""
        return self._ledger_wh(slice(None))

    @cached_property
    def middle_ledger_wh(self) -> dict[str, float]:
        """The ledger of the middle scenario [Wh]."""
        ledger = self._ledger_wh(slice(self.middle, self.middle + 1))
        return {name: float(wh[0]) for name, wh in ledger.items()}

    def _ledger_wh(self, only: slice) -> dict[str, Array]:
        ledger = {
            "sun_on_panel": self.solar.sun_wh[only],
            "panel_losses": self.solar.loss_wh[only],
            "refused": self.solar.clipped_wh[only],
            "unmet": self.unmet_wh.sum(axis=0)[only],
            **simulate(self.case.scenarios(only)).ledger_wh,
        }
        return {name: ledger[name] for name in LEDGER}

    def lowest(self, scenario: int | None = None) -> Lowest:
        """The lowest point of a scenario (left out: the middle one)."""
        scenario = self.middle if scenario is None else scenario
        edge, above = self._lowest[0][scenario], float(self._lowest[1][scenario])
        spare = (above - self.plan.pack.reserve_percent) / 100.0 * float(self.capacity_wh[scenario])
        percent = float(self.lowest_percent[scenario])
        return Lowest(percent, float(self.time_s[edge]), spare, percent - above)

    @property
    def verdict(self) -> str:
        """overloads | runs-flat | dips-into-reserve | stays-powered, for the middle scenario."""
        if self.overloads:
            return "overloads"
        if self.simulated.ran_short[self.middle]:
            return "runs-flat"
        return "stays-powered" if self.success[self.middle] else "dips-into-reserve"

    @property
    def must_served(self) -> Mask | None:
        """In which scenarios all that must run is served, (m,); None without such tasks.

        An overload counts as unmet here, though it stays out of the chance.
        """
        must = [k for k, task in enumerate(self.plan.task) if task.must]
        return np.all(self.unmet_wh[must] <= 1e-9, axis=0) if must else None

    @cached_property
    def chance(self) -> Chance:
        """The share of scenarios that succeed, with the range of what so many weathers can tell."""
        share = float(self.success.mean())
        low, high = None, None
        if self.weather.effective_sample_size is not None:
            low, high = (100.0 * x for x in wilson(share, self.weather.effective_sample_size))
        if self.bounds:
            percents = [100.0 * float(budget.success.mean()) for budget in (self, *self.bounds)]
            low = min(percents) if low is None else min(low, *percents)
            high = max(percents) if high is None else max(high, *percents)
        must = self.must_served
        return Chance(
            percent=100.0 * share,
            low=low,
            high=high,
            scenarios=self.success.size,
            effective_sample_size=self.weather.effective_sample_size,
            goal=self.plan.goal.chance_percent,
            must_percent=None if must is None else 100.0 * float(must.mean()),
            powered_percent=100.0 * float(self.powered.mean()),
            powered_low=min(100.0 * float(each.powered.mean()) for each in self.deciding)
            if self.deciding[1:]
            else None,
        )

    @property
    def deciding(self) -> "tuple[Budget, ...]":
        """The budgets that each have to reach the goal: this one, and for a rough table of weather
        those at both ends of the doubt about its means."""
        return (self, *self.bounds) if self.weather.mean_uncertain else (self,)

    @property
    def reaches_goal(self) -> bool:
        """Whether the chance reaches the goal, for a rough table its low end too.

        More panel or pack never turns it into False; overloads are not looked at.
        """
        goal = self.plan.goal.chance_percent
        return reached((budget.success for budget in self.deciding), goal)

    @property
    def yes(self) -> bool:
        """Whether the chance reaches the goal and nothing overloads."""
        return self.reaches_goal and not self.overloads

    @property
    def answer(self) -> str:
        """yes; almost, where in at least the goal's share nothing stops but the reserve is used;
        else no."""
        if self.yes:
            return "yes"
        powered = (budget.powered for budget in self.deciding)
        return "almost" if reached(powered, self.plan.goal.chance_percent) else "no"

    @property
    def dull_tenth_percent(self) -> float:
        """The lowest charge that nine in ten scenarios stay above: their 10th percentile."""
        return float(np.percentile(self.lowest_percent, 10.0))

    @property
    def full_again_s(self) -> float | None:
        """When the middle scenario is full again after its lowest point [UTC s], or None."""
        edge = self._lowest[0][self.middle]
        charge = self.middle_charge_percent
        full = np.flatnonzero(charge[edge:] >= FULL_PERCENT)
        if full.size == 0 or charge[edge] >= FULL_PERCENT:
            return None
        return float(self.time_s[edge + full[0]])

    def flows(self) -> dict[str, Array]:
        """The flows of the middle scenario over time, each (n,) in watts.

        solar_w into the pack's bus, spilled_w at the panel, charger_w, load_w asked at the outlets
        (overloads too), delivered_w, idle_w of pack and inverter.
        """
        simulated = simulate(self.middle_case, detail=True)
        flows = {name: values[:, 0] for name, values in simulated.detail.items()}
        for overload in self.overloads:
            for piece in overload.burst.pieces:
                first, last = np.searchsorted(self.time_s, [piece.start_s, piece.end_s])
                factor = self.case.factor[overload.burst.task, self.middle]
                flows["load_w"][first:last] += piece.mean_w * factor
        return flows

    def timeline(self) -> "pd.DataFrame":
        """Charge and flows over time: the start, then a row a segment's end, on the plan's clock.

        Columns: charge_percent of the middle weather, charge_low_percent and charge_high_percent
        (10th and 90th percentile of the scenarios), and the segment's mean watts.
        """
        import pandas as pd

        index = pd.to_datetime(np.round(self.time_s * 1000.0), unit="ms", utc=True)
        low, high = np.percentile(self.charge_percent, [10.0, 90.0], axis=1)
        columns = {
            "charge_percent": self.middle_charge_percent,
            "charge_low_percent": low,
            "charge_high_percent": high,
        }
        for name, watts in self.flows().items():
            columns[name] = np.concatenate([[np.nan], watts])
        clock = index.tz_convert(self.calendar.zone)
        return pd.DataFrame(columns, index=clock).rename_axis("time")

    def local(self, time_s: float) -> datetime:
        """A moment on the plan's own clock."""
        return self.calendar.moment(time_s)
