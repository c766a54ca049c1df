"""A record's weathers: its days moved to the plan's dates and place.

They move by their clear-sky index and diffuse share, and the sun's place is worked out anew.
Which rows go where is for `resampled`; reading records is for `files`.
"""

from typing import Any

import numpy as np

from energy.model import Array, Index
from energy.model.sun import Sun, clear_sun, close_beam, diffuse_of
from energy.model.timeline import Calendar, Interval
from energy.plan import Plan
from energy.weather.fetched.cache import Forecast
from energy.weather.record import DAY_S, Record, ground_km
from energy.weather.resampled import (
    BEAM_OVER_CLEAR_W_M2,
    BRIGHTEST_MOVED,
    LIT_W_M2,
    SHIFTS,
    between_middles,
    fill_from_neighbours,
    hours_to_cells,
    interval_means,
    moved_rows,
)
from energy.weather.synthetic.generator import DAY_TO_DAY
from energy.weather.synthetic.sky import stated_air

BRIGHTEST_INDEX = 2.0  # in a record's own hours, as they were measured
SAME_PLACE_KM = 2.0
FAR_KM, FAR_M = 50.0, 300.0  # from here on a record is of another place
YEARS_AT_ONE_PLACE = 1.4  # the variance between years at one place (a fit, without a test)


def recorded(
    plan: Plan,
    record: Record,
    calendar: Calendar,
    cells: Array,
    sun: Sun,
    lit: Index,
    elevation_m: float,
    span: Interval,
) -> dict[str, Any]:
    """The fields of `Weathers` from a record; cells must cover whole intervals of it."""
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
    distance_km, height_m = apart(plan, record)
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
        "effective_sample_size": independent_weathers(max(span_days, 1), shift.size / years, years),
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
    same_place = apart(plan, record)[0] < SAME_PLACE_KM
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


def apart(plan: Plan, record: Record | Forecast) -> tuple[float, float]:
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
