"""How cold it may ever get at a place: by weather record, by monthly means, or assumed."""

from dataclasses import replace

import numpy as np
import pytest
from plan_tables import LAMP, plan, refused
from scipy.stats import gumbel_r

from energy.simulation.budget import budget
from energy.weather.coldest import COLD_SPELL_K, MOST_COLD_SPELL_K, RARE_COLD_K, coldest
from energy.weather.fetched.cache import About, Forecast, save_history
from energy.weather.readers.files import read_record
from energy.weather.record import Record
from energy.weather.source import record_of

PLACES = {  # of the three typical years that pvlib installs
    "sand-point": {"latitude_deg": 55.317, "longitude_deg": -160.517},
    "greensboro": {"latitude_deg": 36.1, "longitude_deg": -79.95},
    "miami": {"latitude_deg": 25.8, "longitude_deg": -80.3},
}


def of_file(name, **weather):
    place = {**PLACES[name], "timezone": "UTC", "elevation_m": 50}
    return plan(place=place, weather={"kind": "file", "file": f"builtin:{name}", **weather})


def hours_of(name):
    return read_record(f"builtin:{name}", timezone="UTC", stamps="start", place=(0.0, 0.0))


def monthly(record):
    clock = (record.start_s + record.utc_offset_s).astype("M8[s]").astype("M8[M]").astype(int)
    return [float(record.temp_air[clock % 12 == month].mean()) for month in range(12)]


def stating(temp_air_c, **changes):
    return coldest(plan(weather={"kind": "clear", "temp_air_c": temp_air_c}, **changes), None)


# --- from a record ------------------------------------------------------------------------------


def test_the_margin_is_that_of_the_coldest_in_fifty_years():
    # ASHRAE's return periods: yearly minima follow Gumbel's distribution. A standard deviation of
    # some 3 K at its stations: from memory.
    rare, mean, sd = gumbel_r.ppf(1.0 - 1.0 / 50.0), gumbel_r.mean(), gumbel_r.std()
    assert pytest.approx((rare - mean) / sd * 3.0, abs=0.3) == RARE_COLD_K


@pytest.mark.parametrize("name", PLACES)
def test_a_typical_year_is_not_an_extreme_one(name):
    found = coldest(of_file(name), record_of(of_file(name)))
    assert found.known
    assert found.lowest_c == pytest.approx(hours_of(name).temp_air.min() - 8.0)


@pytest.mark.parametrize(("name", "record_low_c"), [("greensboro", -22.2), ("miami", -2.8)])
def test_no_warmer_than_the_lowest_ever_measured_there(name, record_low_c):
    # The stations' record lows, -8 F in 1985 and 27 F in 1917: from memory.
    assert coldest(of_file(name), record_of(of_file(name))).lowest_c <= record_low_c


def years_of(yearly_minima_c, days=365):
    """An invented record: every year 10 degrees C, and one hour of its own minimum."""
    air = np.full((len(yearly_minima_c), days * 24), 10.0)
    air[:, 500] = yearly_minima_c
    air = air.ravel()
    dark = np.zeros(air.size)
    start_s = 3600.0 * np.arange(air.size)
    return Record(
        "invented", None, None, None, start_s, 3600.0, 0.0, False, dark, dark, air, dark, None, ()
    )


@pytest.mark.parametrize(
    ("yearly_minima_c", "lowest_c"),
    [
        ([-5.0, -9.0, -10.0], -16.0),  # 8 K below their mean, -8
        ([-5.0, -5.0, -5.0, -29.0], -29.0),  # no warmer than it was: -11 - 8 is
    ],
)
def test_years_on_end_count_by_their_coldest_hours(yearly_minima_c, lowest_c):
    found = coldest(plan(), years_of(yearly_minima_c))
    assert (found.known, found.lowest_c) == (True, pytest.approx(lowest_c))
    assert f"{len(yearly_minima_c)} years" in found.source


@pytest.mark.parametrize(
    ("whole", "record"),
    [
        (plan(), years_of([-5.0], days=200)),
        (plan(place={**PLACES["miami"], "timezone": "UTC"}), hours_of("greensboro")),
    ],
    ids=["less than a year", "of another place"],
)
def test_a_record_that_does_not_tell_of_the_place_in_all_seasons_tells_nothing(whole, record):
    found = coldest(whole, record)
    assert (found.known, found.lowest_c) == (False, -40.0)


def a_forecast():
    hours = np.zeros((48, 2))
    start_s = 3600.0 * np.arange(48)
    return Forecast("invented", 47.0, 9.0, 400.0, 0.0, start_s, hours, hours + 15.0, hours)


