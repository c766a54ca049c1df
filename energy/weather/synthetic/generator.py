"""From twelve monthly means of clearness to days and hours, drawn by chance.

Clearness is global light over extraterrestrial light on the flat. Arrays only: where the means
come from, and what becomes of the hours, is for others.
"""

import zlib

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaincinv

from energy.model import Array, Index

DULLEST = 0.05  # the lowest clearness of a day
# Lag-1 of the normal scores: the mean of eight measured records (0.30 to 0.48), with which sums of
# 1 to 14 days are equally near to the measured. Graham, Hollands & Unny 1988 have 0.29 (from
# memory), which is too little for long sums.
DAY_TO_DAY = 0.37
HOUR_TO_HOUR = 0.54  # Graham & Hollands, Solar Energy 44 (1990) 333
DARKEST_HOUR = (
    0.02  # heavy overcast lets some light through; an hour at nothing could not be raised
)
# How bright the clearest day is and how alike days are: four numbers fitted to 3-day sums of ten
# measured records (Netherlands, Rhineland, London, Alps, Oklahoma, California, the Levant).
OVER_CLEAR_DAY = 1.08  # a day of the fullest light may pass the clear-sky day by this
# and by so much more the less light it has: the climatology's clear sky is the duller the longer
# the way through the air.
OVER_CLEAR_DAY_LOW = 0.43
FULLEST_DAY_WH = 11000.0  # about the most light a day has above the air, on the flat [Wh/m2]
OVER_LIMIT = 0.05  # a day may pass Hollands & Huget's limit by this
ALIKE = 3.4  # the sum of the beta distribution's two shapes, where the place tells nothing
LEAST_ALIKE = 0.3  # below, days are at their limits and nowhere between (practice)
MEAN_BELOW = 1.03  # the clearest day passes the mean at least by this (practice)
OVER_CLEAR_HOUR = 1.15  # an hour may pass its clear sky by this, at a cloud's edge (a fit)
OVER_BRIGHT_DAY = 1.04  # or its share of the clear sky of a brighter day (practice)


def between_months(moments: NDArray[np.datetime64]) -> Array:
    """How much each month's middle has in each moment, (n, 12), rows adding up to 1.

    Straight lines between the middles of the months, the year wrapping.

    >>> mid_april = np.array(["2026-04-16T00:00:00"], dtype="datetime64[s]")
    >>> between_months(mid_april).round(2)[0, 2:5].tolist()
    [0.0, 1.0, 0.0]
    """
    month = moments.astype("datetime64[M]")
    first, following = month.astype("datetime64[s]"), (month + 1).astype("datetime64[s]")
    at = month.astype(int) % 12 + (moments - first) / (following - first) - 0.5
    before = np.floor(at).astype(int)
    weights = np.zeros((moments.size, 12))
    row = np.arange(moments.size)
    weights[row, before % 12] += 1.0 - (at - before)
    weights[row, (before + 1) % 12] += at - before
    return weights


def noons(dates: NDArray[np.datetime64]) -> NDArray[np.datetime64]:
    """The middles of dates, as moments.

    >>> str(noons(np.array(["2026-04-16"], dtype="datetime64[D]"))[0])
    '2026-04-16T12:00:00'
    """
    return np.asarray(dates.astype("datetime64[s]") + np.timedelta64(12, "h"))


def month_knots(means: Array) -> Array:
    """Mid-month values, (12,), whose straight-line interpolation keeps the monthly means.

    Sheng & Zwiers, Climate Dynamics 14 (1998) 609 (from memory): 3/4 of a month's own knot and
    1/8 of each neighbour's make its mean, the year wrapping.

    >>> month_knots(np.full(12, 0.5)).round(6).tolist() == [0.5] * 12
    True
    """
    own = np.eye(12)
    weights = 0.75 * own + 0.125 * (np.roll(own, 1, axis=0) + np.roll(own, -1, axis=0))
    return np.asarray(np.linalg.solve(weights, np.asarray(means, dtype=float)))


def daily_clearness(mean: Array, highest: Array, alike: Array, chance: Array) -> Array:
    """Clearness of days, (days, m), at the given points `chance` of their distributions.

    Beta distributions between DULLEST and `highest` (the form is common practice), whose two shapes
    add up to `alike`. mean, highest and alike (days, 1) or (days, m), chance (days, m) between 0
    and 1. A mean outside the limits is held just inside them.

    >>> middle, mean, highest = np.array([[0.0, 0.5, 1.0]]), np.array([[0.4]]), np.array([[0.75]])
    >>> daily_clearness(mean, highest, np.array([[2.5]]), middle).round(3).tolist()
    [[0.05, 0.4, 0.75]]
    """
    share = _share(mean, highest)
    drawn = betaincinv(share * alike, (1.0 - share) * alike, chance)
    return np.asarray(DULLEST + (highest - DULLEST) * drawn)


