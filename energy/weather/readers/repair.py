"""Checks a weather record as it came from its file and mends what is small.

Every repair adds one line to the record's notes; what cannot be mended honestly is refused with
one line that says where. Which formats there are is no concern of this file.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from energy.weather.readers.sun_shift import SunShift, sun_shift
from energy.weather.record import (
    DAY_S,
    HOUR_S,
    Floats,
    Record,
    refuse,
    stamp_text,
    sun_over,
)

# All limits here are common practice, no source, unless a line says otherwise.
FILLS = (-99.0, -99.9, -999.0, -999.9, -9900.0, -9999.0, -99999.0, 9999.0, 99999.0)
NIGHT_OFFSET_W_M2 = -15.0  # thermal offset of a pyranometer under a clear night sky
NOISE_W_M2 = 3.0
LONGEST_GAP_S = DAY_S
MOST_MISSING = 0.05
MOST_IMPOSSIBLE = 0.005
MOST_OFF_NOON_MIN = 75.0  # where no day is clear
MOST_MOVED_MIN = 95.0  # summer time and half an hour are; a zone's two hours are not
LEAST_MOVED_MIN = 5.0
NOON_CHECK_DAYS = 7  # fewer days could be lopsided by one cloudy afternoon
TEMP_AIR_C = (-90.0, 60.0)  # the world's extremes are -89.2 and 56.7, from memory
WIND_SPEED_M_S = (0.0, 75.0)


def mend(record: Record, where: str, place: tuple[float, float] | None = None) -> Record:
    """Return the record on an unbroken clock with every hour of light filled.

    Hours that stand early or late against the sun of clear days are moved, and the file's clock
    with them. Fill values and missing rows become gaps; a gap of up to 24 h takes the mean of the
    same clock hour on the nearest days before and after, which keeps the shape of the day. `place`
    (latitude, longitude in degrees) is where the record is from if it does not say itself; without
    either, nothing can be compared with the sun. PlanError in one line for what cannot be mended.
    """
    if record.latitude_deg is not None and record.longitude_deg is not None:
        place = (record.latitude_deg, record.longitude_deg)
    record = _close_ranks(record, where, place)
    notes = list(record.notes)
    ghi = _blank(record.ghi)
    _check_negative(record, ghi, where, notes)
    ghi = np.maximum(ghi, 0.0)
    absent = np.isnan(ghi)
    if place is not None:
        record = _to_the_sun(record, ghi, where, place, notes)
        ghi = _check_against_sun(record, ghi, where, place, notes)
    ghi, was_missing = _fill_light(record, ghi, absent, where, notes)
    dhi = _check_diffuse(_blank(record.dhi), ghi, was_missing, notes)
    temp_air = _blank(record.temp_air)
    _check_celsius(temp_air, where)
    okta = record.cloud_okta
    if okta is not None:
        okta = _fill_column(record, okta, (0.0, 8.0), "sky cover", notes)
    return replace(
        record,
        ghi=ghi,
        dhi=dhi,
        temp_air=_fill_column(record, temp_air, TEMP_AIR_C, "air temperature", notes),
        wind_speed=_fill_column(record, _blank(record.wind_speed), WIND_SPEED_M_S, "wind", notes),
        cloud_okta=None if okta is None or np.isnan(okta).all() else okta,
        notes=tuple(notes),
    )


def _blank(values: Floats) -> Floats:
    """The values with fill values and infinities as NaN."""
    return np.where(np.isfinite(values) & ~np.isin(values, FILLS), values, np.nan)


def _span(record: Record, rows: int) -> str:
    """How long so many rows are, in words."""
    hours = rows * record.interval_s / HOUR_S
    return "1 hour" if hours == 1 else f"{hours:.4g} hours"


def _at(record: Record, row: int) -> str:
    """When a row begins, on the file's standard clock."""
    clock = f"UTC{record.utc_offset_s / HOUR_S:+.4g}"
    return f"{stamp_text(record.start_s[row] + record.utc_offset_s)} {clock}"


def _close_ranks(record: Record, where: str, place: tuple[float, float] | None) -> Record:
    """Put an empty row wherever the file skips one."""
    if record.typical:
        return record
    slot = np.rint((record.start_s - record.start_s[0]) / record.interval_s).astype(np.int64)
    rows = int(slot[-1]) + 1
    if rows * record.interval_s < DAY_S:
        refuse(where, f"holds {_span(record, rows)}; at least one whole day is needed")
    if rows == len(slot):
        return record
    # a file of daylight hours alone may skip the nights, if the sun can tell us that they were
    allowed = 1 - MOST_MISSING if place is None else 0.2
    longest = int(np.argmax(np.diff(slot)))
    if len(slot) < allowed * rows:
        refuse(
            where,
            f"{_span(record, rows - len(slot))} of {rows * record.interval_s / HOUR_S:.0f} are "
            f"missing, the longest gap after {_at(record, longest)}; at most "
            f"{100 * MOST_MISSING:g} % may be",
        )

    def spread(values: Floats) -> Floats:
        out = np.full(rows, np.nan)
        out[slot] = values
        return out

    return replace(
        record,
        start_s=record.start_s[0] + record.interval_s * np.arange(rows),
        ghi=spread(record.ghi),
        dhi=spread(record.dhi),
        temp_air=spread(record.temp_air),
        wind_speed=spread(record.wind_speed),
        cloud_okta=None if record.cloud_okta is None else spread(record.cloud_okta),
    )


