"""How many more of a tool fit: against the plan written out with them, and with one more.

All plans are invented.
"""

from datetime import datetime, timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from choose_plans import DAY, plan
from seeds import seeds
from told import told, unfolded
from typer.testing import CliRunner

from energy import Plan, PlanError
from energy.answers.choose.how_many import how_many
from energy.answers.choose.words import how_many_sheet
from energy.cli.main import app
from energy.simulation.budget import budget, changed

# --- counted against check ----------------------------------------------------------------------


def random_work(random, hour_most):
    """A task of some kind in a window of the day."""
    hour = int(random.integers(8, hour_most))
    between = [f"{hour:02d}:00", f"{hour + int(random.integers(2, 6)):02d}:00"]
    supply = str(random.choice(["ac", "ac", "dc12", "usb"]))
    most = {"ac": 500, "dc12": 100, "usb": 60}[supply]
    watts = float(random.integers(most // 10, most))
    shape = random.integers(0, 4)
    task = {"supply": supply, "between": between, "hand_held": bool(random.integers(0, 2))}
    if shape == 0:
        task |= {"working_w": watts, "times": int(random.integers(1, 8)),
                 "each_s": int(random.integers(20, 600))}  # fmt: skip
    elif shape == 1:
        task |= {"working_w": watts, "minutes": int(random.integers(20, 110))}
    elif shape == 2:
        task |= {"kind": "charging", "power_w": watts, "energy_wh": round(watts * 0.6, 1)}
    else:
        task |= {"kind": "intermittent", "working_w": watts, "idle_w": watts / 3,
                 "duty_percent": 60, "times": int(random.integers(1, 12)),
                 "each_min": 2}  # fmt: skip
    if supply == "ac" and random.integers(0, 2):
        task["start_w"] = watts * float(random.choice([1.5, 3.0]))
    return task


def random_plan(seed):
    """A day or two with a few tasks, more of the first of which is asked for."""
    random = np.random.default_rng(seed)
    tasks = [random_work(random, 18) for _ in range(int(random.integers(1, 5)))]
    tasks = [{"name": f"task {k}"} | task for k, task in enumerate(tasks)]
    rated = float(random.choice([300, 500, 700]))
    pack = {"capacity_wh": int(random.integers(3, 14)) * 100, "reserve_percent": 15,
            "start_percent": int(random.integers(40, 101)),
            "chemistry": str(random.choice(["lfp", "lfp", "nmc", "agm"])),
            "inverter": {"rated_w": rated, "surge_w": 2 * rated,
                         "on": str(random.choice(["with-tasks", "only-in-use"]))}}  # fmt: skip
    weather = [
        {"kind": "file", "file": "builtin:greensboro", "futures": 31},
        {"kind": "sky", "sky": "broken", "futures": 20},
        {"kind": "climate", "futures": 20},
    ][int(random.integers(0, 3))]
    days = int(random.integers(1, 3))
    end = datetime.fromisoformat(f"{DAY}T20:00") + timedelta(days=days - 1)
    return plan(
        tasks,
        pack,
        goal=float(random.choice([60, 80, 90])),
        weather=weather,
        span={"start": f"{DAY}T07:00", "end": end.isoformat()},
        panel=[{"rated_w": int(random.integers(0, 3)) * 60 + 1}],
    ).replace(**{"goal.one_at_a_time": bool(random.integers(0, 2))})


def reaches_its_goal(b):
    chance = b.chance
    low = chance.low if b.weather.mean_uncertain and chance.low is not None else 100.0
    return min(chance.percent, low) >= chance.goal - 1e-9


def says_yes(b, planned):
    """Whether a plan written out holds, with what is turned away of its own tasks set aside."""
    if not reaches_its_goal(b) or any(r.burst.task >= planned for r in b.overloads):
        return False
    if not b.plan.goal.one_at_a_time:
        return True
    held = sorted(
        (burst.start_s, burst.end_s, burst.task >= planned)
        for burst in b.bursts
        if b.plan.task[burst.task].hand_held and burst not in [r.burst for r in b.overloads]
    )
    met = [pair for pair in pairwise(held) if pair[1][0] < pair[0][1] - 1e-3]
    return not any(one[2] or other[2] for one, other in met)


def units(b, planned, answer):
    """How much of the tool a plan written out does more, counted from its bursts."""
    more = [burst for burst in b.bursts if burst.task >= planned]
    if answer.unit == "minutes":
        return sum(burst.end_s - burst.start_s for burst in more) / 60.0
    return len(more)


def one_more_at_each_place(whole, answer, number):
    """The plan written out with one more of it, every half hour of its windows and right
    behind what is put there."""
    tables = answer.change["task"]
    pattern = {"tool", "name", "supply", "kind", "working_w", "idle_w", "duty_percent", "start_w",
               "power_w", "energy_wh", "hand_held", "each_s", "each_min"}  # fmt: skip
    table = {key: value for key, value in whole.source["task"][number].items() if key in pattern}
    if answer.unit == "minutes":
        table = {key: value for key, value in table.items() if key not in ("each_s", "each_min")}
    places = [end for _, end in answer.runs]
    for opens, closes in answer.windows:
        places += [opens + PLACES * k for k in range((closes - opens) // PLACES)]
    for at in places:
        day = (at.date() - whole.span.start.date()).days + 1
        more = table | {"priority": 1000, "at": f"{at:%H:%M:%S}", "days": [day], answer.unit: 1}
        yield at, {"task": [*tables, more]}


def free_for_one(more, planned, answer):
    """Whether the last task of a plan lies in a window, and beside no other more of the same."""
    last = len(more.plan.task) - 1
    (one,) = (burst for burst in more.bursts if burst.task == last)
    task = more.plan.task[last]
    if one.end_s - one.start_s < (task.repeat_s or task.duration_s) - 1.0:
        return False  # the end of the span cuts it
    inside = any(
        opens.timestamp() <= one.start_s and one.end_s <= closes.timestamp()
        for opens, closes in answer.windows
    )
    added = [burst for burst in more.bursts if planned <= burst.task < last]
    return inside and not any(b.start_s < one.end_s and one.start_s < b.end_s for b in added)


PLACES = timedelta(minutes=30)


@pytest.mark.parametrize("seed", seeds(6, 100, slow=(1, 3, 4)))
def test_check_says_yes_to_so_many_and_to_no_more(seed):
    whole = random_plan(seed)
    planned = len(whole.task)
    answer = how_many(whole, "task 0")
    before = budget(whole)
    written = budget(whole.replace(**answer.change))
    assert written.chance == answer.budget.chance
    assert len(written.overloads) == len(before.overloads)
    assert set(answer.set_aside) == {whole.task[r.burst.task].name for r in before.overloads}
    assert units(written, planned, answer) == pytest.approx(answer.count)
    assert answer.planned == reaches_its_goal(before)
    if not answer.planned:
        assert answer.count == 0
        return
    assert says_yes(written, planned)
    no_more_fit(whole, answer, 0, written)


def no_more_fit(whole, answer, number, written):
    """Check that one more of a task, wherever it is put beside the rest, is too many."""
    planned = len(whole.task)
    for at, change in one_more_at_each_place(whole, answer, number):
        more = changed(written.low_end.alone, change)
        if free_for_one(more, planned, answer):
            assert not says_yes(more, planned), f"one more at {at} of {answer}"


def lamp_on_a_pack(**more):
    """80 W at 12 V from a pack without losses, a panel or anything else drawn."""
    lamp = {"name": "lamp", "supply": "dc12", "working_w": 80, "minutes": 1, "spread_percent": 0,
            "between": ["08:00", "23:00"]}  # fmt: skip
    pack = {"capacity_wh": 200, "reserve_percent": 10, "idle_w": 0, "resistive_h": 0,
            "self_discharge_percent_month": 0, "temperature": 25,
            "dc12": {"efficiency_percent": 100}}  # fmt: skip
    span = {"start": f"{DAY}T08:00", "end": f"{DAY}T23:00"}
    return plan([lamp | more], pack, panel=[], span=span, weather={"kind": "clear"})


def test_a_pack_without_sun_burns_a_lamp_as_long_as_its_energy_lasts():
    # 180 Wh above the reserve at 80 W: 135 minutes, of which one is planned.
    answer = how_many(lamp_on_a_pack(), "lamp")
    assert (answer.count, answer.unit, answer.full) == (134, "minutes", False)


def test_a_lamp_that_cannot_burn_twice_at_once_on_its_outlet_burns_before_and_after():
    # Two of 80 W are more than the outlet's 120 W: what is planned from 08:00 to 09:00 stays alone.
    answer = how_many(lamp_on_a_pack(minutes=60, between=["08:00", "10:00"]), "lamp")
    assert (answer.count, answer.full) == (60, True)
    assert "120 W" in answer.why_not
    assert [f"{start:%H:%M} {end:%H:%M}" for start, end in answer.runs] == ["09:00 10:00"]


def test_what_cannot_run_on_the_minute_of_the_planned_one_comes_before_and_after_it():
    # Evenly spread one more would lie on the planned cut: 600 W beside 500 W of rating.
    saw = {"name": "saw", "supply": "ac", "working_w": 300, "start_w": 900, "times": 1,
           "each_min": 5, "between": ["10:00", "10:15"]}  # fmt: skip
    pack = {"capacity_wh": 2000, "inverter": {"rated_w": 500, "surge_w": 2000}}
    answer = how_many(plan([saw], pack), "saw")
    assert (answer.count, answer.full) == (2, True)
    assert [f"{start:%H:%M}" for start, _ in answer.runs] == ["10:00", "10:10"]


def test_one_pair_of_hands_is_free_only_between_other_work():
    drill = {"name": "drill", "supply": "ac", "working_w": 100, "hand_held": True, "times": 1,
             "each_min": 10, "between": ["10:00", "11:00"]}  # fmt: skip
    sand = {**drill, "name": "sand", "each_min": 30, "at": "10:10"}
    del sand["between"]
    one = plan([drill, sand], {"capacity_wh": 3000}).replace(**{"goal.one_at_a_time": True})
    answer = how_many(one, "drill")  # the planned hole at 10:25 lies under the sanding
    assert [f"{start:%H:%M} {end:%H:%M}" for start, end in answer.runs] == [
        "10:00 10:10",
        "10:40 11:00",
    ]
    assert answer.why_not == "the hands are taken by another tool"
    two = how_many(one.replace(**{"goal.one_at_a_time": False}), "drill")
    assert two.count == 6


def test_another_task_that_overloads_is_named_and_set_aside():
    kiln = {"name": "kiln", "supply": "ac", "working_w": 3000, "between": ["09:00", "10:00"]}
    lamp = {"name": "lamp", "supply": "usb", "working_w": 5, "minutes": 10,
            "between": ["09:00", "12:00"]}  # fmt: skip
    asked = plan([kiln, lamp])
    assert not budget(asked).yes
    answer = how_many(asked, "lamp")
    assert answer.set_aside == ("kiln",)
    assert answer.count == 180
    assert answer.planned


def test_more_of_what_waits_for_another_comes_when_that_is_done():
    cut = {"name": "cut", "supply": "ac", "working_w": 200, "times": 1, "each_min": 30,
           "between": ["09:00", "11:00"]}  # fmt: skip
    sand = {"name": "sand", "supply": "ac", "working_w": 100, "times": 1, "each_min": 20,
            "between": ["09:00", "13:00"], "after": "cut"}  # fmt: skip
    answer = how_many(plan([cut, sand], {"capacity_wh": 3000}), "sand")
    assert f"{answer.runs[0][0]:%H:%M}" == "10:15"  # the one cut lies in the middle of its window
    assert answer.count == 8


# --- asked for ---------------------------------------------------------------------------------


def test_a_tool_that_is_not_planned_may_come_all_day_long_on_whole_days():
    lamp = {"name": "lamp", "supply": "dc12", "working_w": 5, "between": ["09:00", "12:00"]}
    span = {"start": f"{DAY}T08:00", "end": "2026-04-12T20:00"}
    answer = how_many(plan([lamp], pack={"capacity_wh": 2000}, span=span), "phone")
    assert len(answer.windows) == 3
    assert answer.count > 3


def test_the_night_of_25_hours_holds_no_more_than_its_clock_says():
    # The plan counts a window by the clock's face, which repeats an hour that night.
    charge = {"tool": "phone", "between": ["01:00", "04:00"]}
    autumn = plan([charge], pack={"capacity_wh": 2000}, weather={"kind": "clear"},
                  span={"start": "2026-10-31T20:00", "end": "2026-11-01T12:00"})  # fmt: skip
    answer = how_many(autumn, "phone")
    assert answer.full
    assert answer.count == 2  # of 72 minutes each, in three hours


def test_what_is_done_for_today_may_still_be_done_more_often():
    cut = {"name": "cut", "supply": "ac", "working_w": 200, "times": 4, "each_min": 2,
           "between": ["09:00", "10:00"]}  # fmt: skip
    now = datetime.fromisoformat(f"{DAY}T13:20")
    answer = how_many(plan([cut]), "cut", now, 60.0)
    assert answer.count > 0
    assert answer.windows[0][0].hour == 13  # its own window is over: anywhere in the rest
    assert answer.unit == "times"


def test_more_of_it_is_spread_over_all_days_that_are_left():
    lamp = {"name": "lamp", "supply": "dc12", "working_w": 5, "hours": 1,
            "between": ["09:00", "12:00"]}  # fmt: skip
    span = {"start": f"{DAY}T08:00", "end": "2026-04-12T20:00"}
    answer = how_many(plan([lamp], pack={"capacity_wh": 5000}, span=span), "lamp")
    assert len(answer.windows) == 3
    assert answer.full
    assert answer.count == 3 * 180


def test_where_no_time_is_left_for_more_of_it_a_line_says_so():
    lamp = {"name": "lamp", "supply": "dc12", "working_w": 5, "between": ["09:00", "19:57"]}
    now = datetime.fromisoformat(f"{DAY}T19:57")
    with pytest.raises(PlanError, match="no time is left for more"):
        how_many(plan([lamp]), "phone", now, 50.0)


def test_more_of_what_is_refused_is_none_and_never_less():
    saw = {"name": "saw", "supply": "ac", "working_w": 900, "start_w": 3000, "times": 2,
           "each_min": 2, "between": ["09:00", "10:00"]}  # fmt: skip
    answer = how_many(plan([saw]), "saw", datetime.fromisoformat(f"{DAY}T12:00"), 21.0)
    assert answer.count == 0
    assert "inverter" in answer.why_not


def test_a_plan_that_misses_its_goal_says_so_before_anything_is_added():
    found = CliRunner().invoke(app, ["choose", "--how-many", "phone"], catch_exceptions=False)
    assert found.exit_code == 1
    assert "already misses the goal" in " ".join(found.output.split())
    answer = CliRunner().invoke(app, ["choose", "--how-many", "phone", "--write", "x.toml"])
    assert answer.exit_code == 2
    assert not Path("x.toml").exists()


@pytest.mark.parametrize("tool", ["phone", "drill-10", "cut the rusted bolts"])
def test_one_more_than_that_many_is_too_many(tool):
    demo = Plan.read("builtin:cloudy-repair").replace(**{"goal.chance_percent": 80})
    answer = how_many(demo, tool)
    assert answer.count > 0
    assert answer.budget.chance.percent >= 80.0
    number = next(k for k, task in enumerate(demo.task) if tool in (task.name, task.tool))
    no_more_fit(demo, answer, number, budget(demo.replace(**answer.change)))


def test_with_a_goal_of_nothing_as_many_fit_as_the_window_holds():
    lamp = {"name": "lamp", "supply": "dc12", "working_w": 20, "times": 2, "each_min": 30}
    answer = how_many(plan([lamp], goal=0.0), "lamp")
    assert answer.count > 0
    assert answer.budget.yes


def test_a_light_can_burn_no_longer_than_its_window():
    demo = Plan.read("builtin:cloudy-repair").replace(**{"goal.chance_percent": 10})
    answer = how_many(demo, "led-work-light")
    window = next(task for task in demo.task if task.tool == "led-work-light").between
    assert answer.unit == "minutes"
    assert answer.count <= budget(demo).calendar.window(window, demo.span.start.date())[1] / 60


def test_an_unknown_tool_offers_the_nearest():
    with pytest.raises(PlanError, match="angle-grinder"):
        how_many(Plan.read("builtin:cloudy-repair"), "angel-grinder-115")


@pytest.mark.parametrize("must", [False, True])
def test_more_of_what_another_task_goes_with(must):
    film = {"name": "film", "supply": "ac", "working_w": 60, "minutes": 60, "must": must,
            "between": ["18:00", "22:00"]}  # fmt: skip
    speaker = film | {"name": "loudspeaker", "working_w": 10, "with": "film"}
    apart = {key: value for key, value in speaker.items() if key != "with"}
    more = how_many(plan([film, speaker]), "film").count
    assert more == how_many(plan([film, apart]), "film").count > 0


# --- in words a person can use ------------------------------------------------------------------


def shown(asked, tool):
    """What the terminal says, in one line."""
    answer = how_many(asked, tool)
    return unfolded(told(lambda width: how_many_sheet(answer, width), width=200))


def test_what_is_planned_in_minutes_is_answered_in_minutes():
    sander = {"name": "sand", "supply": "ac", "kind": "intermittent", "working_w": 350,
              "idle_w": 30, "duty_percent": 40, "minutes": 20,
              "between": ["10:00", "11:00"]}  # fmt: skip
    answer = how_many(plan([sander], {"capacity_wh": 2000}), "sand")
    assert (answer.unit, answer.each_s) == ("minutes", None)
    assert answer.count == 40  # two at once would ask 700 VA of 600
    assert says_yes(budget(plan([sander], {"capacity_wh": 2000}).replace(**answer.change)), 1)


def test_a_light_added_beside_the_one_that_burns_is_said_to_be_a_second_one():
    lamp = {"name": "lamp", "supply": "dc12", "working_w": 20, "between": ["18:00", "20:00"]}
    answer = how_many(plan([lamp]), "lamp")
    assert (answer.count, answer.beside) == (120, True)
    assert "a second one" in shown(plan([lamp]), "lamp")
    strong = plan([lamp | {"working_w": 70}])
    assert how_many(strong, "lamp").count == 0
    assert "120 W" in shown(strong, "lamp")
    one = plan([lamp | {"working_w": 70, "minutes": 60}])
    assert how_many(one, "lamp").count > 0
    assert "a second one" not in shown(one, "lamp")


@pytest.mark.parametrize("start_percent", range(30, 60, 4))
def test_none_more_always_says_why(start_percent):
    lamp = {"name": "lamp", "supply": "dc12", "working_w": 40, "minutes": 60,
            "between": ["18:00", "20:00"]}  # fmt: skip
    asked = plan([lamp], {"start_percent": start_percent}, panel=[], weather={"kind": "clear"})
    answer, words = how_many(asked, "lamp"), shown(asked, "lamp")
    if not answer.planned:
        assert "already misses the goal" in words
    elif not answer.full:
        assert answer.one_more_fails == 1
        assert "With one more the plan fails in the one weather tried" in words
    else:
        assert "No more fit" in words


def test_a_tool_that_can_never_run_says_so():
    kiln = {"name": "kiln", "supply": "ac", "working_w": 900, "minutes": 10,
            "between": ["10:00", "11:00"]}  # fmt: skip
    assert "it can never run on this pack" in shown(plan([kiln]), "kiln")


@pytest.mark.parametrize("capacity_wh", [70, 80, 90, 100])
def test_in_the_dark_more_of_it_follows_without_a_gap(capacity_wh):
    lamp = {"name": "lamp", "supply": "dc12", "working_w": 20, "minutes": 30,
            "between": ["20:00", "23:00"]}  # fmt: skip
    span = {"start": f"{DAY}T19:40", "end": f"{DAY}T23:30"}
    answer = how_many(plan([lamp], {"capacity_wh": capacity_wh}, span=span), "lamp")
    assert 0 < answer.count < 180
    assert len(answer.runs) == 1


def test_a_night_names_both_of_its_dates():
    lamp = {"name": "lamp", "supply": "dc12", "working_w": 5, "between": ["21:00", "03:00"]}
    span = {"start": f"{DAY}T19:40", "end": "2026-04-11T08:00"}
    assert "between 21:00 on Fri 10 Apr and 03:00 on Sat 11 Apr" in shown(
        plan([lamp], span=span), "lamp"
    )
