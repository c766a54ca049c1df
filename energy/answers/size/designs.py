"""A plan at other sizes: its panels and its pack scaled, in the weathers of its check.

A design is a panel size with a pack size. Many designs, each in one weather, go through the one
simulation side by side. Worth: 200 designs in 31 weathers of the January demo took 3.0 s of
processor time, with a budget each 12.4 s; `test_size_agrees` holds them against such budgets. Which
sizes to try, and what the answer is, is decided in `frontier` and `size`.
"""

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np

from energy.model import Array, Index, Mask
from energy.model.battery import Battery
from energy.model.case import Case
from energy.model.limits import Overload
from energy.model.simulate import simulate
from energy.plan import Plan, PlanError
from energy.simulation.budget import Budget, budget
from energy.simulation.cables import at_the_pack, solar_limit_w
from energy.simulation.strings import Arrangement, kept_connection, laid_out, pwm_notes, pwm_share
from energy.simulation.success import lowest_point, reached, succeeds
from energy.weather.coldest import Cold, coldest
from energy.weather.source import record_of

LARGE_WH = 1e6  # a pack that no limit of its own holds back
NO_LIMIT = 1e6  # W or A
SOLAR_LIMITS = ("max_w", "max_a", "charge_max_a")
SCENARIOS_AT_ONCE = 512  # fits the cache
CELLS_AT_ONCE = 8_000_000  # segments x scenarios: bounds the memory
SCALED_BY_PACK = ("charge_max_w", "discharge_max_w")
BOUGHT = ("kg", "price")

Tables = list[dict[str, Any]]


def with_panel(plan: Plan) -> Plan:
    """The plan with a panel to scale: one without any gets one.

    >>> with_panel(Plan.read("builtin:cloudy-repair").replace(panel=[])).panel[0].rated_w
    100.0
    """
    return plan if plan.panel else plan.replace(panel=[{"rated_w": 100.0}])


def panel_watts(plan: Plan) -> float:
    """All panels of a plan together, by their labels [W]."""
    return sum(panel.rated_w * panel.count for panel in plan.panel)


def main_panel(plan: Plan) -> int:
    """The number, from 0, of the plan's kind of panel that has the most watts."""
    return max(range(len(plan.panel)), key=lambda k: plan.panel[k].rated_w * plan.panel[k].count)


def design(plan: Plan, panel_w: float, battery_wh: float) -> Plan:
    """The plan with all its panels and its pack scaled to these labels.

    Currents, weights and prices scale, voltages stay, and the way panels are joined at a PWM input;
    what the pack charges and discharges at most scales with it unless the plan's own table states
    it. Inverter, outlets and idle draws stay.

    >>> plan = Plan.read("builtin:january-job")
    >>> larger = design(plan, 1600.0, 4096.0)
    >>> larger.panel[0].rated_w, larger.pack.charge_max_w, larger.pack.inverter.rated_w
    (800.0, 2400.0, 2000.0)
    """
    return plan.replace(**design_changes(plan, panel_w, battery_wh))


def design_changes(plan: Plan, panel_w: float, battery_wh: float) -> dict[str, Any]:
    """What makes a design of a plan, as `Plan.replace` takes it. With no watts the panels go, and
    their cable; a plan without panels gets one.

    >>> design_changes(Plan.read("builtin:january-job"), 800.0, 4096.0)["pack.charge_max_w"]
    2400.0
    """
    changes: dict[str, Any] = {"pack.capacity_wh": battery_wh}
    follow = [key for key in scaling_limits(plan) if key in plan.pack.model_fields_set]
    for key in (*follow, *BOUGHT):  # a limit that no profile states follows by itself
        if (value := getattr(plan.pack, key)) is not None:
            changes[f"pack.{key}"] = _scaled(value, battery_wh / plan.pack.capacity_wh)
    if panel_w <= 0.0:
        return changes | {"panel": None} | no_panel_cable(plan)
    if not plan.panel:
        return changes | {"panel": [{"rated_w": panel_w}]}
    changes |= joined_as_now(plan)
    for k, panel in enumerate(plan.panel, start=1):
        for key in ("rated_w", "i_mp", "i_sc", *BOUGHT):
            if (value := getattr(panel, key)) is not None:
                changes[f"panel.{k}.{key}"] = _scaled(value, panel_w / panel_watts(plan))
    return changes


def in_place(panels: Tables) -> dict[str, Any]:
    """What puts other panels in place of a plan's own, as `Plan.replace` takes it: how those are
    joined leaves with them."""
    return {"panel": panels, "pack.solar_input.connection": None}


def joined_as_now(plan: Plan) -> dict[str, Any]:
    """What states the way that the plan's panels are joined at its PWM input, where it is open."""
    into = plan.pack.solar_input
    if into.kind != "pwm" or into.connection is not None:
        return {}  # spares the reading of a record
    return kept_connection(plan, coldest(plan, record_of(plan)))


