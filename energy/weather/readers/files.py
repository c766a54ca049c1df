"""Weather from a file: typical years, hourly records of public archives, plain tables.

The format is told from the content. What each holds is laid on one clock, checked and mended;
the rooms beside this one do that. Nothing is fetched here.
"""

from __future__ import annotations

import csv
import difflib
import io
import re
import warnings
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib

from energy.weather.readers.plain import read_plain
from energy.weather.readers.repair import mend
from energy.weather.readers.satellite import satellite_reader
from energy.weather.record import Floats, Record, build_record, local_seconds, refuse

__all__ = ["BUILTIN", "Record", "read_record"]

# Typical years that pvlib installs with itself (NREL, public domain).
BUILTIN = {
    "sand-point": "703165TY.csv",
    "greensboro": "723170TYA.CSV",
    "miami": "12839.tm2",
}
LARGEST_FILE_MB = 200
# What parsers raise for content that is not what its first lines promise.
BROKEN = (
    ValueError,
    TypeError,
    LookupError,
    OverflowError,
    AttributeError,
    RecursionError,
    csv.Error,
)


def read_record(
    source: str,
    *,
    timezone: str,
    stamps: str = "start",
    place: tuple[float, float] | None = None,
) -> Record:
    """Read a weather file, check it against the sun and fill its small gaps.

    Args:
        source: a path, or "builtin:sand-point", "builtin:greensboro", "builtin:miami". TMY3, TMY2,
            EPW, CSV and JSON of public satellite services, or a plain table with a time column and
            global irradiance
        timezone: IANA zone of a plain table's stamps that bear no offset
        stamps: what a plain table's stamp marks of its interval: start, middle or end
        place: latitude and longitude in degrees of a file that does not say where it is from

    Raises:
        PlanError: one line that says what is wrong with the file and where

    Formats: Wilcox & Marion, NREL/TP-581-43156 (TMY3); Marion & Urban, doi 10.2172/87130 (TMY2).

    >>> record = read_record("builtin:greensboro", timezone="America/New_York")
    >>> record.name, len(record.ghi), record.typical
    ('typical year, Greensboro Piedmont Triad Int', 8760, True)
    """
    path = _locate(source)
    text = _text_of(path, source)
    where = path.name
    try:
        with warnings.catch_warnings():
            # of mixed columns or empty input; both end in a value that is checked below
            warnings.simplefilter("ignore")
            reader = _format_of(text)
            if reader is None:
                record = read_plain(text, where, timezone=timezone, stamps=stamps, place=place)
            else:
                record = reader(text, where)
                _check_place(record, where)
        return mend(record, where, place)
    except BROKEN as error:
        refuse(where, f"a broken or cut weather file ({str(error)[:160]})")


def _locate(source: str) -> Path:
    """Where the file lies."""
    if not source.startswith("builtin:"):
        return Path(source).expanduser()
    name = source.removeprefix("builtin:")
    if name not in BUILTIN:
        near = difflib.get_close_matches(name, BUILTIN, n=1, cutoff=0.4)
        meant = f"; builtin:{near[0]} was probably meant" if near else ""
        refuse(source, f"there are {', '.join('builtin:' + builtin for builtin in BUILTIN)}{meant}")
    return Path(pvlib.__file__).parent / "data" / BUILTIN[name]


def _text_of(path: Path, source: str) -> str:
    """The file's text, whatever its encoding and line ends, if it is one to be read at all."""
    try:
        if path.is_dir():
            refuse(source, "is a folder; a weather file is needed")
        if not path.exists():
            names = [entry.name for entry in path.parent.iterdir()] if path.parent.is_dir() else []
            near = difflib.get_close_matches(path.name, names, n=1)
            refuse(source, "no such file" + (f"; {near[0]} was probably meant" if near else ""))
        if not path.is_file():
            refuse(source, "is not an ordinary file")
        if path.stat().st_size > LARGEST_FILE_MB * 1e6:
            refuse(
                source,
                f"is {path.stat().st_size / 1e6:.0f} MB; at most {LARGEST_FILE_MB} MB are read",
            )
        raw = path.read_bytes()
    except (OSError, ValueError) as error:
        refuse(source, f"cannot be read ({getattr(error, 'strerror', None) or error})")
    wide = raw.startswith((b"\xff\xfe", b"\xfe\xff"))
    if not wide and b"\0" in raw:
        refuse(source, "is not a text file; TMY3, TMY2, EPW, or CSV or JSON is needed")
    try:
        text = raw.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")  # reads every byte; only place names are at stake
    if not text.strip():
        refuse(source, "is empty")
    return text.replace("\r\n", "\n").replace("\r", "\n")


