"""The drawn hours of broken days against the hours of the typical years that pvlib installs.

The same daily clearness is given to the generator, so that only its hours are tried, not its days.
"""

from dataclasses import dataclass

import numpy as np
import pytest
from scipy.stats import ks_2samp

from energy.model.panel import light_on_plane, sky_above
from energy.model.sun import Sun, clear_sun, close_beam, diffuse_of
from energy.weather.hours import hours_to_cells, interval_means
from energy.weather.readers.files import read_record
from energy.weather.resampled import BRIGHTEST_RESAMPLED
from energy.weather.synthetic.generator import (
    HOUR_TO_HOUR,
    OVER_CLEAR_HOUR,
    hourly_clearness,
    normal_scores,
)
from energy.weather.weathers import BEAM_OVER_CLEAR_W_M2

BROKEN = (0.3, 0.6)  # clearness of the days looked at: neither overcast nor clear
SCENARIOS = 20
CELL_S = 600.0


@dataclass
class Broken:
    """A typical year laid on a plain one, in hours of its standard time.

    ghi is the light on the flat [W/m2], (8760, 1) of the file and (8760, LANES) as drawn; clear
    and above that of a clear sky and above the air (8760,); chosen marks the broken days (365,).
    """

    starts: np.ndarray
    cells: np.ndarray
    sun: Sun
    clear: np.ndarray
    above: np.ndarray
    chosen: np.ndarray
    real: np.ndarray
    drawn: np.ndarray

    def by_day(self, hourly: np.ndarray) -> np.ndarray:
        """Hours of the broken days, (days, 24, m)."""
        return hourly.reshape(365, 24, -1)[self.chosen]


@pytest.fixture(scope="module", params=("sand-point", "greensboro", "miami"))
def broken(request) -> Broken:
    record = read_record(f"builtin:{request.param}", timezone="UTC")
    first_s = np.datetime64("2026-01-01", "s").astype(float) - record.utc_offset_s
    starts = first_s + 3600.0 * np.arange(8760)
    cells = first_s + CELL_S * np.arange(8760 * 6 + 1)
    place = record.latitude_deg, record.longitude_deg, record.elevation_m
    sun = clear_sun(cells[:-1] + CELL_S / 2.0, *place)
    up = np.maximum(np.cos(np.radians(sun.zenith)), 0.0)
    height, above, clear = (
        interval_means(values, cells, starts, 3600.0)
        for values in (up, sun.dni_extra * up, sun.ghi)
    )
    day = np.arange(8760) // 24
    clearness = np.bincount(day, record.ghi) / np.bincount(day, above)
    chosen = (clearness > BROKEN[0]) & (clearness < BROKEN[1])
    days = np.repeat(np.where(chosen, clearness, 0.5)[:, None], SCENARIOS, axis=1)
    scores = normal_scores(0, "hours", 8760, SCENARIOS, HOUR_TO_HOUR)
    clear_kt = np.where(above > 1.0, clear / np.maximum(above, 1.0), 0.0)
    drawn = hourly_clearness(days, day, height, above, clear_kt, scores) * above[:, None]
    print(request.param, chosen.sum(), "broken days")
    return Broken(starts, cells, sun, clear, above, chosen, record.ghi[:, None], drawn)


def test_hours_vary_within_broken_days_as_they_do(broken):
    clear = broken.by_day(broken.clear)
    high = np.where(clear > 100.0, 1.0, np.nan)

    def spread(ghi):
        index = broken.by_day(ghi) / np.maximum(clear, 1.0) * high
        return np.nanstd(index, axis=1).mean()

    ratio = spread(broken.drawn) / spread(broken.real)
    print("spread of the clear-sky index within days, drawn over real:", round(ratio, 2))
    assert ratio == pytest.approx(1.0, abs=0.40)


def test_mornings_and_afternoons_differ_as_they_do(broken):
    def morning(ghi):
        by_day = broken.by_day(ghi)
        return by_day[:, :12].sum(axis=1) / by_day.sum(axis=1)

    # Less the clear sky's share, which the clock and the date alone set on both sides.
    clear = morning(broken.clear)
    ratio = (morning(broken.drawn) - clear).std() / (morning(broken.real) - clear).std()
    print("spread of the morning's share, drawn over real:", round(ratio, 2))
    assert ratio == pytest.approx(1.0, abs=0.45)


def test_midday_is_as_bright_as_it_is(broken):
    clear = broken.by_day(broken.clear)[..., 0]
    midday = clear >= np.sort(clear, axis=1)[:, -3:-2]  # the three hours around solar noon
    above = broken.by_day(broken.above)[midday]
    real, drawn = (
        (broken.by_day(ghi)[midday] / above).ravel() for ghi in (broken.real, broken.drawn)
    )
    statistic = ks_2samp(real, drawn).statistic
    print("two-sample KS of midday clearness:", round(statistic, 3))
    assert statistic < 0.15


def test_a_tilted_panel_sees_as_much_light(broken):
    lit = np.flatnonzero(broken.sun.apparent_zenith < 90.0)
    kept = broken.chosen[lit // 144]  # 144 cells a day
    sun = broken.sun.rows(lit[kept])
    pose = np.full(kept.sum(), 40.0), np.full(kept.sum(), 180.0)

    def tilted(hourly, limit):
        ghi = hours_to_cells(
            hourly, limit, broken.cells, lit, broken.sun.ghi, broken.starts, 3600.0
        )[kept]
        dni, dhi = close_beam(sun, ghi, diffuse_of(sun, ghi), sun.dni + BEAM_OVER_CLEAR_W_M2)
        return light_on_plane(sun, sky_above(sun, (ghi, dni, dhi)), *pose, 0.2).total.mean()

    ratio = tilted(broken.drawn, OVER_CLEAR_HOUR) / tilted(broken.real, BRIGHTEST_RESAMPLED)
    print("light on a tilt of 40 degrees, drawn over real:", round(ratio, 3))
    assert ratio == pytest.approx(1.0, abs=0.02)
