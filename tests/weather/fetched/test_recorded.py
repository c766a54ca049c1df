"""The services' answers against what others know of them.

NASA POWER: `pvlib.iotools.get_nasa_power` reads the same answer, and the day that pvlib's tests
recorded (pvlib 0.16.1, tests/iotools/test_nasa_power.py: 44.76 N, 7.64 E, 705.88 m, 2 February
2025) tells what a stamp marks. Open-Meteo: names of the answer as its published OpenAPI schema has
them, by the registry package `action0-open-meteo-api` 0.1.0, which was made from it (read, not
used).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pvlib
import pytest
import weather_server as ws
from weather_server import LATITUDE, LONGITUDE, serving

from energy.weather.fetched.ensemble import ENSEMBLE_MODEL, ENSEMBLE_UNITS, forecast_parameters
from energy.weather.fetched.ensemble import forecast_question as forecast_asked
from energy.weather.fetched.power import NAMES, POWER_ADDRESS, read_year
from energy.weather.fetched.question import Question
from energy.weather.readers.sun_shift import sun_shift

RECORDED_W_M2 = [
    *[0.0] * 7,
    *[50.25, 184.2, 281.55, 368.3, 406.48, 386.45, 316.05, 210.1, 109.05, 12.9],
    *[0.0] * 7,
]


def asked(latitude: float, longitude: float) -> Question:
    return Question("NASA POWER", POWER_ADDRESS, "a year", latitude, longitude)


def test_a_years_answer_reads_as_pvlib_reads_it() -> None:
    def reply(to: Any, question: dict[str, str], _: Any) -> None:
        ws.send(to, 200, ws.json.dumps(ws.power_year(2025)).encode())

    with serving(reply) as seen:
        data, meta = pvlib.iotools.get_nasa_power(
            LATITUDE, LONGITUDE, "2025-01-01", "2025-12-31", list(NAMES), url=seen.address
        )
    record = read_year(asked(LATITUDE, LONGITUDE), ws.power_year(2025), 2025)
    for quantity in NAMES:
        np.testing.assert_array_equal(getattr(record, quantity), data[quantity])
    begin_s = data.index.tz_localize(None).to_numpy("M8[s]").astype(float)
    np.testing.assert_array_equal(record.start_s, begin_s)
    place = (record.latitude_deg, record.longitude_deg, record.elevation_m)
    assert place == (meta["latitude"], meta["longitude"], meta["altitude"])
    # what pvlib sends beside what is sent here, it sends empty
    sent = {name for name, value in seen.questions[0].items() if value}
    assert sent == {
        "latitude",
        "longitude",
        "start",
        "end",
        "community",
        "parameters",
        "format",
        "header",
        "time-standard",
    }


def recorded_year() -> dict[str, Any]:
    """An answer whose every day is the recorded one, with the recorded header's fields."""
    answer = ws.power_year(2025)
    hours = answer["properties"]["parameter"]["ALLSKY_SFC_SW_DWN"]
    light = np.tile(RECORDED_W_M2, 365).tolist()
    answer["properties"]["parameter"]["ALLSKY_SFC_SW_DWN"] = dict(zip(hours, light, strict=True))
    answer["geometry"]["coordinates"] = [7.64, 44.76, 705.88]
    answer["header"] |= {
        "title": "NASA/POWER Source Native Resolution Hourly Data",
        "start": "20250101",
        "end": "20251231",
    }
    return answer


def test_a_stamp_of_the_recorded_day_begins_its_hour() -> None:
    # February alone, whose sun the recorded light has
    days = slice(24 * 27, 24 * 38)
    record = read_year(asked(44.76, 7.64), recorded_year(), 2025)
    assert record.elevation_m == 705.88
    day = record.ghi[24 * 32 : 24 * 33]
    np.testing.assert_array_equal(day, RECORDED_W_M2)
    shift = sun_shift(record.start_s[days], 3600.0, record.ghi[days], (44.76, 7.64))
    assert shift is not None
    assert shift.middle_min == pytest.approx(0.0, abs=5.0)


def test_the_forecasts_question_is_made_of_published_names() -> None:
    published_models = {"dwd_icon_seamless_eps", "ncep_gefs025", "ecmwf_ifs025_ensemble"}
    published_hourly = {"shortwave_radiation", "temperature_2m", "wind_speed_10m"}
    asked = forecast_asked(50.0, 10.0, 3, ENSEMBLE_MODEL, "https://example.org")
    sent = forecast_parameters(asked, 3, ENSEMBLE_MODEL)
    assert sent["models"] in published_models
    assert set(sent["hourly"].split(",")) == published_hourly == set(ENSEMBLE_UNITS)
    assert sent["wind_speed_unit"] in {"kmh", "ms", "mph", "kn"}
    assert sent.keys() <= {
        "latitude",
        "longitude",
        "hourly",
        "models",
        "forecast_days",
        "timezone",
        "wind_speed_unit",
    }


def test_an_answer_has_the_published_fields() -> None:
    assert ws.ensemble(1).keys() <= {
        "latitude",
        "longitude",
        "elevation",
        "generationtime_ms",
        "utc_offset_seconds",
        "timezone",
        "timezone_abbreviation",
        "hourly",
        "hourly_units",
    }
    assert pd.Timestamp(ws.ensemble(1)["hourly"]["time"][0]).hour == 0
