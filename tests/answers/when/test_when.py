"""Which start day: against night lengths and the clear sky by pvlib, and against check day by day.

Plans and figures are invented.
"""

import time
from datetime import date, datetime, timedelta
from functools import cache

import numpy as np
import pandas as pd
import pvlib
import pytest

from energy import Plan, PlanError, check, when
from energy.answers.when.dullest import dullest
from energy.answers.when.seasons import seasons
from energy.plan.dates import starting
from energy.weather.fetched.cache import About, Forecast, save_forecast

LOSSLESS = {
    "capacity_wh": 1000,
    "temperature": 25,
    "idle_w": 0,
    "resistive_h": 0,
    "self_discharge_percent_month": 0,
    "coulombic_percent": 100,
    "taper_from_percent": 100,
    "charge_max_w": 1000,
    "dc12": {"rated_w": 500, "efficiency_percent": 100},
    "solar_input": {"efficiency_percent": 100},
}
NORTH = {
    "latitude_deg": 47.0,
    "longitude_deg": 9.0,
    "timezone": "Europe/Zurich",
    "elevation_m": 500,
}
SOUTH = {"latitude_deg": -41.0, "longitude_deg": 174.8, "timezone": "Pacific/Auckland"}
NIGHT_LAMP = {"name": "lamp", "supply": "dc12", "working_w": 70, "between": ["sunset", "sunrise"]}
POLAR = {"latitude_deg": 70.0, "longitude_deg": 27.0, "timezone": "Europe/Helsinki"}


def plan(place: dict = NORTH, start: str = "2026-01-01T12:00", hours: float = 24, **tables) -> Plan:
    begins = datetime.fromisoformat(start)
    return Plan.from_dict(
        {
            "place": place,
            "span": {"start": begins, "end": begins + timedelta(hours=hours)},
            "weather": {"kind": "clear"},
            "pack": LOSSLESS,
            "task": [{"name": "lamp", "supply": "dc12", "working_w": 10}],
            **tables,
        }
    )


def a_year(asked: Plan, step: int = 15):
    first = asked.span.start.date()
    return when(asked, end=first + timedelta(364), step=step)


@cache
def year_of_nights():
    """A lamp from sunset to sunrise, for a year in the north."""
    return a_year(plan(task=[NIGHT_LAMP]))


def night_hours(day: date, place: dict) -> float:
    """From the sunset of a day to the next sunrise, by pvlib's own search in the SPA."""
    noons = pd.DatetimeIndex([f"{day} 12:00", f"{day + timedelta(1)} 12:00"])
    times = pvlib.solarposition.sun_rise_set_transit_spa(
        noons.tz_localize(place["timezone"]), place["latitude_deg"], place["longitude_deg"]
    )
    return (times["sunrise"].iloc[1] - times["sunset"].iloc[0]).total_seconds() / 3600.0


@pytest.mark.parametrize(
    ("place", "mid"), [(NORTH, date(2026, 6, 21)), (SOUTH, date(2026, 12, 21))]
)
def test_the_season_of_a_lamp_at_night_is_that_of_the_short_nights(place, mid):
    """A lamp from sunset to sunrise on a pack without panels: the length of the night decides."""
    answer = year_of_nights() if place is NORTH else a_year(plan(place, task=[NIGHT_LAMP]))
    usable_h = 850.0 / 70.0
    nights = [night_hours(day.start, place) for day in answer.days]
    told = [abs(hours - usable_h) > 1.0 / 60.0 for hours in nights]
    assert sum(told) >= 23
    expected = [hours < usable_h for hours in nights]
    assert [day.yes for day in answer.days if told[answer.days.index(day)]] == [
        short for short, sure in zip(expected, told, strict=True) if sure
    ]
    (season,) = answer.seasons
    begins, ends = season.first, season.last
    if place is SOUTH:  # it passes the year's end
        assert begins.month > ends.month
        ends = ends.replace(year=begins.year + 1)
    assert abs((begins + (ends - begins) / 2 - mid).days) <= 8  # about the solstice, to half a step
    lowest = [max(100.0 - 7.0 * hours, 0.0) for hours in nights]
    assert [day.lowest_percent for day in answer.days] == pytest.approx(lowest, abs=0.25)


