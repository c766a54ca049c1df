"""A rough pass over half hours, to see where work is best placed. It never decides.

What comes in, what is asked and what the store holds, in Wh a slot and without the losses that
grow with the current: hundreds of placements cost as much as one pass of the simulation.
"""

from collections.abc import Sequence

import numpy as np

from energy.model import Array, Index
from energy.model.battery import terminal_to_rate
from energy.model.demand import Burst, cut_at
from energy.model.limits import inverter_on
from energy.model.timeline import Interval
from energy.simulation.budget import Budget
from energy.simulation.demand import limits_of

SLOT_S = 1800.0
CELLS_AT_ONCE = 4_000_000  # slots x steps of the load: bounds the memory
SCENARIOS = 12  # so many about the one that decides are looked at


class Coarse:
    """Some scenarios of a budget (left out: those about the one that decides) on slots of time.

    hopeful: nothing is counted against a plan that the simulation might not count. losses: what the
    pack loses by each burst's current is counted, as if nothing else came in or ran.

    edges [UTC s] (t + 1,); net_wh what comes to the bus less the pack's own idle (t, s); floor the
    share of the store that must stay (t, s); full_wh (s,); most_wh what a slot may add (t, s).
    """

    def __init__(
        self,
        result: Budget,
        slot_s: float = SLOT_S,
        scenarios: Index | None = None,
        hopeful: bool = False,
        losses: bool = False,
    ):
        self.result, self.slot_s, self.losses = result, slot_s, losses
        self.scenarios = about_the_deciding(result) if scenarios is None else scenarios
        case = result.case.scenarios(self.scenarios)
        battery = case.battery
        inner = np.arange(np.ceil(result.time_s[0] / slot_s) * slot_s, result.time_s[-1], slot_s)
        self.edges = np.unique(np.concatenate([result.time_s[:1], inner, result.time_s[-1:]]))
        slot = np.searchsorted(self.edges, result.time_s[:-1], side="right") - 1
        hours = np.diff(result.time_s)[:, None] / 3600.0
        comes = case.sun_w() * case.controller_efficiency + case.charger_w[:, None] - case.idle_w
        first = np.searchsorted(slot, np.arange(self.edges.size - 1))
        self.full_wh = battery.capacity_wh
        self.net_wh = np.add.reduceat(comes * hours, first)
        self.most_wh = np.add.reduceat((1.0 - case.frozen()) * hours, first)
        self.most_wh = self.most_wh * battery.charge_ceiling
        coldest = np.minimum if hopeful else np.maximum
        self.floor = coldest.reduceat(case.cold_unavailable(), first)
        self.floor = self.floor + result.plan.pack.reserve_percent / 100.0
        self.start_wh = battery.start_share * self.full_wh
        self.coulombic = battery.coulombic
        self.factor = case.factor

    def asked_wh(self, task: int, bursts: Sequence[Burst], idle: bool = True) -> Array:
        """What some bursts of a task ask of the bus in each slot [Wh], at the stated watts (t,);
        with `idle` what the inverter takes to be on for them is in it."""
        plan, curve = self.result.plan, self.result.case.inverter
        supply, asked = plan.task[task].supply, np.zeros(self.edges.size - 1)
        steps = [step for burst in bursts for step in burst.pieces]
        if not steps:
            return asked
        start_s, end_s = np.array([(step.start_s, step.end_s) for step in steps]).T
        watts = np.array([step.mean_w for step in steps])
        if supply == "ac" and curve is not None:
            watts = curve.input_w(watts) - curve.idle_w
        elif supply != "ac":
            watts = watts * 100.0 / plan.pack.efficiency_percent(supply)
        if self.losses:
            battery = self.result.case.battery
            watts = -terminal_to_rate(-watts, float(self.full_wh.mean()), battery.resistive_h)
        rows = max(CELLS_AT_ONCE // start_s.size, 1)
        done_ws = [
            np.clip(edges[:, None] - start_s, 0.0, end_s - start_s) @ watts
            for edges in np.split(self.edges, range(rows, self.edges.size, rows))
        ]
        asked = np.asarray(np.diff(np.concatenate(done_ws)) / 3600.0)
        hulls: dict[int, list[float]] = {}
        for burst in bursts:
            hull = hulls.setdefault(burst.window, [burst.start_s, burst.end_s])
            hull[1] = max(hull[1], burst.end_s)
        inverter = plan.pack.inverter
        if idle and supply == "ac" and inverter is not None and inverter.on == "with-tasks":
            for begins_s, over_s in hulls.values():
                asked += self.hours((begins_s, over_s)) * inverter.idle_w
        return asked

    def inverter_wh(self, bursts: Sequence[Burst]) -> Array:
        """What the inverter takes in each slot to be on for all of some bursts, or on its own [Wh],
        (t,)."""
        plan, inverter = self.result.plan, self.result.plan.pack.inverter
        if inverter is None:
            return np.zeros(self.edges.size - 1)
        edges = cut_at(self.result.time_s, bursts)
        limits = limits_of(plan, self.result.calendar)
        on_s = inverter_on(edges, bursts, plan.task, limits) * np.diff(edges)
        so_far_s = np.interp(self.edges, edges, np.append(0.0, np.cumsum(on_s)))
        return np.asarray(np.diff(so_far_s) * inverter.idle_w / 3600.0)

    def asked_by(self, bursts: Sequence[Burst]) -> Array:
        """What bursts of any tasks ask of the bus in each slot and scenario [Wh], (t, s)."""
        asked_wh = np.zeros((self.edges.size - 1, self.factor.shape[1]))
        for task in {burst.task for burst in bursts}:
            own = self.asked_wh(task, [burst for burst in bursts if burst.task == task])
            asked_wh += own[:, None] * self.factor[task]
        return asked_wh

    def hours(self, interval: Interval) -> Array:
        """How much of an interval lies in each slot [h], (t,)."""
        inside = np.minimum(self.edges[1:], interval[1]) - np.maximum(self.edges[:-1], interval[0])
        return np.asarray(np.maximum(inside, 0.0) / 3600.0)

    def judge(self, asked_wh: Array) -> tuple[Array, Array]:
        """How far above the floor the deciding one of the scenarios stays at its lowest, and what
        the store holds on average, both as shares of the store (c,).

        asked_wh (c, t, s): of each candidate, in each slot and scenario.
        """
        lowest, mean_store = self._passed(asked_wh)
        middle = lowest.shape[1] // 2
        return np.sort(lowest, axis=1)[:, middle], mean_store

    def failing(self, asked_wh: Array) -> Array:
        """In how many of the scenarios each candidate falls below the floor (c,)."""
        return np.asarray((self.lowest(asked_wh) < -1e-9).sum(axis=1))

    def lowest(self, asked_wh: Array) -> Array:
        """How far above the floor each candidate stays at its lowest in each scenario, as a share
        of the store (c, s)."""
        return self._passed(asked_wh)[0]

    def _passed(self, asked_wh: Array) -> tuple[Array, Array]:
        """The lowest height above the floor (c, s) and the mean store (c,), as shares of it."""
        net = self.net_wh - asked_wh
        up = np.minimum(net, self.most_wh) * self.coulombic
        change = np.where(net > 0.0, up, net)
        before, store = np.broadcast_to(self.start_wh, net[:, 0].shape), change
        for t in range(net.shape[1]):
            np.minimum(before + change[:, t], self.full_wh, out=store[:, t])
            before = store[:, t]
        lowest = (store / self.full_wh - self.floor).min(axis=1)
        return lowest, (store.sum(axis=1) / self.full_wh).mean(axis=1) / net.shape[1]


def about_the_deciding(result: Budget) -> Index:
    """The scenarios about the one on which the goal turns, from the lowest; that one in the middle.

    >>> from energy.simulation.budget import budget
    >>> from energy.plan import Plan
    >>> about_the_deciding(budget(Plan.read("builtin:cloudy-repair"))).size
    7
    """
    order = result.worst_first
    at = _deciding_place(result)
    half = min(SCENARIOS // 2, at, order.size - 1 - at)
    return order[at - half : at + half + 1]


def deciding_scenario(result: Budget) -> int:
    """The scenario on which the goal turns: with any that falls lower it would still be reached."""
    return int(result.worst_first[_deciding_place(result)])


def _deciding_place(result: Budget) -> int:
    """Where the deciding scenario stands among those from the lowest: with a goal of 0 %, which all
    may miss, the last."""
    return min(result.may_fail, result.success.size - 1)
