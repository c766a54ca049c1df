"""Forecasts from Open-Meteo's ensemble service: what is asked, and its answer read and checked.

Names of what is asked and of the answer's fields: the service's OpenAPI schema, as the registry
package `action0-open-meteo-api` 0.1.0 holds it. How members are named, and that light is the mean
of the hour before its stamp, is not in it: from memory.
"""

from __future__ import annotations

import re
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict

from energy.plan import PlanError
from energy.plan.words import shown
from energy.weather.fetched.cache import Forecast
from energy.weather.fetched.question import (
    Number,
    Question,
    check_place,
    check_unit,
    numbers,
    place_sent,
    read_answer,
)
from energy.weather.readers.repair import TEMP_AIR_C, WIND_SPEED_M_S
from energy.weather.record import DAY_S, HOUR_S, Floats, stamp_text

ENSEMBLE = "Open-Meteo"
ENSEMBLE_ADDRESS = "https://ensemble-api.open-meteo.com/v1/ensemble"
ENSEMBLE_LICENCE = "data CC BY 4.0, attribution shown; free for non-commercial use"
ENSEMBLE_MODEL = "dwd_icon_seamless_eps"
ENSEMBLE_DAYS = 35  # the most that it gives; from memory
ENSEMBLE_UNITS = {
    "shortwave_radiation": ("wm",),
    "temperature_2m": ("c",),
    "wind_speed_10m": ("ms",),
}
ENSEMBLE_LIMITS = {
    "shortwave_radiation": (0.0, 1500.0),  # above the brightest of broken clouds; common practice
    "temperature_2m": TEMP_AIR_C,
    "wind_speed_10m": WIND_SPEED_M_S,
}

STALE_S = 2.0 * DAY_S
HOURS_AT_LEAST = 24


class _Hourly(BaseModel):
    """The stamps and, under names of their own, the columns of all runs."""

    model_config = ConfigDict(extra="allow")

    time: Any

    @property
    def columns(self) -> dict[str, Any]:
        return self.model_extra or {}


class _Members(BaseModel):
    """A forecast as the service answers."""

    utc_offset_seconds: Number
    hourly: _Hourly
    hourly_units: dict[str, Any]
    latitude: Number
    longitude: Number
    elevation: Number


def forecast_question(
    latitude: float, longitude: float, days: int, model: str, address: str
) -> Question:
    """The question after the coming days in all runs of one model."""
    if not (isinstance(days, int) and 1 <= days <= ENSEMBLE_DAYS):
        raise PlanError(
            [f"days must be a whole number from 1 to {ENSEMBLE_DAYS} (got {shown(days)})"]
        )
    if not re.fullmatch(r"[a-z0-9_]{1,60}", model):
        raise PlanError([f"the model must be a name such as {ENSEMBLE_MODEL} (got {shown(model)})"])
    wanted = f"the forecast of the next {days} days ({model})"
    return Question(ENSEMBLE, address, wanted, *place_sent(latitude, longitude))


def forecast_parameters(asked: Question, days: int, model: str) -> dict[str, str]:
    """What is sent to ask for a forecast."""
    return {
        "latitude": f"{asked.latitude:.3f}",
        "longitude": f"{asked.longitude:.3f}",
        "hourly": ",".join(ENSEMBLE_UNITS),
        "models": model,
        "forecast_days": str(days),
        "timezone": "GMT",
        "wind_speed_unit": "ms",
    }