def clear_days_wh(days: list[date]) -> list[float]:
    """What a flat panel of 100 W gives on clear days, by pvlib's clear sky and glass [Wh]."""
    zone = NORTH["timezone"]
    hours = [pd.date_range(f"{day} 00:10", periods=72, freq="20min", tz=zone) for day in days]
    every = hours[0].append(hours[1:])
    site = pvlib.location.Location(47.0, 9.0, zone, 500)
    sky, sun = site.get_clearsky(every), site.get_solarposition(every)
    beam = (sky["ghi"] - sky["dhi"]) * pvlib.iam.physical(sun["apparent_zenith"])
    diffuse = sky["dhi"] * pvlib.iam.marion_diffuse("physical", 0.0)["sky"]
    return ((beam + diffuse).to_numpy().reshape(-1, 72).sum(axis=1) / 3.0 / 10.0).tolist()


def test_the_season_under_a_clear_sky_is_where_the_day_s_light_balances_the_load():
    """The pack begins 5 points above its reserve, the day's sun comes before the evening's load."""
    panel = {"rated_w": 100, "aim": "flat", "condition_percent": 100}
    panel["temp_coefficient_percent_per_c"] = 0
    lamp = {"name": "lamp", "supply": "dc12", "working_w": 150, "at": "22:00", "minutes": 110}
    asked = plan(
        start="2026-01-01T00:00", panel=[panel], task=[lamp], pack={**LOSSLESS, "start_percent": 20}
    )
    answer = a_year(asked, step=5)
    load_wh = 150.0 * 110.0 / 60.0
    starts = [day.start for day in answer.days]
    works = [50.0 + sun_wh >= load_wh for sun_wh in clear_days_wh(starts)]
    (expected,) = seasons(list(zip(starts, works, strict=True)))
    (season,) = answer.seasons
    assert abs((season.first - expected.first).days) <= 5
    assert abs((season.last - expected.last).days) <= 5
    assert 60 < season.days < 300


def test_a_day_is_what_check_says_of_it():
    asked = Plan.read("builtin:cloudy-repair")
    answer = when(asked, end=date(2026, 9, 16))
    for day in answer.days:
        alone = check(asked.replace(**starting(asked, day.start)))
        assert day.answer == alone.answer
        assert day.chance.as_dict() == alone.chance.as_dict()
        lowest = alone.as_dict()["lowest_charge"]
        assert day.as_dict()["lowest_percent"] == lowest["percent"]
        assert day.as_dict()["dull_tenth_percent"] == lowest["dull_tenth_percent"]
    assert answer.first_yes.start == date(2026, 9, 15)
    assert answer.best.rank == max(day.rank for day in answer.days)
    assert answer.budget.plan.span.start.date() == answer.best.start


def test_a_rough_table_counts_at_the_low_end_of_its_doubt():
    asked = plan(
        start="2026-06-01T06:00",
        hours=60,
        weather={"kind": "climate", "futures": 20},
        panel=[{"rated_w": 100}],
        task=[{"name": "lamp", "supply": "dc12", "working_w": 28, "must": True}],
    )
    (day,) = when(asked, end=date(2026, 6, 1)).days
    alone = check(asked)
    assert (day.worked, day.tried) == (int(alone.budget.low_end.success.sum()), 200)
    assert 0 < day.worked < 200
    assert day.yes == alone.yes
    assert day.chance == alone.chance
    assert day.chance.must_percent < 100.0


def test_a_pack_that_lasts_is_a_yes_all_the_year_and_one_that_does_not_at_no_time():
    always, never = (
        when(
            plan(task=[{"name": "lamp", "supply": "dc12", "working_w": watts}]),
            end=date(2026, 12, 31),
            step=73,
        )
        for watts in (1, 90)
    )
    assert [season.as_dict() for season in always.seasons] == [{"from": "01-01", "to": "12-31"}]
    assert always.first_yes.start == date(2026, 1, 1)
    assert dullest(always) is None
    assert never.seasons == ()
    assert never.first_yes is None
    assert never.as_dict()["first_yes"] is None
    assert never.answer == "no"


