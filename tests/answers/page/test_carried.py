"""What the page carries: no energy is lost in coarser cells, and the answer hardly moves.

Expected values come from conservation, from the finer simulation and from the rounding's own size.
All plans are invented.
"""

import base64
import json
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from page_plans import DEMOS, NAMES, PLANS, demo, page_of, plan_of

from energy import Plan, PlanError, budget
from energy.answers.page.carried import MOST_SCENARIOS, carried
from energy.answers.page.data import as_written, rounding_words
from energy.simulation.random_factors import lognormal, random_factors

BY_THE_WEEK = ("eight days", "a month")
COARSE_POINTS = 0.5  # of charge, that the coarser sun may move a demo's lowest charge by


@pytest.mark.parametrize("name", NAMES)
def test_no_watt_hour_of_sun_is_lost_but_by_rounding(name):
    page = page_of(name)
    for source, mine in zip(page.full.deciding[: len(page.weathers)], page.weathers, strict=True):
        fine, light = source.solar.panel_w[:, :MOST_SCENARIOS], source.weather.light
        expected = (fine * np.diff(source.days.cells)[light.lit, None]).sum(axis=0) / 3600.0
        hours = np.diff(page.cells)[page.lit, None] / 3600.0
        carried_wh = (mine.sun_w * hours).sum(axis=0)
        assert np.abs(carried_wh - expected).max() <= mine.unit_w / 2.0 * hours.sum() + 1e-9


@pytest.mark.parametrize("name", NAMES)
def test_the_cells_are_edges_of_the_finer_ones_and_cover_the_span(name):
    page = page_of(name)
    assert set(page.cells) <= {*page.full.days.cells, *page.full.days.span}
    assert (page.cells[0], page.cells[-1]) == page.full.days.span
    longest_s = 1800.0 if name in BY_THE_WEEK else 600.0
    assert np.diff(page.cells).max() == longest_s


@pytest.mark.parametrize("name", DEMOS)
def test_the_lowest_charge_hardly_moves(name):
    page = page_of(name)
    coarse = page.budget(page.plan)
    moved = np.abs(coarse.lowest_percent - page.full.lowest_percent)
    assert moved.max() <= COARSE_POINTS
    assert moved.max() == pytest.approx(page.off_by_percent)
    assert coarse.answer == page.full.answer


def test_what_rounding_costs_is_said():
    page = page_of("january-job")
    assert f"{page.off_by_percent:.1f} points" in rounding_words(page)
    assert rounding_words(page).startswith("sun by 10 minutes")
    assert "On the screen" not in rounding_words(page)
    assert "the dull day are those of 64 of the 200 weathers" in rounding_words(page_of("climate"))


@pytest.mark.parametrize("name", [*DEMOS, "climate", "frost"])
def test_the_same_plan_gives_the_same_bytes(name):
    again = carried(budget(PLANS[name]()))
    assert json.dumps(again.data()) == json.dumps(page_of(name).data())


@pytest.mark.parametrize("name", NAMES)
def test_the_data_is_json_without_nan(name):
    text = json.dumps(page_of(name).data(), allow_nan=False)
    assert json.loads(text)["title"] == plan_of(name).title


def test_at_most_64_weathers_and_the_first_ones():
    page = page_of("climate")
    assert [weather.count for weather in page.weathers] == [64, 64]
    whole = random_factors(page.plan, "task", page.plan.task[0].name, 20.0, 200)
    mine = lognormal(page.normals[page.plan.task[0].name], 20.0)
    assert mine == pytest.approx(whole[:64], rel=1e-6)


def test_the_low_end_decides_for_the_climate_table():
    page = page_of("climate")
    coarse = page.budget(page.plan)
    assert coarse.weather.mean_uncertain
    assert len(coarse.deciding) == 2
    assert coarse.low_end.solar.panel_w.sum() < coarse.solar.panel_w.sum()


def test_other_weather_carries_no_low_end():
    assert len(page_of("cloudy-repair").weathers) == 1


def test_without_panels_there_is_no_sun_and_no_sky():
    page = page_of("no panels")
    assert page.lit.size == 0
    assert "skies" not in page.data()


def test_a_polar_night_is_dark_and_a_polar_day_is_not():
    assert page_of("polar night").lit.size == 0
    assert page_of("polar day").lit.size == page_of("polar day").cells.size - 1


def test_skies_give_less_the_darker_they_are():
    skies = page_of("cloudy-repair").skies
    assert list(skies) == ["clear", "few", "broken", "overcast"]
    sums = [watts.sum() for watts in skies.values()]
    assert sums == sorted(sums, reverse=True)
    assert sums[0] > 2.0 * sums[-1]


