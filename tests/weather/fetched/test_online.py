"""Fetching weather: the real client against a server on this machine that answers and fails.

What is fetched is invented (see `weather_server`); what it must become follows from the meaning of
the services' stamps and units. Where each ends up on disk is tested in `test_held`.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pvlib
import pytest
import weather_server as ws
from weather_server import (
    LATITUDE,
    LIGHT,
    LONGITUDE,
    TODAY,
    ends,
    forecast,
    history,
    serving,
    the_forecast,
    the_record,
    without,
)

from energy import __version__
from energy.plan import PlanError
from energy.weather.fetched.cache import cached
from energy.weather.fetched.online import fetch_forecast, fetch_history, what_forecast, what_history
from energy.weather.readers.files import read_record


@pytest.fixture(scope="module")
def fetched(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with two years and a forecast as the services give them."""
    folder = tmp_path_factory.mktemp("fetched")
    history(ws.service(), folder, 2)
    forecast(ws.service(), folder)
    return folder


# --- what is asked ------------------------------------------------------------------------------


def test_a_history_asks_once_a_year_for_what_pvlib_asks(tmp_path: Path) -> None:
    with serving(ws.service()) as seen:
        fetch_history(50.12345, 10.0, 2, address=seen.address, folder=tmp_path, today=TODAY)
    first = {"start": "20240101", "end": "20241231"}
    then = {"start": "20250101", "end": "20251231"}
    always = {
        "latitude": "50.123",  # and no decimal more leaves the machine
        "longitude": "10.000",
        "community": "re",
        "parameters": "ALLSKY_SFC_SW_DWN,ALLSKY_SFC_SW_DIFF,T2M,WS10M",
        "format": "json",
        "header": "true",
        "time-standard": "utc",
    }
    assert seen.questions == [always | first, always | then]
    # pvlib's own table of the service's names
    names = [pvlib.iotools.nasa_power.VARIABLE_MAP[n] for n in always["parameters"].split(",")]
    assert names == ["ghi", "dhi", "temp_air", "wind_speed"]


def test_a_forecast_asks_once(tmp_path: Path) -> None:
    with serving(ws.service()) as seen:
        fetch_forecast(49.98765, 10.5, address=seen.address, folder=tmp_path, days=2, model="a_1")
    assert seen.questions == [
        {
            "latitude": "49.988",
            "longitude": "10.500",
            "hourly": "shortwave_radiation,temperature_2m,wind_speed_10m",
            "models": "a_1",
            "forecast_days": "2",
            "timezone": "GMT",
            "wind_speed_unit": "ms",
        }
    ]


def test_a_question_names_the_distribution_and_its_version(tmp_path: Path) -> None:
    with serving(ws.service()) as seen:
        fetch_forecast(LATITUDE, LONGITUDE, days=2, address=seen.address, folder=tmp_path)
    assert seen.agents == [f"offgrid-workshop-energy/{__version__}"]


def test_the_line_before_a_fetch_names_years_service_place_and_licence() -> None:
    line = what_history(50.12345, 10.0, 10, today=TODAY)
    for part in ("2016 to 2025", "NASA POWER", "power.larc.nasa.gov", "50.123, 10.000", "free"):
        assert part in line
    line = what_forecast(50.12345, 10.0)
    for part in ("7 days", "Open-Meteo", "50.123, 10.000", "CC BY 4.0", "non-commercial"):
        assert part in line


def test_a_place_a_step_west_of_greenwich_has_no_minus_before_its_nought() -> None:
    assert "the place, 50.000, 0.000," in what_forecast(50.0, -0.0001)


def test_the_size_told_is_about_what_comes() -> None:
    # a year's answer as this machine's server writes it
    year_mb = len(str(ws.power_year(2025)["properties"])) / 1e6
    assert f"about {year_mb:.1f} MB" in what_history(50.0, 10.0, 1, today=TODAY)


