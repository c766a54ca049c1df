"""The drawn hours of broken days against the hours of the typical years that pvlib installs."""

from functools import cache

import numpy as np
import pytest
from scipy.stats import ks_2samp

from energy.model.panel import light_on_plane
from energy.model.sun import clear_sun, close_beam, diffuse_of
from energy.weather.files import read_record
from energy.weather.generator import HOUR_TO_HOUR, hourly_clearness, normal_scores

SITES = ("sand-point", "greensboro", "miami")
BROKEN = (0.3, 0.6)  # clearness of the days looked at: neither overcast nor clear
LANES = 20
STEPS = np.arange(150.0, 3600.0, 300.0)  # the sun at twelve moments of every hour


@cache
def broken_days(site: str):
    """Real hours and hours drawn for the very same days: light on the flat [W/m2], (hours, 1 and
    LANES), with the clear sky's, the light above the air, the day's number and the record."""
    record = read_record(f"builtin:{site}", timezone="UTC")
    moments = (record.start_s[:, None] + STEPS).ravel()
    sun = clear_sun(moments, record.latitude_deg, record.longitude_deg, record.elevation_m)
    up = np.maximum(np.cos(np.radians(sun.zenith)), 0.0)
    height, light, clear = (
        values.reshape(-1, STEPS.size).mean(axis=1) for values in (up, sun.dni_extra * up, sun.ghi)
    )
    day = np.arange(8760) // 24
    clearness = np.bincount(day, record.ghi) / np.bincount(day, light)
    chosen = np.flatnonzero((clearness > BROKEN[0]) & (clearness < BROKEN[1]))
    hours = np.flatnonzero(np.isin(day, chosen))
    number = np.repeat(np.arange(chosen.size), 24)
    days = np.repeat(clearness[chosen][:, None], LANES, axis=1)
    scores = normal_scores(0, "hours", hours.size, LANES, HOUR_TO_HOUR)
    clear_kt = np.where(light > 1.0, clear / np.maximum(light, 1.0), 0.0)[hours]
    kt = hourly_clearness(days, number, height[hours], light[hours], clear_kt, scores)
    drawn = kt * light[hours][:, None]
    return record, hours, number, record.ghi[hours][:, None], drawn, clear[hours], light[hours]


def spread_within_days(ghi, clear, number):
    high = clear > 100.0
    index = ghi[high] / clear[high, None]
    return np.mean([index[number[high] == k].std(axis=0).mean() for k in np.unique(number)])


def morning_share(ghi):
    """Share of each day's light before noon of the record's clock, pooled."""
    by_day = ghi.reshape(-1, 24, ghi.shape[1])
    return (by_day[:, :12].sum(axis=1) / by_day.sum(axis=1)).ravel()


@pytest.mark.parametrize("site", SITES)
def test_hours_vary_within_broken_days_as_they_do(site):
    _, _, number, real, drawn, clear, _ = broken_days(site)
    ratio = spread_within_days(drawn, clear, number) / spread_within_days(real, clear, number)
    print(site, "spread of the clear-sky index within days, drawn over real:", round(ratio, 2))
    assert ratio == pytest.approx(1.0, abs=0.40)


@pytest.mark.parametrize("site", SITES)
def test_mornings_and_afternoons_differ_as_they_do(site):
    _, _, _, real, drawn, _, _ = broken_days(site)
    ratio = morning_share(drawn).std() / morning_share(real).std()
    print(site, "spread of the morning's share, drawn over real:", round(ratio, 2))
    assert ratio == pytest.approx(1.0, abs=0.45)


@pytest.mark.parametrize("site", SITES)
def test_midday_is_as_bright_as_it_is(site):
    _, _, _, real, drawn, clear, light = broken_days(site)
    by_day = clear.reshape(-1, 24)
    third = np.sort(by_day, axis=1)[:, -3:-2]
    midday = (by_day >= third).ravel()  # the three hours around noon
    of_real, of_drawn = ((ghi[midday] / light[midday, None]).ravel() for ghi in (real, drawn))
    statistic = ks_2samp(of_real, of_drawn).statistic
    print(site, "two-sample KS of midday clearness:", round(statistic, 3))
    assert statistic < 0.15


@pytest.mark.parametrize("site", SITES)
def test_a_tilted_panel_sees_as_much_light(site):
    record, hours, _, real, drawn, _, _ = broken_days(site)
    moments = record.start_s[hours] + 1800.0
    sun = clear_sun(moments, record.latitude_deg, record.longitude_deg, record.elevation_m)
    up = sun.apparent_zenith < 87.0
    sun = sun.rows(np.flatnonzero(up))

    def tilted(ghi):
        ghi = ghi[up]
        dni, dhi = close_beam(sun, ghi, diffuse_of(sun, ghi), sun.dni + 200.0)
        pose = np.full(ghi.shape[0], 40.0), np.full(ghi.shape[0], 180.0)
        return light_on_plane(sun, (ghi, dni, dhi), *pose, 0.2).total.mean()

    ratio = tilted(drawn) / tilted(real)
    print(site, "light on a tilt of 40 degrees, drawn over real:", round(ratio, 3))
    assert ratio == pytest.approx(1.0, abs=0.02)
