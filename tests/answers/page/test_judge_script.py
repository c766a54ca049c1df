"""What the page answers, against Python on the very weathers that the page carries."""

from __future__ import annotations

from datetime import timedelta
from functools import cache

import numpy as np
import pytest
from page_answers import answer_of, masks, python_answer
from page_plans import NAMES, PLANS, page_of, plan_of
from page_script import call
from script_questions import random_questions

from energy.simulation.success import needed

TINY = 1e-7  # of a percent
QUESTIONS = 3
FEWER = {"a month": 0, "eight days": 1}


@cache
def both(name):
    """The page's answer and Python's, to each of some questions."""
    plan = plan_of(name)
    several = FEWER.get(name, QUESTIONS)
    questions = random_questions(np.random.default_rng(5), plan, several)
    # where nothing is left to do, many weathers are lowest at the same moment
    idle = {task.name: "all" for task in plan.task}
    questions.append((plan.span.start + timedelta(minutes=50), 50.0, idle))
    page = page_of(name)
    return [(answer_of(page, asked), python_answer(page, asked)) for asked in questions]


@pytest.fixture(params=NAMES)
def answers(request):
    return both(request.param)


def test_the_charge_is_the_same_in_every_weather_at_every_edge(answers):
    for mine, check in answers:
        for store_wh, budget in zip(mine["simulated"], check.budget.deciding, strict=True):
            shape = budget.simulated.store_wh.shape
            percent = np.reshape(store_wh, shape) * (100.0 / budget.capacity_wh)
            assert np.abs(percent - budget.charge_percent).max() < TINY
        assert mine["edges"] == check.budget.time_s.tolist()


def test_the_chance_and_the_answer_are_the_same(answers):
    for mine, check in answers:
        result = check.budget
        assert (mine["answer"], mine["count"]) == (result.answer, result.success.size)
        assert mine["mayFail"] == result.may_fail
        assert (mine["success"], mine["powered"]) == (result.success.sum(), result.powered.sum())
        for outcome, budget in zip(mine["outcomes"], result.deciding, strict=True):
            assert (masks(outcome, "success") == budget.success).all()
            assert (masks(outcome, "powered") == budget.powered).all()
            assert (masks(outcome, "tooCold") == budget.too_cold).all()
            assert np.allclose(outcome["unmetWh"], budget.unmet_wh, rtol=0.0, atol=1e-5)


def test_the_middle_weather_and_its_lowest_point_are_the_same(answers):
    for mine, check in answers:
        result = check.budget
        lowest = result.lowest()
        assert (mine["middle"], mine["verdict"]) == (result.middle, result.verdict)
        assert mine["lowest"]["percent"] == pytest.approx(lowest.percent, abs=TINY)
        assert mine["lowest"]["atS"] == pytest.approx(lowest.at_s, abs=1e-3)
        assert mine["lowest"]["spareWh"] == pytest.approx(lowest.spare_wh, abs=1e-5)
        cold = lowest.cold_unavailable_percent
        assert mine["lowest"]["coldUnavailablePercent"] == pytest.approx(cold, abs=1e-5)
        assert mine["dullTenthPercent"] == pytest.approx(result.dull_tenth_percent, abs=TINY)
        middle = result.charge_percent[:, result.middle]
        assert np.abs(np.subtract(mine["charge"]["middle"], middle)).max() < TINY
        dull = np.percentile(result.charge_percent, 10.0, axis=1)
        assert np.abs(np.subtract(mine["charge"]["dull"], dull)).max() < TINY


def test_the_checkpoints_are_the_same(answers):
    for mine, check in answers:
        points = check.checkpoints
        assert [p["atS"] for p in mine["checkpoints"]] == [p.at.timestamp() for p in points]
        assert [p["leastPercent"] for p in mine["checkpoints"]] == [p.least_percent for p in points]
        assert [p["lowest"] for p in mine["checkpoints"]] == [p.lowest for p in points]
        for name, key in (("expectedPercent", "expected_percent"), ("dullPercent", "dull_percent")):
            percents = [getattr(point, key) for point in points]
            assert [p[name] for p in mine["checkpoints"]] == pytest.approx(percents, abs=TINY)


def test_the_tasks_fare_the_same(answers):
    for mine, check in answers:
        assert [t["runs"] for t in mine["tasks"]] == [t.runs for t in check.tasks]
        assert [t["whyNot"] for t in mine["tasks"]] == [t.why_not for t in check.tasks]
        by_task = check.budget.overloads_by_task
        assert [(o["task"], o["turnedAway"]) for o in mine["overloads"]] == [
            (k, len(by_task[k])) for k in sorted(by_task)
        ]


def test_the_questions_meet_every_answer_and_verdict():
    # Or the comparisons above would say little.
    checks = [check for name in PLANS if name != "a month" for _, check in both(name)]
    assert {check.answer for check in checks} == {"yes", "almost", "no"}
    assert {check.verdict for check in checks} >= {
        "stays-powered",
        "dips-into-reserve",
        "runs-flat",
    }
    least = [point.least_percent for check in checks for point in check.checkpoints]
    assert None in least
    assert len({*least}) > 20


@pytest.mark.parametrize("goal", [50.0, 80.0, 90.0, 95.0, 99.0, 100.0])
def test_as_many_must_succeed_as_in_python(goal):
    for scenarios in (1, 10, 31, 64):
        assert call("needed", goal, scenarios) == needed(goal, scenarios)


def test_a_percentile_lies_between_its_neighbours_as_in_numpy():
    rng = np.random.default_rng(3)
    for size in (1, 2, 31, 64):
        values = rng.normal(50.0, 20.0, size)
        for percent in (0.0, 10.0, 50.0, 100.0):
            expected = np.percentile(values, percent)
            assert call("percentile", values, percent) == pytest.approx(expected, abs=1e-12)


def test_of_equal_weathers_the_middle_one_is_nearest_to_the_dates():
    # As `Budget.middle`: of equal lowest charges the one in which less is missing comes last.
    above, missing = np.array([20.0, 20.0, 30.0, 20.0]), np.array([0.0, 0.0, 0.0, 5.0])
    simulated = {"firstShortS": np.full(4, np.inf)}
    outcome = {"above": above, "unmetWh": [missing], "simulated": simulated}
    assert call("middleOf", outcome, [2.0, -1.0, 0.0, 0.0]) == 1
    assert call("middleOf", outcome, [1.0, -1.0, 0.0, 0.0]) == 1
    assert call("middleOf", outcome, []) == 0


def test_of_weathers_that_run_flat_the_middle_one_lacks_the_median():
    above, missing = np.array([3.0, 2.0, 1.0]), np.array([30.0, 10.0, 20.0])
    simulated = {"firstShortS": np.zeros(3)}
    outcome = {"above": above, "unmetWh": [missing], "simulated": simulated}
    assert call("middleOf", outcome, []) == 2
