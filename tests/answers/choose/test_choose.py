"""The choice of tasks against known problems, and used as a plan.

All plans are invented.
"""

import json
import re
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest
from choose_plans import DAY, plan
from demo_choices import choice_of
from scipy.optimize import linprog, milp
from told import told, unfolded
from typer.testing import CliRunner

from energy import Plan, PlanError
from energy.answers.check.rest import rest_of, under
from energy.answers.choose.choose import Row, choose
from energy.answers.choose.words import sheet, what_to_do
from energy.cli.main import app
from energy.plan.write import write_changes
from energy.simulation.budget import budget, changed

HOUR_S = 3600.0
BERLIN = {"latitude_deg": 52.5, "longitude_deg": 13.4, "timezone": "Europe/Berlin"}
LAMP = {"name": "lamp", "supply": "dc12", "working_w": 5, "hours": 2}


# --- against a solver ---------------------------------------------------------------------------


def test_one_pack_of_energy_and_no_sun_is_a_knapsack():
    # No panel, a DC store without losses beyond the outlet's, nothing else drawn: what fits is the
    # best subset by value under a weight, as SciPy solves it.
    random = np.random.default_rng(5)
    hours, watts = random.integers(1, 5, 8), random.integers(2, 12, 8) * 5.0
    value = random.integers(1, 6, 8).astype(float)
    tasks = [
        {"name": f"t{k}", "supply": "dc12", "working_w": float(watts[k]), "spread_percent": 0,
         "value": float(value[k]), "between": [f"{9 + k}:00", f"{9 + k + int(hours[k])}:00"]}
        for k in range(7)
    ]  # fmt: skip
    pack = {"capacity_wh": 400, "reserve_percent": 0, "idle_w": 0, "resistive_h": 0,
            "self_discharge_percent_month": 0, "temperature": 25,
            "discharge_max_w": 900}  # fmt: skip
    asked = plan(tasks, pack, weather={"kind": "clear"}, panel=[])
    need = np.array([w * h / 0.95 for w, h in zip(watts, hours, strict=True)][:7])
    known = milp(-value[:7], integrality=np.ones(7), bounds=(0, 1), constraints=(need, 0, 399.9))
    answer = choose(asked)
    assert sum(answer.served.values()) == pytest.approx(-known.fun, abs=1e-6)


def test_a_higher_priority_outranks_any_number_of_lower_ones():
    tasks = [
        {"name": "pump", "supply": "dc12", "working_w": 110, "between": ["09:00", "10:30"],
         "priority": 1},
        *({"name": f"lamp {k}", "supply": "dc12", "working_w": 60, "priority": 2, "value": 50,
           "between": ["11:00", "12:00"]} for k in range(2)),
    ]  # fmt: skip
    pack = {"capacity_wh": 220, "reserve_percent": 0, "idle_w": 0}
    answer = choose(plan(tasks, pack, weather={"kind": "clear"}, panel=[]))
    assert answer.served["1"] == 1.0
    assert answer.served["2"] < 100.0


# --- what it may not do -------------------------------------------------------------------------


