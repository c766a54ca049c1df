"""Many choices of bursts in one pass of the simulation, side by side as scenarios.

The same step, sun and scenarios as a budget of each; a pass costs little more for a few more
scenarios, so that eight choices in 31 scenarios take about the time of two.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from energy.model import Array, Index, Mask
from energy.model.case import Case
from energy.model.demand import Burst, cut_at
from energy.model.limits import all_fit, inverter_on
from energy.model.simulate import simulate
from energy.simulation.budget import Budget
from energy.simulation.cables import lead_losses
from energy.simulation.demand import limits_of, load_of, ranked
from energy.simulation.success import lowest_point, succeeds


class Batch:
    """A budget's plan with other bursts, many at a time."""

    def __init__(self, result: Budget):
        self.result = result
        self.limits = limits_of(result.plan, result.calendar)
        self.rank = {task: n for n, task in enumerate(ranked(result.plan))}
        self.lost = lead_losses(result.plan, result.days.site.cold)
        self.planned = {id(burst) for burst in result.bursts}
        self.edges = self._edges()

    def _edges(self) -> Array:
        """Where sun, air, chargers or the inverter's windows change [UTC s]. Between them only the
        bursts of a choice cut a lithium pack's segments, which are exact however long they are."""
        case = self.result.case
        if not case.battery.lithium:
            return case.edges
        on = inverter_on(case.edges, (), self.result.plan.task, self.limits)
        rows = case.solar_row, case.temp_row, case.charger_w, on
        change = np.any([np.diff(row) != 0 for row in rows], axis=0)
        return np.asarray(case.edges[np.concatenate([[True], change, [True]])])

    def fits(self, bursts: Sequence[Burst]) -> bool:
        """Whether the limits let all of these bursts run together."""
        if not self.result.overloads and all(id(burst) in self.planned for burst in bursts):
            return True
        edges = cut_at(self.edges, bursts)
        return all_fit(edges, bursts, self.result.plan.task, self.limits)

    def failing(
        self, choices: Sequence[Sequence[Burst]], scenarios: Index | None = None
    ) -> list[Mask]:
        """In which of the scenarios (left out: all) each choice of bursts fails.

        >>> from energy.simulation.budget import budget
        >>> from energy.plan import Plan
        >>> demo = budget(Plan.read("builtin:cloudy-repair"))
        >>> all_of_it, none_of_it = Batch(demo).failing([demo.bursts, ()])
        >>> bool((all_of_it == ~demo.success).all()), bool(none_of_it.any())
        (True, False)
        """
        return list(self.margins(choices, scenarios) < 0.0)

    def margins(self, choices: Sequence[Sequence[Burst]], scenarios: Index | None = None) -> Array:
        """How far each choice stays above the reserve in the scenarios (left out: all) at its
        lowest, less than 0 where it fails [percent of charge], (choices, scenarios)."""
        everyone = np.arange(self.result.success.size)
        scenarios = everyone if scenarios is None else scenarios
        case, reserve = self._case(choices, scenarios), self.result.plan.pack.reserve_percent
        simulated = simulate(case, books=False)
        _, above = lowest_point(case, simulated)
        kept = np.maximum(above - reserve, 0.0)
        fails = np.minimum(above - reserve, -1e-9)
        margin = np.where(succeeds(above, simulated, reserve), kept, fails)
        return margin.reshape(len(choices), scenarios.size)

    def _case(self, choices: Sequence[Sequence[Burst]], scenarios: Index) -> Case:
        """All choices side by side, each in all scenarios."""
        plan, own = self.result.plan, self.result.case
        every = {id(burst): burst for bursts in choices for burst in bursts}
        edges = cut_at(self.edges, every.values())
        was = np.searchsorted(own.edges, edges[:-1], side="right") - 1
        members: dict[int, list[int]] = {key: [] for key in every}
        for number, bursts in enumerate(choices):
            for burst in bursts:
                members[id(burst)].append(number)
        groups: dict[tuple[int, tuple[int, ...]], list[Burst]] = {}
        for key, burst in every.items():
            groups.setdefault((burst.task, tuple(members[key])), []).append(burst)
        named = sorted(groups, key=lambda group: (self.rank[group[0]], group[1]))
        side_by_side = np.tile(scenarios, len(choices))
        factor = np.zeros((len(named), side_by_side.size))
        loads = []
        for row, (task, numbers) in enumerate(named):
            chosen = np.zeros((len(choices), 1))
            chosen[[*numbers]] = 1.0
            factor[row] = (own.factor[task, scenarios] * chosen).ravel()
            supply = plan.task[task].supply
            lost = self.lost.get(task, 0.0)
            loads.append(load_of(edges, groups[task, numbers], row, supply, lost))
        tiled = replace(own, inverter_on=own.inverter_on[:0]).scenarios(side_by_side)
        return replace(
            tiled,
            edges=edges,
            solar_row=own.solar_row[was],
            temp_row=own.temp_row[was],
            charger_w=own.charger_w[was],
            inverter_on=self._inverter_on(edges, choices, scenarios.size),
            loads=loads,
            factor=factor,
        )

    def _inverter_on(
        self, edges: Array, choices: Sequence[Sequence[Burst]], scenarios: int
    ) -> Array:
        if self.limits.on == "always" or not isinstance(self.limits.on, str):
            return inverter_on(edges, (), self.result.plan.task, self.limits)
        on = [inverter_on(edges, bursts, self.result.plan.task, self.limits) for bursts in choices]
        return np.repeat(np.stack(on, axis=1), scenarios, axis=1)
