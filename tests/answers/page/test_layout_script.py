"""From the page's data to the cases it simulates, against Python's laying out of the same plan."""

import base64
from datetime import timedelta

import numpy as np
import pytest
from page_script import call
from script_answers import context, laid_out
from script_plans import random_plan
from script_questions import asked, random_questions

from energy import Plan
from energy.answers.page.carried import carried
from energy.simulation.budget import budget

DEMOS = ["builtin:cloudy-repair", "builtin:two-night-trip", "builtin:january-job"]
AT_START = (None, None, {})


def assert_near(mine, theirs):
    np.testing.assert_allclose(mine, theirs, rtol=1e-12, atol=1e-12)


def assert_same(found, expected):
    """One layout of the page and Python's."""
    (mine,), case = found["cases"], expected.case
    assert mine["edges"] == case.edges.tolist()
    assert mine["count"] == case.factor.shape[1]
    assert [load["task"] for load in mine["loads"]] == [load.task for load in case.loads]
    for load, other in zip(mine["loads"], case.loads, strict=True):
        assert (load["supply"], load["leadLoss"]) == (other.supply, other.lead_loss)
        assert load["rows"] == other.rows.tolist()
        assert_near(load["watts"], other.watts)
    assert mine["inverterOn"] == case.inverter_on.astype(int).tolist()
    assert mine["chargerW"] == case.charger_w.tolist()
    assert_near(mine["factor"], case.factor)
    assert mine["capacityWh"] == case.battery.capacity_wh.tolist()
    assert mine["battery"]["start_share"] == case.battery.start_share
    assert_near(sun_of(mine), case.sun_w())
    assert_near(temp_of(mine), case.temp_c() + 0.0 * temp_of(mine))
    limits = [(o["burst"]["task"], o["burst"]["startS"], o["limit"]) for o in found["overloads"]]
    assert limits == [(o.burst.task, o.burst.start_s, o.limit) for o in expected.overloads]
    numbers = [[o["asked"], o["allowed"]] for o in found["overloads"]]
    assert numbers == [pytest.approx([o.asked, o.allowed]) for o in expected.overloads]
    assert len(found["bursts"]) == len(expected.bursts) - len(expected.overloads)
    assert found["problems"] == []


def sun_of(case):
    sun, row = np.array(case["sunW"]).reshape(-1, case["count"]), np.array(case["sunRow"])
    lit = np.zeros((row.size, case["count"]))
    lit[row >= 0] = sun[row[row >= 0]]
    return lit


def temp_of(case):
    return np.array(case["temp"]).reshape(-1, case["tempColumns"])[case["tempRow"]]


@pytest.mark.parametrize("name", DEMOS)
def test_a_demo_is_laid_out_as_in_python(name):
    assert_as_in_python(Plan.read(name), np.random.default_rng(7), 4)


@pytest.mark.parametrize(
    "first",
    [100, *(pytest.param(first, marks=pytest.mark.oracle) for first in range(110, 300, 10))],
)
def test_random_plans_are_laid_out_as_in_python(first):
    for seed in range(first, first + 10):
        assert_as_in_python(random_plan(seed), np.random.default_rng(seed), 2)


def assert_as_in_python(plan, random, count):
    page = carried(budget(plan))
    data, questions = page.data(), random_questions(random, plan, count)
    found = laid_out(data, *[asked(plan, data["tasks"], question) for question in questions])
    for one, question in zip(found, questions, strict=True):
        assert_same(one, page.budget(plan, *question))