def no_panel_cable(plan: Plan) -> dict[str, Any]:
    """Changes that take the panels' cable away and leave the leads."""
    cables = enumerate(plan.run, start=1)
    return {f"run.{k}": None for k, cable in cables if "panel" in (cable.from_, cable.to)}


def unbound(plan: Plan, battery_wh: float) -> Plan:
    """The plan with its own panels and a pack of this label, without what binds the sun's power on
    its way to the pack: for that depends on the panels' size (see `Designs.solar_w`)."""
    into = plan.pack.solar_input
    stated = [key for key in SOLAR_LIMITS if getattr(into, key) is not None]
    lifted: dict[str, Any] = {f"pack.solar_input.{key}": NO_LIMIT for key in stated}
    free = plan.replace(**lifted | joined_as_now(plan) | no_panel_cable(plan))
    return design(free, panel_watts(plan), battery_wh)


def _scaled(value: float, times: float) -> float:
    """A figure of a plan at another size, without the dust of the arithmetic.

    >>> _scaled(750.0, 1.225)
    918.75
    """
    return round(min(value * times, 1e7), 6)


def scaling_limits(plan: Plan) -> list[str]:
    """Which of the pack's limits follow its size: those the plan's own table leaves out."""
    stated = plan.source.get("pack", {})
    return [key for key in SCALED_BY_PACK if key not in stated]


