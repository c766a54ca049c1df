"""The search for the best kits: which packs need how much panel, found by few simulations.

More of anything never serves less (see `frontier`), so what one combination of packs does tells of
others; and none is run that cannot be among the best. Panels count by their watts; a kit among the
best then has to do as it is written, where more than watts decides. What the kits are is for
`kits`, what others lack for `lacks`.
"""

from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from functools import cached_property
from heapq import heapify, heappop, heappush
from math import inf
from typing import Any

import numpy as np

from energy.answers.size.bundles import (
    Bundle,
    Joined,
    in_words,
    joined,
    kit_change,
    laid_as,
    panel_tables,
    smaller,
    total,
)
from energy.answers.size.candidates import Candidate
from energy.answers.size.designs import LARGE_WH, Designs, make_designs
from energy.answers.size.frontier import frontier
from energy.model import Array, Index
from energy.model.electronics import InverterCurve, inverter_curve
from energy.plan import PlanError
from energy.simulation.budget import Budget, budget
from energy.simulation.overloads import why_not_alone

TITLES = 3  # so many kits, by price and by weight, are the best
MOST_RUNS = 300  # of one kit through all weathers
LEVELS = 40  # panel sizes at which the least pack is looked for first

Ranked = tuple[float, Bundle, Bundle]  # a price, weight or number, and the packs and panels of it


def _cost(bundle: Bundle, key: str) -> float:
    """The price, weight or number of things of a bundle; infinite where it is not known."""
    cost = float(sum(count for _, count in bundle)) if key == "things" else total(bundle, key)
    return inf if cost is None else cost