Reader = Callable[[str, str], Record]

_TMY2_HEAD = re.compile(
    r"\s?\d{5} (?P<city>.{22}) .{2}\s+(?P<zone>-?\d+)"
    r"\s+(?P<ns>[NS])\s+(?P<lat>\d+)\s+(?P<lat_min>\d+)"
    r"\s+(?P<ew>[EW])\s+(?P<lon>\d+)\s+(?P<lon_min>\d+)\s+(?P<elevation>-?\d+)"
)

_EPW_LIGHT_OFFSET_H = re.compile(r"^COMMENTS.*Irradiance Time Offset \(h\):\s*(-?\d*\.?\d+)", re.M)


def _format_of(text: str) -> Reader | None:
    """The reader for this content; None for a plain table."""
    first, second, third = [*text[:100_000].splitlines()[:3], "", "", ""][:3]
    if first.upper().startswith("LOCATION,"):
        return _read_epw
    if second.startswith("Date (MM/DD/YYYY)"):
        return _read_tmy3
    if _TMY2_HEAD.match(first):
        return _read_tmy2
    if {"Latitude", "Longitude", "Time Zone"} <= set(first.split(",")) and "Year" in third:
        return _read_nsrdb
    return satellite_reader(text)


def _read_tmy3(text: str, where: str) -> Record:
    """TMY3: a stamp ends its hour. As `pvlib.iotools.read_tmy3`, five columns only."""
    lines = text.splitlines()
    name, _, zone, latitude, longitude, elevation = next(csv.reader(lines[:1]))[1:7]
    heads = next(csv.reader(lines[1:2]))
    wanted = ("GHI (W/m^2)", "DHI (W/m^2)", "Dry-bulb (C)", "Wspd (m/s)", "TotCld (tenths)")
    rows = [line for line in lines[2:] if line.strip()]
    lacking = [head for head in wanted if head not in heads]
    if lacking:
        refuse(where, f"a TMY3 file without its column {lacking[0]}")
    columns = [heads.index(head) for head in wanted]
    values = np.loadtxt(rows, comments=None, delimiter=",", usecols=columns, converters=_number).T
    stamps = _cut(rows, 13)
    month, day, year, hour = (stamps(a, b) for a, b in ((0, 2), (3, 5), (6, 10), (11, 13)))
    return build_record(
        where,
        name.title(),
        (float(latitude), float(longitude), float(elevation), float(zone)),
        local_seconds(year, month, day, hour),
        "end",
        values,
    )


def _number(cell: str) -> float:
    """The number of a cell, NaN where it is empty."""
    return float(cell or "nan")


def _read_tmy2(text: str, where: str) -> Record:
    """TMY2: fixed columns, hours 1 to 24, air and wind in tenths; else see `read_tmy3`."""
    lines = text.splitlines()
    head = _TMY2_HEAD.match(lines[0])
    assert head is not None  # that is how the format was told
    latitude = float(head["lat"]) + float(head["lat_min"]) / 60
    longitude = float(head["lon"]) + float(head["lon_min"]) / 60
    cell = _cut([line for line in lines[1:] if line.strip()], 142)
    year, month, day, hour = (cell(a, a + 2) for a in (1, 3, 5, 7))
    # ghi, dhi, air, wind, cloud: table 3-2 of the manual
    values = np.array([cell(17, 21), cell(29, 33), cell(67, 71), cell(95, 98), cell(59, 61)])
    values[2:4] = np.where(np.isin(values[2:4], (999, 9999)), np.nan, values[2:4] / 10)
    return build_record(
        where,
        head["city"].strip().title(),
        (
            latitude if head["ns"] == "N" else -latitude,
            longitude if head["ew"] == "E" else -longitude,
            float(head["elevation"]),
            float(head["zone"]),
        ),
        local_seconds(1900 + year, month, day, hour - 1),
        "start",
        values,
    )