def test_a_year_is_asked_for_when_it_has_been_over_for_half_a_year() -> None:
    assert "of 2024 from" in what_history(50.0, 10.0, 1, today=date(2026, 6, 1))
    assert "of 2025 from" in what_history(50.0, 10.0, 1, today=date(2026, 7, 1))


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        (lambda: what_history(91.0, 10.0), "latitude must be -90 to 90 degrees (got 91.0)"),
        (lambda: what_history(float("nan"), 10.0), "latitude must be"),
        (lambda: what_forecast(50.0, 181.0), "longitude must be -180 to 180 degrees"),
        (lambda: what_history(50.0, 10.0, 0, today=TODAY), "from 1 to 25 (got 0)"),
        (lambda: what_history(50.0, 10.0, 26, today=TODAY), "from 1 to 25 (got 26)"),
        (lambda: what_forecast(50.0, 10.0, days=36), "from 1 to 35 (got 36)"),
        (lambda: what_forecast(50.0, 10.0, model="a&b=c"), "model must be a name"),
    ],
)
def test_what_cannot_be_asked_is_wrong_input(ask: Any, words: str) -> None:
    with pytest.raises(PlanError) as caught:
        ask()
    assert words in caught.value.problems[0]


# --- what a history becomes ---------------------------------------------------------------------


def test_a_history_holds_every_hour_of_its_years_in_order(fetched: Path) -> None:
    record = the_record(fetched)
    begin = pd.to_datetime(record.start_s, unit="s")
    assert (begin == pd.date_range("2024-01-01", "2025-12-31 23:00", freq="h")).all()
    assert (record.interval_s, record.utc_offset_s, record.typical) == (3600.0, 0.0, False)


def test_a_history_keeps_numbers_and_place(fetched: Path) -> None:
    record = the_record(fetched)
    told = ws.power_year(2025)["properties"]["parameter"]
    np.testing.assert_array_equal(record.ghi[8784:], list(told[LIGHT].values()))
    np.testing.assert_array_equal(record.dhi[8784:], list(told["ALLSKY_SFC_SW_DIFF"].values()))
    np.testing.assert_array_equal(record.temp_air[8784:], list(told["T2M"].values()))
    np.testing.assert_array_equal(record.wind_speed, 3.5)
    assert (record.latitude_deg, record.longitude_deg, record.elevation_m) == (50.0, 10.0, 312.0)


def test_a_history_says_which_years_it_is_of_and_since_when(fetched: Path) -> None:
    today = pd.Timestamp.now("UTC").strftime("%Y-%m-%d")
    assert the_record(fetched).name == f"NASA POWER hourly history 2024 to 2025, fetched {today}"


def transit_s(day: str) -> float:
    """True noon of a day at the place [UTC s], after Reda & Andreas 2004, by pvlib."""
    at = pd.DatetimeIndex([pd.Timestamp(day, tz="UTC")])
    noon = pvlib.solarposition.sun_rise_set_transit_spa(at, LATITUDE, LONGITUDE)["transit"]
    return float(noon.iloc[0].timestamp())


def middle_s(start_s: np.ndarray, light: np.ndarray) -> float:
    """The middle of a day's light [UTC s]."""
    return float(((start_s + 1800.0) * light).sum() / light.sum())


def test_the_light_of_a_history_is_even_about_true_noon(fetched: Path) -> None:
    record = the_record(fetched)
    first = int((pd.Timestamp("2025-06-10") - pd.Timestamp("2024-01-01")) / pd.Timedelta(hours=1))
    day = slice(first, first + 24)
    middle = middle_s(record.start_s[day], record.ghi[day])
    assert middle == pytest.approx(transit_s("2025-06-10"), abs=120.0)


def test_a_single_plain_year_is_followed_by_its_own_first_hour(tmp_path: Path) -> None:
    history(ws.service(), tmp_path)
    assert the_record(tmp_path).typical


def test_missing_hours_are_mended_as_a_files_are(fetched: Path, tmp_path: Path) -> None:
    table = pd.DataFrame({"ghi": the_record(fetched).ghi[8784:]})
    table.index = pd.date_range("2025-01-01", periods=8760, freq="h", tz="UTC")
    table.loc["2025-06-10 11:00":"2025-06-10 12:00", "ghi"] = np.nan
    table.to_csv(tmp_path / "file.csv", index_label="time")
    place = (LATITUDE, LONGITUDE)
    from_file = read_record(str(tmp_path / "file.csv"), timezone="UTC", place=place)
    history(ws.service(without("2025061011", "2025061012")), tmp_path)
    mended = the_record(tmp_path)
    np.testing.assert_array_equal(mended.ghi, from_file.ghi)
    assert mended.notes == from_file.notes


# --- what a forecast becomes --------------------------------------------------------------------