def _check_negative(record: Record, ghi: Floats, where: str, notes: list[str]) -> None:
    """Small negative light is an instrument's night offset, large is not light."""
    large = np.flatnonzero(ghi < NIGHT_OFFSET_W_M2)
    if len(large):
        row = int(large[0])
        refuse(
            where,
            f"irradiance of {ghi[row]:g} W/m2 at {_at(record, row)} ({len(large)} rows in all); "
            f"{NIGHT_OFFSET_W_M2:g} or more is allowed",
        )
    small = int((ghi < -NOISE_W_M2).sum())
    if small:
        notes.append(f"{_span(record, small)} of slightly negative irradiance set to 0")


def _to_the_sun(
    record: Record, ghi: Floats, where: str, place: tuple[float, float], notes: list[str]
) -> Record:
    """The record with its hours moved to where the sun of its clear days puts them."""
    shift = sun_shift(record.start_s, record.interval_s, ghi, place)
    if shift is None:
        _check_noon(record, ghi, where, place)
        return record
    late_min = round(shift.middle_min)
    if not shift.agrees:
        refuse(where, _disagreement(shift, place))
    if abs(late_min) > MOST_MOVED_MIN:
        refuse(where, _off_noon(record, late_min, place))
    if abs(late_min) < LEAST_MOVED_MIN:
        return record
    notes.append(f"hours stand {_early_or_late(late_min)}; moved")
    return replace(
        record,
        start_s=record.start_s - 60.0 * late_min,
        utc_offset_s=record.utc_offset_s + 60.0 * late_min,
    )


def _early_or_late(late_min: float) -> str:
    return f"{abs(late_min):.0f} min {'late' if late_min > 0 else 'early'}"


def _disagreement(shift: SunShift, place: tuple[float, float]) -> str:
    low, high = np.quantile(shift.late_min, (0.1, 0.9))
    return (
        f"its hours stand {_early_or_late(low)} on some clear days and {_early_or_late(high)} on "
        f"others, by the sun at {place[0]:.2f}, {place[1]:.2f} (latitude, longitude); write all "
        "its stamps on one clock, with no summer time"
    )


def _off_noon(record: Record, late_min: float, place: tuple[float, float]) -> str:
    return (
        f"the middle of its days comes {abs(late_min) / 60:.1f} h "
        f"{'after' if late_min > 0 else 'before'} true noon at {place[0]:.2f}, "
        f"{place[1]:.2f} (latitude, longitude); its time zone, its place or what its stamps "
        f"mark is wrong (clock read as UTC{record.utc_offset_s / HOUR_S:+g})"
    )


def _check_against_sun(
    record: Record, ghi: Floats, where: str, place: tuple[float, float], notes: list[str]
) -> Floats:
    """Compare with the sun at the place: brightness, darkness."""
    cos_zenith, extra, _ = sun_over(record.start_s, record.interval_s, *place)
    outside = extra * np.maximum(cos_zenith, 0.0)
    lit = np.isfinite(ghi)
    if lit.any() and ghi[lit].max() < 2 and outside[lit].max() > 300:
        refuse(
            where,
            f"irradiance never passes {ghi[lit].max():g}, though the sun stands high; "
            "W/m2 is needed (is this kW/m2?)",
        )
    impossible = np.flatnonzero(ghi > 1.5 * outside + 100)
    if len(impossible) > MOST_IMPOSSIBLE * len(ghi):
        row = int(impossible[0])
        refuse(
            where,
            f"irradiance of {ghi[row]:g} W/m2 at {_at(record, row)} where the air would be lit by "
            f"{outside[row]:.0f} from outside ({len(impossible)} such rows); stamps, zone or "
            "unit (W/m2) are wrong",
        )
    if len(impossible):
        notes.append(f"{_span(record, len(impossible))} of impossibly bright light replaced")
    ghi[impossible] = np.nan
    dark = np.isnan(ghi) & (cos_zenith < 0)
    if dark.any():
        notes.append(f"{_span(record, int(dark.sum()))} without a value at night taken as dark")
    return np.where(dark, 0.0, ghi)


def _check_noon(record: Record, ghi: Floats, where: str, place: tuple[float, float]) -> None:
    """The middle of the light, over whole days, must be near true noon."""
    per_day = round(DAY_S / record.interval_s)
    days = len(ghi) // per_day
    light = np.nan_to_num(ghi[: days * per_day])
    if days < NOON_CHECK_DAYS or not light.any():
        return
    hour_angle = sun_over(record.start_s[: days * per_day], record.interval_s, *place)[2]
    late_min = 4 * float(np.degrees(np.angle((light * np.exp(1j * np.radians(hour_angle))).sum())))
    if abs(late_min) > MOST_OFF_NOON_MIN:
        refuse(where, _off_noon(record, late_min, place))


