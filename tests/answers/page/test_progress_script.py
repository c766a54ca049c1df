"""A plan under way on the page, against Python's --now, --battery and --done."""

import numpy as np
import pytest
from page_script import call
from script_answers import laid_out, task_table
from script_plans import random_plan
from script_questions import asked, random_done, random_now

from energy.answers.page.carried import carried
from energy.simulation.budget import budget


@pytest.mark.parametrize(
    "first", [0, *(pytest.param(first, marks=pytest.mark.oracle) for first in range(15, 150, 15))]
)
def test_what_is_done_leaves_the_same_rest_as_in_python(first):
    stated = over = 0
    for seed in range(first, first + 15):
        random, plan = np.random.default_rng(seed), random_plan(seed)
        page, done = carried(budget(plan)), random_done(random, plan)
        question = random_now(random, plan), 60.0, done
        data, expected = page.data(), page.budget(plan, *question)
        (found,) = laid_out(data, asked(plan, data["tasks"], question))
        assert bursts_of(found["placed"]["bursts"]) == [
            (b.task, b.window, b.start_s, b.end_s) for b in expected.placed.bursts
        ]
        assert {tuple(map(int, key.split())) for key in found["placed"]["begun"]} == set(
            expected.placed.begun
        )
        assert [progress_of(p) for p in found["progress"]] == [
            (p.name, p.unit, p.planned, p.done, p.over,
             {k: [(left.day.number, left.window, left.amount, left.begun, left.as_planned)
                  for left in parts] for k, parts in p.left.items()})
            for p in expected.progress
        ]  # fmt: skip
        stated += len(done)
        over += sum(p.over > 0.0 for p in expected.progress)
    assert stated > 20
    assert over > 0


def test_a_tool_stands_for_its_tasks_where_no_task_has_the_name():
    plan = random_plan(3)
    tables = [task_table(task) | {"tool": "saw"} for task in plan.task]
    assert call("tasksCalled", tables, "saw") == list(range(len(tables)))
    assert call("tasksCalled", tables, plan.task[0].name)[0] == 0
    assert call("tasksCalled", tables, "nobody") == []


def test_lengths_go_into_one_another_as_in_python():
    random = np.random.default_rng(5)
    for _ in range(300):
        long = float(random.integers(-900, 900)) / 10.0
        each = float(random.integers(1, 50)) / 10.0
        assert call("wholeTimes", long, each) == long // each


def bursts_of(bursts):
    return [(b["task"], b["window"], b["startS"], b["endS"]) for b in bursts]


def progress_of(p):
    left = {
        k: [(part["day"]["number"], tuple(part["window"]), part["amount"], part["begun"],
             part["asPlanned"]) for part in parts]
        for k, parts in p["left"]
    }  # fmt: skip
    return p["name"], p["unit"], p["planned"], p["done"], p["over"], left