def test_what_must_run_alone_too_much_says_by_how_much_and_when():
    tasks = [
        {"name": "pump", "supply": "dc12", "working_w": 100, "hours": 6, "must": True,
         "between": ["10:00", "18:00"], "spread_percent": 0},
        {"name": "tea", "supply": "ac", "working_w": 200, "times": 1, "each_min": 5,
         "between": ["12:00", "13:00"]},
    ]  # fmt: skip
    answer = choose(
        plan(tasks, {"idle_w": 0, "resistive_h": 0}, weather={"kind": "clear"}, panel=[])
    )
    assert not answer.possible
    # 600 Wh at 95 % against 300 Wh of which 60 are the reserve and 2 % are locked at 20 degrees C:
    # 398 Wh short, and the reserve is reached after some 234 Wh of 105 W, at 12:13.
    assert answer.short_wh == pytest.approx(600 / 0.95 - 240 + 0.02 * 300, abs=2)
    assert (answer.short_at.hour, answer.short_at.minute // 10) == (12, 1)


def test_one_pair_of_hands_holds_one_tool():
    tool = {"supply": "ac", "working_w": 150, "hand_held": True, "each_min": 10,
            "between": ["10:00", "12:00"], "flexible": True}  # fmt: skip
    tasks = [{"name": "cut", "times": 3, **tool}, {"name": "drill", "times": 3, **tool}]
    asked = plan(tasks, panel=[]).replace(**{"goal.one_at_a_time": True})
    found = choose(asked).budget
    held = sorted((burst.start_s, burst.end_s) for burst in found.bursts)
    assert len(held) >= 4
    assert all(before[1] <= after[0] + 1e-3 for before, after in pairwise(held))


def test_two_saws_that_trip_the_inverter_together_are_kept_apart():
    saw = {"supply": "ac", "working_w": 350, "start_w": 500, "each_min": 20, "times": 1,
           "between": ["10:00", "12:00"], "flexible": True, "value": 1.0}  # fmt: skip
    tasks = [{"name": "one", **saw}, {"name": "other", **saw}]
    answer = choose(plan(tasks, {"capacity_wh": 800, "inverter": {"rated_w": 500, "surge_w": 900}}))
    assert not answer.budget.overloads
    assert sum(answer.served.values()) == pytest.approx(2.0)


def test_a_tool_that_can_never_start_is_left_out_with_the_number():
    tasks = [
        {"name": "grinder", "supply": "ac", "working_w": 300, "start_w": 5000, "times": 2,
         "each_s": 30, "between": ["10:00", "11:00"]},
        {"name": "lamp", "supply": "dc12", "working_w": 5, "hours": 2},
    ]  # fmt: skip
    (left,) = choose(plan(tasks)).left_out
    assert left.task == "grinder"
    assert "5000 W" in left.why


SAW = {"name": "saw", "supply": "ac", "working_w": 500, "times": 6, "each_min": 20,
       "between": ["08:00", "14:00"], "priority": 2}  # fmt: skip
HEATER = {"name": "heater", "supply": "ac", "working_w": 700, "at": "10:00", "minutes": 60,
          "priority": 1}  # fmt: skip


@pytest.mark.parametrize("worth_it", [False, True])
def test_a_limit_that_forbids_a_part_does_not_hide_that_the_rest_lacks_energy(worth_it):
    """The saw's fourth cut meets the heater; of its others the pack bears none, or all."""
    pack = {"capacity_wh": 5000 if worth_it else 1100, "inverter": {"rated_w": 1000}}
    asked = plan([SAW, HEATER], pack, weather={"kind": "clear"}, panel=[])
    (left,) = choose(asked).left_out
    minute = [f"{8 + k}:20" for k in range(6) if k != 2]
    apart = {"name": "saw", "supply": "ac", "working_w": 500, "minutes": 20}
    others = asked.replace(task=[HEATER, *({**apart, "at": at} for at in minute)])
    assert budget(others).yes is worth_it
    assert left.why.startswith('beside the rest: 1 of 6 times: with "heater" it asks 1200 VA')
    assert ("with the other 5, the plan fails in the one weather tried" in left.why) is not worth_it
    assert left.why.endswith("flexible = true lets them move") is worth_it


def test_a_limit_that_forbids_all_that_is_left_out_says_no_more():
    late = SAW | {"between": ["08:00", "10:00"], "days": [1], "times": 1}
    pack = {"capacity_wh": 5000, "inverter": {"rated_w": 1000, "on": [["06:00", "07:00"]]}}
    (left,) = choose(plan([late, LAMP], pack, weather={"kind": "clear"}, panel=[])).left_out
    assert left.why == "the inverter is off then"


def test_of_hours_in_which_the_inverter_is_off_in_part_the_others_are_told_too():
    pack = {"capacity_wh": 5000, "inverter": {"rated_w": 1000, "on": [["08:00", "12:00"]]}}
    (left,) = choose(plan([SAW, LAMP], pack, weather={"kind": "clear"}, panel=[])).left_out
    assert left.times > 2
    assert left.why == (
        "2 of 6 times: the inverter is off then; fewer are spread anew over the same hours,"
        " flexible = true lets them move"
    )


# --- used as a plan -----------------------------------------------------------------------------

DEMOS = [
    "cloudy-repair",
    *(pytest.param(name, marks=pytest.mark.oracle) for name in ("two-night-trip", "january-job")),
]


@pytest.mark.parametrize("name", DEMOS)
def test_the_written_choice_is_a_plan_that_check_says_yes_to(name, tmp_path):
    answer = choice_of(name)
    written = tmp_path / "plan.toml"
    written.write_text(write_changes(f"builtin:{name}", answer.change))
    again = budget(Plan.read(written))
    assert again.yes
    assert again.chance.percent == pytest.approx(answer.budget.chance.percent)
    assert "# north is plus" in written.read_text()  # comments are kept


@pytest.mark.parametrize("name", DEMOS)
def test_a_demo_serves_no_less_than_giving_up_tasks_from_the_lowest_rank(name):
    whole = budget(Plan.read(f"builtin:{name}"))
    tasks = whole.plan.source["task"]
    answer = choice_of(name)
    order = sorted(range(len(tasks)), key=lambda k: (not tasks[k].get("must", False),
                                                    tasks[k].get("priority", 2), k))  # fmt: skip
    kept = []
    for k in order:
        if changed(whole, {"task": [tasks[i] for i in sorted([*kept, k])]}).yes:
            kept.append(k)
    levels = sorted(answer.served)
    greedy = dict.fromkeys(levels, 0.0)
    for k in kept:
        greedy[str(tasks[k].get("priority", 2))] += tasks[k].get("value", 1.0)
    assert [answer.served[key] for key in levels] >= [greedy[key] - 1e-6 for key in levels]
    assert all(
        0.0 <= answer.served[key] <= sum(t.get("value", 1.0) for t in tasks) for key in levels
    )


@pytest.mark.parametrize(
    "name", [pytest.param("two-night-trip", marks=pytest.mark.oracle), "january-job"]
)
def test_no_more_is_served_than_the_energy_of_the_weathers_allows(name):
    # A bound by a linear programme of the test's own: in one of the dullest weathers that may fail
    # and the next, the tasks' energy must come from sun, chargers and what may leave the store.
    demo = Plan.read(f"builtin:{name}")
    flat = {f"task.{k}.priority": 1 for k in range(1, len(demo.task) + 1)}
    whole = budget(demo.replace(**flat, **{"weather.futures": 10}))
    case, may_fail = whole.case, int(0.1 * whole.success.size + 1e-9)
    hours = np.diff(whole.time_s) / HOUR_S
    lit = case.solar_row >= 0
    income = (case.solar_w[case.solar_row[lit]] * hours[lit, None]).sum(axis=0)
    income += (case.charger_w * hours).sum()
    most = np.sort(income)[may_fail] + whole.capacity_wh.max() * 0.85
    need = whole.asked_wh * case.factor.min(axis=1)
    value = np.array([task.value for task in whole.plan.task])
    bound = linprog(-value, A_ub=[need], b_ub=[most], bounds=(0, 1))
    answer = choose(whole.plan)
    assert sum(answer.served.values()) <= -bound.fun + 1e-6
    assert answer.gap_percent >= 0.0


def test_json_is_whole():
    run = CliRunner().invoke(app, ["choose", "--json"])
    answer = json.loads(run.stdout)
    assert set(answer) == {
        "timetable", "blocks", "left_out", "served", "chance", "gap_percent",
        "gap_priority", "proven", "effort", "short_wh", "short_at",
        "too_cold", "cautions", "own_figures", "usual_error", "checkpoints",
    }  # fmt: skip
    assert set(answer["timetable"][0]) == {"task", "times", "start", "end"}
    assert set(answer["left_out"][0]) == {
        "task", "times", "unit", "why", "needs_wh", "costs", "failing", "may_fail",
    }  # fmt: skip
    assert run.exit_code == 0


# --- from now on --------------------------------------------------------------------------------


def test_what_is_done_by_now_is_out_of_the_future():
    demo = Plan.read("builtin:cloudy-repair")
    now = datetime(2026, 9, 14, 13, 20)
    rest = demo.replace(**rest_of(demo, now, 46.0))
    whole = budget(demo)
    to_come = {
        task.name: sum(
            burst.task == k and burst.start_s >= whole.calendar.at(("clock", 800.0), now.date())
            for burst in whole.bursts
        )
        for k, task in enumerate(demo.task)
    }
    again = budget(rest)
    counts = {}
    for burst in again.bursts:
        name = rest.task[burst.task].name
        counts[name] = counts.get(name, 0) + 1
    assert "cut the rusted bolts" not in counts
    assert counts["drill the new holes"] == to_come["drill the new holes"] == 20
    assert again.charge_percent[0] == pytest.approx(46.0)


def test_on_the_second_day_the_days_are_counted_from_there():
    trip = Plan.read("builtin:two-night-trip")
    now = trip.span.start + timedelta(days=1)
    rest = trip.replace(**rest_of(trip, now, 60.0))
    whole = budget(trip)
    begin = whole.calendar.at(("clock", now.hour * 60.0 + now.minute), now.date())
    later = {
        (trip.task[burst.task].name, round(burst.start_s))
        for burst in whole.bursts
        if burst.start_s >= begin and trip.task[burst.task].at is not None
    }
    again = budget(rest)
    found = {
        (rest.task[burst.task].name, round(burst.start_s))
        for burst in again.bursts
        if rest.task[burst.task].at is not None
    }
    assert found == later


NIGHTS = [
    {"name": "night machine", "supply": "dc12", "working_w": 40, "at": "20:00", "hours": 10,
     "must": True},
    {"name": "first night", "supply": "dc12", "working_w": 20, "between": ["20:00", "07:00"],
     "days": [1], "hours": 10},
    {"name": "lamp of the first night", "supply": "dc12", "working_w": 3,
     "between": ["sunset", "sunrise"], "days": [1]},
]  # fmt: skip


@pytest.mark.parametrize("name", ["cloudy-repair", "two-night-trip", "january-job"])
def test_the_rest_asks_what_the_plan_still_asks_whenever_it_is_looked_at(name):
    whole = Plan.read(f"builtin:{name}")
    whole = whole.replace(weather={"kind": "clear"}, task=[*whole.source["task"], *NIGHTS])
    now, looked_at = whole.span.start + timedelta(minutes=97), 0
    step = timedelta(minutes={"cloudy-repair": 97, "two-night-trip": 291}.get(name, 582))
    while now < whole.span.end - timedelta(minutes=97):
        still = asked_by_name(budget(whole, now, 60.0))
        left = asked_by_name(budget(whole.replace(**rest_of(whole, now, 60.0))))
        for task, wh in still.items():
            assert left.get(task, 0.0) == pytest.approx(wh, abs=0.02, rel=1e-3), (task, now)
        now, looked_at = now + step, looked_at + 1
    assert looked_at >= 8


def asked_by_name(b):
    found = {}
    for task, wh in zip(b.plan.task, b.asked_wh, strict=True):
        found[task.name] = found.get(task.name, 0.0) + float(wh)
    return found


def test_what_is_under_way_and_must_run_is_not_forgotten_by_the_choice():
    whole = plan(
        [NIGHTS[0], {"name": "radio", "supply": "usb", "working_w": 5}],
        span={"start": f"{DAY}T08:00", "end": "2026-04-11T08:00"},
        panel=[],
    )
    now = datetime.fromisoformat(f"{DAY}T21:00")
    answer = choose(whole.replace(**rest_of(whole, now, 40.0)))
    assert not budget(whole, now, 40.0).yes
    assert not answer.possible
    assert answer.alone == "what must run"
    assert answer.as_dict()["short_wh"] > 100.0


@pytest.mark.parametrize("battery_percent", range(66, 98, 4))
def test_a_charge_under_way_goes_on_whole_or_not_at_all(battery_percent):
    # 51 minutes of the first of two charges are left at 10:00, of 65 Wh; a lamp must run on.
    charge = {"name": "charge", "supply": "ac", "kind": "charging", "energy_wh": 100,
              "power_w": 100, "charges": 2, "between": ["09:00", "14:00"], "flexible": True,
              "priority": 3}  # fmt: skip
    lamp = {"name": "lamp", "supply": "dc12", "working_w": 20, "hours": 8, "at": "12:00",
            "must": True}  # fmt: skip
    now = datetime.fromisoformat(f"{DAY}T10:00")
    whole = plan([charge, lamp], pack={"capacity_wh": 500}, panel=[])
    answer = choose(whole.replace(**rest_of(whole, now, battery_percent)))
    rows = [row for row in answer.timetable if row.task == "charge"]
    minutes = [(row.end - row.start) / timedelta(minutes=1) for row in rows]
    assert set(map(round, minutes)) <= {51, 72}
    left = [one for one in answer.left_out if one.task == "charge"]
    assert [one.words for one in left] == ["all of it"] * (2 - len(rows))
    assert not any(one.costs == "charge" for one in left)
    assert all(one.why.startswith("planned from 1") for one in left)  # two are of one name


def test_a_wrong_now_is_refused():
    demo = Plan.read("builtin:cloudy-repair")
    with pytest.raises(PlanError, match="outside the plan's span"):
        rest_of(demo, datetime(2027, 1, 1), 50.0)
    with pytest.raises(PlanError, match="needed together"):
        rest_of(demo, datetime(2026, 9, 14, 12), None)


def test_another_sky_changes_nothing_but_the_weather():
    demo = Plan.read("builtin:cloudy-repair")
    dull = demo.replace(**under(demo, "8,3"))
    assert dull.weather.sky == (8, 3)
    assert dull.task == demo.task


# --- what does not fit --------------------------------------------------------------------------


def test_what_must_run_is_not_missed_where_some_of_its_windows_hold_none_of_it():
    # In the span the second day's window is there, and none of the pump's hour is in its part.
    pump = {"name": "pump", "supply": "dc12", "working_w": 30, "minutes": 58, "must": True,
            "between": ["05:00", "10:00"]}  # fmt: skip
    lamp = {"name": "lamp", "supply": "dc12", "working_w": 100, "hours": 10,
            "between": ["09:00", "20:00"]}  # fmt: skip
    span = {"start": f"{DAY}T08:00", "end": "2026-04-11T20:00"}
    answer = choose(plan([pump, lamp], span=span))
    assert answer.possible
    assert [row.task for row in answer.timetable].count("pump") == 1
    early = {**pump, "between": ["05:00", "06:00"]}
    assert choose(plan([early, lamp])).possible  # none of it lies inside the span


def test_a_search_that_ends_empty_handed_takes_task_by_task_what_holds():
    # A lead-acid pack: its two wells give less than its label holds.
    one = plan(
        [{"name": "mixer", "supply": "ac", "working_w": 136, "minutes": 97, "flexible": True,
          "between": ["09:00", "15:00"]}],
        pack={"capacity_wh": 441, "chemistry": "agm", "reserve_percent": 15,
              "inverter": {"rated_w": 400}},
        panel=[],
        weather={"kind": "climate"},
    )  # fmt: skip
    answer = choose(one)
    assert answer.possible
    assert answer.budget.yes
    assert answer.timetable[0].task == "mixer"
    alone = choose(one.replace(**{"pack.capacity_wh": 20}))
    assert not alone.possible
    assert "mixer" in alone.alone


OVERNIGHT = {"start": f"{DAY}T14:00", "end": "2026-04-11T12:00"}


def test_what_cannot_start_beside_the_cuts_comes_between_them():
    cut = {"name": "cut", "supply": "ac", "working_w": 500, "start_w": 1500, "times": 12,
           "each_min": 5, "between": ["09:00", "12:10"], "priority": 1}  # fmt: skip
    tea = {"name": "tea", "supply": "ac", "working_w": 550, "times": 6, "each_min": 5,
           "between": ["09:00", "12:50"], "flexible": True}  # fmt: skip
    pack = {"capacity_wh": 2000, "discharge_max_w": 3000,
            "inverter": {"rated_w": 1100, "surge_w": 2000}}  # fmt: skip
    asked = plan([cut, tea], pack, weather={"kind": "clear"})
    assert {r.limit for r in budget(asked).overloads} == {"surge"}
    answer = choose(asked)
    assert answer.budget.yes
    assert answer.left_out == ()


def test_what_waits_for_the_small_hours_runs_then_and_not_before_the_span():
    # The pack is empty until a charger comes on after midnight; the pump must run in the night.
    pump = {"name": "pump", "supply": "dc12", "working_w": 60, "minutes": 120, "must": True,
            "flexible": True, "between": ["20:00", "06:00"]}  # fmt: skip
    lamp = {"name": "lamp", "supply": "dc12", "working_w": 30, "hours": 9,
            "between": ["14:30", "23:30"], "priority": 3}  # fmt: skip
    charger = {"name": "shore", "watts": 60, "between": ["00:30", "05:00"], "days": [2]}
    asked = plan([pump, lamp], pack={"start_percent": 35}, panel=[], span=OVERNIGHT,
                 charger=[charger], weather={"kind": "clear"})  # fmt: skip
    answer = choose(asked)
    assert answer.possible
    again = budget(asked.replace(**answer.change))
    assert asked_by_name(again)["pump"] == pytest.approx(120.0)
    (row,) = (row for row in answer.timetable if row.task == "pump")
    assert row.start.date().isoformat() == "2026-04-11"


def test_a_plan_of_which_nothing_lies_in_the_span_fits():
    late = {"name": "lamp", "supply": "dc12", "working_w": 5, "between": ["21:00", "23:00"]}
    answer = choose(plan([late]))
    assert answer.possible
    assert answer.timetable == ()


def test_a_sky_for_each_date_goes_on_from_the_date_of_now():
    skies = plan(
        [{"name": "lamp", "supply": "dc12", "working_w": 5, "between": ["09:00", "12:00"]}],
        span={"start": f"{DAY}T08:00", "end": "2026-04-12T20:00"},
        weather={"kind": "sky", "sky": [3, 7, 5], "futures": 3},
    )
    now = datetime.fromisoformat("2026-04-11T10:00")
    rest = skies.replace(**rest_of(skies, now, 60.0))
    assert rest.weather.sky == (7, 5)


def test_what_is_left_from_the_second_of_two_times_is_refused_in_a_line():
    # The EU's summer time ends on the last Sunday of October at 01:00 UTC (directive 2000/84/EC).
    night = {"start": "2027-10-30T20:00", "end": "2027-10-31T08:00"}
    asked = plan([LAMP | {"at": "05:00"}], span=night, place=BERLIN)
    at = datetime.fromisoformat("2027-10-31T02:30")
    assert rest_of(asked, at, 60.0)["task"]
    with pytest.raises(PlanError, match="shows 02:30 twice: ask from a later time that comes once"):
        rest_of(asked, at.replace(fold=1), 60.0)


# --- in words a person can use -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("times", "apart_s", "words"),
    [
        (1, 0, "charge"),
        (2, 4200, "charge, 2 times, at 07:00 and 08:10"),
        (2, 64800, "charge, 2 times, at 07:00 and 01:00 (Sat)"),
        (2, 60, "charge, 2 times, 60 s apart"),
        (2, 30, "charge, 2 times, one after another"),
        (3, 4200, "charge, 3 times, one every 70 min"),
    ],
)
def test_two_repeats_are_two_times_of_day(times, apart_s, words):
    start = datetime.fromisoformat(f"{DAY}T07:00-04:00")
    end = start + timedelta(seconds=apart_s * (times - 1) + 30)
    pause_s = max(apart_s - 30.0, 0.0)
    assert what_to_do(Row("charge", times, start, end, each_s=30.0, pause_s=pause_s)) == words