def test_under_a_stated_sky_every_scenario_has_its_sun_until_it_ends():
    plan = Plan.read("builtin:cloudy-repair")
    data, now = carried(budget(plan)).data(), plan.span.start + timedelta(hours=3)
    question = asked(plan, data["tasks"], (now, 60.0, {}))
    from_s, until_s = question["nowS"] + 3723.0, question["nowS"] + 20_000.0
    sky = {"name": "clear", "fromS": from_s, "untilS": until_s}
    usual, clear = (one["cases"][0] for one in laid_out(data, question, question | {"sky": sky}))
    edges = np.array(clear["edges"])
    assert {from_s, until_s} <= set(edges.tolist())
    assert set(edges) - {from_s, until_s} == set(usual["edges"])
    under = (edges[:-1] >= from_s) & (edges[:-1] < until_s) & (np.array(clear["sunRow"]) >= 0)
    stated = dict(zip(data["lit"], data["skies"]["clear"], strict=True))
    cell = np.searchsorted(data["cells"], edges[:-1], side="right") - 1
    assert under.sum() > 40
    assert (sun_of(clear)[under] == [[stated[k]] for k in cell[under]]).all()
    as_usual = np.searchsorted(usual["edges"], edges[:-1], side="right") - 1
    assert (sun_of(clear)[~under] == sun_of(usual)[as_usual[~under]]).all()


def test_a_task_added_on_the_page_takes_spare_factors():
    plan = Plan.read("builtin:cloudy-repair")
    data = carried(budget(plan)).data()
    added = {**data["tasks"][0], "name": "one more", "spare": 0, "spread_percent": 30.0}
    (found,) = laid_out(data, asked(plan, [*data["tasks"], added], AT_START))
    normal = np.frombuffer(base64.b64decode(data["spare"][0]), "<f4").astype(float)
    sigma = np.sqrt(np.log1p(0.09))
    assert found["cases"][0]["factor"][-1] == pytest.approx(np.exp(sigma * normal - sigma**2 / 2))


def test_names_that_javascript_has_for_itself_are_only_names():
    plan = Plan.read("builtin:cloudy-repair")
    data = carried(budget(plan)).data()
    strange = [
        {**table, "name": name}
        for table, name in zip(
            data["tasks"], ("__proto__", "constructor", "toString"), strict=False
        )
    ]
    (found,) = laid_out(data, asked(plan, strange, AT_START))
    assert found["cases"][0]["factor"] == [[1.0] * found["cases"][0]["count"]] * len(strange)


def test_a_low_end_with_fewer_scenarios_takes_the_first():
    plan = Plan.read("builtin:cloudy-repair")
    data = carried(budget(plan)).data()
    (usual,) = data["weathers"]
    lit, count = len(data["lit"]), usual["count"]
    sun = np.frombuffer(base64.b64decode(usual["sun"]["data"]), "<u2").reshape(lit, count)[:, :4]
    temp = np.frombuffer(base64.b64decode(usual["temp"]["data"]), "<i2")
    temp = temp.reshape(-1, usual["temp"]["columns"])[:, :1]
    capacity = np.frombuffer(base64.b64decode(usual["capacity_wh"]), "<f8")[:4]
    low = {"count": 4, "capacity_wh": packed(capacity),
           "sun": {"unit_w": usual["sun"]["unit_w"], "data": packed(sun)},
           "temp": {"columns": 1, "data": packed(temp)}}  # fmt: skip
    (found,) = laid_out(data | {"weathers": [usual, low]}, asked(plan, data["tasks"], AT_START))
    all_of_them, few = found["cases"]
    assert few["count"] == 4
    assert few["capacityWh"] == all_of_them["capacityWh"][:4]
    assert few["factor"] == [factor[:4] for factor in all_of_them["factor"]]
    assert (sun_of(few) == sun_of(all_of_them)[:, :4]).all()


@pytest.mark.parametrize("length", range(9))
def test_base64_of_any_length_is_read(length):
    content = bytes(np.random.default_rng(length).integers(0, 256, length, dtype=np.uint8))
    text = base64.b64encode(content).decode()
    assert call("bytesIn", text, context=context()) == list(content)


def packed(values):
    return base64.b64encode(np.ascontiguousarray(values).tobytes()).decode()
