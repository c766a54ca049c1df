"""Reads a plain table: one column of times, one of global irradiance, and whatever else helps.

Column names, separators, decimal commas and summer time are sorted out here; anything that could
be read in two ways is refused with one line. Formats with a fixed header live in `files`.
"""

from __future__ import annotations

import csv
import io
import re
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from energy.tables import split_heading
from energy.weather.record import (
    HOUR_S,
    Floats,
    Record,
    lay_on_clock,
    local_seconds,
    refuse,
    sun_over,
)

# Names by which loggers and data services head their columns, after lower-casing; common practice.
NAMES = {
    "ghi": "ghi global_horizontal_irradiance global_horizontal_irradiation global_horizontal "
    "global_irradiance global_radiation global shortwave_radiation shortwave "
    "surface_shortwave_downwards solar_radiation solar_irradiance irradiance "
    "allsky_sfc_sw_dwn swdown",
    "dhi": "dhi diffuse_horizontal_irradiance diffuse_horizontal_irradiation diffuse_horizontal "
    "diffuse_irradiance diffuse_radiation diffuse allsky_sfc_sw_diff",
    "dni": "dni direct_normal_irradiance direct_normal_irradiation direct_normal "
    "beam_normal_irradiance",
    "temp_air": "temp_air air_temp air_temperature temperature temp tamb t_amb "
    "ambient_temperature outdoor_temperature dry_bulb dry_bulb_temperature drybulb t2m "
    "temperature_2m",
    "wind_speed": "wind_speed windspeed wind wspd ws ws10m ws_10m wind_speed_10m windspeed_10m",
    "time": "time timestamp time_stamp datetime date_time utc_time local_time valid_time "
    "measured_on",
    "date": "date day_date",
    "year": "year yyyy",
    "month": "month mm mo",
    "day": "day dd dy",
    "hour": "hour hh hr",
    "minute": "minute min",
}
# Their brackets hold the plane, not the unit.
SATELLITE_NAMES = {"g(h)": "ghi", "gd(h)": "dhi", "gb(n)": "dni"}
UNITS = {
    "ghi": "w/m2 w/m^2 w/m² wm-2 w_m-2 w.m-2 w/sqm w/m**2 wh/m2 wh/m^2 wh/m²",
    "temp_air": "c degc deg_c °c celsius degrees_c",
    "wind_speed": "m/s ms-1 m_s-1 m.s-1 m_s",
}
UNITS["dhi"] = UNITS["dni"] = UNITS["ghi"]

# What a table may hold where there is no value.
NO_VALUE = {"", "nan", "na", "n/a", "null", "none", "-", "--", "---"}

STAMP_FORMATS = [
    "ISO8601",
    "%Y%m%d:%H%M",
    *(
        f"{date} {time}"
        for date in ("%d.%m.%Y", "%d/%m/%Y", "%m/%d/%Y", "%Y/%m/%d", "%d-%m-%Y")
        for time in ("%H:%M", "%H:%M:%S", "%I:%M %p")
    ),
]
WITH_OFFSET = r":\d{2}(?:\.\d+)?\s*(Z|UTC|GMT|[+-]\d{2}:?\d{2})$"


