"""The many weathers of a plan: each a column of light, air and wind on the plan's own cells.

A record's days are moved to the plan's date and place by their clear-sky index and diffuse share,
and the sun's place is worked out anew. Reading records is for `files`, what a person states of the
sky for `sky`.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pvlib

from energy.model import Array, Index
from energy.model.sun import Sun, clear_sun, close_beam, diffuse_of
from energy.model.timeline import Calendar, Interval
from energy.plan import Plan, PlanError
from energy.weather import drawn
from energy.weather.files import read_record
from energy.weather.generator import DAY_TO_DAY
from energy.weather.moved import (
    BEAM_OVER_CLEAR_W_M2,
    LIT_W_M2,
    SHIFTS,
    between_middles,
    fill_from_neighbours,
    hours_to_cells,
    interval_means,
    moved_rows,
)
from energy.weather.record import DAY_S, Record, ground_km
from energy.weather.sky import ASSUMED_AIR_C, cloudy_light, okta_by_date, sky_in_words, stated_air

BRIGHTEST_INDEX = 2.0  # broken cloud can pass the clear sky for a while ...
BRIGHTEST_MOVED = 1.2  # ... but an hour moved to another date or place not by this much
SAME_PLACE_KM = 2.0
FAR_KM, FAR_M = 50.0, 300.0  # from here on a record is of another place
YEARS_AT_ONE_PLACE = 1.4  # the variance between years at one place (a fit, without a test)


@dataclass(frozen=True)
class Weathers:
    """The weathers of a plan on cells of time.

    sun holds the middles of the lit cells, lit their numbers (rows,). ghi, dni, dhi [W/m2] are
    (rows, m); temp_air [deg C] and wind_speed [m/s at 10 m] (cells, m); m is 1 where all lanes
    share one weather. shift_days (m,) says how far each was moved. independent is what the m
    weathers are worth, None where no chance is drawn from weather.
    """

    kind: str
    source: str
    sharpen: str
    elevation_m: float
    elevation_from: str
    sun: Sun
    lit: Index
    ghi: Array
    dni: Array
    dhi: Array
    temp_air: Array
    wind_speed: Array
    temperature_stated: bool
    shift_days: Array
    independent: float | None
    distance_km: float = 0.0
    height_difference_m: float = 0.0
    notes: tuple[str, ...] = ()


def record_of(plan: Plan) -> Record | None:
    """The record that a plan's weather rests on, or None where the plan states the sky itself.

    Raises PlanError for a kind of weather that needs data this version does not hold.
    """
    weather, place = plan.weather, plan.place
    if weather.kind in ("clear", "sky", *drawn.FROM_MEANS):
        return None
    if weather.kind == "file":
        assert weather.file is not None
        at = (place.latitude_deg, place.longitude_deg)
        try:
            return read_record(
                weather.file, timezone=place.timezone, stamps=weather.stamps, place=at
            )
        except PlanError as error:
            lines = [f"{plan.origin}: [weather]: file: {line}" for line in error.problems]
            raise PlanError(lines) from None
    raise PlanError(
        [
            f'{plan.origin}: [weather]: kind = "{weather.kind}" is not available here; give'
            ' kind = "file" with a weather file, kind = "monthly" with twelve sun hours, or leave'
            " [weather] out for the climate table"
        ]
    )


def elevation_of(plan: Plan, record: Record | None) -> tuple[float, str]:
    """Height of the place [m] and where the figure comes from."""
    place = plan.place
    if place.elevation_m is not None:
        return place.elevation_m, "the plan"
    if record is not None and record.elevation_m is not None and _apart(plan, record)[0] < FAR_KM:
        return record.elevation_m, "the weather file"
    looked_up = pvlib.location.lookup_altitude(place.latitude_deg, place.longitude_deg)
    return float(looked_up), "pvlib's altitude grid"


def weathers(
    plan: Plan,
    record: Record | None,
    calendar: Calendar,
    cells: Array,
    span: Interval,
    doubt: float | None = None,
) -> Weathers:
    """All weathers of a plan on the cells between the edges `cells` [UTC s], (cells + 1,).

    With a record the edges must start and end on edges of its intervals, with drawn weather on
    edges of solar days. doubt sets the means of drawn weather to a point of what is not known of
    them, in standard deviations.
    """
    elevation_m, elevation_from = elevation_of(plan, record)
    place = plan.place
    middles = (cells[1:] + cells[:-1]) / 2.0
    sun = clear_sun(middles, place.latitude_deg, place.longitude_deg, elevation_m)
    lit = np.flatnonzero(sun.apparent_zenith < 90.0)
    if drawn.is_drawn(plan.weather):
        found = drawn.drawn(plan, calendar, cells, sun, lit, doubt)
    elif record is None:
        found = _stated(plan, calendar, middles, sun, lit)
    else:
        found = _from_record(plan, record, calendar, cells, sun, lit, elevation_m, span)
    notes = [*found.pop("notes", ())]
    if place.elevation_m is None:
        notes.append(f"elevation {elevation_m:.0f} m, from {elevation_from}")
    if not found["temperature_stated"]:
        notes.append(f"no air temperature given: {ASSUMED_AIR_C:.0f} degrees C is assumed")
    return Weathers(
        kind=plan.weather.kind,
        elevation_m=elevation_m,
        elevation_from=elevation_from,
        sun=sun.rows(lit),
        lit=lit,
        notes=tuple(notes),
        **found,
    )


def _stated(plan: Plan, calendar: Calendar, middles: Array, sun: Sun, lit: Index) -> dict[str, Any]:
    weather = plan.weather
    okta = np.zeros(middles.size)
    source = "a clear sky"
    if weather.sky is not None:
        okta = okta_by_date(weather.sky, calendar, middles)
        source = sky_in_words(weather.sky)
    ghi, dni, dhi = cloudy_light(sun.rows(lit), okta[lit])
    air = stated_air(weather.temp_air_c, calendar, middles)
    return {
        "source": source,
        "sharpen": "a weather file of the place: a stated sky is one sky, not a chance",
        "ghi": ghi[:, None],
        "dni": dni[:, None],
        "dhi": dhi[:, None],
        "temp_air": air[:, None],
        "wind_speed": np.full((middles.size, 1), weather.wind_speed_m_s),
        "temperature_stated": weather.temp_air_c is not None,
        "shift_days": np.zeros(weather.futures or 1),
        "independent": None,
    }


def _from_record(
    plan: Plan,
    record: Record,
    calendar: Calendar,
    cells: Array,
    sun: Sun,
    lit: Index,
    elevation_m: float,
    span: Interval,
) -> dict[str, Any]:
    step = record.interval_s
    starts = np.arange(cells[0], cells[-1] - step / 2.0, step)
    rows, shift, years = moved_rows(record, starts, plan.weather.futures)
    middles = (cells[1:] + cells[:-1]) / 2.0
    ghi, share = _moved_light(plan, record, cells, sun, lit, elevation_m, starts, rows, shift)
    daylight = sun.rows(lit)
    dhi = np.where(np.isnan(share), diffuse_of(daylight, ghi), share * ghi)
    dni, dhi = close_beam(daylight, ghi, dhi, daylight.dni + BEAM_OVER_CLEAR_W_M2)
    temp_air, stated = _hourly_air(plan, record, calendar, middles, rows, starts)
    wind = record.wind_speed[rows]
    wind = np.where(np.isnan(wind), plan.weather.wind_speed_m_s, wind)
    distance_km, height_m = _apart(plan, record)
    span_days = int(np.ceil((span[1] - span[0]) / DAY_S))
    notes = list(record.notes)
    if (plan.weather.futures or 0) > shift.size:
        notes.append(
            f"{shift.size} weathers tried, not {plan.weather.futures}: a record holds at most"
            f" {SHIFTS} starts a year"
        )
    return {
        "source": record.name,
        "sharpen": "more measured years of the place itself",
        "ghi": ghi,
        "dni": dni,
        "dhi": dhi,
        "temp_air": temp_air,
        "wind_speed": between_middles(middles, starts, step, wind),
        "temperature_stated": stated,
        "shift_days": shift,
        "independent": independent_weathers(max(span_days, 1), shift.size / years, years),
        "distance_km": distance_km,
        "height_difference_m": height_m,
        "notes": notes,
    }


def _moved_light(
    plan: Plan,
    record: Record,
    cells: Array,
    sun: Sun,
    lit: Index,
    elevation_m: float,
    starts: Array,
    rows: Index,
    shift: Array,
) -> tuple[Array, Array]:
    """Global light (rows lit, m) and its diffuse share (NaN where unknown) on the lit cells."""
    step = record.interval_s
    hour = np.searchsorted(starts, cells[:-1], side="right") - 1
    clear = interval_means(sun.ghi, cells, starts, step)
    bright = clear > LIT_W_M2
    same_place = _apart(plan, record)[0] < SAME_PLACE_KM
    index = _clear_sky_index(record, plan, elevation_m, rows)
    dark = record.ghi[rows] <= 0.0
    share = np.where(dark, np.nan, record.dhi[rows] / np.where(dark, 1.0, record.ghi[rows]))
    share = np.where(dark, fill_from_neighbours(share, 1.0), np.minimum(share, 1.0))
    index = fill_from_neighbours(np.where(bright[:, None], index, np.nan), 0.0)
    stays = (shift == 0.0) & same_place
    target = np.minimum(index, BRIGHTEST_MOVED) * clear[:, None]
    target[:, stays] = record.ghi[rows[:, stays]]
    limit = np.where(stays, BRIGHTEST_INDEX, BRIGHTEST_MOVED)
    light = hours_to_cells(target, limit, cells, lit, sun.ghi, starts, step)
    return light, share[hour[lit]]


def _clear_sky_index(record: Record, plan: Plan, elevation_m: float, rows: Index) -> Array:
    """Global light over its clear sky at the record's own place and dates; NaN where not lit."""
    used, where = np.unique(rows, return_inverse=True)
    light = record.ghi[used]
    near = np.convolve(light > 0.0, np.ones(3), mode="same") > 0.0
    looked_at = used[near]
    pieces = max(1, round(record.interval_s / 900.0))
    offsets = (np.arange(pieces) + 0.5) * record.interval_s / pieces
    moments = (record.start_s[looked_at, None] + offsets).ravel()
    place = plan.place
    latitude = place.latitude_deg if record.latitude_deg is None else record.latitude_deg
    longitude = place.longitude_deg if record.longitude_deg is None else record.longitude_deg
    height = elevation_m if record.elevation_m is None else record.elevation_m
    clear = np.zeros(used.size)
    if moments.size:
        found = clear_sun(moments, latitude, longitude, height).ghi
        clear[near] = found.reshape(-1, pieces).mean(axis=1)
    index = np.where(clear > LIT_W_M2, light / np.maximum(clear, LIT_W_M2), np.nan)
    return index[where].reshape(rows.shape)