def read_forecast(
    asked: Question, answer: Any, days: int, model: str, fetched_s: float
) -> Forecast:
    """The forecast in an answer: light of the hour before each stamp, air and wind at the stamp."""
    forecast = read_answer(asked, _Members, answer)
    stamp_s = _stamps(asked, forecast, days, fetched_s)
    runs = {name: _runs(asked, forecast, name, stamp_s.size) for name in ENSEMBLE_UNITS}
    members = sorted({number for columns in runs.values() for number in columns})
    for name, columns in runs.items():
        lacking = {0, *members} - columns.keys()
        if lacking:
            which = f"member {min(lacking)}" if min(lacking) else "the control run"
            asked.refuse(f"its answer has no {name} for {which}")
    light, air, wind = (
        np.stack([columns[number] for number in members], axis=1) for columns in runs.values()
    )
    values = np.array([light[1:], (air[:-1] + air[1:]) / 2.0, (wind[:-1] + wind[1:]) / 2.0])
    complete: NDArray[np.bool_] = np.isfinite(values).all(axis=0)
    begin = int(np.argmax(complete[:, 0]))  # hours before the model's own start are empty
    alive = np.logical_and.accumulate(complete[begin:], axis=0)
    alive = alive[alive.any(axis=1)]  # and after the model's end
    hours = slice(begin, begin + len(alive))
    if alive[:, 0].sum() < min(HOURS_AT_LEAST, stamp_s.size - 1):
        asked.refuse(
            f"its control run holds {alive[:, 0].sum()} hours, less than a day", "ask for more days"
        )
    kept = np.flatnonzero(alive[0])
    if kept.size < 2:
        asked.refuse("its answer holds no member beside the control run", "try another model")
    ghi, temp_air, wind_speed = (np.where(alive, part[hours], np.nan)[:, kept] for part in values)
    latitude, longitude, elevation_m = check_place(
        asked, forecast.latitude, forecast.longitude, forecast.elevation
    )
    return Forecast(
        source=f"{ENSEMBLE} ensemble forecast ({model}; CC BY 4.0)",
        latitude_deg=latitude,
        longitude_deg=longitude,
        elevation_m=elevation_m,
        fetched_s=fetched_s,
        start_s=stamp_s[hours],
        ghi=ghi,
        temp_air=temp_air,
        wind_speed=wind_speed,
    )


def _stamps(asked: Question, forecast: _Members, days: int, now_s: float) -> Floats:
    """The stamps [UTC s]: an hour apart, all that were asked for, from about now on."""
    if forecast.utc_offset_seconds:
        asked.refuse("its times are not in UTC as asked for")
    try:
        # as text, for NumPy would read numbers as moments too
        stamp_s = np.array([str(t) for t in forecast.hourly.time], "M8[s]").astype(np.float64)
    except (TypeError, ValueError):
        asked.refuse("its answer has times that are none")
    if stamp_s.size != 24 * days:
        asked.refuse(f"its answer holds {stamp_s.size} hours, not the {24 * days} asked for")
    if not (np.diff(stamp_s) == HOUR_S).all():
        asked.refuse("the times in its answer are not an hour apart")
    if abs(stamp_s[0] - now_s) > STALE_S:
        asked.refuse(f"its forecast begins {stamp_text(stamp_s[0])} UTC, which is not now")
    return stamp_s


def _runs(asked: Question, forecast: _Members, name: str, size: int) -> dict[int, Floats]:
    """The columns of one variable by member, the control run as 0; NaN where it gives nothing."""
    # the model's name may follow, and the member's number comes before it
    pattern = re.compile(rf"{name}(?:_member(\d{{1,4}}))?(?:_[a-z].*)?")
    runs: dict[int, Floats] = {}
    for key, column in forecast.hourly.columns.items():
        match = pattern.fullmatch(key)
        if match is None:
            continue
        number = int(match[1] or 0)
        if number in runs:
            asked.refuse(f"its answer gives {key} of more than one model")
        if key not in forecast.hourly_units:
            asked.refuse(f"its answer has no {key}")
        check_unit(asked, forecast.hourly_units[key], ENSEMBLE_UNITS[name], key)
        values = numbers(asked, column, key)
        if values.size != size:
            asked.refuse(f"{key} has {values.size} hours and the times have {size}")
        low, high = ENSEMBLE_LIMITS[name]
        impossible = values[(values < low) | (values > high)]
        if impossible.size:
            asked.refuse(f"{key} of {impossible[0]:g} is not possible; {low:g} to {high:g} is")
        runs[number] = values
    return runs
