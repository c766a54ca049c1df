"""Files as public satellite services write them, rebuilt with invented light.

The shapes of PVGIS' and the CAMS service's files are those of the recorded files among the tests of
pvlib 0.16.1 (tests/data: tmy_45.000_8.000_2005_2023.csv, .json and .epw, pvgis_tmy_test.csv,
pvgis_hourly_Timeseries_*, cams_radiation_1min_verbose.csv); those of NASA POWER and Open-Meteo are
from memory. The light is a cloudless sky (Haurwitz 1945, by pvlib).
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest

from energy.plan import PlanError
from energy.weather.readers.files import Record, read_record

LATITUDE, LONGITUDE, ELEVATION_M = 45.0, 8.0, 250.0
YEAR = pd.date_range("2018-01-01", periods=8760, freq="h", tz="UTC")
OFFSET_H = 0.1761


def light_at(moments: pd.DatetimeIndex) -> np.ndarray:
    """Light of a cloudless sky, W/m2."""
    zenith = pvlib.solarposition.get_solarposition(moments, LATITUDE, LONGITUDE)
    return pvlib.clearsky.haurwitz(zenith["apparent_zenith"])["ghi"].to_numpy().round(2)


def light_over(begin: pd.DatetimeIndex) -> np.ndarray:
    """Light of a cloudless sky over the hours that begin so, W/m2."""
    return np.mean([light_at(begin + pd.Timedelta(minutes=m)) for m in range(5, 60, 10)], axis=0)


def read(tmp_path: Path, text: str, name: str = "saved.csv", **options: object) -> Record:
    (tmp_path / name).write_text(text)
    return read_record(str(tmp_path / name), timezone="Europe/Rome", **options)  # type: ignore[arg-type]


def line(tmp_path: Path, text: str) -> str:
    with pytest.raises(PlanError) as refused:
        read(tmp_path, text)
    (problem,) = refused.value.problems
    return str(problem)


def rows_at(record: Record, moments: pd.DatetimeIndex) -> None:
    """The rows' middles lie at these moments, within a minute, and no shift was found."""
    middle_s = moments.tz_convert("UTC").tz_localize(None).to_numpy("M8[s]").astype(float)
    assert np.abs(record.start_s + record.interval_s / 2 - middle_s).max() <= 60
    assert record.notes == ()


def at_the_place(record: Record) -> None:
    place = (record.latitude_deg, record.longitude_deg, record.elevation_m)
    assert place == (LATITUDE, LONGITUDE, ELEVATION_M)


# --- PVGIS' typical year -------------------------------------------------------------------


def typical_table() -> pd.DataFrame:
    light = light_at(YEAR + pd.Timedelta(hours=OFFSET_H))
    table = pd.DataFrame({"time(UTC)": YEAR.strftime("%Y%m%d:%H%M"), "T2m": 7.5, "RH": 80.0})
    table = table.assign(**{"G(h)": light, "Gb(n)": light, "Gd(h)": light / 4, "IR(h)": 280.0})
    return table.assign(WS10m=2.5, WD10m=180.0, SP=99000.0)


def typical_csv() -> str:
    head = (
        f"Latitude (decimal degrees): {LATITUDE:.3f}\n"
        f"Longitude (decimal degrees): {LONGITUDE:.3f}\n"
        f"Elevation (m): {ELEVATION_M}\nIrradiance Time Offset (h): {OFFSET_H}\nmonth,year\n"
    )
    head += "".join(f"{month},2018\n" for month in range(1, 13))
    tail = "\nT2m: 2-m air temperature (degree Celsius)\n\nPVGIS (c) European Union, 2001-2025\n"
    return head + typical_table().to_csv(index=False) + tail


def typical_json() -> str:
    location = {"latitude": LATITUDE, "longitude": LONGITUDE, "elevation": ELEVATION_M}
    location["irradiance_time_offset"] = OFFSET_H
    months = [{"month": month, "year": 2018} for month in range(1, 13)]
    hours = typical_table().to_dict("records")
    return json.dumps(
        {
            "inputs": {"location": location, "meteo_data": {}},
            "outputs": {"months_selected": months, "tmy_hourly": hours},
            "meta": {"inputs": {}, "outputs": {}},
        }
    )