def test_an_hour_that_comes_twice_is_told_with_its_offset():
    # The EU's summer time ends on the last Sunday of October at 01:00 UTC (directive 2000/84/EC).
    pump = {"name": "pump", "supply": "dc12", "working_w": 20, "minutes": 30, "at": "02:30"}
    lamp = {"name": "lamp", "supply": "dc12", "working_w": 5, "between": ["23:00", "04:00"]}
    short = {**pump, "name": "short", "at": "02:59", "minutes": None, "times": 2, "each_s": 45,
             "pause_s": 3555}  # fmt: skip
    night = {"start": "2027-10-30T20:00", "end": "2027-10-31T08:00"}
    answer = choose(plan([pump, lamp, short], span=night, place=BERLIN))
    text = told(lambda width: sheet(answer, width))
    assert "02:30+02:00 to 02:00+01:00  pump" in text
    assert re.search(r"23:00 to 04:00 \(Sun\) +lamp", text)
    assert "02:59+02:00 to 03:00" in text
    assert "short, 2 times, at 02:59+02:00 and 02:59+01:00" in unfolded(text)
    begins = [row.start.timestamp() for row in answer.timetable]
    assert begins == sorted(begins)


def test_a_choice_that_is_not_proven_names_the_priority_that_may_lack_some():
    small = {"pack.capacity_wh": 1200, "weather.futures": 5}
    answer = choose(Plan.read("builtin:january-job").replace(**small))
    found = answer.as_dict()
    assert not answer.proven
    assert found["gap_priority"] in {task.priority for task in answer.budget.plan.task}
    served = found["served"][str(found["gap_priority"])]
    whole = sum(task.value for task in Plan.read("builtin:january-job").task
                if task.priority == found["gap_priority"])  # fmt: skip
    assert served < whole
    text = told(lambda width: sheet(answer, width), width=200)
    assert f"Of what could fit of priority {found['gap_priority']} at most" in text


