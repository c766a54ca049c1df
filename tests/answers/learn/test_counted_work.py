"""Work that was counted was done: it is spread so that one pair of hands could do it, and no limit
turns it away."""

from itertools import pairwise

import meter_days as lived
import pytest
from learn_days import day_of

from energy.answers.learn.counted_work import with_counted_work
from energy.answers.learn.readings import parse_readings
from energy.simulation.budget import as_done, budget

HEAD = "time,battery_percent,tool,count\n"
BOTH = f"{HEAD}08:00,90,,\n12:00,60,angle-grinder-115,15\n12:00,60,drill-10,20\n"


def rows_of(plan, text):
    readings = parse_readings(text, plan)
    assert not readings.problems
    return readings.rows


def two_saws(**pack):
    """Two tools that the inverter can run one at a time alone."""
    saw = {
        "supply": "ac",
        "working_w": 600,
        "each_s": 60,
        "times": 5,
        "between": ["08:00", "16:00"],
    }
    tasks = [{"name": name, **saw} for name in ("saw", "planer")]
    return lived.plan_of(panel=[], task=tasks, pack={"profile": "pack-1000", **pack})


def test_two_tools_counted_in_one_row_do_not_coincide():
    plan = lived.folded()
    done = with_counted_work(plan, rows_of(plan, BOTH))
    bursts = sorted((b.start_s, b.end_s) for b in budget(done.plan).bursts if b.task in done.tasks)
    assert len(bursts) == 35
    assert all(end <= start for (_, end), (start, _) in pairwise(bursts))


def test_what_was_counted_is_learned_from_although_on_paper_it_overloads():
    plan = two_saws(inverter={"rated_w": 500, "surge_w": 500})
    text = f"{HEAD}08:00,90,,\n12:00,70,saw,10\n16:00,50,planer,10\n"
    _, day = day_of(plan, rows_of(plan, text))
    assert not day.budget.overloads
    asked = sum(float(load.watts.sum()) for load in day.case.loads[:-2])
    assert asked > 0.0


def test_what_does_not_fit_one_after_another_was_done_side_by_side():
    plan = two_saws()
    text = f"{HEAD}08:00,90,,\n08:10,70,saw,8\n08:10,70,planer,8\n"
    done = with_counted_work(plan, rows_of(plan, text))
    assert not done.notes
    assert len([b for b in budget(done.plan).bursts if b.task in done.tasks]) == 16


def test_what_was_done_is_not_turned_away_but_what_was_only_planned_is():
    plan = two_saws(inverter={"rated_w": 500, "surge_w": 500})
    refused = budget(plan)
    assert {o.burst.task for o in refused.overloads} == {0, 1}
    assert {o.burst.task for o in as_done(refused, [0]).overloads} == {1}


@pytest.mark.parametrize("counts", [(1, 1), (40, 3), (3, 90)])
def test_the_counts_of_a_row_are_all_kept(counts):
    plan = lived.folded()
    cuts, holes = counts
    text = f"{HEAD}08:00,90,,\n15:00,60,angle-grinder-115,{cuts}\n15:00,60,drill-10,{holes}\n"
    done = with_counted_work(plan, rows_of(plan, text))
    assert [plan.times for plan in done.plan.task[done.tasks.start :]] == list(counts)
