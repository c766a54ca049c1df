"""What a weather record is: rows of light, air and wind on one even clock.

Here live the record itself, its clock (where each row's interval begins) and a quick sun for
checking it. Reading the file formats and mending gaps live in the files beside this one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NoReturn

import numpy as np
import pvlib
from numpy.typing import NDArray

from energy.plan import PlanError
from energy.plan.words import visible

Floats = NDArray[np.float64]

DAY_S = 86400.0
HOUR_S = 3600.0
TYPICAL_ROWS = 8760
EARTH_KM = 6371.0  # mean radius
OKTA_PER_TENTH = 0.8
INTERVALS_MIN = (5, 6, 10, 12, 15, 20, 30, 60)


@dataclass(frozen=True)
class Record:
    """Weather of one place, row by row, in intervals of equal length.

    All arrays have shape (n,). A place the file does not state is None: the plan's is meant.

    Attributes:
        name: what an answer calls it, such as "typical year, Sand Point"; else the file's name
        latitude_deg, longitude_deg, elevation_m: where it was measured; degrees north and east, m
        start_s: UTC seconds since 1970 at which each interval begins; each month of a typical
            year bears its own year
        interval_s: 300 to 3600 s
        utc_offset_s: of the file's standard clock, which moves with hours that stood off the sun
        typical: exactly 8760 hours from 1 January 00:00 standard time, without 29 February; the
            last hour is followed by the first
        ghi, dhi: irradiance on the flat, W/m2; dhi is NaN where the file has none
        temp_air: degrees C, NaN throughout where absent
        wind_speed: m/s at 10 m, NaN throughout where absent
        cloud_okta: total sky cover in eighths, where the file carries it
        notes: one line for each repair
    """

    name: str
    latitude_deg: float | None
    longitude_deg: float | None
    elevation_m: float | None
    start_s: Floats
    interval_s: float
    utc_offset_s: float
    typical: bool
    ghi: Floats
    dhi: Floats
    temp_air: Floats
    wind_speed: Floats
    cloud_okta: Floats | None
    notes: tuple[str, ...]

    def __post_init__(self) -> None:
        """Whatever a stranger's file calls its place cannot steer a terminal."""
        object.__setattr__(self, "name", visible(self.name))


def refuse(where: str, problem: str) -> NoReturn:
    """Turn the file down with one printable line, whatever pieces of it the problem cites."""
    printable = "".join(mark if mark.isprintable() else " " for mark in f"{where}: {problem}")
    raise PlanError([" ".join(printable.split())])


def stamp_text(local_s: float) -> str:
    """Write a local clock's seconds since 1970 as people write a time.

    >>> stamp_text(1_700_000_000.0)
    '2023-11-14 22:13'
    """
    return str(np.datetime64(int(local_s), "s"))[:16].replace("T", " ")


def local_seconds(year: Floats, month: Floats, day: Floats, hour: Floats) -> Floats:
    """Seconds since 1970 on the clock that wrote these columns; hour 24 is the next day's 0.

    >>> first = np.ones(1)
    >>> local_seconds(1970 * first, first, 2 * first, 24 * first)
    array([172800.])
    """
    if not all((np.abs(column) < 3000).all() for column in (year, month, day, hour)):
        raise ValueError("a row without a date")
    months = (year.astype(int) - 1970) * 12 + month.astype(int) - 1
    midnight = months.astype("M8[M]").astype("M8[s]").astype(np.float64)
    return np.asarray(midnight + (day - 1) * DAY_S + hour * HOUR_S, dtype=np.float64)


def ground_km(
    latitude: float, longitude: float, latitudes: Floats | float, longitudes: Floats | float
) -> Floats:
    """Distance along the ground from one place to others [km], on a sphere.

    >>> float(ground_km(0.0, 0.0, 0.0, 1.0).round(1))
    111.2
    """
    here, there = np.radians(latitude), np.radians(latitudes)
    half = np.sin((there - here) / 2.0) ** 2
    half = (
        half + np.cos(there) * np.cos(here) * np.sin(np.radians(longitudes - longitude) / 2.0) ** 2
    )
    return np.asarray(2.0 * EARTH_KM * np.arcsin(np.sqrt(half)))


def is_typical_year(start_local_s: Floats) -> bool:
    """Whether these are the 8760 hours of a calendar year, whichever year each row bears."""
    if len(start_local_s) != TYPICAL_ROWS:
        return False
    return bool(np.array_equal(_month_and_rest(start_local_s), _month_and_rest(_YEAR_2001_S)))


def _month_and_rest(local_s: Floats) -> NDArray[np.int64]:
    """Month of the year and seconds since that month began, shape (2, n)."""
    moments = local_s.astype("M8[s]")
    months = moments.astype("M8[M]")
    return np.array([months.astype(np.int64) % 12, (moments - months).astype(np.int64)])


# 2001: any year without 29 February would do
_YEAR_2001_S = np.arange(TYPICAL_ROWS, dtype=np.float64) * HOUR_S + 978307200.0