def how_alike(mean: Array, highest: Array, spread: Array) -> Array:
    """The sum of the two shapes of the days' beta distributions: the larger, the more alike.

    The mean of a usual sum and of the one that makes days spread as those of the place and month,
    with the standard deviation `spread` (NaN: not known): either alone is further from what was
    measured.

    >>> spread = np.array([np.nan, 0.1, 0.2])
    >>> how_alike(np.full(3, 0.4), np.full(3, 0.75), spread).round(2).tolist()
    [3.4, 7.32, 2.73]
    """
    share = _share(mean, highest)
    widest = (highest - DULLEST) ** 2 * share * (1.0 - share)  # variance of days at either limit
    of_place = np.where(np.isnan(spread), ALIKE, widest / spread**2 - 1.0)
    return np.asarray(np.maximum((ALIKE + of_place) / 2.0, LEAST_ALIKE))


def _share(mean: Array, highest: Array) -> Array:
    return np.clip((mean - DULLEST) / (highest - DULLEST), 0.005, 0.98)


def highest_clearness(mean: Array, clear_day: Array, light_wh: Array) -> Array:
    """The clearest a day may be, by its mean, the clear-sky day's and its light above the air.

    light_wh: on the flat [Wh/m2]. A little over Hollands & Huget's limit, Solar Energy 30 (1983)
    195 (from memory), and over the clear-sky day; always over the mean: a month that leaves clouds
    no room says that the limit is wrong.

    >>> light_wh = np.array([11000.0, 5500.0, 11000.0])
    >>> highest_clearness(np.array([0.4, 0.4, 0.8]), np.full(3, 0.6), light_wh).round(3).tolist()
    [0.648, 0.777, 0.824]
    """
    limit = 0.6313 + 0.267 * mean - 11.9 * (mean - 0.75) ** 8 + OVER_LIMIT
    low = np.maximum(1.0 - light_wh / FULLEST_DAY_WH, 0.0)
    clearest = (OVER_CLEAR_DAY + OVER_CLEAR_DAY_LOW * low) * clear_day
    room = np.maximum(MEAN_BELOW * mean, DULLEST + 0.01)
    return np.asarray(np.maximum(np.minimum(limit, clearest), room))


def normal_scores(seed: int, stage: str, steps: int, scenarios: int, lag: float) -> Array:
    """Standard normal numbers, (steps, scenarios), each following the last with correlation `lag`.

    Every stage has a stream of its own, and the first scenarios do not depend on how many there
    are.

    >>> few, many = (normal_scores(0, "days", 5, m, 0.29) for m in (10, 1000))
    >>> bool((few == many[:, :10]).all())
    True
    """
    fresh = np.random.default_rng([seed, zlib.crc32(stage.encode())])
    scores = fresh.standard_normal((scenarios, steps)).T.copy()
    for step in range(1, steps):
        scores[step] = lag * scores[step - 1] + np.sqrt(1.0 - lag**2) * scores[step]
    return scores


def hourly_clearness(
    days: Array, day_of_hour: Index, sin_height: Array, light: Array, clear: Array, scores: Array
) -> Array:
    """Clearness of hours, (hours, m), whose light adds up to each day's.

    days (d, m); day_of_hour (hours,) their numbers; sin_height, light (extraterrestrial on the
    flat) and clear (the clear sky's clearness) (hours,); scores (hours, m). Graham & Hollands,
    Solar Energy 44 (1990) 333 (constants from memory). No hour passes 1.15 of its clear sky, or on
    a day about as bright 1.04 times the day's share of it. Hours without sun are 0.
    """
    day = days[day_of_hour]
    up = (sin_height > 0.0) & (light > 0.0)
    height = np.where(up, np.maximum(sin_height, 0.01), 1.0)[:, None]
    bend = 1.141 * (1.0 - day) / np.maximum(day, 0.02)
    trend = day - 1.167 * day**3 * (1.0 - day) + 0.979 * (1.0 - day) * np.exp(-bend / height)
    spread = 0.1557 * np.sin(np.pi * np.clip(day, 0.0, 0.933) / 0.933)
    weight = light[:, None]
    wanted = days * _by_day(weight, day_of_hour, days.shape[0])
    clear_day = _by_day(clear[:, None] * weight, day_of_hour, days.shape[0])
    bright = OVER_BRIGHT_DAY * wanted / np.maximum(clear_day, 1e-9)
    over = np.maximum(OVER_CLEAR_HOUR, bright)[day_of_hour]
    ceiling = np.where(up[:, None], over * clear[:, None], 0.0)
    kt = np.clip(trend + spread * scores, DARKEST_HOUR, ceiling)
    for _ in range(30):  # raise or lower the hours that are not held at their ceiling
        reached = _by_day(kt * weight, day_of_hour, days.shape[0])
        factor = np.where(reached > 0.0, wanted / np.where(reached > 0.0, reached, 1.0), 1.0)
        if np.abs(factor - 1.0).max() < 1e-12:
            break
        kt = np.minimum(kt * factor[day_of_hour], ceiling)
    return kt


def _by_day(values: Array, day_of_hour: Index, days: int) -> Array:
    first = np.searchsorted(day_of_hour, np.arange(days))  # hours come in order
    return np.asarray(np.add.reduceat(values, first, axis=0))
