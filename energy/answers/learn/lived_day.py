"""A span that was lived through: what was read of it, and what the one pass predicts of that.

The figures of the kit and what only that day decided (its sky, how hard each cut was) are scenarios
of the same simulation as every answer's. Laying a plan out like this is for `observe`, what
follows for the figures for `learn`.
"""

from dataclasses import dataclass, replace

import numpy as np

from energy.answers.learn.readings import Row
from energy.model import Array
from energy.model.simulate import Case, simulate
from energy.simulation.budget import Budget
from energy.weather.record import HOUR_S

CELLS_AT_ONCE = 400_000  # segments x scenarios: bounds the memory
RUN_ON_SCATTER = 0.05  # standard deviation of what simply runs on, from day to day; judgement
LEAST_SHARE = 0.02  # no tool draws less of what is stated, no sky lets less through


@dataclass(frozen=True)
class Observed:
    """One thing read: its kind, row, value and standard deviation; a solar_wh counts from
    `since_s` on, a tool_w are that tool's `stated_w` in the plan."""

    kind: str
    row: Row
    value: float
    sigma: float
    since_s: float = 0.0
    stated_w: float = 0.0
    figure: int = -1

    @property
    def column(self) -> str:
        """The column in which it was written."""
        return "load_w" if self.kind == "tool_w" else self.kind


@dataclass(frozen=True)
class Group:
    """What multiplies one load of the case: a figure of the posterior, and so much of a nuisance of
    that day; -1 is none."""

    figure: int
    nuisance: int = -1
    scatter: float = 0.0


