"""Yes, almost, no: what stops is one thing, the reserve another.

The counts are made here from the charge and the unmet energy of each scenario. All plans are
invented.
"""

import re
from datetime import UTC, datetime

import numpy as np
import pytest
from choose_plans import random_plan
from told import at_a_glance, unfolded

from energy import Plan, check
from energy.answers.check.details import energy_lines
from energy.answers.check.words import sheet, what_decides
from energy.answers.choose.how_many import how_many
from energy.answers.start.new import from_demo
from energy.plan.documents import parse
from energy.simulation.budget import budget
from energy.simulation.result import needed

PLACE = {"latitude_deg": 46.5, "longitude_deg": 8.0, "timezone": "Europe/Zurich"}

STRONG = {
    "pack.capacity_wh": 4000,
    "pack.discharge_max_w": 2000,
    "pack.inverter": {"rated_w": 900, "surge_w": 1800},
}


def shown(answer):
    return unfolded(at_a_glance(lambda width: sheet(answer, width)))


def lamp(hours, **changes):
    """A 10 W lamp from a full pack of 100 Wh without losses or panels, in clear weather."""
    pack = {"capacity_wh": 100, "reserve_percent": 20, "idle_w": 0, "temperature": 25}
    pack |= {"dc12": {"efficiency_percent": 100}, "resistive_h": 0, "coulombic_percent": 100}
    tables = {
        "place": PLACE,
        "span": {"start": "2026-06-01T08:00", "end": "2026-06-01T23:00"},
        "weather": {"kind": "clear"},
        "pack": pack,
        "task": [
            {"name": "lamp", "supply": "dc12", "working_w": 10, "hours": hours, "at": "08:00"}
        ],
    }
    return Plan.from_dict(tables | changes)


@pytest.mark.parametrize(
    ("hours", "answer", "powered"), [(7.9, "yes", 100.0), (8.5, "almost", 100.0), (11.0, "no", 0.0)]
)
def test_a_lamp_that_uses_the_reserve_is_almost_and_one_that_goes_out_is_not(
    hours, answer, powered
):
    # 100 Wh serve 10 W for 10 h; the reserve of 20 % begins at 8 h.
    found = check(lamp(hours))
    assert found.answer == answer
    assert found.chance.powered_percent == powered
    assert f" {answer.upper()} {what_decides(found)}." in shown(found)


def test_what_a_limit_turns_away_stops_in_every_weather():
    drill = {"name": "drill", "supply": "ac", "working_w": 500, "minutes": 1, "at": "09:00"}
    found = check(lamp(1.0, task=[drill]))
    assert found.answer == "no"
    assert found.chance.powered_percent == 0.0


def test_what_runs_with_a_task_that_a_limit_turns_away_is_named():
    tool = {"supply": "ac", "working_w": 500, "power_factor": 1.0, "minutes": 60}
    tasks = [
        tool | {"name": "holes", "at": "10:30"},
        {"name": "lamp", "supply": "dc12", "working_w": 5, "hours": 10, "at": "08:00"},
        tool | {"name": "glue", "working_w": 5, "at": "10:10", "minutes": 10},
        tool | {"name": "boards", "at": "10:00", "priority": 9},
        tool | {"name": "later", "working_w": 20, "at": "10:30", "priority": 10},
    ]
    found = check(lamp(1.0, task=tasks).replace(**STRONG))
    boards = found.tasks[3]
    assert boards.why_not == 'with "holes" it asks 1000 VA of the inverter, rated 900 W'
    assert f'"boards" cannot run: {boards.why_not}' in what_decides(found)


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"pack.inverter.surge_w": 1000}, 'its start and "saw" make 1100 W, the inverter surges'),
        ({"pack.discharge_max_w": 500}, 'with losses and "saw"'),
    ],
)
def test_each_limit_that_tasks_share_names_those_that_run(changes, why):
    saw = {"name": "saw", "supply": "ac", "working_w": 400, "minutes": 60, "at": "10:00"}
    pump = saw | {"name": "pump", "working_w": 200, "start_w": 700, "priority": 9}
    plan = lamp(1.0, task=[saw, pump]).replace(**STRONG | changes)
    assert check(plan).tasks[1].why_not.startswith(why)


