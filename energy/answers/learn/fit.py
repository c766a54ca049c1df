"""From what was read to what is believed: the most likely figures and their doubt.

Least squares over the figures and everything a day alone decides, solved by Gauss and Newton's
steps; the doubt is Laplace's, from the curvature at the solution.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from energy.answers.learn.lived_day import Day
from energy.answers.learn.posterior import Posterior
from energy.model import Array

STEP, LUCK_STEP = 0.25, 0.25  # to either side, in standard deviations, for the slopes
LEAST_FACTOR = 0.1
MOST_TURNS, MOST_HALVINGS, CLOSE = 15, 5, 1e-2
ODD_SIGMAS = 3.5  # a reading this far from all that was expected is not believed
# A figure so many first spreads off, or so much cost for each thing read: judgement, tried on
# invented days; displays bent by 2 points stay within.
FARTHEST, MOST_COST = 3.5, 12.0
DRAWN = 400  # kits and skies
SKIES_TRIED = np.linspace(-3.0, 3.0, 13)  # a pack taken for full hides what the sky did


@dataclass(frozen=True)
class Fit:
    """The posterior after, and what each day's nuisances came to: mean (q,), covariance (q, q), and
    covariance with the figures (p, q); cost is the sum of squares that is left, about one for each
    thing read where plan and readings agree."""

    posterior: Posterior
    cost: float
    nuisance: tuple[Array, ...]
    luck_covariance: tuple[Array, ...]
    luck_with: tuple[Array, ...]

    def contradicts(self, before: Posterior, count: int) -> bool:
        """Whether no likely kit would have shown so many things together."""
        moved = np.abs(self.posterior.mean - before.mean) / before.first_sd
        return bool(moved.max() > FARTHEST or self.cost > MOST_COST * count)


def slopes(day: Day, posterior: Posterior, theta: Array, nuisance: Array) -> tuple[Array, Array]:
    """What would have been read at some figures and nuisances, (observed,), and how it moves with
    each of them, (observed, p + q): one pass of 2 (p + q) + 1 scenarios."""
    at = np.concatenate([theta, nuisance])
    size = np.concatenate(
        [np.maximum(STEP * posterior.sd, 0.01), np.full(nuisance.size, LUCK_STEP)]
    )
    moved = np.concatenate([np.diag(size), -np.diag(size), np.zeros((at.size, 1))], axis=1)
    scenarios = at[:, None] + moved
    scenarios[: theta.size] = np.maximum(scenarios[: theta.size], LEAST_FACTOR / 2.0)
    found = day.predict(scenarios[: theta.size], scenarios[theta.size :])
    each = np.arange(at.size)
    apart = scenarios[each, each] - scenarios[each, each + at.size]
    return found[:, -1], (found[:, : at.size] - found[:, at.size : -1]) / apart


def fit(posterior: Posterior, days: Sequence[Day]) -> Fit:
    """The posterior after some days, all at once.

    Each day must have been laid out with this posterior (see `observe`).
    """
    figures = posterior.mean.size
    counts = [day.nuisances for day in days]
    total = figures + sum(counts)
    prior = np.eye(total)
    prior[:figures, :figures] = np.linalg.inv(posterior.covariance)
    start = np.concatenate([posterior.mean, np.zeros(sum(counts))])
    values = np.concatenate([day.values for day in days])
    weight = 1.0 / np.concatenate([day.sigma for day in days]) ** 2

    def cost(at: Array) -> float:
        parts = _parts(at, figures, counts)
        left = values - np.concatenate(
            [
                day.predict(theta[:, None], nuisance[:, None])[:, 0]
                for day, (theta, nuisance) in zip(days, parts, strict=True)
            ]
        )
        return float(weight @ left**2 + (at - start) @ prior @ (at - start))

    at = np.concatenate([posterior.mean, *(_likely_sky(day, posterior.mean) for day in days)])
    reached = cost(at)
    for _ in range(MOST_TURNS):
        expected, jacobian = _slopes(days, posterior, at, counts)
        curvature = prior + jacobian.T @ (weight[:, None] * jacobian)
        downhill = jacobian.T @ (weight * (values - expected)) - prior @ (at - start)
        step = np.linalg.solve(curvature, downhill)
        for _ in range(MOST_HALVINGS):
            tried = at + step
            tried[:figures] = np.maximum(tried[:figures], LEAST_FACTOR)
            there = cost(tried)
            if there <= reached:
                break
            step = step / 2.0
        else:
            break
        at, close = tried, bool(np.all(np.abs(step[:figures]) < CLOSE * posterior.sd))
        reached = there
        if close:
            break
    return _found(posterior, days, at, reached, np.asarray(np.linalg.inv(curvature)), counts)


def _likely_sky(day: Day, theta: Array) -> Array:
    """Nuisances to begin with: the same for all skies, as fits best by itself."""
    scenarios = np.zeros((day.nuisances, SKIES_TRIED.size))
    scenarios[1 : 2 * len(day.sky_days)] = SKIES_TRIED
    found = day.predict(np.repeat(theta[:, None], SKIES_TRIED.size, axis=1), scenarios)
    left = (day.values[:, None] - found) / day.sigma[:, None]
    best = int(np.argmin((left**2).sum(axis=0) + SKIES_TRIED**2))
    return np.asarray(scenarios[:, best])


def _parts(at: Array, figures: int, counts: Sequence[int]) -> list[tuple[Array, Array]]:
    """The figures, with each day's nuisances."""
    ends = figures + np.cumsum(counts)
    return [(at[:figures], at[end - count : end]) for end, count in zip(ends, counts, strict=True)]