def _fill_light(
    record: Record, ghi: Floats, absent: NDArray[np.bool_], where: str, notes: list[str]
) -> tuple[Floats, NDArray[np.bool_]]:
    """Global irradiance without gaps, and which rows had been one.

    `absent` are the rows the file left out, nights too: they count for the length of a gap.
    """
    missing = np.isnan(ghi)
    count = int(missing.sum())
    if not count:
        return ghi, missing
    first, length = _longest_run(absent | missing, missing)
    if count > MOST_MISSING * len(ghi) or length * record.interval_s > LONGEST_GAP_S:
        refuse(
            where,
            f"irradiance is missing in {_span(record, count)} of "
            f"{len(ghi) * record.interval_s / HOUR_S:.0f}, the longest gap {_span(record, length)} "
            f"from {_at(record, first)}; {100 * MOST_MISSING:g} % and gaps of 24 hours are allowed",
        )
    filled = _from_days_around(record, ghi)
    left = np.flatnonzero(np.isnan(filled))
    if len(left):
        refuse(where, f"no day beside {_at(record, int(left[0]))} can fill its missing irradiance")
    notes.append(
        f"{_span(record, count)} of missing irradiance filled from the same hours of the days "
        "before and after"
    )
    return filled, missing


def _longest_run(gaps: NDArray[np.bool_], lit: NDArray[np.bool_]) -> tuple[int, int]:
    """First row and number of rows of the longest gap in which any row is lit."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], gaps, [False])).astype(np.int8)))
    begin, end = edges[::2], edges[1::2]
    lit_before = np.concatenate(([0], np.cumsum(lit)))
    lengths = np.where(lit_before[end] > lit_before[begin], end - begin, 0)
    longest = int(np.argmax(lengths))
    return int(begin[longest]), int(lengths[longest])


def _from_days_around(record: Record, values: Floats) -> Floats:
    """Gaps filled with the mean of the nearest values a whole number of days (up to 7) off."""
    per_day = round(DAY_S / record.interval_s)
    gaps = np.flatnonzero(np.isnan(values))
    sides = np.full((2, len(gaps)), np.nan)
    for days in range(1, 8):
        for side, step in enumerate((-days * per_day, days * per_day)):
            row = gaps + step
            inside = (row >= 0) & (row < len(values))
            there = np.where(inside | record.typical, values[row % len(values)], np.nan)
            sides[side] = np.where(np.isnan(sides[side]), there, sides[side])
    sides = np.where(np.isnan(sides), sides[::-1], sides)  # one side alone stands for both
    filled = values.copy()
    filled[gaps] = sides.mean(axis=0)
    return filled


def _check_diffuse(
    dhi: Floats, ghi: Floats, was_missing: NDArray[np.bool_], notes: list[str]
) -> Floats:
    """Diffuse between none and all of the light; NaN where it is not known."""
    dhi = np.where(was_missing | (dhi < NIGHT_OFFSET_W_M2), np.nan, np.maximum(dhi, 0.0))
    above = int((dhi > ghi + NOISE_W_M2).sum())
    if above:
        notes.append(
            f"the weather file gives more diffuse than global light in {above} of its"
            f" {ghi.size} rows; those were cut to the global"
        )
    lacking = int((np.isnan(dhi) & (ghi > 0) & ~was_missing).sum())
    if lacking and not np.isnan(dhi).all():
        notes.append(f"diffuse irradiance missing in {lacking} lit rows, to be modelled")
    return np.minimum(dhi, ghi)


def _check_celsius(temp_air: Floats, where: str) -> None:
    given = temp_air[np.isfinite(temp_air)]
    middle = float(np.median(given)) if len(given) else 0.0
    if 45 < middle < 99:
        refuse(where, f"air temperature is around {middle:.0f}; degrees C are needed (Fahrenheit?)")
    if 180 < middle < 330:
        refuse(where, f"air temperature is around {middle:.0f}; degrees C are needed (kelvin?)")


def _fill_column(
    record: Record, values: Floats, limits: tuple[float, float], quantity: str, notes: list[str]
) -> Floats:
    """A column beside the light: whole, or (when too much is missing) NaN throughout."""
    values = np.where((values >= limits[0]) & (values <= limits[1]), values, np.nan)
    missing = np.isnan(values)
    count = int(missing.sum())
    if count in (0, len(values)):
        return values
    filled = _from_days_around(record, values)
    if count > MOST_MISSING * len(values) or np.isnan(filled).any():
        notes.append(f"{quantity} is missing in {_span(record, count)}: not used")
        return np.full(len(values), np.nan)
    notes.append(
        f"{_span(record, count)} of missing {quantity} filled from the days before and after"
    )
    return filled