def test_outlets_that_several_tasks_share_name_those_that_run():
    heater = {"name": "heater", "supply": "dc12", "working_w": 90, "minutes": 60, "at": "10:00"}
    three = [heater | {"name": f"fan {k}", "working_w": 10} for k in (1, 2)]
    asked = [heater, *three, heater | {"name": "pump", "priority": 9}]
    why = check(lamp(1.0, task=asked).replace(**STRONG)).tasks[3].why_not
    assert why.startswith('with "heater", "fan 1" and 1 more 200 W are asked of the 12 V outlets')


@pytest.mark.parametrize("seed", range(40, 60))
def test_the_answer_is_what_the_scenarios_count_up_to(seed):
    plan = random_plan(seed)
    result = budget(plan)
    deciding = (result, *result.bounds) if plan.weather.kind == "climate" else (result,)
    goal = plan.goal.chance_percent
    works, powered = [], []
    for each in deciding:
        unmet = each.unmet_wh.sum(axis=0) > 1e-6
        above = each.lowest_percent - each.cold_unavailable_at_lowest_percent
        enough = needed(goal, unmet.size)
        works.append((~unmet & (above >= plan.pack.reserve_percent - 1e-6)).sum() >= enough)
        powered.append((~unmet).sum() >= enough)
    expected = "yes" if all(works) else "almost" if all(powered) else "no"
    assert result.answer == expected
    if not result.overloads:
        share = 100.0 * float(np.mean(result.unmet_wh.sum(axis=0) <= 1e-6))
        assert result.chance.powered_percent == pytest.approx(share)


def test_the_first_line_holds_the_numbers_that_decide():
    demo = check(Plan.read("builtin:cloudy-repair"))
    powered, success = demo.budget.powered, demo.budget.success
    words = (
        f"Nothing stops in any of {powered.size} weathers, but {(~success).sum()} use the reserve"
    )
    assert powered.all()
    assert f"ALMOST {words}; the goal allows {demo.budget.may_fail}." in shown(demo)


@pytest.mark.parametrize("seed", range(60, 90))
def test_the_number_in_a_no_or_an_almost_is_more_than_may(seed):
    found = check(random_plan(seed))
    words = what_decides(found)
    if found.answer == "no" and not found.budget.overloads and found.chance.scenarios > 1:
        stops, tried, may = map(
            int, re.findall(r"in (\d+) of (\d+) .*?; the goal allows (\d+)", words)[0]
        )
        assert may < stops <= tried
    elif found.answer == "almost":
        counts = re.findall(
            r"in (?:any|(\d+)) of (\d+) weathers.*, but (\d+) use.*; the goal allows (\d+)", words
        )
        works, tried, uses, may = (int(count or 0) for count in counts[0])
        assert uses + (tried - (works or tried)) > may
    else:
        assert found.yes or found.budget.overloads or found.chance.scenarios == 1


def test_an_almost_in_which_some_weathers_stop_too_says_how_many_fail_in_all():
    changes = {
        "at": "-43.12 -73.61",
        "date": "2026-12-07",
        "now": datetime(2026, 11, 27, tzinfo=UTC),
    }
    plan = Plan.from_dict(parse(from_demo(**changes), "plan"))
    found = check(plan.replace(**{"task.2.times": 17}))
    deciding = found.budget.low_end
    stops, fails = int((~deciding.powered).sum()), int((~deciding.success).sum())
    words = what_decides(found)
    assert found.answer == "almost"
    assert 0 < stops < fails
    assert f"but {fails - stops} use the reserve: {fails} fail; the goal allows" in words
    more = how_many(plan, "angle-grinder-115")
    assert (more.count, more.one_more_fails) == (0, fails)


def test_what_a_pwm_input_loses_has_a_line_of_its_own_in_the_books():
    panel, lines = [{"rated_w": 100}], {}
    for kind in ("pwm", "mppt"):
        pack = {"nominal_v": 12.8, "solar_input": {"kind": kind}}
        answer = check(lamp(5, panel=panel).replace(**{f"pack.{k}": v for k, v in pack.items()}))
        lines[kind] = [line.plain for line in energy_lines(answer, 80)]
    assert not [line for line in lines["mppt"] if "PWM" in line]
    books = lines["pwm"][lines["pwm"].index("") + 2 :]
    assert len([line for line in books if line.startswith("lost at the PWM input")]) == 1
    into_and_out_of = [float(line.split()[-2]) for line in books if line.endswith(" Wh")]
    assert sum(into_and_out_of) == pytest.approx(0.0, abs=0.5 * len(books))
