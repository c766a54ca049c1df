"""The figures of a kit that readings can teach, and their posterior: mean and covariance.

Each figure is a factor on what was first stated of it, with a mean near one. What readings would
have been under some figures is for `forward_model`; how readings change the posterior, for `fit`.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from energy.answers.learn.component_names import pack_key, panel_key, tools_of
from energy.model import Array, Mask
from energy.plan import Plan, PlanError
from energy.plan.task import Task

# Standard deviations of the factors before anything was read, and how much doubt comes back in a
# month: judgement. A tool without a spread of its own has that of its task, and no tool less than
# lets its label be wrong by a factor of two.
CAPACITY_SPREAD, IDLE_SPREAD, CONDITION_SPREAD = 0.15, 0.50, 0.18
LEAST_TOOL_SPREAD = 0.40
AGE_PER_MONTH = {"capacity_wh": 0.01, "idle_w": 0.03, "condition_percent": 0.05, "tool": 0.05}
SURE_OF_CAPACITY = 0.05  # a display that is bent cannot tell the capacity better
MOVED = 0.02  # a share: less is no change
LEARNED = 0.9  # of the doubt there was at first: what has more left was not learned
ANOTHER = 3.0  # first spreads: a figure stated so far from the kit's is of another thing
INTERVAL_80 = 1.2816  # the normal distribution's 90 % point
BY_FACTORS = ("capacity_wh", "tool")  # whose errors are factors: as often half as twice
NAMES = {"capacity_wh": "capacity", "idle_w": "idle draw", "condition_percent": "condition"}


@dataclass(frozen=True)
class Figure:
    """One figure as a plan states it: `value` in W, Wh or percent, with the spread of its factor;
    people are shown value x `each` of `unit` (a cut's Wh rather than its watts)."""

    key: str
    value: float
    spread: float
    each: float
    unit: str


@dataclass(frozen=True)
class Posterior:
    """The normal distribution of a kit's figures: the mean (p,) of the factors on the stated
    figures `base` (p,), their covariance (p, p), and the standard deviation first_sd (p,) that each
    had before anything was read."""

    keys: tuple[str, ...]
    base: Array
    mean: Array
    covariance: Array
    first_sd: Array

    @property
    def sd(self) -> Array:
        """Standard deviation of each factor, (p,)."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))

    @property
    def by_factors(self) -> Mask:
        """Which figures err by factors, so that their logarithms are normal, (p,)."""
        return np.array([key.startswith(BY_FACTORS) for key in self.keys])

    def moved_from(self, before: "Posterior") -> Array:
        """How far each figure has moved, in standard deviations before anything was read, (p,)."""
        ratio = self.mean / before.mean
        moved = np.where(self.by_factors, np.log(ratio), self.mean - before.mean)
        return np.asarray(np.abs(moved) / before.first_sd)

    @property
    def relative_sd(self) -> Array:
        """Standard deviation of each figure as a share of its own mean, (p,)."""
        return np.asarray(self.sd / self.mean)

    @property
    def doubt_left(self) -> Array:
        """The share of each figure's first doubt that is left, (p,); of what errs by factors the
        doubt is of the factor, so that a figure is not surer for having become small."""
        sd = np.where(self.by_factors, self.relative_sd, self.sd)
        return np.asarray(sd / self.first_sd)

    def not_below(self, least: Array, keys: Iterable[str]) -> "Posterior":
        """The same with the figures `keys` no smaller than `least`, (p,), and as doubtful."""
        at = [self.keys.index(key) for key in keys]
        ratio = np.ones(self.mean.size)
        ratio[at] = np.maximum(least[at] / self.mean[at], 1.0)
        mean, covariance = self.mean * ratio, self.covariance * np.outer(ratio, ratio)
        return replace(self, mean=mean, covariance=covariance)

    @property
    def learned(self) -> list[str]:
        """The figures of which readings took at least a tenth of the doubt."""
        left = self.doubt_left <= LEARNED
        return [key for key, taken in zip(self.keys, left, strict=True) if taken]

    @property
    def changed(self) -> list[str]:
        """Those, and the figures that moved along with them: they hold together only as a whole."""
        learned = set(self.learned)
        moved = np.abs(self.mean - 1.0) > MOVED
        return [key for key, far in zip(self.keys, moved, strict=True) if far or key in learned]

    def with_figures(self, figures: Iterable[Figure]) -> "Posterior":
        """The same with those figures of a plan added that it does not hold yet."""
        new = [figure for figure in figures if figure.key not in self.keys]
        size, count = len(self.keys), len(self.keys) + len(new)
        covariance = np.zeros((count, count))
        covariance[:size, :size] = self.covariance
        spread = np.array([figure.spread for figure in new])
        covariance[range(size, count), range(size, count)] = spread**2
        return Posterior(
            keys=(*self.keys, *(figure.key for figure in new)),
            base=np.concatenate([self.base, [figure.value for figure in new]]),
            mean=np.concatenate([self.mean, np.ones(len(new))]),
            covariance=covariance,
            first_sd=np.concatenate([self.first_sd, spread]),
        )

    def merge(self, newer: "Posterior") -> "Posterior":
        """Combine two independent posteriors. Where both contain a figure, the newer one wins
        unless it learned nothing about it.

        >>> saw, drill = (Figure(f"tool:{x}", 100.0, 0.25, 1.0, "W") for x in ("saw", "drill"))
        >>> one, two = EMPTY.with_figures([saw]), EMPTY.with_figures([saw, drill])
        >>> one.measured("tool:saw", 1.2, 0.02).merge(two).learned
        ['tool:saw']
        """
        kept = set(self.learned) - set(newer.learned)
        older_at = [k for k, key in enumerate(self.keys) if key in kept or key not in newer.keys]
        newer_at = [k for k, key in enumerate(newer.keys) if key not in kept]
        size, first = len(older_at) + len(newer_at), len(older_at)
        covariance = np.zeros((size, size))
        covariance[:first, :first] = self.covariance[np.ix_(older_at, older_at)]
        covariance[first:, first:] = newer.covariance[np.ix_(newer_at, newer_at)]
        return Posterior(
            keys=(*(self.keys[k] for k in older_at), *(newer.keys[k] for k in newer_at)),
            base=np.concatenate([self.base[older_at], newer.base[newer_at]]),
            mean=np.concatenate([self.mean[older_at], newer.mean[newer_at]]),
            covariance=covariance,
            first_sd=np.concatenate([self.first_sd[older_at], newer.first_sd[newer_at]]),
        )

    def aged(self, months: float) -> "Posterior":
        """The same some time later: doubt comes back, never beyond what there was at first."""
        rate = np.array([AGE_PER_MONTH[key.split(":")[0]] for key in self.keys])
        back = rate**2 * max(months, 0.0)
        room = np.maximum(self.first_sd**2 - np.diag(self.covariance), 0.0)
        covariance = self.covariance + np.diag(np.minimum(back, room))
        return Posterior(self.keys, self.base, self.mean, covariance, self.first_sd)

    def measured(self, key: str, factor: float, sd: float) -> "Posterior":
        """The posterior after the figure `key` was measured by itself: its factor, and the
        measurement's standard deviation.

        >>> figure = Figure("tool:saw", 100.0, 0.25, 1.0, "W")
        >>> after = EMPTY.with_figures([figure]).measured("tool:saw", 1.2, 0.02)
        >>> round(float(after.mean[0]), 3), round(float(after.sd[0]), 3)
        (1.199, 0.02)
        """
        at = self.keys.index(key)
        gain = self.covariance[at] / (self.covariance[at, at] + sd**2)
        mean = self.mean + gain * (factor - self.mean[at])
        covariance = self.covariance - np.outer(gain, self.covariance[at])
        return Posterior(self.keys, self.base, mean, covariance, self.first_sd)


EMPTY = Posterior((), np.zeros(0), np.zeros(0), np.zeros((0, 0)), np.zeros(0))


def figures_of(plan: Plan) -> list[Figure]:
    """The figures of a plan's kit that can be learned: pack, panels, each tool once.

    >>> [figure.key for figure in figures_of(Plan.read("builtin:cloudy-repair"))][:3]
    ['capacity_wh:pack-1000', 'idle_w:pack-1000', 'condition_percent:folding-200']
    """
    pack = plan.pack
    capacity = Figure(pack_key("capacity_wh", plan), pack.capacity_wh, CAPACITY_SPREAD, 1.0, "Wh")
    figures = [capacity]
    idle_w = pack.idle_w + (pack.inverter.idle_w if pack.inverter else 0.0)
    if idle_w > 0.0:
        figures.append(Figure(pack_key("idle_w", plan), idle_w, IDLE_SPREAD, 1.0, "W"))
    percent = condition_percent(plan) if plan.panel else 0.0
    if percent > 0.0:
        figures.append(Figure(panel_key(plan), percent, CONDITION_SPREAD, 1.0, "%"))
    for name, task in zip(tools_of(plan), plan.task, strict=True):
        key, size = f"tool:{name}", size_of(task)
        if task.spread_percent > 0.0 and size > 0.0 and key not in {f.key for f in figures}:
            each, unit = _each(task)
            spread = max(task.spread_percent / 100.0, LEAST_TOOL_SPREAD)
            figures.append(Figure(key, size, spread, each, unit))
    return figures


def refuse_another(posterior: Posterior, figures: Iterable[Figure]) -> None:
    """Raise PlanError where a plan states so different a figure under a name the kit knows that it
    must be of another pack, panel or tool."""
    problems = []
    for figure in figures:
        if figure.key not in posterior.keys:
            continue
        at = posterior.keys.index(figure.key)
        base = float(posterior.base[at])
        mean = base * float(posterior.mean[at])
        most = 1.0 + ANOTHER * float(posterior.first_sd[at])
        if all(max(figure.value / value, value / figure.value) > most for value in (base, mean)):
            kind, _, name = figure.key.partition(":")
            learned, here = (
                f"{rounded(value * figure.each, 3):g}" for value in (mean, figure.value)
            )
            problems.append(
                f"the {NAMES.get(kind, 'draw')} of {name} is {learned} {figure.unit} in the kit and"
                f" {here} in the plan, too far apart for one and the same: give this one a"
                f" {'tool' if kind == 'tool' else 'profile'} name of its own, or take its figures"
                " out and name the kit in profiles"
            )
    if problems:
        raise PlanError(problems)


def condition_percent(plan: Plan) -> float:
    """The condition of all panels together, by their watts."""
    watts = [panel.rated_w * panel.count for panel in plan.panel]
    return float(np.average([panel.condition_percent for panel in plan.panel], weights=watts))


def size_of(task: Task) -> float:
    """What a tool's factor multiplies: Wh of a charge, or mean watts while it runs."""
    return (task.energy_wh or 0.0) if task.kind == "charging" else task.mean_w


def _each(task: Task) -> tuple[float, str]:
    """What people count of a tool, as a multiple of its size, and the unit."""
    if task.kind == "charging":
        return 1.0, "Wh a charge"
    if task.times is not None and task.each_s is not None:
        return task.each_s / 3600.0, "Wh each"
    return 1.0, "W"


def words(key: str) -> str:
    """A figure in plain words.

    >>> words("tool:angle-grinder-125"), words("capacity_wh:pack-1000")
    ('angle-grinder-125', 'capacity by this display')
    """
    kind, _, name = key.partition(":")
    return {
        "capacity_wh": "capacity by this display",
        "idle_w": "idle draw, inverter on",
        "condition_percent": "condition of the panel",
        "sky": f"sky of {name}",
    }.get(kind, name)


def rounded(value: float, digits: int = 4) -> float:
    """So many figures of a value: more than four are not known of anything here.

    >>> rounded(1567.8), rounded(1567.8, 3)
    (1568.0, 1570.0)
    """
    return float(f"{value:.{digits}g}")