@pytest.mark.parametrize("text", [typical_csv, typical_json])
def test_pvgis_typical_year(tmp_path: Path, text: object) -> None:
    record = read(tmp_path, text())  # type: ignore[operator]
    rows_at(record, YEAR + pd.Timedelta(hours=OFFSET_H))
    at_the_place(record)
    assert record.typical
    table = typical_table()
    np.testing.assert_allclose(record.ghi, table["G(h)"])
    np.testing.assert_allclose(record.dhi, table["Gd(h)"])
    assert (record.temp_air[0], record.wind_speed[0]) == (7.5, 2.5)


def test_pvgis_typical_year_without_its_header(tmp_path: Path) -> None:
    text = typical_table().to_csv(index=False)
    record = read(tmp_path, text, place=(LATITUDE, LONGITUDE))
    # a stamp read as the hour's begin puts its middle 30 min later; the light is of minute 10.6
    assert record.notes == ("hours stand 19 min late; moved",)
    np.testing.assert_allclose(record.dhi, typical_table()["Gd(h)"])


def test_an_epw_that_states_the_moment_of_its_light(tmp_path: Path) -> None:
    # the hour ends at its number and the light is of 0.8239 h before, as such a file states it
    rows = pd.DataFrame(0, index=range(8760), columns=range(35))
    rows[0], rows[1], rows[2], rows[3] = YEAR.year, YEAR.month, YEAR.day, YEAR.hour + 1
    rows[13] = light_at(YEAR + pd.Timedelta(hours=OFFSET_H))
    head = ["LOCATION,unknown,-,unknown,ECMWF/ERA,unknown,45.0,8.0,0,250"]
    head += ["LINE"] * 5 + [f"COMMENTS 2,Irradiance Time Offset (h):{OFFSET_H - 1}", "DATA PERIODS"]
    record = read(
        tmp_path, "\n".join(head) + "\n" + rows.to_csv(header=False, index=False), "a.epw"
    )
    rows_at(record, YEAR + pd.Timedelta(hours=OFFSET_H))


# --- PVGIS' hours --------------------------------------------------------------------------

HOURS = pd.date_range("2016-06-01 00:10", periods=240, freq="h", tz="UTC")


def hourly_csv(slope: float, columns: dict[str, object]) -> str:
    head = (
        f"Latitude (decimal degrees):\t{LATITUDE:.3f}\nLongitude (decimal degrees):\t"
        f"{LONGITUDE:.3f}\nElevation (m):\t{ELEVATION_M:.0f}\nRadiation database:\tPVGIS-SARAH\n\n"
        f"\nSlope: {slope:g} deg. \nAzimuth: 0 deg. \n"
    )
    table = pd.DataFrame({"time": HOURS.strftime("%Y%m%d:%H%M"), **columns})
    table = table.assign(H_sun=0.0, T2m=3.4, WS10m=1.5, Int=0.0)
    return head + table.to_csv(index=False) + "\nH_sun: Sun height (degree)\n\nPVGIS (c)\n"


def test_pvgis_hours_on_the_flat(tmp_path: Path) -> None:
    light = light_at(HOURS)
    parts = {"Gb(i)": light * 0.75, "Gd(i)": light * 0.25, "Gr(i)": 0.0}
    for columns in (parts, {"G(i)": light}):
        record = read(tmp_path, hourly_csv(0, columns))
        rows_at(record, HOURS)
        at_the_place(record)
        np.testing.assert_allclose(record.ghi, light)
    assert np.isnan(record.dhi).all()


def test_pvgis_hours_on_the_flat_as_json(tmp_path: Path) -> None:
    light = light_at(HOURS)
    table = pd.DataFrame({"time": HOURS.strftime("%Y%m%d:%H%M"), "G(i)": light, "T2m": 3.4})
    inputs = {
        "location": {"latitude": LATITUDE, "longitude": LONGITUDE, "elevation": ELEVATION_M},
        "mounting_system": {"fixed": {"slope": {"value": 0}, "azimuth": {"value": 0}}},
    }
    answer = {"inputs": inputs, "outputs": {"hourly": table.to_dict("records")}, "meta": {}}
    record = read(tmp_path, json.dumps(answer), "saved.json")
    rows_at(record, HOURS)
    np.testing.assert_allclose(record.ghi, light)
    inputs["mounting_system"] = {"two_axis": {"slope": {"value": "-"}}}
    said = line(tmp_path, json.dumps(answer))
    assert "a plane that turns; ask the service for slope 0" in said


def test_light_on_a_tilted_plane_is_refused(tmp_path: Path) -> None:
    said = line(tmp_path, hourly_csv(30, {"G(i)": light_at(HOURS)}))
    assert said == (
        "saved.csv: holds light on a plane tilted 30 degrees; ask the service for slope 0"
    )


