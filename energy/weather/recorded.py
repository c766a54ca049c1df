"""A record's weathers: its days resampled to the plan's dates and place.

They are carried over by their clear-sky index and diffuse share, and the sun's place is worked out
anew. Which rows go where is for `resampled`; reading records is for `readers`.
"""

import numpy as np

from energy.model import Array, Index
from energy.model.sun import diffuse_of
from energy.weather.days import Days
from energy.weather.hours import (
    LIT_W_M2,
    between_middles,
    fill_from_neighbours,
    hours_to_cells,
    interval_means,
)
from energy.weather.record import DAY_S, Record
from energy.weather.resampled import BRIGHTEST_RESAMPLED, SHIFTS, resampled_rows
from energy.weather.source import apart
from energy.weather.synthetic.sky import air_about, air_range, stated_air
from energy.weather.weathers import Air, Weathers, check_affordable, split_light

BRIGHTEST_INDEX = 2.0  # in a record's own hours, as they were measured
SAME_PLACE_KM = 2.0
HALF_CLEAR = 0.5  # the clearness of a middling day, for its range of air (common practice)
DAY_TO_DAY = 0.29  # Graham, Hollands & Unny 1988 (from memory); typical years have 0.27
YEARS_AT_ONE_PLACE = 1.4  # the variance between years at one place (a fit, without a test)


def recorded(days: Days, record: Record, segments: int = 0) -> Weathers:
    """The weathers of a record; the cells of the days must cover whole intervals of it.

    Raises PlanError where the record is too short for the span, or holds more weathers than can be
    simulated in so many segments.
    """
    step, futures = record.interval_s, days.plan.weather.futures
    starts = np.arange(days.cells[0], days.cells[-1] - step / 2.0, step)
    rows, shift, years = resampled_rows(record, starts, futures)
    check_affordable(days.plan, segments, shift.size)
    ghi, dhi = _resampled_light(days, record, starts, rows, shift)
    unknown = np.isnan(dhi)
    if (some := np.flatnonzero(unknown.any(axis=1))).size:
        likely = diffuse_of(days.daylight.rows(some), ghi[some])
        dhi[some] = np.where(unknown[some], likely, dhi[some])
    distance_km, height_m = apart(days.plan, record)
    span_days = int(np.ceil((days.span[1] - days.span[0]) / DAY_S))
    notes = record.notes
    if (futures or 0) > shift.size:
        notes += (
            f"{shift.size} weathers tried, not {futures}: a record holds at most"
            f" {SHIFTS} starts a year",
        )
    return Weathers(
        light=split_light(days, ghi, dhi),
        air=_air(days, record, rows, starts),
        source=record.name,
        sharpen="more measured years of the place itself",
        shift_days=shift,
        effective_sample_size=independent_scenarios(max(span_days, 1), shift.size / years, years),
        distance_km=distance_km,
        height_difference_m=height_m,
        notes=notes,
    )


def _resampled_light(
    days: Days, record: Record, starts: Array, rows: Index, shift: Array
) -> tuple[Array, Array]:
    """Global light and the diffuse part of it (NaN where unknown) in the lit cells, (rows, m)."""
    cells, lit, step = days.cells, days.lit, record.interval_s
    hour = np.searchsorted(starts, cells[:-1], side="right") - 1
    clear = interval_means(days.sun.ghi, cells, starts, step)
    bright = clear > LIT_W_M2
    same_place = apart(days.plan, record)[0] < SAME_PLACE_KM
    index = _clear_sky_index(days, record, rows)
    dark = record.ghi[rows] <= 0.0
    share = np.where(dark, np.nan, record.dhi[rows] / np.where(dark, 1.0, record.ghi[rows]))
    share = np.where(dark, fill_from_neighbours(share, 1.0), np.minimum(share, 1.0))
    index = fill_from_neighbours(np.where(bright[:, None], index, np.nan), 0.0)
    stays = (shift == 0.0) & same_place
    target = np.minimum(index, BRIGHTEST_RESAMPLED) * clear[:, None]
    target[:, stays] = record.ghi[rows[:, stays]]
    limit = np.where(stays, BRIGHTEST_INDEX, BRIGHTEST_RESAMPLED)
    light = hours_to_cells(target, limit, cells, lit, days.sun.ghi, starts, step)
    return light, share[hour[lit]] * light


def _clear_sky_index(days: Days, record: Record, rows: Index) -> Array:
    """Global light over its clear sky at the record's own place and dates; NaN where not lit."""
    used, where = np.unique(rows, return_inverse=True)
    light = record.ghi[used]
    near = np.convolve(light > 0.0, np.ones(3), mode="same") > 0.0
    looked_at = used[near]
    pieces = max(1, round(record.interval_s / 900.0))
    offsets = (np.arange(pieces) + 0.5) * record.interval_s / pieces
    moments = (record.start_s[looked_at, None] + offsets).ravel()
    place = days.plan.place
    latitude = place.latitude_deg if record.latitude_deg is None else record.latitude_deg
    longitude = place.longitude_deg if record.longitude_deg is None else record.longitude_deg
    height = days.site.elevation_m if record.elevation_m is None else record.elevation_m
    clear = np.zeros(used.size)
    if moments.size:
        clear_ghi = days.site.sun_over(latitude, longitude, height).at(moments).ghi
        clear[near] = clear_ghi.reshape(-1, pieces).mean(axis=1)
    index = np.where(clear > LIT_W_M2, light / np.maximum(clear, LIT_W_M2), np.nan)
    return index[where].reshape(rows.shape)


def _air(days: Days, record: Record, rows: Index, starts: Array) -> Air:
    """The record's air in the cells, and wind in the lit ones; what it lacks as the plan has it."""
    weather, middles, step = days.plan.weather, days.middles, record.interval_s
    temp_air, wind = record.temp_air[rows], record.wind_speed[rows]
    wind = np.where(np.isnan(wind), weather.wind_speed_m_s, wind)
    wind_speed = between_middles(middles[days.lit], starts, step, wind)
    if np.isnan(temp_air).any():
        if weather.temp_air_c is not None:
            stated = stated_air(weather.temp_air_c, days.calendar, middles)
            return Air(stated[:, None], wind_speed, True)
        range_c = air_range(np.array(HALF_CLEAR), days.sea)
        usual = air_about(days.usual_air.means_c, range_c, days.calendar, middles)
        return Air(usual[:, None], wind_speed, False)
    return Air(between_middles(middles, starts, step, temp_air), wind_speed, True)


def independent_scenarios(days: int, starts: float, years: int) -> float:
    """What overlapping windows of `days` from `starts` daily starts in `years` years are worth.

    Days follow one another with correlation 0.29, so windows that share days, or nearly, tell
    less than as many separate ones; at one place years differ less than days do (a fit).

    >>> [round(1.4 * independent_scenarios(d, 31, 1), 1) for d in (1, 3, 5)]
    [20.6, 10.9, 7.5]
    """
    gaps = np.abs(np.subtract.outer(np.arange(days), np.arange(days)))
    alone = (DAY_TO_DAY**gaps).sum()
    number = max(round(starts), 1)
    shared = np.array(
        [
            (DAY_TO_DAY ** np.abs(np.subtract.outer(np.arange(days), np.arange(days)) + k)).sum()
            for k in range(1, number)
        ]
    )
    same_side = 2.0 / np.pi * np.arcsin(np.clip(shared / alone, -1.0, 1.0))
    overlap = 1.0 + 2.0 * np.sum((1.0 - np.arange(1, number) / number) * same_side)
    return float(years * number / overlap / YEARS_AT_ONE_PLACE)
