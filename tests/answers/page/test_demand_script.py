"""What the page's tasks draw and when they run, against Python's."""

import json
from dataclasses import astuple

import numpy as np
import pytest
from page_script import call
from script_answers import answers, calendar_kit, context, task_table
from script_plans import chosen, random_plan

from energy.model import demand
from energy.plan import Plan, PlanError
from energy.plan.task import Task
from energy.simulation.bursts import days_of
from energy.simulation.case import calendar_of

TRACE = ((-2.0, 5.0), (1.5, 90.0), (30.25, 0.0), (41.0, 12.5))
TOOL = {"name": "tool", "supply": "ac", "working_w": 310.0, "idle_w": 70.0, "duty_percent": 35.0,
        "on_w": 55.0, "off_w": 2.0, "period_min": 13.7, "energy_wh": 40.3, "power_w": 57.6,
        "trace": TRACE}  # fmt: skip
KINDS = ("steady", "intermittent", "cycling", "charging", "trace")


def as_tuple(step):
    return step["startS"], step["endS"], step["meanW"], step["workingW"], step["starts"]


def tool(kind, **figures):
    return Task(**TOOL | {"kind": kind} | figures)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("taper", [0.0, 80.0, 100.0])
def test_steps_of_every_kind_are_those_of_python(kind, taper):
    task = tool(kind, taper_from_percent=taper)
    for lasts_s in (task.repeat_s, 0.7, 12.345, 822.0, 40_000.0):
        steps = call("steps", task_table(task), lasts_s)
        assert [as_tuple(s) for s in steps] == [astuple(s) for s in demand.steps(task, lasts_s)]


def test_bursts_are_cut_to_the_span_as_in_python():
    random = np.random.default_rng(2)
    for _ in range(150):
        task, span = tool(chosen(random, KINDS)), (1000.0, 9000.0)
        starts = np.round(random.uniform(-3000.0, 11_000.0, 3), 3).tolist()
        placed = [(t, t + chosen(random, (45.5, 1800.0, 20_000.0))) for t in sorted(starts)]
        bursts = call("bursts", task_table(task), 3, 7, placed, span)
        assert [[as_tuple(s) for s in b["pieces"]] for b in bursts] == [
            [astuple(s) for s in b.pieces] for b in demand.bursts(task, 3, 7, placed, span)
        ]
        assert all((b["task"], b["window"]) == (3, 7) for b in bursts)
        assert all(b["startS"] == b["pieces"][0]["startS"] for b in bursts)


# A third of a Wh at a third of a watt and the like: a charge's seconds end in any digit.
@pytest.mark.parametrize("taper", [0.0, 63.0, 80.0, 100.0])
def test_how_long_a_charge_takes_is_rounded_as_in_python(taper):
    for k in range(300):
        power_w = (3.0, 57.6, 115_200.0)[k % 3]
        task = tool("charging", energy_wh=k / 7 + 0.1, power_w=power_w, taper_from_percent=taper)
        assert call("chargeS", task_table(task)) == task.charge_s


def test_the_windows_of_a_day_are_those_of_python():
    for seed in range(60):
        plan = random_plan(seed, fits=False)
        calendar = calendar_of(plan)
        tables = [task_table(task) for task in plan.task]
        try:
            every, refused = days_of(plan, calendar), []
        except PlanError as error:
            every, refused = None, error.problems
        (found,) = answers("daysOf", calendar_kit(calendar), [[tables]])
        assert [
            f'{plan.origin}: task {p["task"] + 1} "{plan.task[p["task"]].name}": {p["text"]}'
            for p in found["problems"]
        ] == refused
        if every is not None:
            assert [
                [(d["number"], tuple(d["window"]), as_tuples(d["intervals"])) for d in days]
                for days in found["every"]
            ] == [[(d.number, d.window, d.intervals) for d in days] for days in every]


def test_repeats_that_do_not_fit_between_sunset_and_sunrise_are_a_problem_of_their_task():
    plan = Plan.from_dict(
        {
            "place": {"latitude_deg": 67.5, "longitude_deg": 15, "elevation_m": 0,
                      "timezone": "Europe/Oslo"},
            "span": {"start": "2026-05-20T07:00:00", "end": "2026-05-21T20:00:00"},
            "pack": {"capacity_wh": 500},
            "task": [{"name": "light", "supply": "dc12", "working_w": 9},
                     {"name": "reading", "supply": "dc12", "working_w": 9, "times": 9,
                      "each_min": 30, "between": ["sunset", "sunrise"]}],
        }
    )  # fmt: skip
    calendar = calendar_of(plan)
    with pytest.raises(PlanError) as refused:
        days_of(plan, calendar)
    tables = [task_table(task) for task in plan.task]
    (found,) = answers("daysOf", calendar_kit(calendar), [[tables]])
    assert [problem["task"] for problem in found["problems"]] == [1]
    assert refused.value.problems[0].endswith(found["problems"][0]["text"])
    assert found["every"][1] == []
    assert len(found["every"][0]) == 3


def test_other_errors_are_not_taken_for_a_window_too_short():
    broken = json.dumps({"tasks": [{"kind": "steady", "between": [["clock", 0], ["sunset", 0]]}]})
    with pytest.raises(Exception, match="TypeError"):
        context().eval(f"daysOf({{data: null, firstDay: 0, lastDay: 0}}, {broken}.tasks)")


def as_tuples(intervals):
    return tuple(tuple(interval) for interval in intervals)
