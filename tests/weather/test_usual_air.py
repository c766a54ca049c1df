"""The usual air of a place, where a plan states none. All plans are invented."""

from datetime import datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest
from air_normals import FITTED, HELD_OUT, ISLANDS, ISLANDS_HELD_OUT

from energy import Plan
from energy.answers.caution.cautions import cautions
from energy.simulation.budget import budget
from energy.weather.fetched.cache import About, save_history
from energy.weather.record import Record
from energy.weather.synthetic.climate import land_share
from energy.weather.usual_air import formula_air, usual_air

QUARTERS = [0, 3, 6, 9]


def plan(month=1, kind="climate", latitude=51.5, longitude=-1.0, **changes):
    tables = {
        "place": {"latitude_deg": latitude, "longitude_deg": longitude, "elevation_m": 50,
                  "timezone": "UTC"},
        "span": {"start": f"2026-{month:02d}-14T08:00", "end": f"2026-{month:02d}-15T18:00"},
        "weather": {"kind": kind},
        "pack": {"capacity_wh": 1000},
        "panel": [{"rated_w": 100}],
        "task": [{"name": "lamp", "supply": "usb", "working_w": 5, "hours": 4}],
    }  # fmt: skip
    tables["weather"] |= changes
    return Plan.from_dict(tables)


def errors(places):
    return np.array(
        [
            formula_air(latitude, longitude, height)[QUARTERS] - np.array(normal)
            for latitude, longitude, height, *normal in places
        ]
    )


def test_the_formula_keeps_to_the_normals_of_places_it_was_not_fitted_to():
    off = errors(HELD_OUT.values())
    assert np.sqrt((off**2).mean()) < 3.0
    assert np.mean(np.abs(off) <= 5.0) >= 0.9
    assert np.abs(off).max() < 8.0


def test_the_formula_keeps_to_the_normals_of_places_it_was_fitted_to():
    off = errors(FITTED)
    assert np.sqrt((off**2).mean()) < 3.1
    assert np.mean(np.abs(off) <= 5.0) >= 0.9
    assert abs(off.mean()) < 0.2


@pytest.mark.parametrize("islands", [ISLANDS, ISLANDS_HELD_OUT])
def test_the_formula_keeps_to_the_normals_of_islands(islands):
    off = errors(islands.values())
    assert np.sqrt((off**2).mean()) < 2.5
    assert np.mean(np.abs(off) <= 5.0) >= 0.9
    assert np.abs(off).max() < 8.0
    assert abs(off.mean()) < 0.5


def test_the_air_of_warm_seas_is_as_warm_as_they_are():
    # Air lies within a degree or two of the sea's surface, which between 15 N and 15 S has some 24
    # to 30 C, cold currents apart (from memory).
    for longitude in range(-180, 180, 20):
        for latitude in (-15.0, -8.0, 0.0, 8.0, 15.0):
            if land_share(latitude, longitude, 9.0, 10.0, 8.0) == 0.0:
                air = formula_air(latitude, longitude, 0.0)
                assert 23.5 < air.min() <= air.max() < 31.0, (latitude, longitude)
                assert np.ptp(air) < 6.0


@pytest.mark.parametrize("latitude", [40.0, -40.0])
def test_the_sea_is_warmest_later_than_the_land(latitude):
    warmest = {at: np.argmax(formula_air(latitude, at, 0.0)) for at in (-150.0, -170.0)}
    summer = 6 if latitude > 0.0 else 0
    assert all((month - summer) % 12 == 1 for month in warmest.values())  # August, February
    assert np.argmax(formula_air(48.2, 16.4, 0.0)) == 6


def test_the_days_range_is_small_at_sea_and_as_before_inland():
    # Islands of coral have some 5 to 7 K between the day's high and low, the open sea 1 to 3.
    sea = budget(plan(12, "clear", latitude=-1.0, longitude=179.9)).weather.air
    land = budget(plan(7, "clear", latitude=48.2, longitude=16.4)).weather.air
    assert 3.0 < np.ptp(sea.temp_air) < 6.0
    assert 10.0 < np.ptp(land.temp_air) < 14.0


@pytest.mark.parametrize("name", ["Melbourne", "Harare", "Durban", "Cordoba", "Wellington"])
def test_the_south_is_warmest_in_its_own_summer(name):
    january, _, july, _ = formula_air(*HELD_OUT[name][:3])[QUARTERS]
    assert january > july + 3.0


def test_a_thousand_metres_up_is_six_and_a_half_degrees_colder():
    # The lapse of the ICAO standard atmosphere.
    assert formula_air(46.0, 8.0, 500.0) - formula_air(46.0, 8.0, 1500.0) == pytest.approx(6.5)