def hold(folder, monkeypatch, latitude_deg=47.0):
    monkeypatch.setenv("XDG_CACHE_HOME", str(folder))
    about = About("invented", "https://weather.invalid", latitude_deg, 9.0, 400.0, 0.0, "", "")
    years = replace(years_of([-5.0, -9.0, -10.0]), latitude_deg=latitude_deg, longitude_deg=9.0)
    return save_history(replace(years, elevation_m=400.0), about)


def test_a_forecast_leaves_the_lowest_to_the_history_that_is_held(tmp_path, monkeypatch):
    whole = plan(weather={"kind": "forecast"}, place={"elevation_m": 400})
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "none"))
    assert not coldest(whole, a_forecast()).known
    hold(tmp_path, monkeypatch)
    found = coldest(whole, a_forecast())
    assert (found.known, found.lowest_c) == (True, pytest.approx(-16.0))  # 8 K below their mean
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "far"))
    hold(tmp_path / "far", monkeypatch, latitude_deg=48.0)
    assert not coldest(whole, a_forecast()).known


def test_a_history_that_cannot_be_read_spoils_no_forecast(tmp_path, monkeypatch):
    hold(tmp_path, monkeypatch)
    for path in tmp_path.rglob("*.npz"):
        path.write_bytes(b"spoilt")
    assert coldest(plan(weather={"kind": "forecast"}), a_forecast()).lowest_c == -40.0


# --- from twelve monthly means ------------------------------------------------------------------


@pytest.mark.parametrize("name", PLACES)
def test_from_monthly_means_it_lies_at_or_below_what_the_years_hours_hold(name):
    record = hours_of(name)
    assert stating(monthly(record)).lowest_c <= record.temp_air.min()


# Mean of the coldest and of the warmest month, and the mean of the years' coldest hours: ASHRAE
# Handbook of Fundamentals, climatic design conditions (extreme annual minimum). From memory.
STATIONS = {
    "Singapore": (26.5, 28.3, 21.5),
    "Nairobi": (16.5, 20.5, 7.0),
    "Miami": (19.9, 28.9, 4.2),
    "Phoenix": (13.5, 34.9, 0.5),
    "London": (5.0, 18.5, -5.6),
    "Reykjavik": (0.0, 11.5, -12.0),
    "Berlin": (0.5, 19.5, -13.0),
    "Greensboro": (3.9, 25.7, -12.7),
    "Denver": (-0.6, 23.5, -22.7),
    "Minneapolis": (-9.0, 23.3, -27.0),
    "Moscow": (-7.0, 19.5, -25.0),
    "Fairbanks": (-22.2, 16.9, -44.0),
}


@pytest.mark.parametrize("name", STATIONS)
def test_from_monthly_means_it_is_a_rare_cold_at_stations_all_over_the_world(name):
    coldest_month, warmest_month, yearly_c = STATIONS[name]
    means = np.linspace(coldest_month, warmest_month, 12).tolist()
    found = stating(means)
    assert found.known
    assert yearly_c - 20.0 <= found.lowest_c <= yearly_c - 4.0  # 8 K, and both ways some more


def test_the_arithmetic_of_the_monthly_means():
    # -9 to 23: a range of 32 K, so the most, 30 K. 26 to 28: 18 + 2 K.
    assert (COLD_SPELL_K, MOST_COLD_SPELL_K) == (18.0, 30.0)
    assert stating([-9.0, *[10.0] * 10, 23.0]).lowest_c == pytest.approx(-39.0)
    assert stating([26.0, *[27.0] * 10, 28.0]).lowest_c == pytest.approx(6.0)


# --- what tells of the plan's own days alone ----------------------------------------------------


@pytest.mark.parametrize("stated", [None, 15.0, -4.0, [-4.0, 9.0], [12.0, 24.0]])
def test_a_number_or_a_days_low_and_high_do_not_tell_of_the_place(stated):
    found = stating(stated)
    assert (found.known, found.lowest_c) == (False, -40.0)


@pytest.mark.parametrize(("stated", "lowest_c"), [(-38.0, -46.0), ([-50.0, -40.0], -58.0)])
def test_what_is_assumed_is_colder_than_the_plans_own_days(stated, lowest_c):
    assert stating(stated).lowest_c == lowest_c


def test_the_place_may_state_its_record_low():
    place = {"latitude_deg": 47.0, "longitude_deg": 9.0, "timezone": "UTC", "lowest_c": -22}
    found = stating([12.0, 24.0], place=place)
    assert (found.known, found.lowest_c) == (True, -22.0)
    assert budget(plan(place=place, task=[LAMP])).days.site.cold.lowest_c == -22.0


def test_an_impossible_record_low_is_one_line():
    assert refused(place={"lowest_c": -95}) == ["[place]: lowest_c must be at least -90 (got -95)"]