def _hourly_air(
    plan: Plan,
    record: Record,
    calendar: Calendar,
    middles: Array,
    rows: Index,
    starts: Array,
) -> tuple[Array, bool]:
    air = record.temp_air[rows]
    if np.isnan(air).any():
        stated = stated_air(plan.weather.temp_air_c, calendar, middles)
        return stated[:, None], plan.weather.temp_air_c is not None
    return between_middles(middles, starts, record.interval_s, air), True


def _apart(plan: Plan, record: Record) -> tuple[float, float]:
    """How far the record's place is from the plan's: km along the ground, m in height."""
    place = plan.place
    if record.latitude_deg is None or record.longitude_deg is None:
        return 0.0, 0.0
    away_km = ground_km(
        place.latitude_deg, place.longitude_deg, record.latitude_deg, record.longitude_deg
    )
    height = 0.0
    if place.elevation_m is not None and record.elevation_m is not None:
        height = abs(place.elevation_m - record.elevation_m)
    return float(away_km), float(height)


def independent_weathers(days: int, starts: float, years: int) -> float:
    """What overlapping windows of `days` from `starts` daily starts in `years` years are worth.

    Days follow one another with correlation 0.29, so windows that share days, or nearly, tell
    less than as many separate ones; at one place years differ less than days do (a fit).

    >>> [round(1.4 * independent_weathers(d, 31, 1), 1) for d in (1, 3, 5)]
    [20.6, 10.9, 7.5]
    """
    gaps = np.abs(np.subtract.outer(np.arange(days), np.arange(days)))
    whole = (DAY_TO_DAY**gaps).sum()
    number = max(round(starts), 1)
    shared = np.array(
        [
            (DAY_TO_DAY ** np.abs(np.subtract.outer(np.arange(days), np.arange(days)) + k)).sum()
            for k in range(1, number)
        ]
    )
    same_side = 2.0 / np.pi * np.arcsin(np.clip(shared / whole, -1.0, 1.0))
    overlap = 1.0 + 2.0 * np.sum((1.0 - np.arange(1, number) / number) * same_side)
    return float(years * number / overlap / YEARS_AT_ONE_PLACE)