def read_plain(
    text: str, where: str, *, timezone: str, stamps: str, place: tuple[float, float] | None
) -> Record:
    """Read a plain table as it stands, gaps and fill values included.

    Stamps without an offset are on the clock of `timezone`, and mark the `stamps` (start, middle
    or end) of their interval. `place` (latitude, longitude in degrees) turns beam into diffuse
    irradiance where a file gives only the beam. PlanError in one line.

    >>> rows = "\\n".join(f"2024-07-01 {h:02d}:00,{h}" for h in range(24))
    >>> record = read_plain("time,GHI\\n" + rows, "log.csv", timezone="Europe/Paris",
    ...                     stamps="start", place=None)
    >>> record.ghi[:3], record.interval_s, record.start_s[0] % 86400 / 3600
    (array([0., 1., 2.]), 3600.0, np.float64(22.0))
    """
    table, headings = _table(text, where)
    values = {
        quantity: _numbers(table[quantity], heading, where)
        for quantity, heading in headings.items()
        if quantity in ("ghi", "dhi", "dni", "temp_air", "wind_speed")
    }
    stamp_s, offset_s, notes = _clock(table, headings, where, timezone)
    if stamps == "start" and _at_half_past(stamp_s, timezone):
        stamps = "middle"
        notes.append("stamps at half past taken as the middle of their hours")
    start_local_s, interval_s, typical = lay_on_clock(stamp_s, stamps, where, [*table.index])
    start_s = start_local_s - offset_s
    none = np.full(len(start_s), np.nan)
    dhi = values.get("dhi", none)
    if "dhi" not in values and "dni" in values and place is not None:
        cos_zenith = sun_over(start_s, interval_s, *place)[0]
        # below 6 degrees the hour's mean is not its middle's, and the split is modelled
        dni = values["dni"]
        usable = (cos_zenith > 0.1) & (dni >= 0) & (dni < 1400)  # the sun itself gives 1361 W/m2
        dhi = np.where(usable, values["ghi"] - dni * cos_zenith, np.nan)
        dhi = np.clip(dhi, 0.0, None)
        notes.append("diffuse irradiance taken as the global less the beam")
    return Record(
        name=where,
        latitude_deg=None,
        longitude_deg=None,
        elevation_m=None,
        start_s=start_s,
        interval_s=interval_s,
        utc_offset_s=offset_s,
        typical=typical,
        ghi=values["ghi"],
        dhi=dhi,
        temp_air=values.get("temp_air", none),
        wind_speed=values.get("wind_speed", none),
        cloud_okta=None,
        notes=tuple(notes),
    )


def _at_half_past(stamp_s: Floats, timezone: str) -> bool:
    """Whether these are hours, each labelled at its half, and not whole ones of another clock."""
    hourly = len(stamp_s) > 1 and float(np.median(np.diff(stamp_s))) == HOUR_S
    zone_s = pd.Timestamp(float(stamp_s[0]), unit="s", tz=timezone).utcoffset().total_seconds()
    return hourly and zone_s % HOUR_S == 0 and bool((stamp_s % HOUR_S == HOUR_S / 2).all())


def _table(text: str, where: str) -> tuple[Any, dict[str, str]]:
    """The wanted columns as text, named by quantity, and how the file itself heads them."""
    lines = io.StringIO(text)
    header = next((line for line in lines if line.strip() and not line.startswith("#")), "")
    rows_from = lines.tell()
    first = lines.readline()
    separator = next((mark for mark in ";\t" if mark in header), ",")
    names, cells = (next(csv.reader([line], delimiter=separator), []) for line in (header, first))
    names = [name.strip() for name in names]
    places = _match(names, where)
    if len([cell for cell in cells if cell.strip()]) > len(names):
        refuse(
            where,
            f"its first row has {len(cells)} fields under {len(names)} names; a decimal comma "
            "needs semicolons between the fields",
        )
    if not first.strip():
        refuse(where, "has a header and no rows")
    lines.seek(rows_from)
    table = pd.read_csv(
        lines,
        sep=separator,
        header=None,
        names=range(len(names)),
        usecols=sorted(places.values()),
        dtype=str,
        index_col=False,
        keep_default_na=False,
        skipinitialspace=True,
    )
    numbered = enumerate(text[rows_from:].splitlines(), start=text.count("\n", 0, rows_from) + 1)
    numbers = [number for number, line in numbered if line.strip()]
    if len(numbers) == len(table):  # else a quoted cell goes over several lines
        table.index = pd.Index(numbers)
    by_place = {place: quantity for quantity, place in places.items()}
    headings = {quantity: names[place] for quantity, place in places.items()}
    return table.fillna("").rename(columns=by_place), headings


