"""How far a record's light stands from the sun, measured on its clear days.

A clear day's light rises and falls about true noon whatever the haze, so that its shape tells the
minutes by which stamps, zone or place are off.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pvlib
from numpy.typing import NDArray

from energy.weather.record import DAY_S, Floats, sun_over

# All limits here are common practice, no source.
FARTHEST_MIN = 120  # how far a shift is looked for, either way
STEP_MIN = 5
DAYS_OF_A_MONTH = 5  # the clearest of each calendar month are looked at
FEWEST_DAYS = 3
MOST_UNLIKE = 0.06  # rms distance from a clear day's shape, as a share of the day's rms
AGREEING_MIN = 25.0  # a clock of equal days is up to 16 min off the sun (the equation of time)
AGREEING_SHARE = 0.8
BRIGHTEST_W_M2 = 2000.0  # at a cloud's edge; what is brighter is a fault that is told elsewhere


@dataclass(frozen=True)
class SunShift:
    """By how many minutes the light of each clear day stands late (early below 0), shape (n,)."""

    late_min: Floats

    @property
    def middle_min(self) -> float:
        """The median of the days."""
        return float(np.median(self.late_min))

    @property
    def agrees(self) -> bool:
        """Whether most clear days tell much the same."""
        near = np.abs(self.late_min - self.middle_min) <= AGREEING_MIN
        return bool(near.mean() >= AGREEING_SHARE)


def sun_shift(
    start_s: Floats, interval_s: float, ghi: Floats, place: tuple[float, float]
) -> SunShift | None:
    """The shift of light against the sun; None where fewer than three days are clear.

    `start_s` [UTC s] and `ghi` [W/m2, NaN where missing], shape (n,), are rows on an even clock;
    `place` is latitude and longitude in degrees. The clear sky is that of Haurwitz 1945, by pvlib.

    >>> start_s = np.arange(10 * 24) * 3600.0
    >>> light = np.maximum(np.sin(np.pi * ((start_s + 1800) % 86400 - 21600) / 43200), 0.0) * 900
    >>> shift = sun_shift(start_s, 3600.0, light, (0.0, 0.0))
    >>> abs(shift.middle_min) < 8, shift.agrees  # the sun itself is 3 to 8 min late in January
    (True, True)
    """
    per_day = round(DAY_S / interval_s)
    begin = _clearest_days(start_s, interval_s, ghi, place)
    if not len(begin):
        return None
    light = np.minimum(np.nan_to_num(ghi), BRIGHTEST_W_M2)[begin[:, None] + np.arange(per_day)]
    moves, clear = _moved_clear_days(start_s[begin], interval_s, per_day, place)
    alike = (light * clear).sum(axis=2) ** 2
    alike /= np.maximum((light**2).sum(axis=1) * (clear**2).sum(axis=2), 1e-9)
    unlike = 1.0 - alike
    best = np.clip(np.argmin(unlike, axis=0), 1, len(moves) - 2)
    before, least, after = (
        np.take_along_axis(unlike, (best + k)[None], axis=0)[0] for k in (-1, 0, 1)
    )
    settled = (least < MOST_UNLIKE**2) & (least <= before) & (least <= after)
    bend = np.maximum(before - 2.0 * least + after, 1e-12)
    late = moves[best] + STEP_MIN / 2.0 * (before - after) / bend
    return SunShift(late[settled]) if settled.sum() >= FEWEST_DAYS else None


def _clearest_days(
    start_s: Floats, interval_s: float, ghi: Floats, place: tuple[float, float]
) -> NDArray[np.int64]:
    """First rows of the clearest days of each calendar month, from solar midnight on."""
    per_day = round(DAY_S / interval_s)
    first = int(np.argmax((start_s[:per_day] + 240.0 * place[1]) % DAY_S < interval_s))
    days = (len(ghi) - first) // per_day
    rows = slice(first, first + days * per_day)
    outside = np.maximum(sun_over(start_s[rows], interval_s, *place)[0], 0.0)
    above = outside.reshape(days, per_day).sum(axis=1)
    light = np.nan_to_num(ghi[rows]).reshape(days, per_day).sum(axis=1)
    clearness = np.where(above > 0.0, light / np.where(above > 0.0, above, 1.0), 0.0)
    begin = first + per_day * np.arange(days)
    month = start_s[begin].astype("M8[s]").astype("M8[M]").astype(np.int64) % 12
    order = np.argsort(-clearness, kind="stable")
    chosen = [order[month[order] == m][:DAYS_OF_A_MONTH] for m in range(12)]
    bright = np.concatenate(chosen)
    return np.asarray(begin[bright[clearness[bright] > 0.0]])


def _moved_clear_days(
    begin_s: Floats, interval_s: float, per_day: int, place: tuple[float, float]
) -> tuple[Floats, Floats]:
    """Moves [min], (m,), and what cloudless days would give whose light came so much later.

    The light, in any unit, has shape (m, days, rows of a day).
    """
    moves = np.arange(-FARTHEST_MIN, FARTHEST_MIN + 1, STEP_MIN)
    piece = math.gcd(STEP_MIN, round(interval_s / 60))
    minutes = np.arange(-FARTHEST_MIN, round(DAY_S / 60) + FARTHEST_MIN, piece)
    moments = begin_s[:, None] + 60.0 * minutes
    cos_zenith = sun_over(moments.ravel(), 60.0 * piece, *place)[0]
    zenith = pd.Series(np.degrees(np.arccos(np.clip(cos_zenith, -1.0, 1.0))))
    light = pvlib.clearsky.haurwitz(zenith)["ghi"].to_numpy(np.float64).reshape(moments.shape)
    total = np.pad(np.cumsum(light, axis=1), ((0, 0), (1, 0)))
    edges = FARTHEST_MIN + round(interval_s / 60) * np.arange(per_day + 1)
    return moves.astype(np.float64), np.array(
        [np.diff(total[:, (edges - move) // piece], axis=1) for move in moves]
    )
