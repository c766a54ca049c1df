"""What would have been read in a span, given the figures of a kit and what that span alone decided.

Figures and nuisances (each day's sky, how hard each cut was) are scenarios of the same simulation
as every answer's. `observe` makes a forward model from a plan; `fit` inverts it.
"""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from energy.answers.learn.readings import Row
from energy.model import Array
from energy.model.case import Case
from energy.model.simulate import simulate
from energy.simulation.budget import Budget
from energy.weather.record import HOUR_S

CELLS_AT_ONCE = 400_000  # segments x scenarios: bounds the memory
RUN_ON_SCATTER = 0.05  # standard deviation of what simply runs on, from day to day; judgement
FIXED_BUS_LOADS = 2  # the idle draw beyond the plan's, and a charger's error
LEAST_SHARE = 0.02  # no tool draws less of what is stated, no sky lets less through


@dataclass(frozen=True)
class Observation:
    """One value that was read, with its standard deviation sigma.

    kind is its column, or "tool_w" for the load_w of one tool. A solar_wh counts from since_s on;
    a tool_w is of the tool that draws stated_w in the plan and has this figure of the posterior.
    """

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
class LoadFactor:
    """What multiplies one load of the case: a figure of the posterior, plus `scatter` times a
    nuisance of the work; -1 is none."""

    figure: int
    nuisance: int = -1
    scatter: float = 0.0


@dataclass(frozen=True)
class Restart:
    """An edge of the case at which the charge was read after a time of which nothing is known: its
    share of the capacity, with its standard deviation."""

    edge: int
    share: float
    sd_percent: float