class Search:
    """What is known of each combination of packs, in steps of the panels' watts.

    watts are all that the panels can give together, rising [W]. low is the first step that may do,
    high the first known to do (their number: none); fits and too_weak say whose limits are known to
    turn no task away, or one. Packs with the same inverter are a group: in it more of all limits
    never needs more panel. runs counts what went through all weathers.
    """

    def __init__(
        self,
        designs: Designs,
        packs: Sequence[Bundle],
        panels: Sequence[Bundle],
        progress: Callable[[int, int], None] | None,
    ):
        self.packs, self.panels, self.progress = packs, panels, progress
        self.number = {pack: k for k, pack in enumerate(packs)}
        self.panel_w = np.array([total(bundle, "rated_w") or 0.0 for bundle in panels])
        smallest = [min((p.rated_w or 0.0 for p, _ in bundle), default=inf) for bundle in panels]
        self.less_w = (self.panel_w - np.array(smallest)).round(6)  # with the smallest away
        self.watts, first = np.unique(self.panel_w, return_index=True)
        laid = laid_as(designs.plan)
        sizes = zip(self.watts.tolist(), first.tolist(), strict=True)
        listed = {watts: panel_tables(laid, panels[j]) for watts, j in sizes}
        self.designs = replace(designs, listed=listed)
        self.joined = joined(designs.plan, packs)
        self.limits = np.array([pack.limits for pack in self.joined])
        self.low = np.zeros(len(packs), dtype=int)
        self.high = np.full(len(packs), self.watts.size)
        self.fits, self.too_weak = np.zeros((2, len(packs)), dtype=bool)
        self.runs = 0
        inverters = list(dict.fromkeys(pack.inverter for pack in self.joined))
        self.group = np.array([inverters.index(pack.inverter) for pack in self.joined])
        self._ready: dict[int, Designs] = {}
        self._never: dict[Candidate, str] = {}
        self._does: dict[tuple[int, Bundle], bool] = {}
        self._bound([each for each in inverters if each is not None], None in inverters)

    def _bound(self, inverters: Sequence[tuple[float, float]], without: bool) -> None:
        """What the most generous limits of any packs and the least losses of any inverter cannot
        do with a label, no packs of that label can."""
        largest = tuple(max(values) for values in zip(*inverters, strict=True)) or None
        designs = self._generous(np.arange(len(self.packs)), largest)
        if designs.overloads:
            self.too_weak[:], self.low[:] = True, self.watts.size
            return
        if inverters:
            curves = [self._curve(rated_w) for rated_w, _ in inverters]
            least = [min(values) for values in zip(*curves, strict=True)]
            best = InverterCurve(1.0, *([0.0] * 3 if without else least))
            cases = tuple(replace(case, inverter=best) for case in designs.cases)
            designs = replace(designs, cases=cases)
        level = np.unique(np.linspace(0, self.watts.size - 1, LEVELS).astype(int))
        sizes_wh, size = np.unique(self.limits[:, 0], return_inverse=True)
        goals = [designs.plan.goal.chance_percent]
        smallest = frontier(designs, self.watts[level], sizes_wh, goals).smallest[:, 0]
        enough = smallest[:, None] <= size
        fails = np.where(enough.any(axis=0), enough.argmax(axis=0), level.size)
        self.low = np.append(-1, level)[fails] + 1

    def _curve(self, rated_w: float) -> tuple[float, float, float]:
        """The losses of the plan's inverter with another rating: idle [W], a, b per watt."""
        own = self.designs.plan.replace(**{"pack.inverter.rated_w": rated_w}).pack.inverter
        assert own is not None
        curve = inverter_curve(rated_w, own.idle_w, own.efficiency_percent)
        return curve.idle_w, curve.a, curve.b / rated_w

    def _generous(self, at: Index, inverter: tuple[float, float] | None) -> Designs:
        """The weathers ready for packs with the largest limits of some of them."""
        label_wh, charge_w, discharge_w, solar_w = self.limits[at].max(axis=0).tolist()
        solar = {key: value for k in at for key, value in self.joined[k].solar.items()}
        solar["pack.solar_input.max_w"] = solar_w if solar_w < inf else None
        most = Joined(label_wh, charge_w, discharge_w, solar_w, inverter, solar)
        ready = make_designs(self.designs.plan.replace(**most.change), self.designs, LARGE_WH)
        return replace(ready, listed=self.designs.listed)

    def _group(self, k: int) -> Designs:
        """The weathers ready for the packs that have the inverter of these."""
        number = int(self.group[k])
        if number not in self._ready:
            at = np.flatnonzero(self.group == number)
            self._ready[number] = designs = self._generous(at, self.joined[k].inverter)
            self.runs += 1
            if designs.overloads:
                self.too_weak[at], self.low[at] = True, self.watts.size
        return self._ready[number]

    def least(self, key: str) -> list[Ranked]:
        """The kits of the least figures by price, weight or number of things, rising: as many as
        are best, and all that equal the last of them."""
        cost = np.array([_cost(pack, key) for pack in self.packs])
        panel_cost = np.array([_cost(bundle, key) for bundle in self.panels])
        from_w = np.full(self.watts.size + 1, inf)  # the least cost of so many watts or more
        np.minimum.at(from_w, np.searchsorted(self.watts, self.panel_w), panel_cost)
        from_w = np.minimum.accumulate(from_w[::-1])[::-1]
        best: list[Ranked] = []
        looked = np.zeros(cost.size, dtype=bool)
        while True:
            if self.progress is not None:
                self.progress(int((self.low == self.high).sum()), self.low.size)
            closed = looked | (self._spent & (self.low < self.high))
            bound = np.where(closed, inf, (cost + from_w[self.low]).round(6))
            k = int(bound.argmin())
            if bound[k] == inf or bound[k] > _last(best):
                return best
            if self._one_is_too_weak(k):
                continue
            if self.low[k] < self.high[k]:
                self._settle(k)
                continue
            looked[k] = True
            kit_cost = (cost[k] + panel_cost).round(6)
            for j in self._rising(k, kit_cost):
                if kit_cost[j] > _last(best):
                    break
                if kit_cost[j] == inf or self._holds_another(k, float(self.panel_w[j])):
                    continue
                if self._does_as_it_is(k, j):
                    best.append((float(kit_cost[j]), self.packs[k], self.panels[j]))
                    best.sort(key=_order)
            best = [ranked for ranked in best if ranked[0] <= _last(best)]

    def judge(self, k: int) -> bool:
        """Whether packs do with all the panels of the list; what is not settled counts as yes."""
        if not self._one_is_too_weak(k):
            self._limit(k)
            self._try_all(k)
        return bool(self.low[k] < self.watts.size)

    def judged_at_own_limits(self, k: int) -> Budget:
        """What packs can and cannot give, in the plan's own weathers."""
        designs = self._group(k)
        return designs.groups[0] if designs.overloads else self._at_own_limits(k)

    def own(self, k: int, **other: Any) -> Designs:
        """The weathers ready for packs with their own limits, and other values of plan keys."""
        change = self.joined[k].change | other
        return replace(self._group(k), plan=self.designs.plan.replace(**change))

    @property
    def most_panels(self) -> Bundle:
        """All the panels of the list that go together."""
        return self.panels[int(self.panel_w.argmax())]

    def never(self, pack: Candidate) -> str:
        """Which task can never run on one pack alone, and why; empty where all can."""
        if pack not in self._never:
            judged = self.judged_at_own_limits(self.number[((pack, 1),)])
            tasks = dict.fromkeys(overload.burst.task for overload in judged.overloads)
            reasons = ((judged.plan.task[task].name, why_not_alone(judged, task)) for task in tasks)
            refusals = (f'"{name}" {why}' for name, why in reasons if why)
            self._never[pack] = next(refusals, "")
        return self._never[pack]

    def _one_is_too_weak(self, k: int) -> bool:
        """Whether one of several packs cannot run some tool by itself: a tool hangs on one pack,
        whichever has charge left, so such packs are out."""
        packs = self.packs[k]
        weak = sum(count for _, count in packs) > 1 and any(self.never(pack) for pack, _ in packs)
        if weak:
            self.too_weak[k], self.low[k] = True, self.watts.size
        return weak

    def _just(self, k: int) -> Index:
        """The bundles of panels that packs need, with none to spare."""
        least_w = self.watts[self.low[k]] if self.low[k] < self.watts.size else inf
        return np.flatnonzero((self.panel_w >= least_w) & (self.less_w < least_w))

    def _rising(self, k: int, cost: Array) -> Iterator[int]:
        """The numbers of the panels that packs need, with none to spare, the least of cost first;
        where some do not do as they are, those that hold them too."""
        waiting = [(float(cost[j]), j) for j in self._just(k).tolist()]
        heapify(waiting)
        while waiting:
            _, j = heappop(waiting)
            yield j
            if self._does.get((k, self.panels[j])) is False:
                for more in self._one_more.get(self.panels[j], ()):
                    if self._spares_none(k, more):
                        heappush(waiting, (float(cost[more]), more))

    @cached_property
    def _one_more(self) -> dict[Bundle, list[int]]:
        """By panels the numbers of those that hold one more."""
        more: dict[Bundle, list[int]] = {}
        for j, bundle in enumerate(self.panels):
            for less in smaller(bundle):
                more.setdefault(less, []).append(j)
        return more

    def _spares_none(self, k: int, j: int) -> bool:
        """Whether packs do not do with one of these panels less."""
        least_w = self.watts[self.low[k]]
        return all(
            self._does.get((k, less)) is False
            for less in smaller(self.panels[j])
            if (total(less, "rated_w") or 0.0) >= least_w
        )

    def _holds_another(self, k: int, panel_w: float) -> bool:
        """Whether with one pack less the same panels do."""
        step = int(np.searchsorted(self.watts, panel_w))
        for less in smaller(self.packs[k]):
            j = self.number.get(less)
            if j is not None and self.low[j] <= step < self.high[j]:
                self._settle(j)
            if j is not None and self.high[j] <= step:
                return True
        return False

    def _does_as_it_is(self, k: int, j: int) -> bool:
        """Whether packs that do with the watts of some panels do with these, one by one: joined as
        they can be, and each kind with a luck of its own."""
        plan, panels = self.designs.plan, self.panels[j]
        own_luck = len(panels) > 1 and plan.panel[0].condition_spread_percent > 0.0
        if not panels or not (self.designs.joining_counts or own_luck):
            return True
        if (k, panels) not in self._does and not self._spent:
            self.runs += 1
            self._does[k, panels] = False
            with suppress(PlanError):  # they cannot be joined
                kit = plan.replace(**kit_change(plan, self.packs[k], panels))
                self._does[k, panels] = budget(kit, previous=self.designs.groups[0]).yes
        return self._does.get((k, panels), False)

    @property
    def watts_alone(self) -> bool:
        """Whether some kit has the watts and does not do as it is."""
        return not all(self._does.values())

    @property
    def _spent(self) -> bool:
        return self.runs >= MOST_RUNS

    def _settle(self, k: int) -> None:
        """Find how much panel packs need, as far as the runs go."""
        self._limit(k)
        self._try(k, int(self.low[k]))  # as `_bound` has it
        self._try_all(k)
        while self.low[k] < self.high[k] and not self._spent:
            self._try(k, int(self.low[k] + self.high[k]) // 2)

    def _try_all(self, k: int) -> None:
        """Find whether packs do with all the panels there are."""
        if self.high[k] == self.watts.size:
            self._try(k, self.watts.size - 1)

    def _limit(self, k: int) -> None:
        """Find whether packs can give the power."""
        if self._spent:
            return
        self._group(k)
        if self.fits[k] or self.too_weak[k]:
            return
        power = self.limits[:, [0, 2]]  # label and discharge
        same = self.group == self.group[k]
        if self._at_own_limits(k).overloads:
            weak = same & (power <= power[k]).all(axis=1)
            self.too_weak[weak], self.low[weak] = True, self.watts.size
        else:
            self.fits[same & (power >= power[k]).all(axis=1)] = True

    def _try(self, k: int, step: int) -> None:
        """Run packs with so much panel, and learn of all that are smaller or larger."""
        if self._spent or self.low[k] == self.high[k]:
            return
        self.runs += 1
        same = self.group == self.group[k]
        if self.own(k).reaches_goal(float(self.watts[step]), self.joined[k].capacity_wh):
            more = same & (self.limits >= self.limits[k]).all(axis=1)
            self.high[more] = np.minimum(self.high[more], step)
        else:
            less = same & (self.limits <= self.limits[k]).all(axis=1)
            self.low[less] = np.maximum(self.low[less], step + 1)

    def _at_own_limits(self, k: int) -> Budget:
        self.runs += 1
        return self.own(k).at_size(self.joined[k].capacity_wh)


def _order(ranked: Ranked) -> tuple[float, int, str]:
    """By cost; of equals those of fewer things first, then by their names."""
    cost, packs, panels = ranked
    return cost, sum(count for _, count in packs + panels), in_words(packs + panels)


def _last(best: Sequence[Ranked]) -> float:
    """The cost of the last of the best; infinite while there are fewer."""
    return best[TITLES - 1][0] if len(best) >= TITLES else inf
