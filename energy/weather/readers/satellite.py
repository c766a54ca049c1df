"""Reads the files of public satellite and reanalysis services, as they are saved from their pages.

PVGIS and the CAMS radiation service are read by pvlib's parsers; NASA POWER and Open-Meteo, of
whose files pvlib has none, from memory. All are in UTC; the sun then checks the hours of each.
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pvlib

from energy.weather.record import Floats, Record, build_record, refuse

KM_H_PER_M_S = 3.6
POWER_COLUMNS = ("ALLSKY_SFC_SW_DWN", "ALLSKY_SFC_SW_DIFF", "T2M", "WS10M")
OPEN_METEO_COLUMNS = (
    "shortwave_radiation",
    "diffuse_radiation",
    "temperature_2m",
    "wind_speed_10m",
)


def satellite_reader(text: str) -> Callable[[str, str], Record] | None:
    """The reader for this content, or None.

    >>> satellite_reader("time,ghi") is None
    True
    """
    head = text[:20_000].lstrip()
    if head.startswith(("{", "[")):
        return _read_json
    if head.startswith("Latitude (decimal degrees):"):
        return _read_pvgis_csv
    if re.search(r"^# Observation period;", head, re.M):
        return _read_cams
    if head.startswith("-BEGIN HEADER-"):
        return _read_power_csv
    if head.startswith("latitude,longitude,elevation,utc_offset_seconds"):
        return _read_open_meteo_csv
    return None


def _read_json(text: str, where: str) -> Record:
    content = json.loads(text)
    if isinstance(content, list):
        refuse(where, "JSON without its place; save the service's answer as a whole, or as CSV")
    outputs = content.get("outputs")
    if isinstance(outputs, dict) and "tmy_hourly" in outputs:
        table, meta = pvlib.iotools.read_pvgis_tmy(io.StringIO(text), pvgis_format="json")
        location = meta["inputs"]["location"]
        return _pvgis_typical(table, location, location.get("irradiance_time_offset"), where)
    if isinstance(outputs, dict) and "hourly" in outputs:
        mounting = content["inputs"]["mounting_system"]
        slope = mounting.get("fixed", {}).get("slope", {}).get("value")
        table = pd.DataFrame(outputs["hourly"])
        return _pvgis_hourly(table, content["inputs"]["location"], slope, where)
    if isinstance(content.get("properties"), dict):
        return _read_power_json(content, where)
    if isinstance(content.get("hourly"), dict):
        units = content.get("hourly_units", {})
        return _open_meteo(pd.DataFrame(content["hourly"]), units, content, where)
    refuse(where, "JSON that is not hourly weather of PVGIS, NASA POWER or Open-Meteo")


def _read_pvgis_csv(text: str, where: str) -> Record:
    lines = text.splitlines()
    first = next((row for row, line in enumerate(lines) if line.startswith("time")), None)
    if first is None:
        refuse(where, "a PVGIS file without hours; save its typical year or hourly radiation")
    head = "\n".join(lines[:first])

    def stated(name: str) -> float | None:
        match = re.search(rf"^{name}[^:\n]*:\s*(-?[\d.]+)", head, re.M)
        return float(match[1]) if match else None

    location = {name.lower(): stated(name) for name in ("Latitude", "Longitude", "Elevation")}
    if lines[first].startswith("time(UTC)"):
        raw = io.BytesIO(text.encode())
        table, _ = pvlib.iotools.read_pvgis_tmy(raw, pvgis_format="csv")
        return _pvgis_typical(table, location, stated("Irradiance Time Offset"), where)
    return _pvgis_hourly(_table_at(lines, first), location, stated("Slope"), where)


def _table_at(lines: list[str], first: int) -> Any:
    """The table from a line of headings to the next empty line."""
    end = next((row for row in range(first, len(lines)) if not lines[row].strip()), len(lines))
    return pd.read_csv(io.StringIO("\n".join(lines[first:end])))


def _pvgis_typical(table: Any, location: Any, offset_h: float | None, where: str) -> Record:
    """PVGIS' typical year: light of a moment, so much after each stamp."""
    earlier_h = 0.0 if offset_h is None else 0.5 - float(offset_h)
    stamps = table.index.tz_localize(None)
    columns = [table[name] for name in ("ghi", "dhi", "temp_air", "wind_speed")]
    return _record(where, location, stamps, "start", columns, earlier_h)


def _pvgis_hourly(table: Any, location: Any, slope: Any, where: str) -> Record:
    """PVGIS' hours on a plane that lies flat: light of the moment that is stamped."""
    if slope is None or float(slope) != 0.0:
        tilt = "a plane that turns" if slope is None else f"a plane tilted {float(slope):g} degrees"
        refuse(where, f"holds light on {tilt}; ask the service for slope 0")
    parts = {"Gb(i)", "Gd(i)"} <= set(table)
    if not parts and "G(i)" not in table:
        refuse(where, "holds no irradiance; ask the service for the radiation components")
    nothing = pd.Series(np.nan, index=table.index)
    diffuse = table["Gd(i)"] if parts else nothing
    light = table["Gb(i)"] + diffuse if parts else table["G(i)"]
    stamps = pd.DatetimeIndex(pd.to_datetime(table["time"], format="%Y%m%d:%H%M"))
    columns = [light, diffuse, table.get("T2m", nothing), table.get("WS10m", nothing)]
    return _record(where, location, stamps, "middle", columns)