def test_each_thing_left_out_says_what_it_would_cost():
    # Eight lamps of which a pack bears four: any that is left out would fit in place of another.
    lamps = [
        {"name": f"lamp {k}", "supply": "dc12", "working_w": 50, "times": 1, "each_min": 60,
         "at": f"{9 + k}:00", "priority": 1 + k}
        for k in range(8)
    ]  # fmt: skip
    asked = plan(lamps, pack={"capacity_wh": 320}, panel=[], weather={"kind": "clear"})
    answer = choose(asked)
    assert len(answer.left_out) == 4
    kept = {row.task for row in answer.timetable}
    for left in answer.left_out:
        assert left.costs in kept
        does = [lamp for lamp in lamps if lamp["name"] in kept - {left.costs} | {left.task}]
        assert budget(asked.replace(task=does)).yes


# --- as a command ------------------------------------------------------------------------------


def test_a_charge_that_the_end_of_the_span_cuts_stays_as_it_is_planned():
    charge = {"name": "phone", "supply": "usb", "kind": "charging", "energy_wh": 30, "power_w": 15,
              "charges": 1, "flexible": True, "between": ["19:00", "22:00"]}  # fmt: skip
    heater = {"name": "heater", "supply": "dc12", "working_w": 110, "priority": 3,
              "between": ["09:00", "18:00"]}  # fmt: skip
    answer = choose(plan([charge, heater], weather={"kind": "clear"}, panel=[]))
    assert answer.possible
    assert [one.task for one in answer.left_out] == ["heater"]
    assert "all or nothing" in answer.left_out[0].why


