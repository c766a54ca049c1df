"""Checkpoints: the rest of the plan, begun with the reading to turn back at, just reaches the goal.

The rest is asked of `budget` from that time on; where weather is drawn anew for another span, it is
held to the plan's own, and the scenarios are counted here. All plans are invented.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from choose_plans import random_plan

from energy import Plan, check, choose
from energy.answers.check.checkpoints import checkpoints
from energy.model.simulate import simulate
from energy.simulation.budget import budget

DEMOS = ("cloudy-repair", "january-job", "two-night-trip")
ALPS = {"latitude_deg": 46.5, "longitude_deg": 8.0, "timezone": "Europe/Zurich"}
LAMP = {"name": "lamp", "supply": "dc12", "working_w": 10}
SAW = {"name": "saw", "supply": "ac", "working_w": 400, "times": 12, "each_s": 60}
BROKEN = {"kind": "sky", "sky": "broken", "temp_air_c": 12, "futures": 40}
INVERTER = {"rated_w": 1000, "surge_w": 2000, "idle_w": 9}


def made(start, end, tasks, place=ALPS, weather=BROKEN, pack=None, **tables):
    """An invented plan: 60 W of panel, 500 Wh of pack."""
    pack = {"capacity_wh": 500, "reserve_percent": 20, "inverter": INVERTER} | (pack or {})
    return Plan.from_dict(
        {
            "place": {"elevation_m": 400, **place},
            "span": {"start": start, "end": end},
            "weather": weather,
            "panel": [{"rated_w": 60}],
            "pack": pack,
            "task": tasks,
            **tables,
        }
    )


def repair(**changes):
    return Plan.read("builtin:cloudy-repair").replace(**changes)


SAWING = {**SAW, "between": ["09:00", "13:00"]}
EVENING = {**LAMP, "between": ["18:00", "23:00"], "working_w": 8}
STALLING = {**SAWING, "name": "large saw", "working_w": 900, "start_w": 2700, "start_s": 0.3}
CLIMATE = {"kind": "climate", "temp_air_c": [6, 12], "futures": 60}
PLANS = {
    **{name: lambda name=name: Plan.read(f"builtin:{name}") for name in DEMOS},
    "the climate table": lambda: repair(weather=CLIMATE, panel=[{"rated_w": 400}]),
    "200 weathers": lambda: made(
        "2026-10-14T08:00", "2026-10-15T20:00", [SAWING, EVENING], weather=BROKEN | {"futures": 200}
    ),
    "lead-acid": lambda: repair(**{"pack.chemistry": "agm"}),
    "something overloads": lambda: made(
        "2026-10-14T08:00", "2026-10-15T20:00", [STALLING, SAWING, EVENING]
    ),
    "polar night without panels": lambda: made(
        "2026-12-20T12:00",
        "2026-12-22T12:00",
        [SAWING, {**LAMP, "between": ["16:00", "22:00"]}],
        place={"latitude_deg": 69.6, "longitude_deg": 19.0, "timezone": "Europe/Oslo"},
        panel=[],
    ),
    "the south": lambda: made(
        "2026-06-10T08:00",
        "2026-06-12T20:00",
        [SAWING, EVENING],
        place={"latitude_deg": -43.5, "longitude_deg": 172.0, "timezone": "Pacific/Auckland"},
    ),
    "clock put forward": lambda: made("2026-03-28T08:00", "2026-03-29T20:00", [SAWING, EVENING]),
    "clock put back": lambda: made("2026-10-24T08:00", "2026-10-25T20:00", [SAWING, EVENING]),
    "frost": lambda: made(
        "2026-01-10T08:00",
        "2026-01-11T08:00",
        [SAWING, EVENING],
        weather=BROKEN | {"temp_air_c": [-15, 2]},
    ),
    "nothing kept in reserve": lambda: made(
        "2026-10-14T08:00",
        "2026-10-15T20:00",
        [SAWING, EVENING],
        pack={"reserve_percent": 0, "temperature": 25},
        panel=[],
    ),
}
OF_A_FILE = (*DEMOS, "lead-acid")  # a typical year's days stay what they are, whenever one begins


@cache
def case(name):
    """A plan's budget and its checkpoints."""
    result = budget(PLANS[name]())
    return result, checkpoints(result)


def on_clock(point):
    return point.at.replace(tzinfo=None)


def reaches(name, point, percent):
    """Whether the rest of a plan reaches its goal from a checkpoint with a charge [percent]."""
    result, _ = case(name)
    rest = budget(result.plan, on_clock(point), percent)
    if name in OF_A_FILE:
        return rest.reaches_goal
    pairs = zip((result, *result.bounds), (rest, *rest.bounds), strict=True)
    return all(enough_succeed(whole, part) for whole, part in pairs)


