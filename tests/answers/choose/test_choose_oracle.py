"""The choice against trying everything: `budget` judges every way of doing a plan, by the tests'
own count, and none of those that hold serves more.

By default a few plans; `-m oracle` runs more, and with CHOOSE_ORACLE=all in the environment 250 in
7 to 31 scenarios, the longest among them, and 50 in 200. All plans are invented.
"""

import os
from datetime import date

import pytest
from choose_plans import HOME, Where, choices, hands_follow, holds, in_order, random_plan

from energy.answers.choose.choose import choose
from energy.simulation.budget import budget

HOUR_S = 3600.0
EVERYTHING = os.environ.get("CHOOSE_ORACLE") == "all"
LONG = (5, 6, 7, 10, 14, 15, 20, 22)  # those of the first that take longest
LONGEST = (6, 22, 36, 42) if not EVERYTHING else ()  # each as long as twenty others
FEW = [seed for seed in range(24) if seed not in LONG]
MORE = [seed for seed in (*LONG, *range(24, 250 if EVERYTHING else 104)) if seed not in LONGEST]
MANY_SCENARIOS = range(1000, 1050 if EVERYTHING else 1012)
ELSEWHERE = {
    "clocks back tonight": Where(52.5, 13.4, "Europe/Berlin", date(2026, 10, 24)),
    "clocks forward tonight": Where(52.5, 13.4, "Europe/Berlin", date(2026, 3, 28)),
    "southern spring, clocks forward": Where(-42.9, 147.3, "Australia/Hobart", date(2026, 10, 3)),
    "west of the date line": Where(-43.9, -176.5, "Pacific/Chatham", date(2026, 7, 1)),
    "east of it": Where(51.9, -176.6, "America/Adak", date(2026, 11, 1)),
}


def served_in_order(answer, plan):
    """What is served at each priority, the first one first."""
    priorities = sorted({task.priority for task in plan.task})
    return tuple(answer.served.get(str(priority), 0.0) for priority in priorities)


def serves_more(one, other):
    """Whether a choice serves more at the first priority at which two of them differ."""
    differ = [a - b for a, b in zip(one, other, strict=True) if abs(a - b) > 1e-6]
    return bool(differ) and differ[0] > 0.0


def assert_nothing_better_holds(plan, where=HOME):
    answer, whole = choose(plan, slot_s=HOUR_S), budget(plan)
    every = choices(plan, where)
    if answer.possible:
        assert answer.budget.yes
        again = budget(plan.replace(**answer.change))
        assert again.yes
        assert again.chance == answer.budget.chance
        assert hands_follow(again)
        assert in_order(again)
        served = served_in_order(answer, plan)
        every = [one for one in every if serves_more(one.served, served)]
    better = next((one for one in every if holds(whole, one)), None)
    assert better is None, f"{answer.served} against {better.served} by {better.tables}"


@pytest.mark.parametrize("seed", FEW)
def test_no_choice_that_holds_serves_more(seed):
    assert_nothing_better_holds(random_plan(seed))


@pytest.mark.oracle
@pytest.mark.parametrize("seed", MORE)
def test_no_choice_that_holds_serves_more_in_many_plans(seed):
    assert_nothing_better_holds(random_plan(seed))


@pytest.mark.oracle
@pytest.mark.parametrize("seed", MANY_SCENARIOS)
def test_no_choice_that_holds_serves_more_in_two_hundred_scenarios(seed):
    assert_nothing_better_holds(random_plan(seed, scenarios=200))


@pytest.mark.parametrize("where", ELSEWHERE)
def test_no_choice_that_holds_serves_more_elsewhere(where):
    at = ELSEWHERE[where]
    assert_nothing_better_holds(random_plan(sorted(ELSEWHERE).index(where), where=at), at)


@pytest.mark.oracle
@pytest.mark.parametrize("seed", range(2000, 2050 if EVERYTHING else 2010))
def test_no_choice_that_holds_serves_more_in_many_plans_elsewhere(seed):
    at = list(ELSEWHERE.values())[seed % len(ELSEWHERE)]
    assert_nothing_better_holds(random_plan(seed, where=at), at)
