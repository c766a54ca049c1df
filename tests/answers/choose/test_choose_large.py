"""Plans too large to try everything: no less than a plain greedy rule, and a bound that is true.

All plans are invented.
"""

from functools import cache

import numpy as np
import pytest
from choose_plans import pack_alone as plan
from choose_plans import random_plan
from seeds import seeds

from energy.answers.choose.bound import Bound
from energy.answers.choose.choose import choose
from energy.answers.choose.coarse import SLOT_S
from energy.answers.choose.greedy import Greedy
from energy.answers.choose.items import items_of
from energy.answers.choose.judge import Choice
from energy.answers.choose.pieces import pieces
from energy.answers.choose.search import Search
from energy.simulation.budget import budget, changed


@cache
def large_plan(seed, count):
    """So many tasks, a third of them in repeats, for which the pack holds about half."""
    random = np.random.default_rng(seed)
    tasks = []
    for k in range(count):
        hour, minute = int(random.integers(8, 19)), int(random.integers(0, 12)) * 5
        task = {
            "name": f"task {k:02d}",
            "supply": "dc12",
            "working_w": int(random.integers(2, 20)) * 5,
            "priority": int(random.integers(1, 4)),
            "value": float(random.integers(1, 6)),
            "at": f"{hour:02d}:{minute:02d}",
        }
        shape = [{"minutes": 20}, {"times": 3, "each_min": 6, "pause_s": 60}, {"minutes": 40}]
        tasks.append(task | shape[k % 3])
    asked_wh = sum(t["working_w"] * (t.get("minutes") or 18) / 60 for t in tasks)
    pack = {"capacity_wh": int(asked_wh * 0.6), "reserve_percent": 20, "idle_w": 2,
            "dc12": {"rated_w": 4000}, "discharge_max_w": 5000}  # fmt: skip
    return plan(*tasks, pack=pack, goal=80, panel=[{"rated_w": 20}],
                weather={"kind": "file", "file": "builtin:greensboro", "futures": 7})  # fmt: skip


def served(plan, tasks):
    found = {}
    for task in plan.source["task"]:
        found.setdefault(task["priority"], 0.0)
    for task in tasks:
        found[task["priority"]] += task["value"]
    return [found[priority] for priority in sorted(found)]


def in_order(answer):
    return [answer.served[key] for key in sorted(answer.served, key=int)]


def greedy(plan):
    """Whole tasks, by priority and value for what they ask, as long as `budget` says yes."""
    whole, kept = budget(plan), []
    order = sorted(
        range(len(plan.task)),
        key=lambda k: (plan.task[k].priority, -plan.task[k].value / whole.asked_wh[k]),
    )
    tables = plan.source["task"]
    for k in order:
        if changed(whole, {"task": [*kept, tables[k]]}).yes:
            kept.append(tables[k])
    return served(plan, kept)


def mostly(*often, seldom):
    """Cases that always run, and others that are oracles."""
    return [*often, *(pytest.param(*case, marks=pytest.mark.oracle) for case in seldom)]


@pytest.mark.parametrize(
    ("count", "seed"), mostly((80, 1), seldom=[(15, 1), (15, 2), (30, 1), (30, 2)])
)
def test_a_large_plan_serves_no_less_than_a_greedy_rule(count, seed):
    asked = large_plan(seed, count)
    found, least = in_order(choose(asked)), greedy(asked)
    assert [round(x, 5) for x in found] >= [round(x, 5) for x in least]


@pytest.mark.parametrize(("count", "seed"), mostly(seldom=[(15, 1), (30, 1), (30, 2)]))
def test_more_effort_never_passes_the_bound(count, seed):
    asked = large_plan(seed, count)
    answer, more = choose(asked), choose(asked, effort=3)
    assert_within_the_bound(answer, in_order(more))


def assert_within_the_bound(answer, best):
    """No other choice may serve more than the gap allows at the first priority that differs."""
    assert answer.gap_percent >= 0.0
    for mine, other in zip(in_order(answer), best, strict=True):
        if abs(mine - other) > 1e-5:
            assert mine > other or mine >= other * (1.0 - answer.gap_percent / 100.0) - 1e-5
            return


