"""What the two weather services are asked and what their answers mean: read, checked, laid on a
clock. No network here; that is `online`'s. The rules for gaps are `repair`'s.

The shapes of the answers are from memory and from pvlib's `get_nasa_power`: neither service could
be looked up while this was written.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any, NoReturn
from urllib.parse import urlsplit

import numpy as np
from numpy.typing import NDArray

from energy.plan import PlanError
from energy.plan.words import shown
from energy.weather.fetched.cache import Forecast
from energy.weather.readers.repair import TEMP_AIR_C, WIND_SPEED_M_S, mend
from energy.weather.record import (
    DAY_S,
    HOUR_S,
    Floats,
    Record,
    ground_km,
    is_typical_year,
    stamp_text,
)

POWER = "NASA POWER"
POWER_ADDRESS = "https://power.larc.nasa.gov/api/temporal/hourly/point"
POWER_LICENCE = "free to use; NASA asks to be named as the source"  # from memory
# An hour's Wh/m2 is its mean in W/m2. Services write units in many ways: only letters are compared.
POWER_UNITS = {
    "ALLSKY_SFC_SW_DWN": ("whm", "wm"),
    "ALLSKY_SFC_SW_DIFF": ("whm", "wm"),
    "T2M": ("c",),
    "WS10M": ("ms",),
}
POWER_FIRST_YEAR = 2001  # its hourly light begins then; from memory
# Measured light becomes final some months late, and until then is missing or provisional: a year
# is asked for when it has been over for this long. From memory.
POWER_LAG = timedelta(days=180)

ENSEMBLE = "Open-Meteo"
ENSEMBLE_ADDRESS = "https://ensemble-api.open-meteo.com/v1/ensemble"
ENSEMBLE_LICENCE = "data CC BY 4.0, attribution shown; free for non-commercial use"
ENSEMBLE_MODEL = "icon_seamless"
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

OTHER_PLACE_KM = 100.0  # answers are for the nearest cell, and the widest are one degree
STALE_S = 2.0 * DAY_S
HOURS_AT_LEAST = 24
ELEVATION_M = (-500.0, 9000.0)


class Unavailable(PlanError):
    """What was asked of a service did not come; its line says of whom, what came and what to do."""

    status = 3

    def __init__(self, line: str):
        super().__init__([line])

    @property
    def line(self) -> str:
        """The one line.

        >>> Unavailable("two\\nlines").line
        'two lines'
        """
        return self.problems[0]


@dataclass(frozen=True)
class Question:
    """What is asked of whom, in words; the place in degrees, as it is sent: to about 100 m."""

    service: str
    address: str
    wanted: str
    latitude: float
    longitude: float

    @property
    def host(self) -> str:
        """The machine that is asked."""
        return urlsplit(self.address).netloc

    @property
    def where(self) -> str:
        """The place, in words."""
        return f"{self.latitude:.3f}, {self.longitude:.3f}"

    def refuse(self, came: str, advice: str = "try again later") -> NoReturn:
        """Raise Unavailable with what came instead of an answer."""
        raise Unavailable(
            f"{self.service} ({self.host}), asked for {self.wanted} at {self.where}: {came};"
            f" {advice}; what was held before is as it was"
        )


def _rounded(latitude: float, longitude: float) -> tuple[float, float]:
    """The place as it is sent; PlanError for one that is not on the earth."""
    for name, value, most in (("latitude", latitude, 90), ("longitude", longitude, 180)):
        if not abs(value) <= most:
            raise PlanError([f"{name} must be -{most} to {most} degrees (got {shown(value)})"])
    return round(latitude, 3) + 0.0, round(longitude, 3) + 0.0


# --- measured years -----------------------------------------------------------------------------


def history_question(
    latitude: float, longitude: float, years: int, address: str, today: date
) -> tuple[Question, range]:
    """The question after the last whole `years` that are final, and those years.

    >>> history_question(50.0, 10.0, 10, POWER_ADDRESS, date(2026, 11, 25))[1]
    range(2016, 2026)
    >>> history_question(50.0, 10.0, 10, POWER_ADDRESS, date(2026, 3, 1))[1]
    range(2015, 2025)
    """
    end = (today - POWER_LAG).year
    if not (isinstance(years, int) and 1 <= years <= end - POWER_FIRST_YEAR):
        most = end - POWER_FIRST_YEAR
        raise PlanError([f"years must be a whole number from 1 to {most} (got {shown(years)})"])
    span = range(end - years, end)
    wanted = f"hourly light, air and wind of {in_words(span)}"
    return Question(POWER, address, wanted, *_rounded(latitude, longitude)), span


def in_words(years: range) -> str:
    """Years as people say them.

    >>> in_words(range(2016, 2026)), in_words(range(2025, 2026))
    ('2016 to 2025', '2025')
    """
    return f"{years[0]}" if len(years) == 1 else f"{years[0]} to {years[-1]}"


def history_parameters(asked: Question, year: int) -> dict[str, str]:
    """What is sent to ask for one year."""
    return {
        "latitude": f"{asked.latitude:.3f}",
        "longitude": f"{asked.longitude:.3f}",
        "start": f"{year}0101",
        "end": f"{year}1231",
        "community": "re",
        "parameters": ",".join(POWER_UNITS),
        "format": "json",
        "header": "true",
        "time-standard": "utc",
    }


def read_year(asked: Question, answer: Any, year: int) -> Record:
    """One year of measured hours, gaps as NaN; refused where too much of it is missing."""
    fill = _number(asked, answer, "header", "fill_value")
    hours = np.arange(f"{year}-01-01", f"{year + 1}-01-01", dtype="M8[h]")
    columns = []
    for name, units in POWER_UNITS.items():
        _check_unit(asked, _inside(asked, answer, "parameters", name, "units"), units, name)
        column = _inside(asked, answer, "properties", "parameter", name)
        values = _numbers(asked, _in_order(asked, column, hours, name), name)
        columns.append(np.where(values == fill, np.nan, values))
    latitude, longitude, elevation_m = _power_place(asked, answer)
    ghi, dhi, temp_air, wind_speed = columns
    start_s = hours.astype("M8[s]").astype(np.float64)
    record = Record(
        name=f"{POWER} {year}",
        latitude_deg=latitude,
        longitude_deg=longitude,
        elevation_m=elevation_m,
        start_s=start_s,
        interval_s=HOUR_S,
        utc_offset_s=0.0,
        typical=is_typical_year(start_s),
        ghi=ghi,
        dhi=dhi,
        temp_air=temp_air,
        wind_speed=wind_speed,
        cloud_okta=None,
        notes=(),
    )
    _mended(asked, record)
    return record


def _in_order(asked: Question, column: Any, hours: NDArray[np.datetime64], name: str) -> list[Any]:
    """The values of all hours, from a table whose keys read 2016010100."""
    keys = [re.sub(r"\D", "", str(hour)) for hour in hours]
    lacking = [key for key in keys if key not in column] if isinstance(column, dict) else keys
    if lacking:
        first = str(hours[keys.index(lacking[0])]).replace("T", " ")
        asked.refuse(f"{name} lacks {len(lacking)} of {len(keys)} hours, the first {first}:00 UTC")
    return [column[key] for key in keys]


def _power_place(asked: Question, answer: Any) -> tuple[float, float, float]:
    """Latitude, longitude [deg] and elevation [m] that the answer is for."""
    found = _inside(asked, answer, "geometry", "coordinates")
    if not isinstance(found, list) or len(found) != 3:
        asked.refuse("its answer does not say for which place it is")
    longitude, latitude, elevation_m = _numbers(asked, found, "geometry.coordinates").tolist()
    return _check_place(asked, latitude, longitude, elevation_m)


def join_years(asked: Question, years: list[Record], name: str) -> Record:
    """The years on end as one record, mended as a file's."""
    names = ("start_s", "ghi", "dhi", "temp_air", "wind_speed")
    columns: dict[str, Any] = {
        column: np.concatenate([getattr(y, column) for y in years]) for column in names
    }
    typical = years[0].typical and len(years) == 1
    return _mended(asked, replace(years[-1], name=name, typical=typical, **columns))


