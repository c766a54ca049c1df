"""Many choices of bursts in one pass of the simulation, side by side as scenarios.

The same step, sun and scenarios as a budget of each; a pass costs little more for a few more
scenarios, so that eight choices in 31 scenarios take about the time of two.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from energy.model import Array, Index, Mask
from energy.model.demand import Burst
from energy.model.limits import inverter_on, overloads
from energy.model.simulate import Case, simulate
from energy.simulation.budget import Budget
from energy.simulation.cables import lead_losses
from energy.simulation.case import inverter_windows, limits_of, load_of, ranked
from energy.simulation.result import lowest_point, succeeds


class Batch:
    """A budget's plan with other bursts, many at a time."""

    def __init__(self, result: Budget):
        self.result = result
        self.limits = limits_of(result.plan, inverter_windows(result.plan, result.calendar))
        self.order = ranked(result.plan)
        self.rank = {task: n for n, task in enumerate(self.order)}
        self.lost = lead_losses(result.plan, result.days.site.cold)
        self.planned = {id(burst) for burst in result.bursts}

    def fits(self, bursts: Sequence[Burst]) -> bool:
        """Whether the limits let all of these bursts run together."""
        if not self.result.overloads and all(id(burst) in self.planned for burst in bursts):
            return True
        marks = [t for burst in bursts for p in burst.pieces for t in (p.start_s, p.end_s)]
        edges = np.unique(np.concatenate([self.result.time_s, marks]))
        plan = self.result.plan
        return not overloads(edges, bursts, plan.task, self.order, self.limits)

    def failing(
        self, choices: Sequence[Sequence[Burst]], scenarios: Index | None = None
    ) -> list[Mask]:
        """In which of the scenarios (left out: all) each choice of bursts fails.

        >>> from energy.simulation.budget import budget
        >>> from energy.plan import Plan
        >>> known = budget(Plan.read("builtin:cloudy-repair"))
        >>> all_of_it, none_of_it = Batch(known).failing([known.bursts, ()])
        >>> bool((all_of_it == ~known.success).all()), bool(none_of_it.any())
        (True, False)
        """
        everyone = np.arange(self.result.success.size)
        scenarios = everyone if scenarios is None else scenarios
        case = self._case(choices, scenarios)
        run = simulate(case)
        _, above = lowest_point(case, run)
        success = succeeds(above, run, self.result.plan.pack.reserve_percent)
        return list(~success.reshape(len(choices), scenarios.size))

    def _case(self, choices: Sequence[Sequence[Burst]], scenarios: Index) -> Case:
        """All choices side by side, each in all scenarios."""
        plan, own = self.result.plan, self.result.case
        every = {id(burst): burst for bursts in choices for burst in bursts}
        marks = [t for burst in every.values() for p in burst.pieces for t in (p.start_s, p.end_s)]
        edges = np.unique(np.concatenate([own.edges, marks]))
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
            chosen = np.repeat(np.isin(np.arange(len(choices)), numbers), scenarios.size)
            factor[row] = own.factor[task, side_by_side] * chosen
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