# --- the CAMS radiation service ------------------------------------------------------------


def test_cams_radiation(tmp_path: Path) -> None:
    begin = pd.date_range("2020-06-01", periods=240, freq="h")
    light = light_over(begin.tz_localize("UTC")).round(4)
    ends = begin + pd.Timedelta(hours=1)
    period = [f"{a.isoformat()}.0/{b.isoformat()}.0" for a, b in zip(begin, ends, strict=True)]
    head = (
        "# Coding: utf-8\n# Title: CAMS Radiation Service\n"
        f"# Latitude (positive North, ISO 19115): {LATITUDE}\n"
        f"# Longitude (positive East, ISO 19115): {LONGITUDE}\n# Altitude (m): {ELEVATION_M}\n"
        "# Time reference: Universal time (UT)\n"
        "# Summarization (integration) period: 0 year 0 month 0 day 1 h 0 min 0 s\n# noValue: nan\n"
        "# Observation period;TOA;Clear sky GHI;Clear sky BHI;Clear sky DHI;Clear sky BNI;GHI;BHI;"
        "DHI;BNI;Reliability\n"
    )
    rows = [
        f"{p};0;0;0;0;0;{g:.4f};{g * 0.8:.4f};{g * 0.2:.4f};0;1"
        for p, g in zip(period, light, strict=True)
    ]
    record = read(tmp_path, head + "\n".join(rows) + "\n")
    rows_at(record, begin.tz_localize("UTC") + pd.Timedelta(minutes=30))
    at_the_place(record)
    np.testing.assert_allclose(record.ghi, light, atol=1e-3)
    np.testing.assert_allclose(record.dhi, light * 0.2, atol=1e-3)


# --- NASA POWER and Open-Meteo, saved -------------------------------------------------------


def power_table() -> pd.DataFrame:
    table = pd.DataFrame({"ALLSKY_SFC_SW_DWN": light_over(YEAR).round(2)}, index=YEAR)
    table = table.assign(ALLSKY_SFC_SW_DIFF=table["ALLSKY_SFC_SW_DWN"] / 5, T2M=7.5, WS10M=2.5)
    table.iloc[12, 0] = -999.0
    return table


def power_json(standard: str = "UTC") -> str:
    table = power_table()
    keys = YEAR.strftime("%Y%m%d%H")
    columns = {name: dict(zip(keys, table[name], strict=True)) for name in table}
    return json.dumps(
        {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [LONGITUDE, LATITUDE, ELEVATION_M]},
            "properties": {"parameter": columns},
            "header": {"fill_value": -999.0, "time_standard": standard},
            "parameters": {"ALLSKY_SFC_SW_DWN": {"units": "Wh/m^2"}},
        }
    )


def power_csv() -> str:
    table = power_table()
    parts = {"YEAR": YEAR.year, "MO": YEAR.month, "DY": YEAR.day, "HR": YEAR.hour}
    body = pd.DataFrame(parts).assign(**{name: table[name].to_numpy() for name in table})
    return (
        "-BEGIN HEADER-\nNASA/POWER Source Native Resolution Hourly Data \n"
        "Dates (month/day/year): 01/01/2018 through 12/31/2018 in UTC\n"
        f"Location: Latitude  {LATITUDE}   Longitude {LONGITUDE} \n"
        f"Elevation from MERRA-2: Average for 0.5 x 0.625 degree region = {ELEVATION_M} meters\n"
        "The value for missing source data that cannot be computed: -999\n"
        "Parameter(s): \nALLSKY_SFC_SW_DWN     All Sky Irradiance on the Flat (Wh/m^2) \n"
        "-END HEADER-\n" + body.to_csv(index=False)
    )


@pytest.mark.parametrize("text", [power_json, power_csv])
def test_nasa_power(tmp_path: Path, text: object) -> None:
    record = read(tmp_path, text())  # type: ignore[operator]
    assert [note[:29] for note in record.notes] == ["1 hour of missing irradiance "]
    at_the_place(record)
    whole = np.arange(8760) != 12
    np.testing.assert_allclose(record.ghi[whole], power_table().iloc[whole, 0])
    assert record.start_s[0] == YEAR[0].timestamp()
    assert (record.temp_air[0], record.wind_speed[0]) == (7.5, 2.5)