def test_the_rest_of_the_day_says_how_it_runs_against_the_plan():
    command = ["choose", "--now", "13:20", "--battery", "46"]
    found = CliRunner().invoke(app, command, catch_exceptions=False)
    assert "points behind the plan" in " ".join(found.output.split())


def test_a_written_choice_holds_nothing_that_names_a_task_left_out(tmp_path):
    lamp = {"name": "lamp", "supply": "dc12", "working_w": 5, "between": ["09:00", "12:00"]}
    heater = {**lamp, "name": "heater", "working_w": 110, "between": ["08:00", "20:00"],
              "priority": 3}  # fmt: skip
    wired = [{"from": "pack", "to": f"task:{name}", "length_m": 2} for name in ("lamp", "heater")]
    asked = plan([heater, lamp], panel=[], run=wired)
    file, target = tmp_path / "plan.toml", tmp_path / "chosen.toml"
    file.write_text(write_changes("", asked.source | {"weather": {"kind": "clear"}}))
    found = CliRunner().invoke(app, ["choose", str(file), "--write", str(target)])
    assert found.exit_code == 0, found.output
    written = Plan.read(target)
    assert [task.name for task in written.task] == ["lamp"]
    assert [run.to for run in written.run] == ["task:lamp"]


def test_six_chargers_that_fill_their_window_two_by_two_all_fit():
    # 150 W each on an inverter of 350 W: two at a time, twenty minutes each, in an hour: no minute
    # is left over. There is energy for all.
    one = {"supply": "ac", "working_w": 150, "times": 1, "each_min": 20, "flexible": True,
           "between": ["09:00", "10:00"]}  # fmt: skip
    tasks = [{"name": f"pack {k}", **one} for k in range(6)]
    answer = choose(plan(tasks, {"capacity_wh": 900, "inverter": {"rated_w": 350}}))
    assert not answer.left_out
    assert not answer.budget.overloads


def test_what_runs_on_one_of_two_evenings_is_not_called_all_or_nothing_as_a_whole():
    film = {"name": "film", "supply": "dc12", "working_w": 60, "between": ["17:00", "19:00"],
            "priority": 1}  # fmt: skip
    nights = {"start": f"{DAY}T08:00", "end": "2026-04-11T20:00"}
    asked = plan([film], {"capacity_wh": 320}, panel=[], weather={"kind": "clear"}, span=nights)
    (left,) = choose(asked).left_out
    assert left.words == "120 of 240 min"
    assert "; each time all or nothing" in left.why


@pytest.mark.parametrize(("effort", "further"), [(5, True), (6, False)])
def test_no_more_effort_is_offered_than_the_command_takes(effort, further):
    lamp = {"name": "lamp", "supply": "dc12", "working_w": 5, "hours": 2}
    open_end = {"effort": effort, "proven": False, "gap_percent": 5.0, "gap_priority": 2}
    answer = replace(choose(plan([lamp])), **open_end)
    text = told(lambda width: sheet(answer, width), width=200)
    assert "Of what could fit at most 5 % is missing" in text  # all are of one priority
    assert ("--effort 6 looks further" in text) is further
    assert "--effort 7" not in text
