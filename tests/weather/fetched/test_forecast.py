"""A forecast's members as weathers, and what carries on where it ends. Its numbers are invented."""

import functools
import time
from datetime import datetime

import numpy as np
import pytest

from energy import Plan, PlanError
from energy.model.sun import clear_sun
from energy.simulation.budget import budget
from energy.simulation.success import wilson
from energy.weather.fetched import forecast as ahead
from energy.weather.fetched.cache import About, Forecast, save_forecast, save_history
from energy.weather.record import Record

HOUR = 3600.0
START = datetime(2026, 6, 9, 12).timestamp()  # noon of some time zone, a whole hour anyway
PLACE = (46.5, 8.0)


@pytest.fixture(autouse=True)
def cache(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    return tmp_path


def clear_hours(start_s, place=PLACE):
    moments = (start_s[:, None] + np.arange(150, 3600, 300)).ravel()
    return clear_sun(moments, *place, 600.0).ghi.reshape(-1, 12).mean(axis=1)


def forecast(hours=96, shares=(1.0, 0.3, 0.7), place=PLACE):
    start_s = np.floor(START / HOUR) * HOUR + HOUR * np.arange(hours)
    ghi = clear_hours(start_s, place)[:, None] * np.array(shares)
    shape = ghi.shape
    return Forecast(
        "an invented forecast", *place, 600.0, time.time(), start_s,
        ghi, np.full(shape, 12.0), np.full(shape, 3.0),
    )  # fmt: skip


def hold(found):
    about = About(
        "invented", "", found.latitude_deg, found.longitude_deg, 600.0, time.time(), "", ""
    )
    save_forecast(found, about)


def plan(end="2026-06-11T20:00", start="2026-06-10T08:00", place=PLACE, **weather):
    return Plan.from_dict(
        {
            "place": {"latitude_deg": place[0], "longitude_deg": place[1], "timezone": "UTC"},
            "span": {"start": start, "end": end},
            "weather": {"kind": "forecast", **weather},
            "panel": [{"rated_w": 100}],
            "pack": {"capacity_wh": 500},
            "task": [{"name": "lamp", "supply": "dc12", "working_w": 5, "spread_percent": 0}],
        }
    )


def test_each_member_is_a_weather_with_its_own_light():
    hold(forecast())
    found = budget(plan())
    assert found.chance.scenarios == 3
    weather = found.weather
    hours = np.diff(found.days.cells)[weather.light.lit] / HOUR
    light = (weather.light.ghi * hours[:, None]).sum(axis=0)
    assert light / light[0] == pytest.approx([1.0, 0.3, 0.7], rel=0.02)


def test_the_light_of_an_hour_is_the_forecasts():
    given = forecast()
    hold(given)
    found = budget(plan())
    hour = np.floor(found.days.cells[found.weather.light.lit] / HOUR)
    noon = datetime.fromisoformat("2026-06-10T11:00:00+00:00").timestamp() / HOUR
    rows = hour == noon
    at = int(noon - given.start_s[0] / HOUR)
    assert found.weather.light.ghi[rows].mean(axis=0) == pytest.approx(given.ghi[at], rel=1e-6)
    assert found.weather.air.temp_air == pytest.approx(12.0)


def test_the_range_is_wilsons_over_the_members():
    hold(forecast(shares=np.linspace(0.02, 0.5, 20)))
    chance = budget(plan(end="2026-06-12T20:00").replace(**{"pack.reserve_percent": 40})).chance
    low, high = wilson(chance.percent / 100.0, 20)
    assert (chance.low, chance.high) == pytest.approx((100 * low, 100 * high))


def test_a_member_that_ends_early_is_left_out():
    given = forecast()
    given.ghi[40:, 1] = np.nan
    hold(given)
    assert budget(plan()).chance.scenarios == 2


def test_the_climate_table_carries_on_after_the_join_and_says_when():
    hold(forecast(hours=48))
    found = budget(plan(end="2026-06-13T20:00"))
    note = next(n for n in found.notes if "forecast ends" in n)
    assert "climate table" in note
    assert "2026-06-11" in note
    spread = found.weather.light.ghi.std(axis=1)
    late = found.days.cells[found.weather.light.lit] > START + 72 * HOUR
    assert spread[late].max() > 50.0  # drawn anew for each member


@functools.cache
def history(year_from=2018, years=2, share=0.5):
    first = np.datetime64(f"{year_from}-01-01").astype("datetime64[s]").astype(float)
    last = np.datetime64(f"{year_from + years}-01-01").astype("datetime64[s]").astype(float)
    start_s = np.arange(first, last, HOUR)
    ghi = share * clear_hours(start_s)
    nothing = np.full(start_s.size, np.nan)
    return Record(
        "an invented history", *PLACE, 600.0, start_s, HOUR, 0.0, False,
        ghi, nothing, np.full(start_s.size, 9.0), np.full(start_s.size, 2.0), None, (),
    )  # fmt: skip


def test_held_history_carries_on_before_the_climate_table():
    hold(forecast(hours=48))
    save_history(history(), About("invented", "", *PLACE, 600.0, time.time(), "", ""))
    found = budget(plan(end="2026-06-13T20:00"))
    assert any("an invented history" in note for note in found.notes)
    late = found.days.cells[found.weather.light.lit] > START + 50 * HOUR
    clear = found.weather.light.sun.ghi[late]
    assert found.weather.light.ghi[late].sum(axis=0) / clear.sum() == pytest.approx(0.5, abs=0.02)


def test_held_history_is_tried_31_times_a_year():
    save_history(history(), About("invented", "", *PLACE, 600.0, time.time(), "", ""))
    found = budget(plan(kind="history"))
    assert found.chance.scenarios == 31 * 2
    assert found.plan.weather.kind == "history"


def test_a_forecast_that_does_not_cover_the_start_is_refused_with_what_to_do():
    hold(forecast())
    for start, end in (("2026-06-08T08:00", "2026-06-10T08:00"), ("2026-07-08", "2026-07-09")):
        with pytest.raises(PlanError, match="does not cover the start") as refused:
            budget(plan(start=start, end=end))
        assert len(refused.value.problems) == 1
        assert "--forecast" in refused.value.problems[0]


def test_where_nothing_can_carry_on_a_short_forecast_is_refused():
    antarctic = (-75.0, 0.0)
    hold(forecast(hours=48, place=antarctic))
    with pytest.raises(PlanError, match="nothing can carry on"):
        budget(plan(end="2026-06-13T20:00", place=antarctic))


def test_the_answer_says_how_old_the_forecast_is(monkeypatch):
    hold(forecast())
    now = time.time()
    monkeypatch.setattr(ahead.time, "time", lambda: now + 30 * HOUR)
    assert "30 hours ago" in budget(plan()).weather.source


def test_the_first_members_are_taken_where_fewer_futures_are_asked_for():
    hold(forecast())
    few, all_of_them = budget(plan(futures=2)), budget(plan())
    assert few.charge_percent == pytest.approx(all_of_them.charge_percent[:, :2])


@pytest.mark.parametrize("place", [(1.9, -157.4), (-16.8, 179.9), (27.7, 85.3)])
def test_date_line_and_odd_zones_are_ordinary(place):
    hold(forecast(place=place))
    found = budget(plan(place=place))
    sky = found.weather.light
    seconds = np.diff(found.days.cells)[sky.lit]
    clear, light = (sky.sun.ghi * seconds).sum(), (sky.ghi[:, 0] * seconds).sum()
    assert light / clear == pytest.approx(1.0, abs=0.35)  # the day that the span cuts is part dark
    assert found.chance.scenarios == 3