def enough_succeed(whole, rest):
    """Whether in enough scenarios the rest holds in the weather of the whole."""
    row = np.searchsorted(whole.time_s, rest.time_s[:-1], side="right") - 1
    own = whole.case
    held = replace(
        rest.case,
        solar_w=own.sun_w()[row],
        solar_row=np.arange(row.size),
        temp_pack=own.temp_c()[row],
        temp_row=np.arange(row.size),
    )
    went = simulate(held)
    charge = 100.0 * went.store_wh / held.battery.capacity_wh
    least = 100.0 * held.cold_unavailable() + whole.plan.pack.reserve_percent - 1e-9
    kept = ((charge[1:] >= least) & (charge[:-1] >= least)).all(axis=0)
    holds = kept & (went.unmet_wh.sum(axis=0) < 1e-9) & ~went.ran_short
    return 100.0 * holds.mean() >= whole.plan.goal.chance_percent - 1e-9


@pytest.mark.parametrize("name", PLANS)
def test_from_the_reading_to_turn_back_at_the_rest_does_and_from_a_point_less_it_does_not(name):
    result, points = case(name)
    for point in (p for p in points if p.at < result.local(float(result.time_s[-1]))):
        least = point.least_percent
        if least is None:
            assert not reaches(name, point, 100)
        else:
            assert reaches(name, point, least)
            assert least == 0 or not reaches(name, point, least - 1)


def test_the_plans_show_readings_a_pack_that_cannot_and_one_that_may_be_empty():
    readings = [point.least_percent for name in PLANS for point in case(name)[1]]
    assert None in readings
    assert 0 in readings
    assert sum(r is not None and 0 < r < 100 for r in readings) > len(readings) / 2


@pytest.mark.parametrize("name", PLANS)
def test_two_to_four_moments_an_hour_apart_with_the_lowest_point_among_them(name):
    result, points = case(name)
    assert 2 <= len(points) <= 4
    times = [point.at.timestamp() for point in points]
    assert min(np.diff(times)) >= 3600.0
    assert result.time_s[0] < times[0]
    assert times[-1] <= result.time_s[-1]
    (lowest,) = [point for point in points if point.lowest]
    assert lowest.at.timestamp() == result.lowest().at_s
    assert lowest.expected_percent == pytest.approx(result.lowest().percent)


def test_a_dull_second_night_that_falls_lower_than_the_first_is_among_the_moments():
    """The first night is alike in all weathers; of a dull day's sun too little comes back."""
    lamp = {**LAMP, "working_w": 25, "between": ["20:00", "05:00"]}
    weather = {"kind": "sky", "sky": "broken", "futures": 31}
    panel = [{"rated_w": 110}]
    night = made("2026-03-01T18:00", "2026-03-03T08:00", [lamp], weather=weather, panel=panel)
    result = budget(night)
    falls = np.argsort(result.lowest_percent, kind="stable")
    dull = result.lowest(int(falls[3]))  # of 31
    assert dull.at_s > result.lowest().at_s + 12 * 3600.0
    times = [point.at.timestamp() for point in checkpoints(result)]
    assert dull.at_s in times
    assert result.lowest().at_s in times


@pytest.mark.parametrize("name", PLANS)
def test_what_is_expected_is_what_the_plan_s_curves_show(name):
    result, points = case(name)
    for point in points:
        charge = [
            np.interp(point.at.timestamp(), result.time_s, result.charge_percent[:, k])
            for k in range(result.success.size)
        ]
        assert point.expected_percent == pytest.approx(charge[result.middle])
        dull = min(np.percentile(charge, 10), charge[result.middle])
        assert point.dull_percent == pytest.approx(dull)


@pytest.mark.parametrize("name", DEMOS)
def test_a_plan_that_misses_its_goal_turns_back_above_the_dull_day(name):
    result, points = case(name)
    assert not result.yes
    assert all(p.least_percent is None or p.least_percent > p.dull_percent for p in points)


def lantern(hours, **pack):
    """A 10 W lamp from noon, from a pack of 100 Wh without losses."""
    kit = {"capacity_wh": 100, "reserve_percent": 20, "idle_w": 0, "temperature": 25}
    kit |= {"dc12": {"efficiency_percent": 100}, "resistive_h": 0, "coulombic_percent": 100}
    kit |= {"self_discharge_percent_month": 0}
    lamp = {**LAMP, "at": "12:00", "hours": hours}
    return made(
        "2026-06-01T08:00",
        "2026-06-01T23:00",
        [lamp],
        weather={"kind": "clear"},
        pack=kit | pack,
        panel=[],
    )