@dataclass(frozen=True)
class ForwardModel:
    """A span laid out so that it can be asked what would have been read in it.

    Scenarios are m, segments n, figures p, skies' nuisances s. All nuisances are standard normal,
    (q, m): the start charge, then the skies', then the work's, then the restarts'.

    budget: the plan's own, of the whole span.
    case: the stretch of it that was read; its last `bus_loads` loads are the idle draw beyond the
        plan's, a charger's error and work at other times than planned.
    stated_factor (p,): the plan's own figures as factors on the posterior's base.
    prior_mean (p,): the means before the readings, which say how large the nuisances are.
    capacity, derate: which figures these are; -1 is none.
    sun_w (n,): what the panels are expected to give, at most sun_limit_w.
    sky (n, s): what share of that each nuisance adds; sky_days by date their mean, (s,).
    load_factors: one a load of the case.
    tools: the name in the kit file of each task's tool.
    start_sd_percent: the standard deviation of the start charge.
    restarts: where the charge starts afresh, in order.
    rows: all that was written, with what of it is unknown work; unused: lines about that.
    observed: what was read and counts; notes: lines about what does not.
    """

    budget: Budget
    case: Case
    stated_factor: Array
    prior_mean: Array
    capacity: int
    derate: int
    sun_w: Array
    sun_limit_w: float
    sky: Array
    sky_days: dict[str, Array]
    load_factors: tuple[LoadFactor, ...]
    bus_loads: int
    tools: tuple[str, ...]
    start_sd_percent: float
    restarts: tuple[Restart, ...]
    rows: tuple[Row, ...]
    unused: tuple[str, ...]
    observed: tuple[Observation, ...]
    notes: tuple[str, ...]

    @property
    def nuisances(self) -> int:
        """How many things only the day decides."""
        work = 1 + max(factor.nuisance for factor in self.load_factors)
        return 1 + int(self.sky.shape[1]) + work + len(self.restarts)

    @property
    def sigma(self) -> Array:
        """Standard deviations of what was read, (observed,)."""
        return np.array([seen.sigma for seen in self.observed])

    @property
    def values(self) -> Array:
        """What was read, (observed,)."""
        return np.array([seen.value for seen in self.observed])

    def at_planned_times(self) -> "ForwardModel":
        """The same where all work that was not counted was done when the plan has it."""
        moves = self.bus_loads - FIXED_BUS_LOADS
        if not moves:
            return self
        return replace(
            self,
            case=replace(self.case, loads=self.case.loads[:-moves]),
            load_factors=self.load_factors[:-moves],
            bus_loads=FIXED_BUS_LOADS,
        )

    def sky_weights(self) -> dict[str, Array]:
        """By date the weights over all nuisances, (q,), that make up its sun as a share of what was
        expected, less one."""
        padded = {}
        for name, weight in self.sky_days.items():
            padded[name] = np.zeros(self.nuisances)
            padded[name][1 : 1 + weight.size] = weight
        return padded

    def scenarios(
        self, theta: Array, nuisance: Array, *, in_percent: bool = True
    ) -> tuple[Case, tuple[Array, Array]]:
        """The case in so many scenarios, and the battery's state at its start.

        theta (p, m) factors on the posterior's base, nuisance (q, m). What only the day decides is
        added to the figures, not multiplied with them, and for what is read in percent it grows
        with the capacity: so the percentages cannot prefer small figures only because they would
        scatter less. What is read in watts knows nothing of the capacity.
        """
        ratio, usual = theta / self.stated_factor[:, None], self.prior_mean / self.stated_factor
        scale = np.ones(theta.shape[1])
        if in_percent:
            scale = theta[self.capacity] / self.prior_mean[self.capacity]
        work = nuisance[1 + self.sky.shape[1] :]
        factor = np.ones((len(self.load_factors), theta.shape[1]))
        for row, load_factor in enumerate(self.load_factors):
            if load_factor.figure >= 0:
                factor[row] = ratio[load_factor.figure]
            if load_factor.nuisance >= 0:
                size = usual[load_factor.figure] if load_factor.figure >= 0 else 1.0
                factor[row] += load_factor.scatter * size * scale * work[load_factor.nuisance]
        factor = np.maximum(factor, LEAST_SHARE)
        factor[-self.bus_loads :] -= 1.0
        battery = replace(
            self.case.battery,
            capacity_wh=self.case.battery.capacity_wh[0] * ratio[self.capacity],
            charge_max_w=np.full(theta.shape[1], self.case.battery.charge_max_w[0]),
        )
        sun = self._panel_w(theta, nuisance, scale)
        case = replace(self.case, battery=battery, solar_w=sun, factor=factor)
        return case, _state(case, battery.start_share, self.start_sd_percent, nuisance[0])

    def _panel_w(self, theta: Array, nuisance: Array, scale: Array) -> Array:
        """What the panels give in each segment, (n, m); `scale` (m,) is of the nuisances."""
        panel, usual = np.ones(theta.shape[1]), 1.0
        if self.derate >= 0:
            panel = theta[self.derate] / self.stated_factor[self.derate]
            usual = self.prior_mean[self.derate] / self.stated_factor[self.derate]
        added = self.sky @ nuisance[1 : 1 + self.sky.shape[1]] * usual * scale
        light = np.maximum(panel + added, LEAST_SHARE)
        return np.minimum(self.sun_w[:, None] * light, self.sun_limit_w)

    def charge(self, theta: Array, nuisance: Array) -> Array:
        """State of charge at the segments' edges [percent], (n + 1, m)."""
        case, state = self.scenarios(theta, nuisance)
        return 100.0 * self._run(case, state, nuisance)[0] / case.battery.capacity_wh

    def _run(
        self, case: Case, state: tuple[Array, Array], nuisance: Array, *, detail: bool = False
    ) -> tuple[Array, Array]:
        """The store at the edges [Wh], (n + 1, m), and with `detail` what the pack took of the sun
        [W], (n, m), from one start to the next."""
        edges = [0, *(restart.edge for restart in self.restarts), case.edges.size - 1]
        restarted = nuisance[self.nuisances - len(self.restarts) :]
        starts = [
            _state(case, restart.share, restart.sd_percent, z)
            for restart, z in zip(self.restarts, restarted, strict=True)
        ]
        store_wh = np.empty((case.edges.size, case.battery.capacity_wh.size))
        solar_w = np.empty((case.edges.size - 1 if detail else 0, store_wh.shape[1]))
        for (first, last), begun in zip(pairwise(edges), [state, *starts], strict=True):
            store_wh[first] = begun[0]
            if first < last:
                part = simulate(case.between(first, last), detail, begun)
                store_wh[first : last + 1] = part.store_wh
                if detail:
                    solar_w[first:last] = part.detail["solar_w"]
        return store_wh, solar_w

    def predict(self, theta: Array, nuisance: Array) -> Array:
        """What would have been read, (observed, m); shapes as for `scenarios`."""
        most = max(1, CELLS_AT_ONCE // self.case.edges.size)
        parts = [
            self._predict(theta[:, k : k + most], nuisance[:, k : k + most])
            for k in range(0, theta.shape[1], most)
        ]
        return np.concatenate(parts, axis=1)

    def _predict(self, theta: Array, nuisance: Array) -> Array:
        """The same for so few scenarios that they fit into memory."""
        case, state = self.scenarios(theta, nuisance)
        metered, _ = self.scenarios(theta, nuisance, in_percent=False)
        edges, (store_wh, _) = case.edges, self._run(case, state, nuisance)
        taken_wh = np.zeros_like(store_wh)
        if any(seen.kind == "solar_wh" for seen in self.observed):
            _, taken_w = self._run(metered, state, nuisance, detail=True)
            np.cumsum(taken_w * np.diff(edges)[:, None] / HOUR_S, axis=0, out=taken_wh[1:])

        def value(seen: Observation) -> Array:
            at_s = seen.row.time_s
            if seen.kind == "battery_percent":
                return 100.0 * at_moment(edges, store_wh, at_s) / case.battery.capacity_wh
            if seen.kind == "solar_w":
                return np.asarray(
                    metered.solar_w[segment_at(edges, at_s)] * case.controller_efficiency
                )
            if seen.kind == "solar_wh":
                return at_moment(edges, taken_wh, at_s) - at_moment(edges, taken_wh, seen.since_s)
            if seen.kind == "load_w":
                return load_w(metered, segment_at(edges, at_s), self.bus_loads)
            return np.asarray(seen.stated_w * theta[seen.figure] / self.stated_factor[seen.figure])

        return np.array([value(seen) for seen in self.observed]).reshape(-1, theta.shape[1])


def _state(case: Case, share: float, sd_percent: float, nuisance: Array) -> tuple[Array, Array]:
    """The battery's state at a charge that was read, with its nuisance, (m,)."""
    share_of_each = np.clip(share + sd_percent / 100.0 * nuisance, 0.0, 1.0)
    store = case.battery.capacity_wh * share_of_each
    return store, np.zeros_like(store)


def load_w(case: Case, segment: int, bus_loads: int) -> Array:
    """Watts at all outlets in a segment of a day's case, (m,)."""
    total = np.zeros(case.factor.shape[1])
    for load in case.loads[:-bus_loads]:
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
