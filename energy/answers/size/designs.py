"""A plan at other sizes: its panels and its pack scaled, in the weathers of its check.

A scenario is a design in one weather; all scenarios go through the one simulation. Which sizes to
try, and what the answer is, is decided in `frontier` and `size`.
"""

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from energy.model import Array, Index, Mask
from energy.model.battery import Battery
from energy.model.limits import Overload
from energy.model.simulate import Case, simulate
from energy.plan import Plan
from energy.simulation.budget import Budget, budget
from energy.simulation.cables import at_the_pack, solar_limit_w
from energy.simulation.result import needed
from energy.simulation.strings import Arrangement, kept_connection, laid_out, pwm_notes, pwm_share
from energy.weather.coldest import Cold, coldest
from energy.weather.source import record_of

LARGE_WH = 1e6  # a pack that no limit of its own holds back
NO_LIMIT = 1e6  # W or A
SOLAR_LIMITS = ("max_w", "max_a", "charge_max_a")
SCENARIOS_AT_ONCE = 512  # fits the cache, bounds the memory
SCALED_BY_PACK = ("charge_max_w", "discharge_max_w")
BOUGHT = ("kg", "price")


def with_panel(plan: Plan) -> Plan:
    """The plan with a panel to scale: one without any gets one.

    >>> with_panel(Plan.read("builtin:cloudy-repair").replace(panel=[])).panel[0].rated_w
    100.0
    """
    return plan if plan.panel else plan.replace(panel=[{"rated_w": 100.0}])


def panel_watts(plan: Plan) -> float:
    """All panels of a plan together, by their labels [W]."""
    return sum(panel.rated_w * panel.count for panel in plan.panel)


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
        return changes | {"panel": None} | _no_panel_cable(plan)
    if not plan.panel:
        return changes | {"panel": [{"rated_w": panel_w}]}
    changes |= joined_as_now(plan)
    for k, panel in enumerate(plan.panel, start=1):
        for key in ("rated_w", "i_mp", "i_sc", *BOUGHT):
            if (value := getattr(panel, key)) is not None:
                changes[f"panel.{k}.{key}"] = _scaled(value, panel_w / panel_watts(plan))
    return changes


def joined_as_now(plan: Plan) -> dict[str, Any]:
    """What states the way that the plan's panels are joined at its PWM input, where it is open."""
    into = plan.pack.solar_input
    if into.kind != "pwm" or into.connection is not None:
        return {}  # spares the reading of a record
    return kept_connection(plan, coldest(plan, record_of(plan)))


def _no_panel_cable(plan: Plan) -> dict[str, Any]:
    """Changes that take the panels' cable away and leave the leads."""
    cables = (k for k, run in enumerate(plan.run, start=1) if "panel" in (run.from_, run.to))
    return {f"run.{k}": None for k in cables}


def unbound(plan: Plan, battery_wh: float) -> Plan:
    """The plan with its own panels and a pack of this label, without what binds the sun's power on
    its way to the pack: for that depends on the panels' size (see `Designs.sun_w`)."""
    into = plan.pack.solar_input
    stated = [key for key in SOLAR_LIMITS if getattr(into, key) is not None]
    lifted: dict[str, Any] = {f"pack.solar_input.{key}": NO_LIMIT for key in stated}
    free = plan.replace(**lifted | joined_as_now(plan) | _no_panel_cable(plan))
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
class Base:
    """What all designs of a plan share in a group of weathers: the case of a pack with the label
    label_wh, panels at their own watts, no cable and no input limit."""

    case: Case
    label_wh: float