def long_evening(count=16):
    """One block of the first priority too long for the pack, and small lamps of the third, all of
    which fit beside what fits of it."""
    lamps = [
        {"name": f"lamp {k:02d}", "supply": "dc12", "working_w": 4, "minutes": 5, "priority": 3,
         "at": f"{18 + k // 8}:{k % 8 * 6:02d}", "spread_percent": 0} for k in range(count)
    ]  # fmt: skip
    block = {"name": "heater", "supply": "dc12", "working_w": 80, "hours": 8, "priority": 1,
             "between": ["12:00", "20:00"], "spread_percent": 0}  # fmt: skip
    return block, lamps


PACK = {"capacity_wh": 150, "reserve_percent": 0, "charge_max_w": 300}
MAINS = [{"name": "mains", "watts": 200, "between": ["08:00", "17:00"]}]


def test_many_small_things_beside_a_block_that_is_cut_down_are_not_forgotten():
    block, lamps = long_evening()
    asked = plan(block, *lamps, pack=PACK, charger=MAINS)
    whole, answer = budget(asked), choose(asked)
    hours = 8 * answer.served["1"]
    if changed(whole, {"task": [block | {"hours": hours}, *lamps]}).yes:
        assert answer.served["3"] == pytest.approx(len(lamps))


def test_the_bound_is_not_passed_by_a_block_that_ends_before_the_night():
    # Mains keep the pack full until 18:00. Four of the heater's eight hours end there and ask
    # nothing of the night, whose 160 Wh are left for two fans: no share of the whole block's night
    # may be counted for them.
    _, lamps = long_evening(15)
    heater = {"name": "heater", "supply": "dc12", "working_w": 80, "hours": 8, "priority": 1,
              "value": 100, "between": ["14:00", "22:00"], "spread_percent": 0}  # fmt: skip
    fan = {"supply": "dc12", "times": 1, "each_min": 60, "priority": 1, "spread_percent": 0}
    fans = [fan | {"name": "A", "working_w": 35, "value": 10, "at": "18:00"},
            fan | {"name": "B", "working_w": 32, "value": 9, "at": "19:00"},
            fan | {"name": "C", "working_w": 32, "value": 9, "at": "21:00"}]  # fmt: skip
    asked = plan(heater, *fans, *lamps, pack=PACK | {"capacity_wh": 160},
                 charger=[{"name": "mains", "watts": 200, "between": ["08:00", "18:00"]}],
                 span={"start": "2026-04-10T08:00", "end": "2026-04-10T23:00"})  # fmt: skip
    whole = budget(asked)
    search = Search(whole, SLOT_S, 1, None)
    most = Bound(whole.low_end, search.every, search.items, SLOT_S).most(())
    half = {"task": [heater | {"hours": 4}, *fans[1:]]}
    assert changed(whole, half).yes
    assert most >= 100 * 4 / 8 + 9 + 9


@pytest.mark.parametrize("on", ["always", "with-tasks", [["08:00", "20:00"]]])
def test_what_the_inverter_takes_to_be_on_counts_against_what_could_fit(on):
    # 300 Wh above the reserve; twelve hours of 10 W leave 180 Wh for lamps of 20 Wh and losses.
    lamps = [
        {"name": f"lamp {k}", "supply": "dc12", "working_w": 20, "minutes": 60, "at": "12:00",
         "spread_percent": 0, "priority": 2}
        for k in range(16)
    ]  # fmt: skip
    ends = [
        {"name": "fridge", "supply": "ac", "working_w": 5, "times": 2, "each_min": 1, "must": True,
         "between": ["08:00", "20:00"], "spread_percent": 0}
    ]  # fmt: skip
    pack = {"capacity_wh": 375, "reserve_percent": 20, "idle_w": 0, "dc12": {"rated_w": 900},
            "discharge_max_w": 900,
            "inverter": {"rated_w": 600, "idle_w": 10, "on": on}}  # fmt: skip
    asked = plan(*ends, *lamps, pack=pack)
    answer = choose(asked)
    if on == "with-tasks":  # from the first use at 11:00 to the last at 17:00: 60 Wh
        assert answer.served["2"] > 9.0
    assert answer.gap_percent < 15.0