def test_what_the_dullest_month_needs_makes_its_worst_start_a_yes():
    answer = year_of_nights()
    need = dullest(answer)
    assert need.month == "December"
    assert abs((need.day.start - date(2026, 12, 21)).days) <= 15
    for fix in need.fixes.found:
        moved = answer.plan.replace(**starting(answer.plan, need.day.start))
        assert check(moved.replace(**fix.change)).yes
    assert need.fixes.found


def test_polar_night_is_an_ordinary_no_and_polar_day_a_yes():
    asked = plan(
        POLAR,
        start="2026-12-10T08:00",
        hours=48,
        panel=[{"rated_w": 200, "out_between": ["sunrise", "sunset"]}],
        task=[{"name": "lamp", "supply": "dc12", "working_w": 30}],
    )
    december = when(asked)
    assert len(december.days) == 14
    assert {day.answer for day in december.days} == {"no"}
    assert december.days[0].lowest_percent == pytest.approx(0.0, abs=0.1)
    assert when(asked, date(2027, 6, 1), date(2027, 6, 3)).answer == "yes"


def test_a_day_on_which_the_work_does_not_fit_is_a_no_with_its_reason():
    cut = {"name": "cut", "supply": "dc12", "working_w": 10, "times": 300, "each_s": 60}
    asked = plan(POLAR, start="2026-01-10T08:00", task=[{**cut, "between": ["sunrise", "sunset"]}])
    answer = when(asked, date(2026, 1, 20), date(2026, 2, 20), step=4)
    short = [day for day in answer.days if day.why]
    assert short
    assert "do not fit" in short[0].why
    assert (short[0].answer, short[0].chance, short[0].as_dict()["lowest_percent"]) == (
        "no",
        None,
        None,
    )
    assert answer.worst.why
    assert answer.best.yes
    with pytest.raises(PlanError, match="do not fit"):
        when(asked, short[0].start, short[0].start)


def test_a_sunrise_after_the_plans_end_is_no_daylight_for_its_work():
    """The sun of Spitsbergen comes back about noon, by pvlib; a start before it ends at ten."""
    cut = {"name": "cut", "supply": "dc12", "working_w": 60, "between": ["sunrise", "sunset"]}
    place = {"latitude_deg": 78.2, "longitude_deg": 15.6, "timezone": "Arctic/Longyearbyen"}
    asked = plan(place, "2026-02-10T08:00", 26, task=[{**cut, "minutes": 20}])
    noons = pd.date_range("2026-02-01T12:00", periods=28, tz=place["timezone"])
    rises = pvlib.solarposition.sun_rise_set_transit_spa(noons, 78.2, 15.6)["sunrise"]
    first = noons[rises.notna()][0].date()
    assert rises.dropna().iloc[0].hour >= 10
    answer = when(asked, first - timedelta(days=3), first + timedelta(days=1))
    early, before, _, *after = answer.days  # the limb's height moves the first sunrise by a day
    assert [day.answer for day in (early, before, *after)] == ["no", "no", "yes", "yes"]
    assert "waits for daylight" in before.why


@pytest.mark.parametrize("amount", [{"times": 2, "each_s": 60}, {"minutes": 20}])
def test_work_that_waits_for_daylight_cannot_be_done_in_a_polar_night(amount):
    """Nothing asked would be a yes, and the best day of all."""
    cut = {"name": "cut", "supply": "dc12", "working_w": 100, "between": ["sunrise", "sunset"]}
    asked = plan(POLAR, start="2026-11-20T00:00", task=[{**cut, **amount}])
    answer = when(asked, end=date(2026, 11, 30), step=5)  # the sun stays away from the 26th on
    assert [day.answer for day in answer.days] == ["yes", "yes", "no"]
    assert answer.days[2].why == 'plan: task 1 "cut" waits for daylight that does not come'
    assert answer.worst is answer.days[2]
    with pytest.raises(PlanError, match="waits for daylight") as refused:
        when(asked, date(2026, 12, 10), date(2026, 12, 20))
    assert len(refused.value.problems) == 1