def test_an_hour_of_a_forecast_begins_an_hour_before_the_stamp_of_its_light(fetched: Path) -> None:
    found = the_forecast(fetched)
    told = ws.ensemble(3)["hourly"]
    stamp_s = pd.DatetimeIndex(told["time"]).to_numpy("M8[s]").astype(float)
    np.testing.assert_array_equal(found.start_s, stamp_s[1:] - 3600.0)
    np.testing.assert_array_equal(found.ghi[:, 0], told["shortwave_radiation"][1:])
    np.testing.assert_array_equal(found.ghi[:, 2], told["shortwave_radiation_member02"][1:])


def test_the_light_of_a_forecast_is_even_about_true_noon(fetched: Path) -> None:
    found = the_forecast(fetched)
    day = pd.Timestamp(found.start_s[0], unit="s").strftime("%Y-%m-%d")
    middle = middle_s(found.start_s[:24], found.ghi[:24, 0])
    assert middle == pytest.approx(transit_s(day), abs=120.0)


def test_air_and_wind_of_an_hour_are_means_of_the_stamps_at_its_ends(fetched: Path) -> None:
    found = the_forecast(fetched)
    # told at 00:00, 01:00, 02:00 for the control run: 10, 10.5, 11 C and 1, 2, 3 m/s
    np.testing.assert_allclose(found.temp_air[:2, 0], [10.25, 10.75])
    np.testing.assert_allclose(found.wind_speed[:2, 0], [1.5, 2.5])


def test_a_forecast_keeps_its_members_in_order_and_the_cells_place(fetched: Path) -> None:
    found = the_forecast(fetched)
    np.testing.assert_allclose(found.temp_air[0], 10.25 + np.arange(ws.MEMBERS + 1))
    assert (found.latitude_deg, found.longitude_deg) == pytest.approx((50.03, 9.98))
    assert found.elevation_m == 312.0
    assert found.source == "Open-Meteo ensemble forecast (dwd_icon_seamless_eps; CC BY 4.0)"


def test_names_may_end_in_the_models_name(fetched: Path, tmp_path: Path) -> None:
    forecast(ws.service(suffix="_dwd_icon_seamless_eps"), tmp_path)
    np.testing.assert_array_equal(the_forecast(tmp_path).ghi, the_forecast(fetched).ghi)


def test_a_member_has_ended_where_one_of_its_variables_has(fetched: Path, tmp_path: Path) -> None:
    forecast(ws.service(ends("wind_speed_10m_member03", 30)), tmp_path)
    found = the_forecast(tmp_path)
    for values in (found.ghi, found.temp_air, found.wind_speed):
        # the hour from stamp 29 to stamp 30 is the first without
        np.testing.assert_array_equal(np.isfinite(values[:, 3]), np.arange(71) < 29)
        assert np.isfinite(np.delete(values, 3, axis=1)).all()


def test_a_member_with_a_hole_has_ended_there(tmp_path: Path) -> None:
    forecast(ws.service(ws.put(None, "hourly", "temperature_2m_member03", 30)), tmp_path)
    alive = np.isfinite(the_forecast(tmp_path).ghi[:, 3])
    np.testing.assert_array_equal(alive, np.arange(71) < 29)


def test_a_member_without_a_single_hour_is_left_out(tmp_path: Path) -> None:
    forecast(ws.service(ends("temperature_2m_member02", 0)), tmp_path)
    assert the_forecast(tmp_path).ghi.shape == (71, ws.MEMBERS)


def test_hours_before_the_models_start_are_left_out(fetched: Path, tmp_path: Path) -> None:
    def late(answer: dict[str, Any]) -> None:
        for key, column in answer["hourly"].items():
            if key != "time":
                column[:6] = [None] * 6

    forecast(ws.service(late), tmp_path)
    np.testing.assert_array_equal(the_forecast(tmp_path).ghi, the_forecast(fetched).ghi[6:])


def test_a_forecast_is_held_to_the_end_of_its_longest_member(tmp_path: Path) -> None:
    def short(answer: dict[str, Any]) -> None:
        for key in answer["hourly"].keys() - {"time"}:
            ends(key, 60 if "member04" in key else 40)(answer)

    told = forecast(ws.service(short), tmp_path)
    midnight_s = pd.Timestamp.now("UTC").floor("D").timestamp()
    assert told.last_s == midnight_s + 59 * 3600.0  # stamp 59 is the last with a value


def test_a_fetch_tells_what_is_held(tmp_path: Path) -> None:
    lines: list[str] = []
    told = history(ws.service(), tmp_path, 2, progress=lines.append)
    assert lines == ["NASA POWER: 2024 (1 of 2)", "NASA POWER: 2025 (2 of 2)"]
    assert cached(tmp_path) == [told]