def test_what_is_all_or_nothing_and_too_much_alone_is_not_counted_as_a_part():
    # 160 Wh of which none come back; the heater asks 240 Wh and cannot be cut.
    _, lamps = long_evening()
    heater = {"name": "heater", "supply": "dc12", "working_w": 40, "between": ["09:00", "15:00"],
              "priority": 1}  # fmt: skip
    answer = choose(plan(heater, *lamps, pack=PACK))
    assert answer.proven
    assert answer.served == {"1": 0.0, "3": len(lamps)}


@pytest.mark.parametrize("seed", seeds(3, 12))
def test_what_is_served_never_passes_the_bound(seed):
    whole = budget(random_plan(seed))
    search = Search(whole, SLOT_S, 1, None)
    found = search.run()
    if found is not None:
        bound = Bound(whole.low_end, search.every, search.items, SLOT_S)
        for rank, value in enumerate(found.served):
            assert bound.most(found.served[:rank]) >= value - 1e-6


def test_what_is_too_much_alone_takes_no_room_from_what_could_fit():
    # 160 Wh and no sun. The heater asks 240 Wh, is worth most for what it asks and can never run;
    # six lamps of 20 Wh can, and no bound may lie below what can.
    lamps = [
        {"name": f"lamp {k}", "supply": "dc12", "working_w": 20, "minutes": 60, "priority": 1,
         "at": f"{10 + k}:00", "spread_percent": 0} for k in range(6)
    ]  # fmt: skip
    heater = {"name": "heater", "supply": "dc12", "working_w": 40, "between": ["09:00", "15:00"],
              "priority": 1, "value": 50, "spread_percent": 0}  # fmt: skip
    whole = budget(plan(heater, *lamps, pack={"capacity_wh": 160, "reserve_percent": 0}))
    assert changed(whole, {"task.1": None}).yes
    search = Search(whole, SLOT_S, 1, None)
    assert Bound(whole.low_end, search.every, search.items, SLOT_S).most(()) >= len(lamps)


def test_what_no_limit_lets_run_is_not_said_to_be_missing():
    # The saw asks 200 W of 12 V outlets that give 120 W, and a helper waits for it: neither can
    # ever run. All else fits, so nothing that could fit is missing.
    _, lamps = long_evening(20)
    saw = {"name": "saw", "supply": "dc12", "working_w": 200, "times": 3, "each_min": 5,
           "between": ["09:00", "12:00"], "priority": 1}  # fmt: skip
    helper = {"name": "sweep", "supply": "dc12", "working_w": 10, "minutes": 10, "priority": 2,
              "between": ["12:00", "14:00"], "after": "saw"}  # fmt: skip
    answer = choose(plan(helper, saw, *lamps, pack=PACK))
    assert {one.task for one in answer.left_out} == {"saw", "sweep"}
    assert answer.proven


class Roomy:
    """A judge that lets everything run, and keeps what it was asked."""

    def __init__(self):
        self.asked = []

    def holds_each(self, several, smaller):
        self.asked += several
        return [Choice(levels, ()) for levels in several]


def test_where_all_holds_what_is_added_is_tried_once_and_not_beside_all_that_may_follow():
    result, judge = budget(large_plan(1, 30)), Roomy()
    items = items_of(result, pieces(result))
    greedy = Greedy(judge, items, 1)
    full = greedy.fill(Choice(items.least, ()), greedy.open)
    assert full.levels == items.most
    assert len(set(judge.asked)) <= 2 * len(items.most)  # a little of each, and all of it


def test_what_could_never_run_is_not_tried():
    lamp = {"name": "lamp", "supply": "dc12", "working_w": 9, "minutes": 60, "at": "10:00"}
    heaters = [lamp | {"name": f"heater {k}", "working_w": 900} for k in range(3)]
    result, judge = budget(plan(lamp, *heaters)), Roomy()
    items = items_of(result, pieces(result))
    greedy = Greedy(judge, items, 1)
    greedy.fill(Choice(items.least, ()), greedy.open)
    assert {k for levels in judge.asked for n, level in enumerate(levels) if level
            for k in items.tasks[n]} == {0}  # fmt: skip