@dataclass(frozen=True)
class Designs:
    """A plan's weathers, laid out once for many sizes; scenarios are numbered within a group.

    plan: what is sized, with at least one panel.
    cases: for each group of weathers the plan laid out with a pack of label_wh [Wh] and its own
        panels, without their cable and input limit. First the plan's own weathers, then, of
        synthetic ones, those at the bounds of the doubt about their means.
    base_w: the label of all the plan's panels [W].
    cold: the lowest air of the place, for the panels' strings.
    groups: the budgets that the cases come from; empty for whole years.
    listed: the panels of a list, as tables of a plan, that come to so many watts: they say what is
        joined at that size, in place of the plan's own scaled to it.
    """

    plan: Plan
    cases: tuple[Case, ...]
    label_wh: float
    base_w: float
    cold: Cold
    groups: tuple[Budget, ...] = ()
    listed: Mapping[float, Tables] = field(default_factory=dict)

    @property
    def overloads(self) -> tuple[Overload, ...]:
        """What a pack of label_wh cannot start or feed, however full it is."""
        return self.groups[0].overloads

    @property
    def joining_counts(self) -> bool:
        """Whether what panels give depends on how they are joined, beside their watts."""
        into = self.plan.pack.solar_input
        return bool(self.plan.run) or into.kind == "pwm" or into.max_a is not None

    @cached_property
    def must_hold(self) -> tuple[int, ...]:
        """The groups that a design has to reach the goal in (see `Budget.deciding`)."""
        return tuple(range(len(self.groups[0].deciding)))

    def solar_w(self, case: Case, panel_w: Array, scenario: Index) -> Array:
        """Watts at the end of the panels' cable, before the input's limit, (rows, designs).

        panel_w [W] and scenario are of each design, (designs,).
        """
        solar_w = case.solar_w[:, scenario] * (panel_w / self.base_w)
        if self.plan.run:
            for watts in np.unique(panel_w):
                at = panel_w == watts
                solar_w[:, at] = at_the_pack(self._sized(float(watts)), solar_w[:, at], self.cold)
        return solar_w

    def limit_w(self, panel_w: float) -> float:
        """What the solar input takes at most of panels of this label [W]: amps are more watts from
        longer strings, and fewer from longer cables."""
        if self.plan.pack.solar_input.max_a is None:
            return solar_limit_w(self.plan, self.cold)
        return solar_limit_w(self._sized(panel_w), self.cold)

    def limits_w(self, panel_w: Array) -> Array:
        """`limit_w` of each of several sizes [W], shape as panel_w."""
        sizes, which = np.unique(panel_w, return_inverse=True)
        return np.array([self.limit_w(float(watts)) for watts in sizes])[which]

    def takes_w(self, panel_w: float) -> float:
        """The label of panels [W] of which the solar input takes all in full sun."""
        arrangement = self._arrangement(panel_w)
        at_battery_volts = arrangement and self.plan.pack.solar_input.kind == "pwm"
        return self.limit_w(panel_w) / (pwm_share(arrangement) if at_battery_volts else 1.0)

    def joined_words(self, panel_w: float) -> list[str]:
        """How panels of this label [W] are taken to be joined, where that decides their power."""
        return pwm_notes(self._arrangement(panel_w))

    def _arrangement(self, panel_w: float) -> list[Arrangement]:
        return laid_out(self._sized(panel_w), self.cold)

    def _sized(self, panel_w: float) -> Plan:
        if panel_w not in self._plans:
            scaled = design(self.plan, panel_w, self.plan.pack.capacity_wh)
            self._plans[panel_w] = self._as_listed(panel_w) or scaled
        return self._plans[panel_w]

    def _as_listed(self, panel_w: float) -> Plan | None:
        """The plan with listed panels; None without any, or where they cannot be joined."""
        if tables := self.listed.get(panel_w):
            with suppress(PlanError):
                return self.plan.replace(**in_place(tables))
        return None

    @cached_property
    def _plans(self) -> dict[float, Plan]:
        return {}

    def charge_max_w(self, battery_wh: Array) -> Array:
        """The highest charging power of packs of these labels [W]."""
        pack = self.plan.pack
        if "charge_max_w" in scaling_limits(self.plan):
            return np.asarray(pack.charge_max_w * battery_wh / pack.capacity_wh)
        return np.full_like(battery_wh, pack.charge_max_w)

    def battery(self, case: Case, battery_wh: Array, scenario: Index) -> Battery:
        """Packs of these labels [Wh], each in one scenario of a case; arrays (designs,)."""
        health = case.battery.capacity_wh[scenario] / self.label_wh
        return replace(
            case.battery,
            capacity_wh=health * battery_wh,
            charge_max_w=self.charge_max_w(battery_wh),
        )

    def scaled(self, case: Case, panel_w: Array, battery_wh: Array, scenario: Index) -> Case:
        """A case with each design [W, Wh], (designs,), in one of its scenarios; axis 1: designs."""
        shared_air = case.temp_pack.shape[1] == 1
        solar_w = self.solar_w(case, panel_w, scenario)
        return replace(
            case,
            battery=self.battery(case, battery_wh, scenario),
            solar_w=np.minimum(solar_w, self.limits_w(panel_w)),
            temp_pack=case.temp_pack if shared_air else case.temp_pack[:, scenario],
            factor=case.factor[:, scenario],
        )

    def tried(
        self, group: int, panel_w: Array, battery_wh: Array, scenario: Index
    ) -> tuple[Mask, Array]:
        """Simulate designs [W, Wh], each in one scenario of a group; all arrays (designs,).

        Returns whether each succeeds, and how far its charge stays above the reserve [share of C].
        """
        reserve_percent = self.plan.pack.reserve_percent
        success, margin = np.zeros(scenario.size, dtype=bool), np.zeros(scenario.size)
        segments = self.cases[group].edges.size - 1
        at_once = min(SCENARIOS_AT_ONCE, max(CELLS_AT_ONCE // segments, 1))
        for first in range(0, scenario.size, at_once):
            part = slice(first, first + at_once)
            case = self.scaled(self.cases[group], panel_w[part], battery_wh[part], scenario[part])
            simulated = simulate(case, books=False)
            _, above_percent = lowest_point(case, simulated)
            success[part] = succeeds(above_percent, simulated, reserve_percent)
            margin[part] = (above_percent - reserve_percent) / 100.0
        return success, margin

    def reaches_goal(self, panel_w: float, battery_wh: float) -> bool:
        """Whether one design [W, Wh] reaches the plan's goal in all weathers that decide."""

        def success(group: int) -> Mask:
            scenario = np.arange(self.groups[group].success.size)
            sizes = np.full(scenario.size, panel_w), np.full(scenario.size, battery_wh)
            return self.tried(group, *sizes, scenario)[0]

        return reached(map(success, self.must_hold), self.plan.goal.chance_percent)

    def at_size(self, battery_wh: float) -> Budget:
        """The plan with a pack of this label [Wh] and its own panels, in its own weathers."""
        return budget(design(self.plan, self.base_w, battery_wh), previous=self.groups[0].alone)


def make_designs(
    plan: Plan, previous: Designs | None = None, battery_wh: float = LARGE_WH
) -> Designs:
    """Lay a plan out for many sizes: one pass for its weathers, its sun and its limits.

    plan: what is to be sized.
    previous: designs of a plan with another pack, whose weathers and sun are taken over.
    battery_wh: the pack that overloads are judged with [Wh].

    Raises PlanError as `budget` does.

    >>> designs = make_designs(Plan.read("builtin:cloudy-repair"))
    >>> len(designs.groups), designs.groups[0].chance.scenarios
    (1, 31)
    """
    plan = with_panel(plan)
    plan = plan.replace(**joined_as_now(plan))
    previous_budget = None if previous is None else previous.groups[0]
    own = budget(unbound(plan, battery_wh), previous=previous_budget)
    groups = (own, *own.bounds)
    return Designs(
        plan=plan,
        cases=tuple(group.case for group in groups),
        label_wh=battery_wh,
        base_w=panel_watts(plan),
        cold=own.days.site.cold,
        groups=groups,
    )
