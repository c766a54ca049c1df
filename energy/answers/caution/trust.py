"""Cautions about how far the answer itself can be trusted: its air, its sky, its forecast."""

import time
from datetime import date, timedelta

from energy.answers.caution.battery import pack_temperature
from energy.answers.caution.caution import Caution
from energy.model.battery import LITHIUM
from energy.simulation.budget import Budget
from energy.weather.fetched.forecast import age_in_words
from energy.weather.record import DAY_S
from energy.weather.source import FAR_KM, FAR_M

MILD_C = (5.0, 35.0)  # air in which a pack that lags behind it changes little (our choice)
# One degree of latitude cools like 110 m of height: 6.5 K a km against some 0.7 K a degree.
M_PER_DEGREE = 110.0
OLD_S = DAY_S  # services make new runs several times a day (common practice)


def frost_possible(latitude_deg: float, elevation_m: float, day: date) -> bool:
    """Whether a place could freeze on a day; a rule of our own, on the safe side (no source).

    Height counts as latitude. Beyond 25 degrees: in the winter half-year; beyond 35: in April too;
    beyond 42.5: in May and September; beyond 60: always.

    >>> frost_possible(33.0, 0.0, date(2026, 4, 10)), frost_possible(40.0, 0.0, date(2026, 4, 10))
    (False, True)
    """
    reach = abs(latitude_deg) + max(elevation_m, 0.0) / M_PER_DEGREE
    month = day.month if latitude_deg >= 0.0 else (day.month + 5) % 12 + 1
    if month in (6, 7, 8):
        return reach > 60.0
    return reach > {4: 35.0, 5: 42.5, 9: 42.5}.get(month, 25.0)


def frost_not_judged(result: Budget) -> Caution | None:
    """Nobody has said how cold it gets where it could freeze: it is judged by the usual air."""
    if result.weather.air.stated or result.plan.pack.temperature is not None:
        return None
    latitude, height, calendar = (
        result.plan.place.latitude_deg,
        result.days.site.elevation_m,
        result.calendar,
    )
    days = (calendar.first + timedelta(k) for k in range((calendar.last - calendar.first).days + 1))
    lowest_c, _ = result.case.coldest_hottest_c
    if lowest_c >= 0.0 and not any(frost_possible(latitude, height, day) for day in days):
        return None
    frost = "likely" if lowest_c < 0.0 else "possible"
    holds = "a lead-acid battery gives much less in the cold."
    if result.plan.pack.chemistry in LITHIUM:
        holds = "lithium gives less in the cold and, unless heated, takes no charge below 0."
    return Caution(
        "frost-not-judged",
        f"No air temperature was given: by the usual air of the month, down to {round(lowest_c)}"
        f" degrees C, frost is {frost}, and these days may be colder. Give temp_air_c: {holds}",
        "[weather] without temp_air_c",
    )


def follows_air(result: Budget) -> Caution | None:
    """A pack in outside air that is far from mild."""
    temperature = pack_temperature(result)
    mild = temperature.min() >= MILD_C[0] and temperature.max() <= MILD_C[1]
    if result.plan.pack.temperature is not None or mild:
        return None
    low, high = result.case.coldest_hottest_c
    return Caution(
        "pack-follows-air",
        "The pack's temperature follows the air at once here; a real pack lags by hours. Give"
        " temperature where it is kept in a cabin or a shed.",
        f"[pack] in air from {round(low)} to {round(high)} degrees C",
    )


def far_weather(result: Budget) -> Caution | None:
    """Weather measured far away or at another height."""
    km, m = result.weather.distance_km, result.weather.height_difference_m
    far = [f"{km:.0f} km away"] * (km > FAR_KM) + [f"{m:.0f} m higher or lower"] * (m > FAR_M)
    if not far:
        return None
    return Caution(
        "weather-from-afar",
        f"The weather is that of a place {' and '.join(far)}: hills and coasts make their own sky.",
        f"[weather] {result.plan.weather.kind}: {result.weather.source}",
    )


def old_forecast(result: Budget) -> Caution | None:
    """A forecast fetched more than a day ago."""
    fetched_s = result.weather.fetched_s
    if fetched_s is None or time.time() - fetched_s <= OLD_S:
        return None
    return Caution(
        "forecast-old",
        f"The forecast was fetched {age_in_words(fetched_s)}, and the sky has moved on: fetch a new"
        " one just before leaving.",
        f"[weather] forecast: {result.weather.source}",
    )


def not_a_promise(result: Budget) -> Caution | None:
    """One sky, or a chance."""
    several = result.chance.scenarios > 1
    one_sky = result.plan.weather.kind in ("sky", "clear") or not several
    if one_sky and result.plan.panel:
        text = "One sky is an example, not a chance: try a duller one before you rely on it."
    elif several:
        text = (
            "A chance is not a promise: it tells in how many such weathers the plan works, not"
            " which of them you get."
        )
    else:
        return None
    return Caution("not-a-promise", text, f"[weather] kind = {result.plan.weather.kind}")
