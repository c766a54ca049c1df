"""Weather a person states: a clear sky, a sky in eighths of cloud, the air's temperature.

Everything here needs only the place, the days and the plan's words; records of real weather live
in `readers`, the many weathers of a plan in `scenarios`.
"""

import numpy as np
from scipy.special import betaincinv

from energy.model import Array
from energy.model.sun import Sun, close_beam, cloud_transmission, diffuse_of
from energy.model.timeline import Calendar
from energy.plan.skies import SKIES
from energy.weather.record import HOUR_S
from energy.weather.synthetic.generator import between_months

AIR_RANGE_C, AIR_RANGE_BY_CLEARNESS_C = 3.0, 12.0  # the day's range of air temperature (a fit)
CLEAR_DAY = 0.75  # the clearness of a clear day, for that range (common practice)
SEA_RANGE = 0.4  # of that range is left over the sea: 3 to 5 K (islands' normals, from memory)
# Standard deviation of a day's share of clear-sky light under 0 to 8 eighths of cloud, and the
# most a day reached: from the three typical years that pvlib installs, whose hours are mostly
# modelled. Three places say little of a fourth.
TRANSMISSION_SD = (0.05, 0.05, 0.07, 0.08, 0.09, 0.115, 0.135, 0.14, 0.12)
BRIGHTEST_DAY = 1.1
OVERCAST = float(cloud_transmission(np.array(8.0)))  # what is darker is uneven in proportion
WARMEST_SOLAR_H = 15.0  # the air is warmest about three hours after the sun's noon


def cloudy_light(sun: Sun, okta: Array) -> tuple[Array, Array, Array]:
    """Global, beam and diffuse [W/m2], each (n,), under `okta` eighths of cloud, (n,).

    0 eighths are the clear sky itself, with its own beam and diffuse. Kasten & Czeplak, Solar
    Energy 24 (1980) 177; split after Erbs.

    >>> from energy.model.sun import clear_sun
    >>> s = clear_sun(np.array([1781956800.0]), 50.0, 0.0)
    >>> ghi, dni, dhi = cloudy_light(s, np.array([8.0]))
    >>> round(float(ghi[0] / s.ghi[0]), 3)
    0.25
    """
    ghi = sun.ghi * cloud_transmission(okta)
    dni, dhi = close_beam(sun, ghi, diffuse_of(sun, ghi), sun.dni)
    clear = okta <= 0.0
    return ghi, np.where(clear, sun.dni, dni), np.where(clear, sun.dhi, dhi)


def daily_transmission(okta: Array, chance: Array) -> Array:
    """Shares of clear-sky light of days, (days, m), at the points `chance` of their distributions.

    okta (days, 1) eighths of cloud, whole, or more than 8 (see `eighths_of`); chance (days, m)
    between 0 and 1. Beta distributions between 0 and 1.1 about the mean of `cloudy_light`, as wide
    as such days are in the typical years; what is darker than overcast, in proportion to its mean.

    >>> daily_transmission(np.array([[8.0]]), np.array([[0.05, 0.5, 0.95]])).round(2)
    array([[0.08, 0.24, 0.47]])
    """
    mean = cloud_transmission(okta) / BRIGHTEST_DAY
    spread = np.array(TRANSMISSION_SD)[okta.astype(int)] / BRIGHTEST_DAY
    spread = spread * np.minimum(mean * BRIGHTEST_DAY / OVERCAST, 1.0)
    narrowness = mean * (1.0 - mean) / spread**2 - 1.0
    return np.asarray(
        BRIGHTEST_DAY * betaincinv(mean * narrowness, (1.0 - mean) * narrowness, chance)
    )


def eighths_of(sky: int | str) -> float:
    """Eighths of cloud under which the formula gives a sky's share of light: more than 8 for what
    is darker than any cloud alone.

    >>> eighths_of(3), round(eighths_of("rain"), 2)
    (3.0, 8.3)
    """
    if isinstance(sky, int):
        return float(sky)
    return float(8.0 * ((1.0 - SKIES[sky].light_percent / 100.0) / 0.75) ** (1.0 / 3.4))


