"""A choice serves no less than what `check` would leave out with nothing moved, wherever hands and
order allow that too.

All plans are invented.
"""

from itertools import count

import numpy as np
import pytest
from choose_plans import hands_follow, in_order, random_plan
from seeds import seeds

from energy import Plan
from energy.answers.choose.choose import choose
from energy.answers.fix.leaving import least_left_out
from energy.simulation.budget import budget

SUN_HOURS = [0.8, 1.6, 2.7, 3.9, 4.4, 4.5, 4.1, 3.3, 2.5, 1.6, 0.9, 0.6]
WEATHERS = (
    {"kind": "climate", "futures": 20},
    {"kind": "monthly", "sun_hours": SUN_HOURS, "futures": 20},
    {"kind": "file", "file": "builtin:greensboro", "futures": 31},
)


def served(whole, found):
    """Value times the share of the time that runs, at each priority, the first one first."""

    def seconds(result, task):
        mine = (burst for burst in result.bursts if result.plan.task[burst.task].name == task.name)
        return sum(burst.end_s - burst.start_s for burst in mine)

    by_priority = dict.fromkeys(sorted({task.priority for task in whole.plan.task}), 0.0)
    for task in whole.plan.task:
        by_priority[task.priority] += task.value * seconds(found, task) / seconds(whole, task)
    return tuple(round(value, 4) for value in by_priority.values())


def assert_no_less(plan):
    """Whether there was something to leave out that hands and order allow."""
    whole = budget(plan)
    least = None if whole.yes else least_left_out(whole, lambda cells: None)
    if least is None or not hands_follow(least[2]) or not in_order(least[2]):
        return False
    answer = choose(plan)
    assert answer.possible
    assert answer.budget.yes
    chosen, left = served(whole, answer.budget), served(whole, least[2])
    assert chosen >= left, f"{chosen} against {left}: {least[1]}"
    return True


def evening(seed):
    """Holes, a pump and a light after sunset, with weather of a rough table."""
    return Plan.from_dict(
        {
            "place": {"latitude_deg": 52.1, "longitude_deg": 5.2, "around": ["outdoors"]},
            "span": {"start": "2027-03-27T12:00", "end": "2027-03-28T12:00"},
            "weather": {"kind": "climate", "futures": 20, "seed": seed},
            "panel": [{"profile": "folding-200"}],
            "pack": {"profile": "pack-1000", "capacity_wh": 700},
            "task": [
                {"tool": "led-work-light", "name": "light", "between": ["sunset", "sunrise"],
                 "must": True},
                {"tool": "drill-10", "name": "holes", "times": 40, "each_s": 30,
                 "between": ["18:00", "22:00"]},
                {"name": "pump", "supply": "ac", "working_w": 150, "times": 12, "each_min": 5,
                 "between": ["23:00", "05:00"]},
            ],
        }
    )  # fmt: skip


def many_tasks(seed):
    """Twelve to thirty tasks, many of them flexible, for which the pack holds about two thirds."""
    random = np.random.default_rng(seed)
    tasks = []
    for k in range(int(random.integers(12, 31))):
        opens, long = int(random.integers(7, 20)), int(random.integers(1, 5))
        amount = (
            {"minutes": int(random.integers(2, 12)) * 5},
            {"times": int(random.integers(1, 41)), "each_s": 30},
            {"times": int(random.integers(1, 10)), "each_min": 5},
        )[int(random.integers(3))]
        tasks.append(
            amount
            | {
                "name": f"task {k}",
                "supply": "ac",
                "working_w": int(random.integers(1, 30)) * 10,
                "between": [f"{opens:02d}:00", f"{(opens + long) % 24:02d}:00"],
                "flexible": bool(random.random() < 0.5),
                "hand_held": bool(random.random() < 0.3),
                "priority": int(random.integers(1, 3)),
            }
        )
    asked_wh = sum(
        task["working_w"]
        * (task.get("minutes") or task["times"] * task.get("each_s", 300) / 60.0)
        / 60.0
        for task in tasks
    )
    return Plan.from_dict(
        {
            "place": {"latitude_deg": 36.1, "longitude_deg": -79.95, "elevation_m": 270,
                      "timezone": "America/New_York"},
            "span": {"start": "2026-04-10T07:00", "end": "2026-04-11T07:00"},
            "weather": WEATHERS[seed % 3] | {"seed": seed},
            "panel": [{"rated_w": int(random.choice([40, 100]))}],
            "pack": {"chemistry": str(random.choice(["lfp", "lfp", "agm"])),
                     "capacity_wh": max(asked_wh * random.uniform(0.5, 0.9), 80.0),
                     "inverter": {"rated_w": 1500}, "discharge_max_w": 2000},
            "goal": {"chance_percent": int(random.choice([80, 90, 95])),
                     "one_at_a_time": bool(random.random() < 0.2)},
            "task": tasks,
        }
    )  # fmt: skip


@pytest.mark.parametrize("seed", [0, *(pytest.param(s, marks=pytest.mark.oracle) for s in (1, 2))])
def test_no_less_where_the_dull_end_of_the_doubt_is_not_the_one_that_decides(seed):
    assert assert_no_less(evening(seed))


@pytest.mark.parametrize("seed", seeds(10, 60))
def test_no_less_in_small_plans(seed):
    first = next(s for s in count(100 * seed) if assert_no_less(random_plan(s)))
    assert first < 100 * seed + 100


@pytest.mark.parametrize("seed", [1218, 1410])
def test_a_stretch_and_what_goes_with_it_are_cut_alike_where_one_may_move(seed):
    assert assert_no_less(random_plan(seed))


@pytest.mark.parametrize(
    "seed", [32, *(pytest.param(s, marks=pytest.mark.oracle) for s in range(20, 40) if s != 32)]
)
def test_no_less_in_large_plans_where_much_may_move(seed):
    assert_no_less(many_tasks(seed))