def test_equal_days_are_told_apart_by_charge_and_then_come_in_order():
    lamp = {"name": "lamp", "supply": "dc12", "working_w": 40, "between": ["sunset", "sunrise"]}
    spring = when(plan(start="2026-03-01T12:00", task=[lamp]))
    assert spring.best is spring.days[-1]  # the nights grow shorter
    assert spring.worst is spring.days[0]
    alike = when(plan())
    assert alike.best is alike.days[0]


def test_seasons_pass_the_year_s_end_and_may_be_several():
    def on(*months: int):
        days = [date(2026, 4, 1) + timedelta(5 * k) for k in range(73)]
        return [s.as_dict() for s in seasons([(day, day.month in months) for day in days])]

    assert on(6, 7) == [{"from": "06-05", "to": "07-30"}]
    assert on(12, 1) == [{"from": "12-02", "to": "01-31"}]
    assert on(3, 4, 9) == [{"from": "03-02", "to": "04-26"}, {"from": "09-03", "to": "09-28"}]
    assert on() == []


def test_a_leap_day_is_a_start_day():
    answer = when(plan(start="2028-02-27T12:00"), end=date(2028, 3, 1))
    assert [str(day.start)[5:] for day in answer.days] == ["02-27", "02-28", "02-29", "03-01"]


def test_days_are_refused_in_one_line_each():
    asked = plan()
    for end, step, words in (
        (date(2025, 12, 31), 1, "must not lie after"),
        (date(2027, 6, 1), 1, "at most 366"),
        (date(2026, 1, 9), 0, "at least 1 day"),
    ):
        with pytest.raises(PlanError, match=words) as refused:
            when(asked, end=end, step=step)
        assert len(refused.value.problems) == 1


def test_more_than_can_be_simulated_is_refused(monkeypatch):
    monkeypatch.setattr("energy.answers.when.when.MOST_CELLS", 1000)
    with pytest.raises(PlanError, match="more than can be simulated"):
        when(plan())


def test_it_shows_itself_in_a_notebook():
    answer = when(plan(), end=date(2026, 1, 3))
    table = answer.table()
    assert list(table.columns) == [
        "answer",
        "chance_percent",
        "lowest_percent",
        "dull_tenth_percent",
        "rests_on",
    ]
    assert len(table) == 3
    assert "2026-01-02" in answer._repr_html_()


@pytest.fixture
def forecast(tmp_path, monkeypatch):
    """Five days from 10 June on, in three members, the first two bright and the others dark."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    start_s = datetime.fromisoformat("2026-06-10T00:00+02:00").timestamp() + 3600.0 * np.arange(120)
    ghi = np.where(np.arange(120) < 48, 400.0, 10.0)[:, None] * np.array([1.0, 0.9, 1.1])
    shape = ghi.shape
    save_forecast(
        Forecast("invented", 47.0, 9.0, 500.0, time.time(), start_s, ghi, np.full(shape, 12.0),
                 np.full(shape, 3.0)),
        About("invented", "", 47.0, 9.0, 500.0, time.time(), "", ""),
    )  # fmt: skip


def foretold(start: str) -> Plan:
    return plan(
        start=start, hours=36, weather={"kind": "forecast"}, panel=[{"rated_w": 100}],
        task=[{"name": "lamp", "supply": "dc12", "working_w": 30}],
    )  # fmt: skip


def test_a_forecast_is_asked_as_far_as_it_reaches(forecast):
    answer = when(foretold("2026-06-08T08:00"))
    assert [str(day.start)[5:] for day in answer.days] == [f"06-{d}" for d in range(10, 15)]
    kinds = [day.rests_on for day in answer.days]
    assert kinds == ["forecast"] * 4 + ["forecast, then climate"]
    assert answer.best.start == date(2026, 6, 10)
    assert answer.left_out == 2


def test_days_beyond_a_forecast_are_refused_in_one_line(forecast):
    for first, end in (
        (date(2026, 6, 11), date(2026, 6, 20)),
        (date(2026, 6, 1), date(2026, 6, 12)),
    ):
        with pytest.raises(PlanError, match="forecast held") as refused:
            when(foretold("2026-06-11T08:00"), first, end)
        assert len(refused.value.problems) == 1
    with pytest.raises(PlanError, match="does not cover the start"):
        when(foretold("2026-08-11T08:00"))
