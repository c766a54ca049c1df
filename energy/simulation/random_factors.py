"""Random factors of loads and kit: one stream for each thing, named after it."""

import zlib
from functools import lru_cache

import numpy as np

from energy.model import Array
from energy.plan import Plan


def random_factors(
    plan: Plan, kind: str, name: str, spread_percent: float, scenarios: int
) -> Array:
    """One lognormal factor of mean 1 a scenario; the coefficient of variation is the spread.

    Each thing has a stream of its own, named after it, so that dropping a task changes no other
    task's luck, and the first 10 scenarios of 1,000 are those of 10. Tasks of one name are the same
    work on other days or hours and share their luck. A single scenario draws nothing.
    """
    if scenarios == 1 or spread_percent == 0.0:
        return np.ones(scenarios)
    return lognormal(standard_normals(plan, kind, name, scenarios), spread_percent)


def standard_normals(plan: Plan, kind: str, name: str, scenarios: int) -> Array:
    """The numbers behind the random factors of a thing, one a scenario."""
    return _drawn(plan.weather.seed, zlib.crc32(f"{kind}:{name}".encode()), scenarios)


@lru_cache(maxsize=256)
def _drawn(seed: int, stream: int, count: int) -> Array:
    drawn = np.random.default_rng([seed, stream]).standard_normal(count)
    drawn.flags.writeable = False
    return drawn


def lognormal(normal: Array, spread_percent: float) -> Array:
    """Factors of mean 1 and this coefficient of variation from standard normal numbers.

    >>> lognormal(np.array([0.3, -1.2]), 0.0)
    array([1., 1.])
    """
    sigma = np.sqrt(np.log1p((spread_percent / 100.0) ** 2))
    return np.asarray(np.exp(sigma * normal - sigma**2 / 2.0))
