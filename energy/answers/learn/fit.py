"""The posterior after readings: the most likely figures and their covariance.

Maximum a posteriori over the figures and each day's nuisances by SciPy's trust-region least
squares; the covariance is Laplace's approximation, from the slopes at the solution. Capacity and
tools are fitted in logarithms: a label is as likely to be twice too low as twice too high, and what
percentages tell of them, their ratio, is a straight line there.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.optimize import least_squares

from energy.answers.learn.forward_model import ForwardModel
from energy.answers.learn.posterior import Posterior
from energy.model import Array, Mask

STEP, NUISANCE_STEP = 0.25, 0.25  # to either side, in standard deviations, for the slopes
LEAST_FACTOR = 0.1
MOST_TURNS, CLOSE = 100, 1e-4
OUTLIER_SIGMAS = 3.5  # a reading this far from all that was expected is not believed
# A figure so many first spreads off, or so much cost for each thing read: judgement, tried on
# invented days; displays bent by 2 points stay within.
FARTHEST, MOST_COST = 4.5, 12.0
MOST_CAPACITY = 1.5  # of what was expected: a pack may hold much less than its label, not much more
FARTHEST_TOOL = 3.3  # a factor: a tool so far from what is stated was not used as it is told
SAMPLES = 400  # of kits and skies
SKIES_TRIED = np.linspace(-3.0, 3.0, 13)  # a pack taken for full hides what the sky did


@dataclass(frozen=True)
class Fit:
    """The posterior after the readings, and of each day's nuisances the mean (q,), the covariance
    (q, q) and the cross-covariance with the figures (p, q).

    cost is the sum of squares that is left: about one for each value read where plan and readings
    agree.
    """

    posterior: Posterior
    cost: float
    nuisance: tuple[Array, ...]
    nuisance_covariance: tuple[Array, ...]
    cross_covariance: tuple[Array, ...]

    def contradicts(self, before: Posterior, count: int) -> bool:
        """Whether no likely kit would have shown so many things together."""
        moved = self.posterior.moved_from(before)
        capacity = next(k for k, key in enumerate(before.keys) if key.startswith("capacity_wh"))
        swollen = self.posterior.mean[capacity] > MOST_CAPACITY * before.mean[capacity]
        tools = np.array([key.startswith("tool:") for key in before.keys])
        by_now = np.abs(np.log(self.posterior.mean[tools]))  # after all days, of what is stated
        misused = by_now.max(initial=0.0) > np.log(FARTHEST_TOOL)
        return bool(swollen or misused or moved.max() > FARTHEST or self.cost > MOST_COST * count)


def slopes(
    day: ForwardModel, posterior: Posterior, theta: Array, nuisance: Array
) -> tuple[Array, Array]:
    """What would have been read at some figures and nuisances, (observed,), and how it moves with
    each of them, (observed, p + q): one pass of 2 (p + q) + 1 scenarios."""
    at = np.concatenate([theta, nuisance])
    size = np.concatenate(
        [np.maximum(STEP * posterior.sd, 0.01), np.full(nuisance.size, NUISANCE_STEP)]
    )
    moved = np.concatenate([np.diag(size), -np.diag(size), np.zeros((at.size, 1))], axis=1)
    scenarios = at[:, None] + moved
    scenarios[: theta.size] = np.maximum(scenarios[: theta.size], LEAST_FACTOR / 2.0)
    predicted = day.predict(scenarios[: theta.size], scenarios[theta.size :])
    each = np.arange(at.size)
    apart = scenarios[each, each] - scenarios[each, each + at.size]
    return predicted[:, -1], (predicted[:, : at.size] - predicted[:, at.size : -1]) / apart


def fit(posterior: Posterior, days: Sequence[ForwardModel]) -> Fit:
    """The posterior after some days, all at once.

    posterior is the prior; each day must have been laid out with it (see `observe`).
    """
    problem = _LeastSquares(posterior, tuple(days))
    skies = [_likely_sky(day, posterior.mean) for day in days]
    at = np.concatenate([problem.from_theta(posterior.mean), *skies])
    solution = least_squares(
        problem.residuals,
        np.maximum(at, problem.least + CLOSE),
        problem.slopes_of_residuals,
        bounds=(problem.least, np.inf),
        xtol=CLOSE,
        ftol=CLOSE,
        max_nfev=MOST_TURNS,
    )
    curvature = solution.jac.T @ solution.jac
    return problem.fit_at(solution.x, 2.0 * solution.cost, np.asarray(np.linalg.inv(curvature)))


@dataclass(frozen=True)
class _LeastSquares:
    """The least squares over all figures and all days' nuisances, which stand in one array `at`,
    (p + q,): the figures first, some as logarithms, then each day's nuisances."""

    posterior: Posterior
    days: tuple[ForwardModel, ...]

    @cached_property
    def by_factors(self) -> Mask:
        """Which figures stand as logarithms, (p,)."""
        return self.posterior.by_factors

    def from_theta(self, theta: Array) -> Array:
        """The figures as they stand in `at`, (p,)."""
        return np.log(theta, out=theta.copy(), where=self.by_factors)

    def theta(self, at: Array) -> Array:
        """The figures that stand in `at`, (p,)."""
        figures = at[: self.by_factors.size]
        return np.exp(figures, out=figures.copy(), where=self.by_factors)

    def per_step(self, theta: Array) -> Array:
        """How the figures move with what stands for them in `at`, (p,)."""
        return np.where(self.by_factors, theta, 1.0)

    @cached_property
    def parts(self) -> list[slice]:
        """Where each day's nuisances stand."""
        counts = [day.nuisances for day in self.days]
        stops = self.posterior.mean.size + np.cumsum(counts)
        return [slice(stop - count, stop) for stop, count in zip(stops, counts, strict=True)]

    @cached_property
    def start(self) -> Array:
        """The means before the readings, (p + q,)."""
        nuisances = sum(day.nuisances for day in self.days)
        return np.concatenate([self.from_theta(self.posterior.mean), np.zeros(nuisances)])

    @cached_property
    def least(self) -> Array:
        """How small each may become, (p + q,)."""
        least = np.full(self.start.size, -np.inf)
        least[: self.by_factors.size] = self.from_theta(np.full(self.by_factors.size, LEAST_FACTOR))
        return least

    @cached_property
    def whitening(self) -> Array:
        """What turns a step from the start into standard deviations, (p + q, p + q)."""
        figures, whitening = self.posterior.mean.size, np.eye(self.start.size)
        root = np.linalg.cholesky(self.posterior.covariance)
        per_step = self.per_step(self.posterior.mean)
        whitening[:figures, :figures] = np.linalg.inv(root) * per_step
        return whitening

    @cached_property
    def values(self) -> Array:
        """What was read on all days, (observed,)."""
        return np.concatenate([day.values for day in self.days])

    @cached_property
    def sigma(self) -> Array:
        """The standard deviations of that, (observed,)."""
        return np.concatenate([day.sigma for day in self.days])

    def residuals(self, at: Array) -> Array:
        """How far readings and figures lie from what was expected, in standard deviations,
        (observed + p + q,)."""
        theta = self.theta(at)[:, None]
        predicted = [
            day.predict(theta, at[part, None])[:, 0]
            for day, part in zip(self.days, self.parts, strict=True)
        ]
        read = (np.concatenate(predicted) - self.values) / self.sigma
        return np.concatenate([read, self.whitening @ (at - self.start)])

    def slopes_of_residuals(self, at: Array) -> Array:
        """How the residuals move with each of `at`, (observed + p + q, p + q)."""
        figures, rows, theta = self.posterior.mean.size, [], self.theta(at)
        for day, part in zip(self.days, self.parts, strict=True):
            _, slope = slopes(day, self.posterior, theta, at[part])
            row = np.zeros((slope.shape[0], at.size))
            row[:, :figures] = slope[:, :figures] * self.per_step(theta)
            row[:, part] = slope[:, figures:]
            rows.append(row)
        return np.concatenate([np.concatenate(rows) / self.sigma[:, None], self.whitening])

    def fit_at(self, at: Array, cost: float, covariance: Array) -> Fit:
        """The fit at a solution with its covariance, (p + q, p + q)."""
        figures, theta = self.posterior.mean.size, self.theta(at)
        per_step = np.ones(at.size)
        per_step[:figures] = self.per_step(theta)
        covariance = _symmetric(covariance * np.outer(per_step, per_step))
        return Fit(
            posterior=replace(
                self.posterior, mean=theta, covariance=covariance[:figures, :figures]
            ),
            cost=cost,
            nuisance=tuple(at[part] for part in self.parts),
            nuisance_covariance=tuple(covariance[part, part] for part in self.parts),
            cross_covariance=tuple(covariance[:figures, part] for part in self.parts),
        )