def _mended(asked: Question, record: Record) -> Record:
    """The record by the rules for a file's gaps."""
    try:
        return mend(record, record.name)
    except PlanError as error:
        asked.refuse(error.problems[0], "ask for other years or try again later")


# --- forecasts ----------------------------------------------------------------------------------


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
    return Question(ENSEMBLE, address, wanted, *_rounded(latitude, longitude))


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
    stamp_s = _stamps(asked, answer, days, fetched_s)
    runs = {name: _runs(asked, answer, name, stamp_s.size) for name in ENSEMBLE_UNITS}
    numbers = sorted({number for columns in runs.values() for number in columns})
    for name, columns in runs.items():
        lacking = {0, *numbers} - columns.keys()
        if lacking:
            which = f"member {min(lacking)}" if min(lacking) else "the control run"
            asked.refuse(f"its answer has no {name} for {which}")
    light, air, wind = (
        np.stack([columns[n] for n in numbers], axis=1) for columns in runs.values()
    )
    values = np.array([light[1:], (air[:-1] + air[1:]) / 2.0, (wind[:-1] + wind[1:]) / 2.0])
    whole: NDArray[np.bool_] = np.isfinite(values).all(axis=0)
    begin = int(np.argmax(whole[:, 0]))  # hours before the model's own start are empty
    alive = np.logical_and.accumulate(whole[begin:], axis=0)
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
    latitude, longitude, elevation_m = _check_place(
        asked, *(_number(asked, answer, key) for key in ("latitude", "longitude", "elevation"))
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


def _stamps(asked: Question, answer: Any, days: int, now_s: float) -> Floats:
    """The stamps [UTC s]: an hour apart, all that were asked for, from about now on."""
    if _number(asked, answer, "utc_offset_seconds"):
        asked.refuse("its times are not in UTC as asked for")
    told = _inside(asked, answer, "hourly", "time")
    try:
        # as text, for NumPy would read numbers as moments too
        stamp_s = np.array([str(t) for t in told], "M8[s]").astype(np.float64)
    except (TypeError, ValueError):
        asked.refuse("its answer has times that are none")
    if stamp_s.size != 24 * days:
        asked.refuse(f"its answer holds {stamp_s.size} hours, not the {24 * days} asked for")
    if not (np.diff(stamp_s) == HOUR_S).all():
        asked.refuse("the times in its answer are not an hour apart")
    if abs(stamp_s[0] - now_s) > STALE_S:
        asked.refuse(f"its forecast begins {stamp_text(stamp_s[0])} UTC, which is not now")
    return stamp_s


def _runs(asked: Question, answer: Any, name: str, size: int) -> dict[int, Floats]:
    """The columns of one variable by member, the control run as 0; NaN where it gives nothing."""
    hourly, units = _inside(asked, answer, "hourly"), _inside(asked, answer, "hourly_units")
    # the model's name may follow, and the member's number comes before it
    pattern = re.compile(rf"{name}(?:_member(\d{{1,4}}))?(?:_[a-z].*)?")
    runs: dict[int, Floats] = {}
    for key in hourly if isinstance(hourly, dict) else ():
        found = pattern.fullmatch(key)
        if found is None:
            continue
        number = int(found[1] or 0)
        if number in runs:
            asked.refuse(f"its answer gives {key} of more than one model")
        _check_unit(asked, _inside(asked, units, key), ENSEMBLE_UNITS[name], key)
        values = _numbers(asked, hourly[key], key)
        if values.size != size:
            asked.refuse(f"{key} has {values.size} hours and the times have {size}")
        low, high = ENSEMBLE_LIMITS[name]
        odd = values[(values < low) | (values > high)]
        if odd.size:
            asked.refuse(f"{key} of {odd[0]:g} is not possible; {low:g} to {high:g} is")
        runs[number] = values
    return runs


# --- pieces of an answer ------------------------------------------------------------------------


def _inside(asked: Question, answer: Any, *keys: str) -> Any:
    """What lies under these keys."""
    for key in keys:
        if not isinstance(answer, dict) or key not in answer:
            asked.refuse(f"its answer has no {'.'.join(keys)}")
        answer = answer[key]
    return answer


def _number(asked: Question, answer: Any, *keys: str) -> float:
    value = float(_numbers(asked, [_inside(asked, answer, *keys)], ".".join(keys))[0])
    if not np.isfinite(value):
        asked.refuse(f"its answer has no number for {'.'.join(keys)}")
    return value


def _numbers(asked: Question, values: Any, name: str) -> Floats:
    """A list of numbers, null as NaN."""
    try:
        odd = [value for value in values if type(value) not in (int, float, type(None))]
        if not odd:
            return np.array([np.nan if v is None else float(v) for v in values])
    except (TypeError, OverflowError):
        odd = [values]
    asked.refuse(f"{name} in its answer holds {shown(odd[0])}, not numbers")


def _check_unit(asked: Question, unit: Any, allowed: tuple[str, ...], name: str) -> None:
    letters = "".join(c for c in str(unit).casefold().replace("hr", "h") if "a" <= c <= "z")
    if letters not in allowed:
        asked.refuse(f"{name} is in {shown(unit)}, which is not the unit asked for")


def _check_place(
    asked: Question, latitude: float, longitude: float, elevation_m: float
) -> tuple[float, float, float]:
    """The place of an answer, if it is the one asked for."""
    away_km = float(ground_km(asked.latitude, asked.longitude, latitude, longitude))
    if not away_km <= OTHER_PLACE_KM:
        asked.refuse(f"its answer is for {latitude:.2f}, {longitude:.2f}, {away_km:.0f} km away")
    if not ELEVATION_M[0] <= elevation_m <= ELEVATION_M[1]:
        asked.refuse(f"its answer puts the place at {elevation_m:g} m")
    return latitude, longitude, elevation_m
