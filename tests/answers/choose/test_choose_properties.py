"""What must hold of any choice, on random plans: it can be followed, it can be written, nothing
that was left out fits any more, and its figures are those of `budget`.

All plans are invented.
"""

import json
import os
import subprocess
import sys
from functools import cache

import pytest
from checkout import ROOT
from choose_plans import hands_follow, in_order, random_plan, served_by

from energy.answers.choose.choose import choose
from energy.simulation.budget import budget, changed

HOUR_S = 3600.0
SEEDS = (1003, 1007, 1013, 1016, 1021, 1024)  # of which something fits


@cache
def case(seed):
    """A plan's budget, its choice, and the budget of the plan as that choice writes it."""
    plan = random_plan(seed)
    answer = choose(plan, slot_s=HOUR_S)
    assert answer.possible
    return budget(plan), answer, budget(plan.replace(**answer.change))


def seconds(found):
    """For how long each task runs in a budget's plan, by name."""
    times = dict.fromkeys((task.name for task in found.plan.task), 0.0)
    for burst in found.bursts:
        times[found.plan.task[burst.task].name] += burst.end_s - burst.start_s
    return times


def shares(seed):
    whole, _, written = case(seed)
    done = seconds(written)
    return {name: done.get(name, 0.0) / asked for name, asked in seconds(whole).items()}


def together(planned, name):
    """A task's name with those that it is chosen or left out together with."""
    pairs = [{task["name"], task["with"]} for task in planned if "with" in task]
    found = {name}
    for _ in pairs:
        found = found.union(*(pair for pair in pairs if pair & found))
    return found


def put_back(seed, name, without=None):
    """The written plan with all of a task, and what it belongs to, as it was planned; and without
    another."""
    whole, answer, _ = case(seed)
    planned = whole.plan.source["task"]
    chosen = answer.change.get("task", planned)
    back, gone = together(planned, name), together(planned, without)
    kept = [task for task in chosen if task["name"] not in back | gone]
    return changed(whole, {"task": kept + [task for task in planned if task["name"] in back]})


@pytest.mark.parametrize("seed", SEEDS)
def test_served_is_value_times_the_share_of_the_time_that_runs(seed):
    whole, answer, _ = case(seed)
    served = served_by(whole.plan, shares(seed))
    priorities = sorted({task.priority for task in whole.plan.task})
    assert [answer.served[str(p)] for p in priorities] == pytest.approx(served, abs=1e-4)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_written_plan_is_the_timetable(seed):
    _, answer, written = case(seed)
    ran = {}
    for burst in written.bursts:
        spells = ran.setdefault((written.plan.task[burst.task].name, burst.task, burst.window), [])
        spells.append((burst.start_s, burst.end_s))
    found = sorted((name, spells[0][0], max(spells)[1]) for (name, *_), spells in ran.items())
    told = sorted((r.task, r.start.timestamp(), r.end.timestamp()) for r in answer.timetable)
    assert [name for name, *_ in told] == [name for name, *_ in found]
    for row, spell in zip(told, found, strict=True):
        assert row[1:] == pytest.approx(spell[1:], abs=1.0)


@pytest.mark.parametrize("seed", SEEDS)
def test_what_belongs_together_is_all_in_or_all_out(seed):
    done = shares(seed)
    for task in case(seed)[0].plan.task:
        if task.with_ is not None:
            assert done[task.name] == pytest.approx(done[task.with_], abs=1e-6)


@pytest.mark.parametrize("seed", SEEDS)
def test_hands_and_order_can_follow(seed):
    whole, _, written = case(seed)
    moving = {task.name for task in whole.plan.task if task.flexible}
    blocks = [
        k for k, task in enumerate(written.plan.task) if task.at is not None and task.name in moving
    ]
    assert hands_follow(written, frozenset(blocks))
    assert in_order(written)
    assert not any("waits for" in note for note in written.notes)


@pytest.mark.parametrize("seed", SEEDS)
def test_what_moves_goes_in_at_most_two_blocks_a_window(seed):
    whole, answer, _ = case(seed)
    for task in whole.plan.task:
        if task.flexible:  # each of them has one day in these plans
            assert sum(row.task == task.name for row in answer.timetable) <= 2


@pytest.mark.parametrize("seed", SEEDS)
def test_nothing_left_out_can_be_put_back_and_its_figures_are_those_of_the_budget(seed):
    _, answer, _ = case(seed)
    for left in answer.left_out:
        again = put_back(seed, left.task)
        free = hands_follow(again) and in_order(again)
        assert "waits for" in left.why or not (again.yes and free), left.task
        if left.failing is not None and free and not again.overloads:
            assert left.failing == int((~again.low_end.success).sum())
            assert left.may_fail == again.low_end.may_fail
            assert left.failing > left.may_fail
        if left.costs is not None and "in place of" in left.why:
            assert put_back(seed, left.task, without=left.costs).yes


@pytest.mark.parametrize("seed", SEEDS)
def test_work_of_lower_priority_costs_a_higher_one_nothing(seed):
    whole, answer, _ = case(seed)
    tasks = whole.plan.source["task"]
    for last in sorted({task["priority"] for task in tasks})[:-1]:
        # what must run stays, whatever its priority, with all that it needs
        kept = [task for task in tasks if task["priority"] <= last or task["must"]]
        names = {task["name"] for task in kept}
        if any(task.get("after", task["name"]) not in names for task in kept):
            continue
        alone = choose(whole.plan.replace(task=kept), slot_s=HOUR_S)
        levels = sorted({str(t["priority"]) for t in kept if t["priority"] <= last}, key=int)
        without = [alone.served.get(level, 0.0) for level in levels]
        assert without == pytest.approx([answer.served[level] for level in levels], abs=1e-6)


@pytest.mark.parametrize("seed", SEEDS)
def test_more_effort_serves_no_less(seed):
    whole, answer, _ = case(seed)
    more = choose(whole.plan, slot_s=HOUR_S, effort=2)
    levels = sorted(answer.served, key=int)
    one, two = ([round(a.served[key], 5) for key in levels] for a in (answer, more))
    assert two >= one
    assert two == one or not answer.proven


@pytest.mark.parametrize("seed", SEEDS)
def test_the_same_plan_gives_the_same_json_without_nan(seed):
    whole, answer, _ = case(seed)
    again = choose(whole.plan, slot_s=HOUR_S)
    first, second = (json.dumps(a.as_dict(), allow_nan=False) for a in (answer, again))
    assert first == second


def test_two_processes_with_one_thread_and_two_give_the_same_json():
    script = """
import json
from choose_plans import random_plan
from energy.answers.choose.choose import choose
print(json.dumps(choose(random_plan(8), slot_s=3600.0).as_dict()))
"""
    told = []
    for threads in ("1", "2"):
        keys = {f"{name}_NUM_THREADS": threads for name in ("OMP", "OPENBLAS", "MKL")}
        path = os.pathsep.join([str(ROOT / "tests" / "shared"), str(ROOT)])
        run = subprocess.run(
            [sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=ROOT,
            env=os.environ | keys | {"PYTHONPATH": path},
        )  # fmt: skip
        told.append(run.stdout)
    assert told[0] == told[1]