def test_power_in_solar_time_is_refused_as_json(tmp_path: Path) -> None:
    assert "ask the service for UTC" in line(tmp_path, power_json("LST"))


@pytest.mark.parametrize("text", [power_json, power_csv])
def test_power_in_megajoules_is_refused(tmp_path: Path, text: object) -> None:
    said = text().replace("Wh/m^2", "MJ/hr")  # type: ignore[operator]
    assert "ask the service for Wh/m2" in line(tmp_path, said)


def open_meteo_columns(wind: float) -> dict[str, object]:
    stamps = YEAR[:240]
    light = light_over(stamps - pd.Timedelta(hours=1))
    return {
        "time": stamps.strftime("%Y-%m-%dT%H:%M").tolist(),
        "temperature_2m": [7.5] * 240,
        "wind_speed_10m": [wind] * 240,
        "shortwave_radiation": light.round(1).tolist(),
        "diffuse_radiation": (light / 4).round(1).tolist(),
    }


def test_open_meteo(tmp_path: Path) -> None:
    units = {"temperature_2m": "°C", "wind_speed_10m": "km/h", "shortwave_radiation": "W/m²"}
    place = {"latitude": LATITUDE, "longitude": LONGITUDE, "elevation": ELEVATION_M}
    columns = open_meteo_columns(9.0)
    answer = {**place, "utc_offset_seconds": 0, "hourly_units": units, "hourly": columns}
    heads = {name: f"{name} ({units.get(name, 'W/m²')})" for name in columns if name != "time"}
    text = (
        "latitude,longitude,elevation,utc_offset_seconds,timezone,timezone_abbreviation\n"
        f"{LATITUDE},{LONGITUDE},{ELEVATION_M},0,GMT,GMT\n\n"
        + pd.DataFrame(columns).rename(columns=heads).to_csv(index=False)
    )
    for saved in (json.dumps(answer), text):
        record = read(tmp_path, saved)
        rows_at(record, YEAR[:240] - pd.Timedelta(minutes=30))
        at_the_place(record)
        assert (record.temp_air[0], record.wind_speed[0]) == (7.5, 2.5)
        np.testing.assert_allclose(record.dhi, columns["diffuse_radiation"])


# --- what is neither ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[{"time(UTC)": "20180101:0000", "G(h)": 0.0}]', "JSON without its place"),
        ('{"plan": 1}', "JSON that is not hourly weather of PVGIS, NASA POWER or Open-Meteo"),
        ('{"outputs": {"hourly": 3}, "inputs": []}', "broken or cut"),
        ('{"cut": ', "broken or cut"),
        ("[" * 100_000, "broken or cut"),
        ("Latitude (decimal degrees): 45\n", "a PVGIS file without hours"),
        ("-BEGIN HEADER-\n-END HEADER-\n", "does not give its place"),
        ("# Observation period;GHI\n", "broken or cut"),
    ],
)
def test_what_cannot_be_read_is_refused_in_one_line(tmp_path: Path, text: str, said: str) -> None:
    assert said in line(tmp_path, text)


def test_tmy3_with_empty_cells(tmp_path: Path) -> None:
    folder = Path(pvlib.__file__).parent / "data"
    rows = (folder / "723170TYA.CSV").read_text().splitlines()
    cloud = rows[1].split(",").index("TotCld (tenths)")
    wind = rows[1].split(",").index("Wspd (m/s)")
    for number in range(2, len(rows)):
        cells = rows[number].split(",")
        cells[cloud] = ""
        cells[wind] = "" if number == 300 else cells[wind]
        rows[number] = ",".join(cells)
    record = read(tmp_path, "\n".join(rows))
    assert record.cloud_okta is None
    assert record.notes == ("1 hour of missing wind filled from the days before and after",)
    np.testing.assert_array_equal(record.ghi, read_record("builtin:greensboro", timezone="UTC").ghi)


def test_years_written_by_pandas_in_five_columns(tmp_path: Path) -> None:
    table = pd.DataFrame({name: getattr(YEAR, name) for name in ("year", "month", "day", "hour")})
    table.columns = ["Year", "Month", "Day", "Hour"]
    text = table.assign(Minute=0, GHI=light_over(YEAR)).to_csv()
    (tmp_path / "log.csv").write_text(text)
    record = read_record(str(tmp_path / "log.csv"), timezone="UTC", place=(LATITUDE, LONGITUDE))
    rows_at(record, YEAR + pd.Timedelta(minutes=30))