def lay_on_clock(
    stamp_local_s: Floats, marks: str, where: str, lines: Sequence[int] = ()
) -> tuple[Floats, float, bool]:
    """Begin of each row on the local standard clock, interval in seconds, whether typical.

    `marks` says what a stamp marks of its interval: start, middle or end. Stamps may leave gaps
    but must otherwise be equally spaced; PlanError names the first that is not, by its line of the
    file where `lines` tells that of each row.

    >>> start, interval_s, typical = lay_on_clock(np.array([3600.0, 7200.0]), "end", "a.csv")
    >>> start, interval_s, typical
    (array([   0., 3600.]), 3600.0, False)
    """
    share = {"start": 0.0, "middle": 0.5, "end": 1.0}[marks]
    hourly = stamp_local_s - share * HOUR_S
    if is_typical_year(hourly):
        return hourly, HOUR_S, True
    interval_s = _spacing_s(stamp_local_s, where, lines)
    return stamp_local_s - share * interval_s, interval_s, False


def _spacing_s(stamp_s: Floats, where: str, lines: Sequence[int]) -> float:
    """The one interval all stamps keep, but for gaps."""
    if len(stamp_s) < 2:
        refuse(where, "holds less than two rows; at least one whole day is needed")
    step = np.diff(stamp_s)
    interval_s = float(np.median(step))
    if interval_s > 0 and interval_s / 60 not in INTERVALS_MIN:
        allowed = ", ".join(str(minutes) for minutes in INTERVALS_MIN)
        refuse(where, f"rows are {interval_s / 60:g} min apart; {allowed} min are allowed")
    uneven = (step <= 0) | (step % max(interval_s, 1.0) != 0)
    if uneven.any():
        row = int(np.argmax(uneven)) + 1
        at = f"line {lines[row]}" if lines else f"row {row + 1}"
        refuse(
            where,
            f"{at} ({stamp_text(stamp_s[row])}) follows "
            f"{stamp_text(stamp_s[row - 1])}; rows must run forward at equal spacing",
        )
    return interval_s


def build_record(
    where: str,
    city: str,
    place: tuple[float, ...],
    stamp_local_s: Floats,
    marks: str,
    values: Floats,
) -> Record:
    """The record of one file that says where it is from.

    `place` holds latitude, longitude (degrees), elevation (m, NaN where unknown), zone (hours);
    `values`, shape (5, n), holds ghi, dhi (W/m2), air (degrees C), wind (m/s) and sky cover
    (tenths). PlanError where the stamps are not equally spaced.

    >>> record = build_record("a.csv", "Lea", (50.0, 10.0, 300.0, 1.0),
    ...                       np.array([3600.0, 7200.0]), "end", np.zeros((5, 2)))
    >>> record.start_s, record.name
    (array([-3600.,     0.]), 'the year 1970, Lea')
    """
    start_local_s, interval_s, typical = lay_on_clock(stamp_local_s, marks, where)
    years = start_local_s.astype("M8[s]").astype("M8[Y]").astype(int) + 1970
    if years.min() == years.max():
        name = f"the year {years[0]}, {city}"
    elif typical:
        name = f"typical year, {city}"
    else:
        name = f"the years {years.min()} to {years.max()}, {city}"
    latitude, longitude, elevation_m, zone_h = place
    offset_s = 60.0 * round(60.0 * zone_h)  # whole, so that rows meet the hours of their clock
    tenths = values[4]
    cloudy = (tenths >= 0) & (tenths <= 10)
    return Record(
        name=name,
        latitude_deg=latitude,
        longitude_deg=longitude,
        elevation_m=None if np.isnan(elevation_m) else elevation_m,
        start_s=start_local_s - offset_s,
        interval_s=interval_s,
        utc_offset_s=offset_s,
        typical=typical,
        ghi=values[0],
        dhi=values[1],
        temp_air=values[2],
        wind_speed=values[3],
        cloud_okta=np.where(cloudy, OKTA_PER_TENTH * tenths, np.nan) if cloudy.any() else None,
        notes=(),
    )


def sun_over(
    start_s: Floats, interval_s: float, latitude_deg: float, longitude_deg: float
) -> tuple[Floats, Floats, Floats]:
    """A quick sun at the middle of each interval, good to about a quarter of a degree.

    Returns the cosine of its zenith angle, the extraterrestrial irradiance normal to it (W/m2),
    and its hour angle (degrees, -180 to 180, 0 at true noon), each shape (n,). Declination,
    equation of time and distance after Spencer, Search 2 (1971) 172.

    >>> noon_21_june = np.array([1718971200.0])
    >>> cos_zenith, extra, hour_angle = sun_over(noon_21_june, 0.0, 23.44, 0.0)
    >>> round(float(cos_zenith[0]), 3), round(float(extra[0]), -1)
    (1.0, 1320.0)
    """
    middle_s = start_s + interval_s / 2
    moments = middle_s.astype("M8[s]")
    day_of_year = (moments - moments.astype("M8[Y]")).astype(np.float64) // DAY_S + 1
    declination = pvlib.solarposition.declination_spencer71(day_of_year)
    ahead_min = pvlib.solarposition.equation_of_time_spencer71(day_of_year)
    turned = (middle_s % DAY_S) / 240 + longitude_deg + ahead_min / 4
    hour_angle = turned % 360 - 180
    latitude = np.radians(latitude_deg)
    cos_zenith = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(
        declination
    ) * np.cos(np.radians(hour_angle))
    return cos_zenith, pvlib.irradiance.get_extra_radiation(day_of_year), hour_angle
