"""A forecast laid over a plan's days: each member is one weather.

Where a forecast is kept and read is for `cache`; what carries on after its end, for `scenarios`.
"""

import time
from dataclasses import replace

import numpy as np

from energy.model import Array
from energy.weather.days import Days
from energy.weather.fetched.cache import Forecast
from energy.weather.hours import between_middles, hours_to_cells
from energy.weather.record import DAY_S, HOUR_S
from energy.weather.resampled import BRIGHTEST_RESAMPLED
from energy.weather.weathers import Air, Light, split_light


def reaches_s(forecast: Forecast) -> float:
    """The end of the last hour that at least half of the members reach [UTC s]."""
    reached = np.isfinite(forecast.ghi).mean(axis=1) >= 0.5
    return float(forecast.start_s[np.flatnonzero(reached)[-1]]) + HOUR_S


def members_until(forecast: Forecast, until_s: float) -> Forecast:
    """The forecast with those members alone that have every hour before `until_s`."""
    before = forecast.start_s < until_s
    values = (forecast.ghi, forecast.temp_air, forecast.wind_speed)
    complete = np.all([np.isfinite(v[before]).all(axis=0) for v in values], axis=0)
    ghi, temp_air, wind_speed = (v[:, complete] for v in values)
    return replace(forecast, ghi=ghi, temp_air=temp_air, wind_speed=wind_speed)


def laid_over(forecast: Forecast, days: Days) -> tuple[Light, Air]:
    """Light, air and wind of every member, on cells that begin and end on complete hours.

    Beyond the forecast there is no light, and air and wind stay at their last values.
    """
    cells = days.cells
    hours = np.arange(cells[0], cells[-1] - 1.0, HOUR_S)
    at = np.round((hours - forecast.start_s[0]) / HOUR_S).astype(int)
    covered = (at >= 0) & (at < forecast.start_s.size)
    target = np.zeros((hours.size, forecast.ghi.shape[1]))
    target[covered] = np.nan_to_num(forecast.ghi[at[covered]])
    ghi = hours_to_cells(target, BRIGHTEST_RESAMPLED, cells, days.lit, days.sun.ghi, hours, HOUR_S)
    temp_air, wind_speed = (
        between_middles(moments, forecast.start_s, HOUR_S, _to_the_end(values))
        for moments, values in (
            (days.middles, forecast.temp_air),
            (days.middles[days.lit], forecast.wind_speed),
        )
    )
    return split_light(days, ghi), Air(temp_air, wind_speed, stated=True)


def _to_the_end(values: Array) -> Array:
    """The values, those of a member that has ended staying at its last."""
    rows = np.where(np.isfinite(values), np.arange(values.shape[0])[:, None], 0)
    return np.take_along_axis(values, np.maximum.accumulate(rows, axis=0), axis=0)


def age_in_words(fetched_s: float) -> str:
    """How long ago something was fetched, as people say it.

    >>> age_in_words(time.time() - 5.2 * 3600.0), age_in_words(time.time() - 3.1 * 86400.0)
    ('5 hours ago', '3 days ago')
    """
    age_s = max(time.time() - fetched_s, 0.0)
    if age_s < HOUR_S:
        return "less than an hour ago"
    unit, name = (DAY_S, "day") if age_s >= 2.0 * DAY_S else (HOUR_S, "hour")
    number = round(age_s / unit)
    return f"{number} {name}{'' if number == 1 else 's'} ago"