def _plain_name(name: str) -> tuple[str, str]:
    """A heading without case, unit and punctuation; and its unit.

    >>> _plain_name("Air Temperature [°C]")
    ('air_temperature', '°c')
    """
    bare, unit = split_heading(SATELLITE_NAMES.get(name.lower(), name), ())
    return re.sub(r"_(w_m2|wm2|w_m_2|degc|c|m_s|ms|utc)$", "", bare), unit.replace(" ", "_")


def _match(names: list[str], where: str) -> dict[str, int]:
    """Quantity to the place of its column, for the headings known here."""
    places: dict[str, int] = {}
    plain = [_plain_name(name) for name in names]
    for quantity, headings in NAMES.items():
        hits = [place for place, (bare, _) in enumerate(plain) if bare in headings.split()]
        exact = [place for place in hits if names[place].lower() == quantity]
        if len(exact) != 1 and len(hits) > 1:
            among = _listed([names[place] for place in hits])
            refuse(where, f"columns {among} could all be {quantity}; name one of them {quantity}")
        if hits:
            places[quantity] = (exact or hits)[0]
            unit = plain[places[quantity]][1]
            if unit and quantity in UNITS and unit not in UNITS[quantity].split():
                needed = {"temp_air": "degrees C", "wind_speed": "m/s"}.get(quantity, "W/m2")
                refuse(where, f'column "{names[places[quantity]]}": {needed} is needed')
    calendar = {"year", "month", "day", "hour"}
    if (
        not calendar <= set(places)
        and "time" not in places
        and plain[0][0] in ("", "index", "unnamed_0")
    ):
        places["time"] = 0
    if "ghi" not in places:
        refuse(
            where,
            "not a weather file known here, and no column of global irradiance such as ghi; "
            f"columns: {_listed(names)}",
        )
    if not ({"time", "date"} & set(places) or calendar <= set(places)):
        refuse(where, f"no column of times such as time; columns: {_listed(names)}")
    return places


def _listed(names: list[str]) -> str:
    """The first dozen names, shortened to what fits one line."""
    shown = ", ".join(repr(name[:30]) for name in names[:12])
    return shown + (" ..." if len(names) > 12 else "")


def _numbers(column: Any, heading: str, where: str) -> Floats:
    """A column as numbers, NaN where it holds none."""
    cells = column.str.strip()
    if cells.str.contains(",", regex=False).any():
        if cells.str.contains(".", regex=False).any():
            refuse(where, f'column "{heading}" has both decimal commas and points')
        cells = cells.str.replace(",", ".", regex=False)
    numbers = pd.to_numeric(cells, errors="coerce").to_numpy(np.float64, na_value=np.nan)
    wrong = np.flatnonzero(np.isnan(numbers) & ~cells.str.lower().isin(NO_VALUE).to_numpy(bool))
    if len(wrong):
        row = int(wrong[0])
        content = cells.iloc[row][:40]
        refuse(where, f'line {cells.index[row]}, column "{heading}": "{content}" is not a number')
    return np.asarray(numbers, dtype=np.float64)


def _clock(
    table: Any, headings: dict[str, str], where: str, timezone: str
) -> tuple[Floats, float, list[str]]:
    """Stamps in seconds on one standard clock, that clock's offset from UTC, notes."""
    if "time" not in headings and "date" not in headings:
        calendar = [
            _numbers(table[part], headings[part], where) if part in headings else np.zeros(1)
            for part in ("year", "month", "day", "hour", "minute")
        ]
        stamp_s = local_seconds(*calendar[:4]) + 60 * calendar[4]
        return _on_standard_clock(stamp_s, timezone)
    parts = [part for part in ("date", "time") if part in headings]
    cells = table[parts[-1]].str.strip()
    if len(parts) == 2 and len(cells.iloc[0]) <= len("12:00:00 PM"):
        cells = table["date"].str.strip() + " " + cells
    offsets = cells.str.extract(WITH_OFFSET, expand=False)
    if offsets.notna().all():
        moments = pd.to_datetime(
            cells.str.replace(r"\s*(UTC|GMT)$", "Z", regex=True), format="ISO8601", utc=True
        )
        offset_s = min(_offset_s(text) for text in offsets.unique())
        return _seconds(moments.dt.tz_localize(None)) + offset_s, offset_s, []
    if offsets.notna().any():
        refuse(where, "some stamps have an offset from UTC and some do not")
    stamp_s = _naive_seconds(cells, where)
    if any(re.search(r"\b(utc|gmt)\b", headings[part].lower().replace("_", " ")) for part in parts):
        return stamp_s, 0.0, []
    return _on_standard_clock(stamp_s, timezone)