def _read_cams(text: str, where: str) -> Record:
    table, meta = pvlib.iotools.read_cams(io.StringIO(text))
    if "Universal" not in meta.get("Time reference", "Universal"):
        refuse(where, "has the sun's own time; ask the service for universal time")
    nothing = pd.Series(np.nan, index=table.index)
    meta["elevation"] = meta["altitude"]
    columns = [table["ghi"], table["dhi"], nothing, nothing]
    return _record(where, meta, table.index.tz_localize(None), "start", columns)


def _read_power_json(content: dict[str, Any], where: str) -> Record:
    longitude, latitude, elevation = content["geometry"]["coordinates"]
    if content["header"].get("time_standard", "UTC") != "UTC":
        refuse(where, "has solar time (LST); ask the service for UTC")
    unit = str(content.get("parameters", {}).get(POWER_COLUMNS[0], {}).get("units", ""))
    _check_power_unit(unit, where)
    table = pd.DataFrame(content["properties"]["parameter"])
    stamps = pd.DatetimeIndex(pd.to_datetime(table.index, format="%Y%m%d%H"))
    location = {"latitude": latitude, "longitude": longitude, "elevation": elevation}
    return _power(where, table, stamps, location, float(content["header"]["fill_value"]), 0.0)


def _read_power_csv(text: str, where: str) -> Record:
    head, _, body = text.partition("-END HEADER-")
    place = re.search(r"Latitude\s+(-?[\d.]+)\s+Longitude\s+(-?[\d.]+)", head)
    if place is None:
        refuse(where, "a NASA POWER file whose header does not give its place")
    _check_power_unit(head, where)
    height = re.search(r"[Ee]levation.*?=\s*(-?[\d.]+)\s*meters", head)
    fill = re.search(r"missing.*?(-\d+)", head)
    table = pd.read_csv(io.StringIO(body.strip()))
    if not {"YEAR", "MO", "DY", "HR"} <= set(table):
        refuse(where, "a NASA POWER file without hours; ask the service for hourly data")
    parts = table[["YEAR", "MO", "DY", "HR"]].set_axis(["year", "month", "day", "hour"], axis=1)
    stamps = pd.DatetimeIndex(pd.to_datetime(parts))
    location = {
        "latitude": float(place[1]),
        "longitude": float(place[2]),
        "elevation": float(height[1]) if height else None,
    }
    zone_h = float(round(float(place[2]) / 15)) if re.search(r"\bLST\b", head) else 0.0
    return _power(where, table, stamps, location, float(fill[1]) if fill else -999.0, zone_h)


def _check_power_unit(text: str, where: str) -> None:
    if "MJ" in text or "kW-hr" in text:
        refuse(where, "its light is not in Wh/m2; ask the service for Wh/m2")


def _power(
    where: str, table: Any, stamps: Any, location: Any, fill: float, zone_h: float
) -> Record:
    """NASA POWER: a stamp begins its hour, an hour's Wh/m2 is its mean in W/m2."""
    if POWER_COLUMNS[0] not in table:
        refuse(where, f"holds no {POWER_COLUMNS[0]}; ask the service for it")
    nothing = pd.Series(np.nan, index=table.index)
    columns = [table.get(name, nothing).replace(fill, np.nan) for name in POWER_COLUMNS]
    return _record(where, location, stamps, "start", columns, zone_h)


def _read_open_meteo_csv(text: str, where: str) -> Record:
    lines = text.splitlines()
    meta = dict(zip(next(csv.reader(lines)), next(csv.reader(lines[1:])), strict=True))
    first = next((row for row, line in enumerate(lines) if line.startswith("time,")), None)
    if first is None:
        refuse(where, "an Open-Meteo file without hours; ask the service for hourly data")
    table = _table_at(lines, first)
    units = {name.partition(" (")[0]: name.partition(" (")[2].rstrip(")") for name in table}
    return _open_meteo(table.set_axis(list(units), axis=1), units, meta, where)


def _open_meteo(table: Any, units: dict[str, str], meta: dict[str, Any], where: str) -> Record:
    """Open-Meteo: light is the mean of the hour before the stamp."""
    light, *_, wind = OPEN_METEO_COLUMNS
    if light not in table:
        refuse(where, f"holds no {light}; ask the service for it")
    nothing = pd.Series(np.nan, index=table.index)
    columns = [pd.to_numeric(table.get(name, nothing)) for name in OPEN_METEO_COLUMNS]
    if units.get(wind) == "km/h":
        columns[3] = columns[3] / KM_H_PER_M_S
    elif wind in table and units.get(wind) not in ("m/s", "ms"):
        columns[3] = nothing
    stamps = pd.DatetimeIndex(pd.to_datetime(table["time"]))
    zone_h = float(meta["utc_offset_seconds"]) / 3600.0
    return _record(where, meta, stamps, "end", columns, zone_h)


def _record(
    where: str, location: Any, stamps: Any, marks: str, columns: list[Any], zone_h: float = 0.0
) -> Record:
    """The record of global, diffuse, air and wind, on a clock `zone_h` ahead of UTC."""
    stamp_s: Floats = stamps.to_numpy("M8[s]").astype(np.float64)
    values = np.array([column.to_numpy(np.float64) for column in columns] + [stamp_s * np.nan])
    height = location.get("elevation")
    elevation_m = float("nan") if height is None else float(height)
    place = (float(location["latitude"]), float(location["longitude"]), elevation_m, zone_h)
    return build_record(where, where, place, stamp_s, marks, values)