@dataclass(frozen=True)
class Day:
    """A span with its readings, ready to be asked what they would have been.

    Scenarios are m, segments n. Nuisances are standard normal, (q, m): the start charge, then the
    skies, then the work's. in_plan (p,) are the plan's own figures as factors on the posterior's
    base, believed (p,) those of before, which say how large the nuisances are; sun_w (n,) the
    expected panel side, sky (n, skies) what share of it each nuisance adds. The last two loads of
    the case are the idle draw beyond the plan's and a charger's error. sky_days gives each date's
    weights over the skies, (skies,); tools is the name in the kit of each task's.
    """

    budget: Budget
    case: Case
    in_plan: Array
    believed: Array
    capacity: int
    derate: int
    sun_w: Array
    sun_limit_w: float
    sky: Array
    sky_days: dict[str, Array]
    groups: tuple[Group, ...]
    tools: tuple[str, ...]
    start_sd_percent: float
    observed: tuple[Observed, ...]
    notes: tuple[str, ...]

    @property
    def nuisances(self) -> int:
        """How many things only the day decides."""
        return 2 + int(self.sky.shape[1]) + max(group.nuisance for group in self.groups)

    @property
    def sigma(self) -> Array:
        """Standard deviations of what was read, (observed,)."""
        return np.array([one.sigma for one in self.observed])

    @property
    def values(self) -> Array:
        """What was read, (observed,)."""
        return np.array([one.value for one in self.observed])

    def scenarios(
        self, theta: Array, nuisance: Array, *, in_percent: bool = True
    ) -> tuple[Case, tuple[Array, Array]]:
        """The case in so many scenarios, and the battery's state at its start.

        theta (p, m) factors on the posterior's base, nuisance (q, m). What only the day decides is
        added to the figures, not multiplied with them, and for what is read in percent it grows
        with the capacity: so the percentages cannot prefer small figures only because they would
        scatter less. What is read in watts knows nothing of the capacity.
        """
        ratio, usual = theta / self.in_plan[:, None], self.believed / self.in_plan
        grown = np.ones(theta.shape[1])
        if in_percent:
            grown = theta[self.capacity] / self.believed[self.capacity]
        of_work = nuisance[1 + self.sky.shape[1] :]
        factor = np.ones((len(self.groups), theta.shape[1]))
        for row, group in enumerate(self.groups):
            if group.figure >= 0:
                factor[row] = ratio[group.figure]
            if group.nuisance >= 0:
                size = usual[group.figure] if group.figure >= 0 else 1.0
                factor[row] += group.scatter * size * grown * of_work[group.nuisance]
        factor = np.maximum(factor, LEAST_SHARE)
        factor[-2:] -= 1.0
        battery = replace(
            self.case.battery,
            capacity_wh=self.case.battery.capacity_wh[0] * ratio[self.capacity],
            charge_max_w=np.full(theta.shape[1], self.case.battery.charge_max_w[0]),
        )
        sun = self._panel_w(theta, nuisance, grown)
        case = replace(self.case, battery=battery, solar_w=sun, factor=factor)
        share = battery.start_share + self.start_sd_percent / 100.0 * nuisance[0]
        store = battery.capacity_wh * np.clip(share, 0.0, 1.0)
        return case, (store, np.zeros_like(store))

    def _panel_w(self, theta: Array, nuisance: Array, grown: Array) -> Array:
        """What the panels give in each segment, (n, m); `grown` scales what the sky adds."""
        panel, usual = np.ones(theta.shape[1]), 1.0
        if self.derate >= 0:
            panel = theta[self.derate] / self.in_plan[self.derate]
            usual = self.believed[self.derate] / self.in_plan[self.derate]
        added = self.sky @ nuisance[1 : 1 + self.sky.shape[1]] * usual * grown
        light = np.maximum(panel + added, LEAST_SHARE)
        return np.minimum(self.sun_w[:, None] * light, self.sun_limit_w)

    def charge(self, theta: Array, nuisance: Array) -> Array:
        """State of charge at the segments' edges [percent], (n + 1, m)."""
        case, state = self.scenarios(theta, nuisance)
        return 100.0 * simulate(case, state=state).store_wh / case.battery.capacity_wh

    def predict(self, theta: Array, nuisance: Array) -> Array:
        """What would have been read, (observed, m); shapes as for `scenarios`."""
        most = max(1, CELLS_AT_ONCE // self.case.edges.size)
        parts = [
            self._predict(theta[:, k : k + most], nuisance[:, k : k + most])
            for k in range(0, theta.shape[1], most)
        ]
        return np.concatenate(parts, axis=1)

    def _predict(self, theta: Array, nuisance: Array) -> Array:
        case, state = self.scenarios(theta, nuisance)
        store_wh = simulate(case, state=state).store_wh
        metered, _ = self.scenarios(theta, nuisance, in_percent=False)
        edges, taken_wh = case.edges, np.zeros_like(store_wh)
        if any(one.kind == "solar_wh" for one in self.observed):
            taken_w = simulate(metered, detail=True, state=state).detail["solar_w"]
            np.cumsum(taken_w * np.diff(edges)[:, None] / HOUR_S, axis=0, out=taken_wh[1:])
        found = np.empty((len(self.observed), theta.shape[1]))
        for row, one in enumerate(self.observed):
            at = one.row.time_s
            if one.kind == "battery_percent":
                found[row] = 100.0 * at_moment(edges, store_wh, at) / case.battery.capacity_wh
            elif one.kind == "solar_w":
                found[row] = metered.solar_w[segment_at(edges, at)] * case.controller_efficiency
            elif one.kind == "solar_wh":
                found[row] = at_moment(edges, taken_wh, at)
                found[row] -= at_moment(edges, taken_wh, one.since_s)
            elif one.kind == "load_w":
                found[row] = load_w(metered, segment_at(edges, at))
            else:
                found[row] = one.stated_w * theta[one.figure] / self.in_plan[one.figure]
        return found


def load_w(case: Case, segment: int) -> Array:
    """Watts at all outlets in a segment of a day's case, (m,)."""
    total = np.zeros(case.factor.shape[1])
    for load in case.loads[:-2]:
        total += load.watts[load.rows == segment].sum() * case.factor[load.task]
    return total


def segment_at(edges: Array, time_s: float) -> int:
    """The segment that ends at a moment or holds it.

    >>> segment_at(np.array([0.0, 300.0, 600.0]), 300.0)
    0
    """
    return int(np.clip(np.searchsorted(edges, time_s, side="left") - 1, 0, edges.size - 2))


def at_moment(edges: Array, values: Array, time_s: float) -> Array:
    """Values at the edges, (n + 1, m), read at a moment by straight lines, (m,)."""
    k = segment_at(edges, time_s)
    share = np.clip((time_s - edges[k]) / (edges[k + 1] - edges[k]), 0.0, 1.0)
    return np.asarray(values[k] + share * (values[k + 1] - values[k]))