@dataclass(frozen=True)
class Designs:
    """A plan's weathers, ready for many sizes.

    bases is what is scaled, one for each group of weathers: first those of the plan, then, for
    drawn ones, those at both ends of the doubt about their means. groups are the budgets they come
    from, of a pack too large for limits of its own or of the one that is judged. base_w is the
    label of all the plan's panels, cold the lowest air of the place, for their strings.
    """

    plan: Plan
    bases: tuple[Base, ...]
    base_w: float
    cold: Cold
    groups: tuple[Budget, ...] = ()

    @property
    def overloads(self) -> tuple[Overload, ...]:
        """What the limits turn away in the groups' own pack."""
        return self.groups[0].overloads

    @property
    def with_ends(self) -> Budget:
        """The groups as one budget, as `budget` takes weathers over."""
        return replace(self.groups[0], bounds=self.groups[1:])

    @cached_property
    def must_hold(self) -> tuple[int, ...]:
        """The groups that a design has to reach the goal in (see `Budget.deciding`)."""
        return tuple(range(len(self.with_ends.deciding)))

    def sun_w(self, base: Base, panel_w: Array, window: Index) -> Array:
        """Watts at the end of the panels' cable, before the input's limit, (rows, scenarios)."""
        found = base.case.solar_w[:, window] * (panel_w / self.base_w)
        if self.plan.run:
            for watts in np.unique(panel_w):
                at = panel_w == watts
                scaled = self._sized(float(watts))
                found[:, at] = at_the_pack(scaled, found[:, at], self.cold)
        return found

    @property
    def one_limit(self) -> bool:
        """Whether the solar input takes as much from panels of any size: amps are more watts from
        longer strings, and fewer from longer cables."""
        return self.plan.pack.solar_input.max_a is None

    def limit_w(self, panel_w: float) -> float:
        """What the solar input takes at most of panels of so many watts [W]."""
        if self.one_limit:
            return solar_limit_w(self.plan, self.cold)
        return solar_limit_w(self._sized(panel_w), self.cold)

    def limits_w(self, panel_w: Array) -> Array:
        """`limit_w` of each of some sizes, shape as panel_w."""
        sizes, which = np.unique(panel_w, return_inverse=True)
        return np.array([self.limit_w(float(watts)) for watts in sizes])[which]

    def takes_w(self, panel_w: float) -> float:
        """The label of panels [W] of which the solar input takes all in full sun."""
        laid = self._laid(panel_w)
        held = laid and self.plan.pack.solar_input.kind == "pwm"
        return self.limit_w(panel_w) / (pwm_share(laid) if held else 1.0)

    def joined_words(self, panel_w: float) -> list[str]:
        """How panels of so many watts are taken to be joined, where that decides their power."""
        return pwm_notes(self._laid(panel_w))

    def _laid(self, panel_w: float) -> list[Arrangement]:
        return laid_out(self._sized(panel_w), self.cold)

    def _sized(self, panel_w: float) -> Plan:
        if panel_w not in self._plans:
            self._plans[panel_w] = design(self.plan, panel_w, self.plan.pack.capacity_wh)
        return self._plans[panel_w]

    @cached_property
    def _plans(self) -> dict[float, Plan]:
        return {}

    def charge_max_w(self, battery_wh: Array) -> Array:
        """The highest charging power of packs of these labels [W]."""
        pack = self.plan.pack
        if "charge_max_w" in scaling_limits(self.plan):
            return np.asarray(pack.charge_max_w * battery_wh / pack.capacity_wh)
        return np.full_like(battery_wh, pack.charge_max_w)

    def battery(self, base: Base, battery_wh: Array, window: Index) -> Battery:
        """Packs of these labels, each in one weather of a base; arrays (scenarios,)."""
        health = base.case.battery.capacity_wh[window] / base.label_wh
        return replace(
            base.case.battery,
            capacity_wh=health * battery_wh,
            charge_max_w=self.charge_max_w(battery_wh),
        )

    def case(self, base: Base, panel_w: Array, battery_wh: Array, window: Index) -> Case:
        """The case of some designs, each in one weather of a base; all arrays (scenarios,)."""
        case = base.case
        shared_air = case.temp_pack.shape[1] == 1
        return replace(
            case,
            battery=self.battery(base, battery_wh, window),
            solar_w=np.minimum(self.sun_w(base, panel_w, window), self.limits_w(panel_w)),
            temp_pack=case.temp_pack if shared_air else case.temp_pack[:, window],
            factor=case.factor[:, window],
        )

    def tried(
        self, group: int, panel_w: Array, battery_wh: Array, window: Index
    ) -> tuple[Mask, Array]:
        """Whether each scenario succeeds, and how far it stays above the reserve [share of C]."""
        scenarios = window.size
        ok, margin = np.zeros(scenarios, dtype=bool), np.zeros(scenarios)
        for first in range(0, scenarios, SCENARIOS_AT_ONCE):
            part = slice(first, first + SCENARIOS_AT_ONCE)
            case = self.case(self.bases[group], panel_w[part], battery_wh[part], window[part])
            capacity = case.battery.capacity_wh
            found = replace(
                self.groups[group],
                simulated=simulate(case),
                case=case,
                capacity_wh=capacity,
                bounds=(),
            )
            ok[part] = found.success
            above = found.lowest_percent - found.cold_unavailable_at_lowest_percent
            margin[part] = (above - self.plan.pack.reserve_percent) / 100.0
        return ok, margin

    def reaches_goal(self, panel_w: float, battery_wh: float) -> bool:
        """Whether one design reaches the plan's goal in all weathers that decide."""
        for group in self.must_hold:
            window = np.arange(self.groups[group].success.size)
            sizes = np.full(window.size, panel_w), np.full(window.size, battery_wh)
            ok, _ = self.tried(group, *sizes, window)
            if ok.sum() < needed(self.plan.goal.chance_percent, window.size):
                return False
        return True


def designs(plan: Plan, known: Designs | None = None, battery_wh: float = LARGE_WH) -> Designs:
    """Make a plan ready for many sizes: one pass for its weathers, its sun and its limits.

    The limits are judged at battery_wh. `known` are the designs of a plan with another pack, whose
    weathers and sun are taken over.

    >>> found = designs(Plan.read("builtin:cloudy-repair"))
    >>> len(found.groups), found.groups[0].chance.scenarios
    (1, 31)
    """
    plan = with_panel(plan)
    plan = plan.replace(**joined_as_now(plan))
    first = budget(unbound(plan, battery_wh), known=None if known is None else known.with_ends)
    groups = (first, *first.bounds)
    return Designs(
        plan=plan,
        bases=tuple(Base(b.case, battery_wh) for b in groups),
        base_w=panel_watts(plan),
        cold=first.days.site.cold,
        groups=groups,
    )