def _likely_sky(day: ForwardModel, theta: Array) -> Array:
    """Nuisances to begin with, (q,): the same for all skies, as fits best by itself."""
    scenarios = np.zeros((day.nuisances, SKIES_TRIED.size))
    scenarios[1 : 2 * len(day.sky_days)] = SKIES_TRIED
    predicted = day.predict(np.repeat(theta[:, None], SKIES_TRIED.size, axis=1), scenarios)
    left = (day.values[:, None] - predicted) / day.sigma[:, None]
    best = int(np.argmin((left**2).sum(axis=0) + SKIES_TRIED**2))
    return np.asarray(scenarios[:, best])


def z_score(posterior: Posterior, day: ForwardModel) -> Array:
    """How far each reading lies from all that was to be expected, in standard deviations,
    (observed,); 0 where some likely kit under some likely sky would have shown it.

    Kits and skies are random samples, not a straight line through the mean: a pack that is mostly
    full by then may well not be.
    """
    rng = np.random.default_rng(0)
    root = np.linalg.cholesky(posterior.covariance)
    theta = posterior.mean[:, None] + root @ rng.standard_normal((posterior.mean.size, SAMPLES))
    predicted = day.predict(
        np.maximum(theta, LEAST_FACTOR), rng.standard_normal((day.nuisances, SAMPLES))
    )
    left = day.values[:, None] - predicted
    z = left.mean(axis=1) / np.hypot(predicted.std(axis=1), day.sigma)
    beyond = (np.abs(left) > OUTLIER_SIGMAS * day.sigma[:, None]).all(axis=1)
    return np.where(beyond & (np.abs(z) > OUTLIER_SIGMAS), z, 0.0)