def sky_in_words(sky: tuple[int | str, ...]) -> str:
    """What a stated sky is called in an answer.

    >>> sky_in_words((8, 3))
    'a sky of 8, 3 eighths of cloud'
    """
    cloud = " eighths of cloud" if isinstance(sky[-1], int) else ""
    return f"a sky of {', '.join(str(day) for day in sky)}{cloud}"


def okta_by_date(sky: tuple[int | str, ...], calendar: Calendar, time_s: Array) -> Array:
    """The eighths of cloud at each moment: one a local date, the last one repeated.

    >>> from datetime import date
    >>> from zoneinfo import ZoneInfo
    >>> days = Calendar(date(2026, 6, 1), date(2026, 6, 2), ZoneInfo("UTC"), 0.0, 0.0)
    >>> okta_by_date((8, 2), days, np.array([1780272000.0, 1780358400.0, 1780444800.0]))
    array([8., 2., 2.])
    """
    okta = [eighths_of(day) for day in sky]
    midnights = [calendar.at(("clock", 1440.0), day) for day in calendar.days(None)]
    number = np.searchsorted(midnights[1:], time_s, side="right")
    return np.array(okta)[np.minimum(number, len(okta) - 1)]


def air_range(clearness: Array, sea: float) -> Array:
    """The day's range of air temperature [K]: wider the clearer the day and the less the air is the
    sea's (`usual_air.sea_share`).

    >>> air_range(np.array([0.0, 0.75]), 0.0), air_range(np.array([0.0, 0.75]), 1.0).round(1)
    (array([ 3., 12.]), array([1.2, 4.8]))
    """
    over_land = AIR_RANGE_C + AIR_RANGE_BY_CLEARNESS_C * clearness
    return np.asarray(over_land * (1.0 - (1.0 - SEA_RANGE) * sea))


def air_about(
    means_c: tuple[float, ...], range_c: Array, calendar: Calendar, time_s: Array
) -> Array:
    """Air temperature [deg C], (n,), about twelve monthly means, with a day's range [K]."""
    swing = stated_air((-0.5, 0.5), calendar, time_s)
    return np.asarray(stated_air(means_c, calendar, time_s) + range_c * swing)


def stated_air(temp_air_c: float | tuple[float, ...], calendar: Calendar, time_s: Array) -> Array:
    """Air temperature [deg C], (n,), from what the plan says of it.

    One number is constant; (low, high) runs as half cosines from the low at sunrise to the high
    at 15 h solar; twelve monthly means are straight lines between the middles of the months.

    >>> from datetime import date
    >>> from zoneinfo import ZoneInfo
    >>> days = Calendar(date(2026, 3, 20), date(2026, 3, 20), ZoneInfo("UTC"), 0.0, 0.0)
    >>> noon = np.array([1774008000.0])
    >>> stated_air((4.0, 12.0), days, noon).round(1)
    array([9.9])
    """
    if isinstance(temp_air_c, int | float):
        return np.full(time_s.size, float(temp_air_c))
    if len(temp_air_c) == 12:
        return np.asarray(between_months(calendar.local(time_s)) @ np.array(temp_air_c))
    low, high = temp_air_c
    turns, levels = [], []
    for day in [*calendar.days(None), calendar.last.fromordinal(calendar.last.toordinal() + 1)]:
        rise, fall = calendar.sun_times(day)
        warmest = (rise + fall) / 2.0 + (WARMEST_SOLAR_H - 12.0) * HOUR_S
        turns += [rise, warmest]
        levels += [low, high]
    order = np.argsort(turns, kind="stable")
    turn, level = np.array(turns)[order], np.array(levels)[order]
    after = np.clip(np.searchsorted(turn, time_s, side="right"), 1, turn.size - 1)
    share = (time_s - turn[after - 1]) / np.maximum(turn[after] - turn[after - 1], 1.0)
    swing = (1.0 - np.cos(np.pi * np.clip(share, 0.0, 1.0))) / 2.0
    return np.asarray(level[after - 1] + (level[after] - level[after - 1]) * swing)