def _offset_s(text: str) -> float:
    """Seconds east of Greenwich of "Z", "+0200" or "-03:30"."""
    digits = text.replace(":", "")
    if not digits[1:].isdigit():
        return 0.0
    seconds = 3600.0 * int(digits[1:3]) + 60.0 * int(digits[3:5])
    return -seconds if digits[0] == "-" else seconds


def _seconds(moments: Any) -> Floats:
    return np.asarray(moments.to_numpy("M8[s]").astype(np.float64), dtype=np.float64)


def _naive_seconds(cells: Any, where: str) -> Floats:
    """Stamps in the one date format that reads them all."""
    readings: list[Floats] = []
    fewest_unread = cells
    for form in STAMP_FORMATS:
        moments = pd.to_datetime(cells, format=form, errors="coerce")
        unread = cells[moments.isna()]
        if len(unread) < len(fewest_unread):
            fewest_unread = unread
        if unread.empty:
            readings.append(_seconds(moments))
    if not readings:
        content = fewest_unread.iloc[0][:40]
        refuse(
            where,
            f'line {fewest_unread.index[0]}: "{content}" is not a time; write 2024-07-01 13:00',
        )
    if len(readings) > 1:
        # 03/04: only one of the two orders leaves the rows equally spaced
        uneven = [int((np.diff(stamp_s, 2) != 0).sum()) for stamp_s in readings]
        readings = [readings[i] for i in np.argsort(uneven)]
        if sorted(uneven)[0] == sorted(uneven)[1] and (readings[0] != readings[1]).any():
            refuse(where, "day and month cannot be told apart; write dates as 2024-07-01")
    return readings[0]


def _on_standard_clock(stamp_s: Floats, timezone: str) -> tuple[Floats, float, list[str]]:
    """Local stamps moved to the zone's standard time.

    A clock that is put forward skips an hour and one that is put back repeats it. Stamps inside
    a skipped hour, or even spacing right through a repeated one, show a logger that was left on
    standard time.
    """
    zone = ZoneInfo(timezone)
    stamps = pd.DatetimeIndex(stamp_s.astype("M8[s]"))
    half_years = pd.DatetimeIndex([f"{stamps[0].year}-{month:02d}-01" for month in (1, 7)])
    offset_s = float((_seconds(half_years) - _utc_seconds(half_years, zone)).min())
    utc_s = _utc_seconds(stamps, zone)
    even = len(stamp_s) > 1 and bool((np.diff(stamp_s) == stamp_s[1] - stamp_s[0]).all())
    doubtful = stamps.tz_localize(zone, ambiguous="NaT", nonexistent="NaT").isna().any()
    if np.isnan(utc_s).any() or (even and doubtful):
        return stamp_s, offset_s, [f"its clock knows no summer time: UTC{offset_s / 3600:+g}"]
    return utc_s + offset_s, offset_s, []


def _utc_seconds(stamps: Any, zone: ZoneInfo) -> Floats:
    """UTC seconds of local stamps: of a repeated hour the first, then the second in file order.

    NaN for a time that the clock skips.
    """
    first = ~np.asarray(stamps.duplicated())
    moments = stamps.tz_localize(zone, ambiguous=first, nonexistent="NaT").tz_convert("UTC")
    seconds = _seconds(moments.tz_localize(None))
    return np.where(moments.isna(), np.nan, seconds)