def outliers(posterior: Posterior, day: ForwardModel) -> dict[int, float]:
    """The readings not to be believed, by their number from 0, with their z-score: far from all
    that was to be expected, and far from what the other readings make of the kit.

    The latter is a likelihood ratio: what one reading adds to the sum of squares.
    """
    z = z_score(posterior, day)
    far = np.flatnonzero(z).tolist()
    if not far:
        return {}
    others = [seen for k, seen in enumerate(day.observed) if k not in far]
    without = fit(posterior, [replace(day, observed=tuple(others))]).cost
    added = {
        k: fit(posterior, [replace(day, observed=(*others, day.observed[k]))]).cost - without
        for k in far
    }
    return {k: float(z[k]) for k, cost in added.items() if cost > OUTLIER_SIGMAS**2}


def expected_covariance(posterior: Posterior, day: ForwardModel) -> Array:
    """The covariance of the figures after a day's readings, whatever they will say, (p, p)."""
    if not day.observed:
        return posterior.covariance
    _, slope = slopes(day, posterior, posterior.mean, np.zeros(day.nuisances))
    figure, nuisance = np.split(slope, [posterior.mean.size], axis=1)
    noise = nuisance @ nuisance.T + np.diag(day.sigma**2)
    gain = figure @ posterior.covariance
    return _symmetric(
        posterior.covariance - gain.T @ np.linalg.solve(noise + gain @ figure.T, gain)
    )


def _symmetric(covariance: Array) -> Array:
    return np.asarray((covariance + covariance.T) / 2.0)