def test_a_sky_is_that_of_the_plan_stated_so():
    page = page_of("cloudy-repair")
    stated = budget(demo(weather={"kind": "sky", "sky": "overcast", "futures": 1}))
    seconds = np.diff(stated.days.cells)[stated.weather.light.lit, None]
    expected = (stated.solar.panel_w * seconds).sum()
    mine = (page.skies["overcast"] * np.diff(page.cells)[page.lit]).sum()
    assert mine == pytest.approx(expected, rel=0.01)  # the stated plan takes the usual air


def test_numbers_are_read_back_as_they_were():
    page = page_of("climate")
    data = page.data()
    for carried_weather, shown in zip(page.weathers, data["weathers"], strict=True):
        steps = np.frombuffer(base64.b64decode(shown["sun"]["data"]), dtype="<u2")
        watts = steps.reshape(page.lit.size, shown["count"]) * shown["sun"]["unit_w"]
        assert np.array_equal(watts, carried_weather.sun_w)
        steps = np.frombuffer(base64.b64decode(shown["temp"]["data"]), dtype="<i2")
        shape = page.cells.size - 1, shown["temp"]["columns"]
        assert np.array_equal(steps.reshape(shape) / 100.0, carried_weather.temp_c)
        capacity = np.frombuffer(base64.b64decode(shown["capacity_wh"]), dtype="<f8")
        assert np.array_equal(capacity, page.budget(page.plan).capacity_wh)


def test_from_now_on_is_the_rest_of_the_day():
    page, noon = page_of("cloudy-repair"), datetime(2026, 9, 14, 12)
    done = {"drill the new holes": 3}
    coarse = page.budget(page.plan, noon, 61.0, done)
    fine = budget(page.plan, noon, 61.0, done=done)
    assert coarse.charge_percent[0] == pytest.approx(61.0)
    assert np.abs(coarse.lowest_percent - fine.lowest_percent).max() <= COARSE_POINTS
    assert [p.as_dict() for p in coarse.progress] == [p.as_dict() for p in fine.progress]


def test_factors_of_an_added_task_may_be_given():
    page = page_of("cloudy-repair")
    more = {"tool": "kettle-small", "name": "more tea", "at": "15:00", "times": 1, "each_s": 300}
    plan = page.plan.replace(task=[*page.plan.source["task"], more])
    doubled = page.budget(plan, factors={"more tea": np.full(31, 2.0)})
    assert np.array_equal(doubled.case.factor[-1], np.full(31, 2.0))
    assert np.array_equal(doubled.case.factor[:-1], page.budget(page.plan).case.factor)


def test_a_day_under_way_is_refused():
    under_way = budget(demo(), datetime(2026, 9, 14, 12), 70.0)
    with pytest.raises(PlanError, match="whole plan"):
        carried(under_way)


def test_the_plan_is_carried_as_written():
    again = Plan.from_dict(json.loads(json.dumps(as_written(demo()))))
    assert again.model_dump() == demo().model_dump()


def test_the_zone_is_told_around_a_clock_change():
    plan = demo(
        place={"latitude_deg": 59.9, "longitude_deg": 10.7, "timezone": "Europe/Oslo"},
        span={"start": "2026-10-24T08:00", "end": "2026-10-26T08:00"},
        weather={"kind": "clear", "temp_air_c": 10},
    )
    (first, summer), (changes, winter) = carried(budget(plan)).data()["zone"]["offsets"]
    assert (summer, winter) == (7200.0, 3600.0)
    assert changes == datetime(2026, 10, 25, 1, tzinfo=ZoneInfo("UTC")).timestamp()
    start = datetime(2026, 10, 24, 8, tzinfo=ZoneInfo("Europe/Oslo"))
    assert first == (start - timedelta(days=3)).timestamp()


def test_every_tool_has_what_it_draws():
    data = page_of("cloudy-repair").data()
    tools = [data["usual"] | tool for tool in data["tools"]]
    assert len(tools) > 100
    needed = {"steady": "working_w", "intermittent": "working_w", "cycling": "on_w"}
    needed |= {"charging": "energy_wh", "trace": "trace"}
    for tool in tools:
        assert tool[needed[tool["kind"]]] is not None
        assert tool["tool"]
        assert tool["group"]


def test_own_tools_come_first(tmp_path):
    (tmp_path / "kit.toml").write_text(
        '[my-saw]\nsupply = "ac"\nworking_w = 777\ngroup = "mine"\n[half-a-tool]\nworking_w = 5\n'
    )
    tables = demo().source | {"profiles": ["kit.toml"]}
    tools = carried(budget(Plan.from_dict(tables, folder=tmp_path))).data()["tools"]
    assert (tools[0]["tool"], tools[0]["working_w"]) == ("my-saw", 777.0)
    assert "half-a-tool" not in {tool["tool"] for tool in tools}