@pytest.mark.parametrize(
    ("hours", "reserve", "at_noon", "at_lowest"),
    [(6.0, 20, 80, 20), (6.05, 20, 81, 20), (9.0, 20, None, 20), (6.0, 0, 60, 0)],
)
def test_a_lamp_needs_its_hours_above_the_reserve(hours, reserve, at_noon, at_lowest):
    # In closed form: 10 W for so many hours are so many tenths of 100 Wh.
    points = checkpoints(budget(lantern(hours, reserve_percent=reserve)))
    assert f"{points[0].at:%H:%M}" == "12:00"
    assert points[0].least_percent == at_noon
    assert [point.least_percent for point in points if point.lowest] == [at_lowest]


def test_before_the_largest_block_after_the_last_mains_work_and_at_dusk():
    # Twelve cuts in the middles of twenty minutes each, 09:09:30 to 12:50:30. Sunset at 46.5 N 8 E
    # on 14 October: about 18:46 summer time (from memory, an almanac's).
    hours = [f"{point.at:%a %H:%M}" for point in case("200 weathers")[1]]
    assert hours[:2] == ["Wed 09:05", "Wed 12:55"]
    assert "Wed 18:45" <= hours[2] <= "Wed 18:55"


def test_a_fridge_that_runs_day_and_night_is_no_block_to_wait_for():
    fridge = {**LAMP, "name": "fridge", "working_w": 30}
    points = checkpoints(
        budget(made("2026-10-14T08:00", "2026-10-16T08:00", [fridge, SAWING | {"days": [2]}]))
    )
    assert not any(point.at.hour == 0 for point in points)
    assert any(point.at.day == 15 and point.at.hour == 9 for point in points)


@pytest.mark.parametrize(
    "seed", [4, *(pytest.param(slow, marks=pytest.mark.oracle) for slow in (14, 45, 50))]
)
def test_more_charge_never_does_worse(seed):
    # On which the search rests: every whole percent is tried from the first checkpoint.
    plan = random_plan(seed)
    if plan.weather.kind in ("climate", "monthly"):
        plan = plan.replace(weather={"kind": "sky", "sky": "broken", "temp_air_c": 9})
    point = checkpoints(budget(plan))[0]
    rest = budget(plan, on_clock(point), 100)
    does = [budget(rest.plan, rest.now, p, rest).reaches_goal for p in range(101)]
    assert sorted(does) == does
    assert point.least_percent == (does.index(True) if any(does) else None)


def test_the_order_of_the_tasks_decides_nothing():
    plan = repair()
    turned = plan.replace(task=plan.source["task"][::-1])
    assert checkpoints(budget(turned)) == case("cloudy-repair")[1]


def test_a_plan_under_way_has_checkpoints_that_are_still_to_come():
    whole, points = case("cloudy-repair")
    now = on_clock(points[1]).replace(hour=22)
    late = check(whole.plan, now=now, battery_percent=70)
    assert late.checkpoints
    assert all(on_clock(point) > now for point in late.checkpoints)
    assert late.checkpoints[-1].least_percent == points[-1].least_percent


def test_the_json_and_the_table_hold_the_same():
    answer = check(repair())
    told = answer.as_dict()["checkpoints"]
    assert [set(one) for one in told] == [
        {"at", "expected_percent", "dull_percent", "least_percent"}
    ] * len(told)
    table = answer.table("checkpoints")
    assert [at.isoformat() for at in table.index] == [one["at"] for one in told]
    assert list(table.least_percent) == [one["least_percent"] for one in told]
    assert all(isinstance(one["least_percent"], int) for one in told)
    assert list(answer.table().index) == [task.name for task in answer.tasks]


def test_a_choice_has_its_own():
    answer = choose(repair())
    assert answer.checkpoints == checkpoints(answer.budget)
    assert answer.as_dict()["checkpoints"] == [point.as_dict() for point in answer.checkpoints]
    assert len(answer.table("checkpoints")) == len(answer.checkpoints)


def test_where_nothing_fits_there_is_nothing_to_check():
    answer = choose(lantern(10.5, reserve_percent=99))
    assert not answer.possible
    assert answer.as_dict()["checkpoints"] == []
    assert answer.table("checkpoints").empty


@pytest.mark.parametrize("name", DEMOS)
def test_a_plan_that_is_a_yes_turns_no_middling_day_back(name):
    result, _ = case(name)
    sunny = budget(result.plan.replace(**{"pack.capacity_wh": 3.0 * result.plan.pack.capacity_wh}))
    assert sunny.reaches_goal
    for point in checkpoints(sunny):
        assert point.least_percent is not None
        assert point.lowest or point.least_percent <= point.expected_percent