def _cut(rows: list[str], width: int) -> Callable[[int, int], Floats]:
    """A function that gives one span of the characters of every row as numbers."""
    table = np.array([row[:width].encode("ascii", "replace") for row in rows], dtype=f"S{width}")
    characters = table.view("S1").reshape(len(rows), width)

    def numbers(begin: int, end: int) -> Floats:
        cells = np.ascontiguousarray(characters[:, begin:end]).view(f"S{end - begin}")
        return np.asarray(cells.astype(np.float64)[:, 0], dtype=np.float64)

    return numbers


def _read_epw(text: str, where: str) -> Record:
    """EPW, whose index pvlib has already moved to the beginning of the hour.

    Light of a moment, whose distance from the end of its hour is stated, is in the middle of a row.
    """
    table, meta = pvlib.iotools.read_epw(io.StringIO(text))
    stated = _EPW_LIGHT_OFFSET_H.search(text[:10_000])
    later_h = float(stated[1]) + 0.5 if stated else 0.0
    columns = ("ghi", "dhi", "temp_air", "wind_speed", "total_sky_cover")
    values = np.array([pd.to_numeric(table[c], errors="coerce").to_numpy(float) for c in columns])
    stamps = pd.DatetimeIndex(table.index).tz_localize(None).to_numpy("M8[s]").astype(np.float64)
    return build_record(
        where,
        str(meta["city"]).strip() or where,
        (meta["latitude"], meta["longitude"], meta["altitude"], meta["TZ"] - later_h),
        stamps,
        "start",
        values,
    )


def _read_nsrdb(text: str, where: str) -> Record:
    """The NSRDB's CSV: values of the moment at the stamp, taken as the middle of an interval.

    pvlib's `read_nsrdb_psm4` gives the same numbers, but stops at zones of half an hour.
    """
    lines = io.StringIO(text)
    meta = dict(zip(next(csv.reader(lines), []), next(csv.reader(lines), []), strict=False))
    table = pd.read_csv(lines).rename(columns=str.strip)
    year, month, day, hour, minute = (
        table[c].to_numpy(float) for c in ("Year", "Month", "Day", "Hour", "Minute")
    )
    none = np.full(len(table), np.nan)
    values = [
        table[c].to_numpy(float) if c in table or c == "GHI" else none
        for c in ("GHI", "DHI", "Temperature", "Wind Speed")
    ]
    # in the middle of an hour stamped :00 the row would straddle two hours of the clock
    whole_hours = len(table) > 1 and not minute.any() and hour[1] != hour[0]
    city = meta.get("City", "").strip(' "-')
    return build_record(
        where,
        city if city not in ("", "None") else where,
        (*(float(meta[k]) for k in ("Latitude", "Longitude", "Elevation", "Time Zone")),),
        local_seconds(year, month, day, hour) + 60 * minute,
        "start" if whole_hours else "middle",
        np.array([*values, none]),
    )


def _check_place(record: Record, where: str) -> None:
    """A header's place must be on the earth."""
    limits = (
        ("elevation in m", record.elevation_m, 9000.0),
        ("latitude", record.latitude_deg, 90.0),
        ("longitude", record.longitude_deg, 180.0),
        ("zone, in hours from UTC,", record.utc_offset_s / 3600, 14.0),
    )
    for what, value, most in limits:
        if value is not None and not abs(value) <= most:
            refuse(where, f"its header's {what} is {value:g}; -{most:g} to {most:g} is allowed")
