"""Measured years from NASA POWER: what is asked, and its answer read, checked and laid on a clock.

The question and the shape of the answer are those of pvlib's `get_nasa_power`, which sets no
time-out and raises on an error page; a recorded day shows that a stamp begins its hour
(`tests/weather/fetched/test_recorded.py`). The rules for gaps are in `readers.repair`.
"""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date, timedelta
from typing import Any, Generic, TypeVar

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, Field

from energy.plan import PlanError
from energy.plan.words import shown
from energy.weather.fetched.question import (
    Number,
    Question,
    check_place,
    check_unit,
    numbers,
    place_sent,
    read_answer,
)
from energy.weather.readers.repair import mend
from energy.weather.record import HOUR_S, Floats, Record, is_typical_year

POWER = "NASA POWER"
POWER_ADDRESS = "https://power.larc.nasa.gov/api/temporal/hourly/point"
POWER_LICENCE = "free to use; NASA asks to be named as the source"  # from memory
POWER_FIRST_YEAR = 2001  # its hourly light begins then; from memory
# Measured light becomes final some months late, and until then is missing or provisional: a year
# is asked for when it has been over for this long. From memory.
POWER_LAG = timedelta(days=180)
# An hour's Wh/m2 is its mean in W/m2.
UNITS = {"ghi": ("whm", "wm"), "dhi": ("whm", "wm"), "temp_air": ("c",), "wind_speed": ("ms",)}

Each = TypeVar("Each")


class _Quantities(BaseModel, Generic[Each]):
    """Something of each quantity, under the service's own names."""

    ghi: Each = Field(alias="ALLSKY_SFC_SW_DWN")
    dhi: Each = Field(alias="ALLSKY_SFC_SW_DIFF")
    temp_air: Each = Field(alias="T2M")
    wind_speed: Each = Field(alias="WS10M")


class _Header(BaseModel):
    fill_value: Number


class _Unit(BaseModel):
    units: Any


class _Properties(BaseModel):
    """The columns: tables from an hour, such as 2016010100, to a number."""

    parameter: _Quantities[Any]


class _Geometry(BaseModel):
    """Longitude, latitude [deg] and elevation [m]."""

    coordinates: Any


class _Year(BaseModel):
    """One year as the service answers."""

    header: _Header
    parameters: _Quantities[_Unit]
    properties: _Properties
    geometry: _Geometry


NAMES = {quantity: str(field.alias) for quantity, field in _Quantities.model_fields.items()}


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
    return Question(POWER, address, wanted, *place_sent(latitude, longitude)), span


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
        "parameters": ",".join(NAMES.values()),
        "format": "json",
        "header": "true",
        "time-standard": "utc",
    }


def read_year(asked: Question, answer: Any, year: int) -> Record:
    """One year of measured hours, gaps as NaN; refused where too much of it is missing."""
    content = read_answer(asked, _Year, answer)
    hours = np.arange(f"{year}-01-01", f"{year + 1}-01-01", dtype="M8[h]")
    columns: dict[str, Floats] = {}
    for quantity, name in NAMES.items():
        check_unit(asked, getattr(content.parameters, quantity).units, UNITS[quantity], name)
        column = getattr(content.properties.parameter, quantity)
        values = numbers(asked, _in_order(asked, column, hours, name), name)
        columns[quantity] = np.where(values == content.header.fill_value, np.nan, values)
    latitude, longitude, elevation_m = _place(asked, content.geometry.coordinates)
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
        cloud_okta=None,
        notes=(),
        **columns,
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


def _place(asked: Question, coordinates: Any) -> tuple[float, float, float]:
    """Latitude, longitude [deg] and elevation [m] that the answer is for."""
    if not isinstance(coordinates, list) or len(coordinates) != 3:
        asked.refuse("its answer does not say for which place it is")
    longitude, latitude, elevation_m = numbers(asked, coordinates, "geometry.coordinates").tolist()
    return check_place(asked, latitude, longitude, elevation_m)


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