@pytest.mark.parametrize(
    ("file", "read", "within_k"),
    [("703165TY.csv", pvlib.iotools.read_tmy3, 7.0),
     ("723170TYA.CSV", pvlib.iotools.read_tmy3, 6.0),
     ("12839.tm2", pvlib.iotools.read_tmy2, 4.5)],
)  # fmt: skip
def test_the_months_of_typical_years_are_near(file, read, within_k):
    # The three typical years of pvlib: an Alaskan island coast, a southern inland, a subtropical
    # coast. In the mean of the year within 3 K.
    path = Path(pvlib.__file__).parent / "data" / file
    table, about = read(path, **({} if file.endswith("tm2") else {"map_variables": True}))
    air = table["DryBulb"] / 10.0 if "DryBulb" in table else table["temp_air"]
    months = air.astype(float).groupby(pd.DatetimeIndex(table.index).month).mean().to_numpy()
    formula = formula_air(about["latitude"], about["longitude"], about["altitude"])
    assert np.abs(formula - months).max() < within_k
    assert abs(formula.mean() - months.mean()) < 3.0


def test_history_held_beats_the_formula(tmp_path, monkeypatch):
    monkeypatch.setattr("platformdirs.user_cache_path", lambda *_, **__: tmp_path)
    hours = np.arange(0.0, 365 * 24) * 3600.0 + 1704067200.0 - 365 * 86400.0
    month = hours.astype("datetime64[s]").astype("datetime64[M]").astype(int) % 12
    zeros = np.zeros(hours.size)
    record = Record(
        name="measured years (invented)", latitude_deg=51.5, longitude_deg=-1.0, elevation_m=150.0,
        start_s=hours, interval_s=3600.0, utc_offset_s=0.0, typical=False, ghi=zeros, dhi=zeros,
        temp_air=month - 3.0, wind_speed=zeros + 2.0, cloud_okta=zeros, notes=(),
    )  # fmt: skip
    save_history(record, About("", "", 51.5, -1.0, 150.0, 0.0, "", ""))
    usual = usual_air(plan(), 50.0)
    assert usual.means_c == pytest.approx(np.arange(12) - 3.0 + 0.65)  # 100 m lower
    assert "measured years (invented)" in usual.source


@pytest.mark.parametrize("kind", ["climate", "clear"])
def test_a_plan_without_a_temperature_gets_the_months_air_and_says_so(kind):
    winter, summer = budget(plan(1, kind)), budget(plan(7, kind))
    usual = formula_air(51.5, -1.0, 50.0)
    for result, month in ((winter, 0), (summer, 6)):
        air = result.weather.air
        assert not air.stated
        assert air.temp_air.mean() == pytest.approx(usual[month], abs=3.0)
        assert np.ptp(air.temp_air.mean(axis=1)) > 4.0  # the day's swing is in it
        (note,) = [line for line in result.notes if "no air temperature given" in line]
        assert "usual air of the month" in note
    assert summer.weather.air.temp_air.mean() > winter.weather.air.temp_air.mean() + 8.0


def test_a_stated_temperature_stays_as_it_is():
    air = budget(plan(1, "clear", temp_air_c=12)).weather.air
    assert air.stated
    assert (air.temp_air == 12.0).all()


def test_frost_is_called_likely_where_the_usual_air_falls_below_0():
    told = {c.id: c for c in cautions(budget(plan(1, latitude=52.0, longitude=21.0)))}
    assert "frost is likely" in told["frost-not-judged"].text
    assert "Frost is likely" in told["charging-below-freezing"].text


def test_frost_is_called_possible_where_only_a_cold_day_brings_it():
    told = {c.id: c for c in cautions(budget(plan(10, latitude=48.0, longitude=2.0)))}
    assert "frost is possible" in told["frost-not-judged"].text
    assert "charging-below-freezing" not in told


@pytest.mark.parametrize("chemistry", ["agm", "lfp"])
@pytest.mark.parametrize("now", [None, datetime(2026, 1, 14, 12)])
def test_all_that_name_the_packs_cold_name_the_same(chemistry, now):
    """A pack outside in January at 60 degrees north: the note, the caution about frost and the one
    about the pack's lag, against the air in the segments that were simulated."""
    outside = plan(1, latitude=60.0, longitude=11.0).replace(**{"pack.chemistry": chemistry})
    result = budget(outside, now)
    told = {c.id: c for c in cautions(result)}
    air = [result.case.temp_c(slice(k, k + 1)) for k in range(result.time_s.size - 1)]
    low, high = f"{np.min(air):.0f}", f"{np.max(air):.0f}"
    (note,) = [line for line in result.notes if "no air temperature given" in line]
    assert f" {low} to {high} degrees C" in note
    assert f"down to {low} degrees C" in told["frost-not-judged"].text
    assert told["pack-follows-air"].about == f"[pack] in air from {low} to {high} degrees C"


def test_frost_that_was_stated_is_not_called_likely():
    told = {c.id: c for c in cautions(budget(plan(1, temp_air_c=[-8, -2])))}
    assert "likely" not in told["charging-below-freezing"].text