def _slopes(
    days: Sequence[Day], posterior: Posterior, at: Array, counts: Sequence[int]
) -> tuple[Array, Array]:
    """What would have been read on all days, and how it moves with all that is sought."""
    figures, values, rows = posterior.mean.size, [], []
    first = figures
    for day, (theta, nuisance) in zip(days, _parts(at, figures, counts), strict=True):
        value, slope = slopes(day, posterior, theta, nuisance)
        row = np.zeros((value.size, at.size))
        row[:, :figures], row[:, first : first + nuisance.size] = (
            slope[:, :figures],
            slope[:, figures:],
        )
        values.append(value)
        rows.append(row)
        first += nuisance.size
    return np.concatenate(values), np.concatenate(rows)


def _found(
    posterior: Posterior,
    days: Sequence[Day],
    at: Array,
    cost: float,
    covariance: Array,
    counts: Sequence[int],
) -> Fit:
    figures = posterior.mean.size
    after = replace(
        posterior, mean=at[:figures], covariance=_symmetric(covariance[:figures, :figures])
    )
    ends = figures + np.cumsum(counts)
    parts = [slice(end - count, end) for end, count in zip(ends, counts, strict=True)]
    return Fit(
        posterior=after,
        cost=cost,
        nuisance=tuple(at[part] for part in parts),
        luck_covariance=tuple(covariance[part, part] for part in parts),
        luck_with=tuple(covariance[:figures, part] for part in parts),
    )


def z_score(posterior: Posterior, day: Day) -> Array:
    """How far each reading lies from all that was to be expected, in standard deviations,
    (observed,); 0 where some likely kit under some likely sky would have shown it.

    Kits and skies are drawn, not taken in straight lines: a pack that is mostly full by then may
    well not be.
    """
    rng = np.random.default_rng(0)
    root = np.linalg.cholesky(posterior.covariance)
    theta = posterior.mean[:, None] + root @ rng.standard_normal((posterior.mean.size, DRAWN))
    found = day.predict(
        np.maximum(theta, LEAST_FACTOR), rng.standard_normal((day.nuisances, DRAWN))
    )
    left = day.values[:, None] - found
    far = left.mean(axis=1) / np.hypot(found.std(axis=1), day.sigma)
    beyond = (np.abs(left) > ODD_SIGMAS * day.sigma[:, None]).all(axis=1)
    return np.where(beyond & (np.abs(far) > ODD_SIGMAS), far, 0.0)


def expected_covariance(posterior: Posterior, day: Day) -> Array:
    """The covariance of the figures after a day's readings, whatever they will say, (p, p)."""
    if not day.observed:
        return posterior.covariance
    _, slope = slopes(day, posterior, posterior.mean, np.zeros(day.nuisances))
    figure, nuisance = np.split(slope, [posterior.mean.size], axis=1)
    noise = nuisance @ nuisance.T + np.diag(day.sigma**2)
    seen = figure @ posterior.covariance
    return _symmetric(
        posterior.covariance - seen.T @ np.linalg.solve(noise + seen @ figure.T, seen)
    )


def _symmetric(covariance: Array) -> Array:
    return np.asarray((covariance + covariance.T) / 2.0)
