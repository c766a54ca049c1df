"""The posterior after readings: the most likely figures and their covariance.

Maximum a posteriori over the figures and each day's nuisances by SciPy's trust-region least
squares; the covariance is Laplace's approximation, from the slopes at the solution.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.optimize import least_squares

from energy.answers.learn.forward_model import ForwardModel
from energy.answers.learn.posterior import LEARNED, Posterior
from energy.model import Array

STEP, NUISANCE_STEP = 0.25, 0.25  # to either side, in standard deviations, for the slopes
LEAST_FACTOR = 0.1
MOST_TURNS, CLOSE = 100, 1e-4
FREEDOM, TAIL_TURNS = 4.0, 3  # of Student's t for the tools; judgement, tried on invented days
OUTLIER_SIGMAS = 3.5  # a reading this far from all that was expected is not believed
# A figure so many first spreads off, or so much cost for each thing read: judgement, tried on
# invented days; displays bent by 2 points stay within.
FARTHEST, MOST_COST = 4.5, 12.0
MOST_CAPACITY = 1.5  # of what was expected: a pack may hold much less than its label, not much more
LEAST_TOOL = 0.2  # of what was expected: a tool that took less was not used as it is told
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
        moved = np.abs(self.posterior.mean - before.mean) / before.first_sd
        capacity = next(k for k, key in enumerate(before.keys) if key.startswith("capacity_wh"))
        swollen = self.posterior.mean[capacity] > MOST_CAPACITY * before.mean[capacity]
        tools = np.array([key.startswith("tool:") for key in before.keys])
        unused = (self.posterior.mean < LEAST_TOOL * before.mean)[tools].any()
        return bool(swollen or unused or moved.max() > FARTHEST or self.cost > MOST_COST * count)


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
    result = _fit(posterior, days)
    for _ in range(TAIL_TURNS):
        wider = _with_tails(posterior, result.posterior)
        if wider is posterior:
            break
        result = _fit(wider, days)
    return result


def _with_tails(prior: Posterior, after: Posterior) -> Posterior:
    """The prior with more doubt about tools that came out far off and were not known before: some
    labels are wrong by far, as Student's t with few degrees of freedom has it."""
    z = np.abs(after.mean - prior.mean) / prior.first_sd
    new = prior.sd > LEARNED * prior.first_sd
    tools = np.array([key.startswith("tool:") for key in prior.keys])
    more = np.where(new & tools & (z > 1.0), (FREEDOM + z**2) / (FREEDOM + 1.0), 1.0)
    if (more == 1.0).all():
        return prior
    scale = np.sqrt(more)
    return replace(prior, covariance=prior.covariance * np.outer(scale, scale))


def _fit(posterior: Posterior, days: Sequence[ForwardModel]) -> Fit:
    """The same with the prior as a normal distribution."""
    problem = _LeastSquares(posterior, tuple(days))
    at = np.concatenate([posterior.mean, *(_likely_sky(day, posterior.mean) for day in days)])
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
    (p + q,): the figures first, then each day's nuisances."""

    posterior: Posterior
    days: tuple[ForwardModel, ...]

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
        return np.concatenate([self.posterior.mean, np.zeros(nuisances)])

    @cached_property
    def least(self) -> Array:
        """How small each may become, (p + q,)."""
        least = np.full(self.start.size, -np.inf)
        least[: self.posterior.mean.size] = LEAST_FACTOR
        return least

    @cached_property
    def whitening(self) -> Array:
        """What turns a step from the start into standard deviations, (p + q, p + q)."""
        figures, whitening = self.posterior.mean.size, np.eye(self.start.size)
        root = np.linalg.cholesky(self.posterior.covariance)
        whitening[:figures, :figures] = np.linalg.inv(root)
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
        theta = at[: self.posterior.mean.size, None]
        predicted = [
            day.predict(theta, at[part, None])[:, 0]
            for day, part in zip(self.days, self.parts, strict=True)
        ]
        read = (np.concatenate(predicted) - self.values) / self.sigma
        return np.concatenate([read, self.whitening @ (at - self.start)])

    def slopes_of_residuals(self, at: Array) -> Array:
        """How the residuals move with each of `at`, (observed + p + q, p + q)."""
        figures, rows = self.posterior.mean.size, []
        for day, part in zip(self.days, self.parts, strict=True):
            _, slope = slopes(day, self.posterior, at[:figures], at[part])
            row = np.zeros((slope.shape[0], at.size))
            row[:, :figures], row[:, part] = slope[:, :figures], slope[:, figures:]
            rows.append(row)
        return np.concatenate([np.concatenate(rows) / self.sigma[:, None], self.whitening])

    def fit_at(self, at: Array, cost: float, covariance: Array) -> Fit:
        """The fit at a solution with its covariance, (p + q, p + q)."""
        figures = self.posterior.mean.size
        return Fit(
            posterior=replace(
                self.posterior,
                mean=at[:figures],
                covariance=_symmetric(covariance[:figures, :figures]),
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
