"""What is read, done and changed on the page, against the plan that Python reads of it."""

from __future__ import annotations

import json
import tomllib
from datetime import datetime, timedelta

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from page_plans import page_of, plan_of
from page_script import call
from page_states import Page, same_tasks
from plan_tables import SMALL, plan

from energy.answers.learn.readings import parse_readings
from energy.plan import Plan
from energy.simulation.random_factors import lognormal

REPAIR = Plan.read("builtin:cloudy-repair")
TRIP = Plan.read("builtin:two-night-trip")
JOB = Plan.read("builtin:january-job")
MORNING = datetime(2026, 9, 14, 11)
BOLTS, HOLES, SAND, TEA, LIGHT = 1, 2, 4, 5, 7


def changed(page: Page) -> Plan:
    """The plan as changed on the page, as Python reads it."""
    return Plan.from_dict(tomllib.loads(page.toml))


# Actions


def test_a_page_that_nothing_was_done_on_asks_for_the_plan_as_it_is():
    page = Page(REPAIR)
    assert changed(page).task == REPAIR.task
    assert same_tasks(page.asked, REPAIR)
    assert page.asked["nowS"] is None


def test_a_reading_is_where_the_answer_begins_with_what_was_done_by_then():
    page = Page(REPAIR)
    page.act("done", MORNING, name="cut the rusted bolts", amount=5)
    assert page.act("read", MORNING, percent=71.5) is None
    page.act("done", MORNING + timedelta(hours=1), name="cut the rusted bolts", amount=9)
    asked = page.asked
    assert (asked["percent"], asked["done"]) == (71.5, {"cut the rusted bolts": 5})
    page.act("read", MORNING + timedelta(hours=2), percent=60)
    assert page.asked["done"] == {"cut the rusted bolts": 9}


@pytest.mark.parametrize(
    ("at", "percent", "line"),
    [
        (datetime(2026, 9, 13, 12), 50, "the plan runs from Mon 07:00 to Tue 08:00"),
        (datetime(2026, 9, 15, 8), 50, "the plan runs from"),
        (MORNING, 101, "0 to 100"),
        (MORNING, None, "0 to 100"),
    ],
)
def test_a_reading_that_cannot_be_is_refused_in_a_line(at, percent, line):
    page = Page(REPAIR)
    assert line in page.act("read", at, percent=percent)
    assert page.state["log"] == []


def test_a_reading_before_the_last_one_is_refused():
    page = Page(REPAIR)
    page.act("read", MORNING, percent=80)
    assert "there is a later reading, from Mon 11:00" in page.act(
        "read", MORNING - timedelta(minutes=1), percent=90
    )


@pytest.mark.parametrize(
    ("task", "minutes", "keys"),
    [
        (BOLTS, 15, {"between": ["09:45", "12:15"]}),
        (LIGHT, -15, {"between": ["sunset-45min", "23:15"]}),
        (LIGHT, 30, {"between": ["sunset", "24:00"]}),
        (LIGHT, 45, {"between": ["sunset+15min", "00:15"]}),
        (6, 15, {"at": "18:15"}),
    ],
)
def test_earlier_and_later_move_every_moment_of_a_task(task, minutes, keys):
    page = Page(REPAIR)
    assert page.act("shift", task=task, minutes=minutes) is None
    want = REPAIR.replace(**{f"task.{task + 1}.{key}": value for key, value in keys.items()})
    assert changed(page).task == want.task
    assert same_tasks(page.asked, want)


def test_moving_there_and_back_changes_nothing():
    page = Page(REPAIR)
    for minutes in (15, 15, -30):
        page.act("shift", task=BOLTS, minutes=minutes)
    assert changed(page).task == REPAIR.task


def test_no_task_moves_to_another_day():
    page = Page(REPAIR)
    assert page.act("shift", task=BOLTS, minutes=-570) is None
    assert "another day" in page.act("shift", task=BOLTS, minutes=-15)
    assert "runs all day" in page.act("shift", task=0, minutes=15)


def test_repeats_that_would_no_longer_fit_are_not_moved():
    # on the night on which the clock skips from 02:00 to 03:00
    once = {"times": 1, "each_s": 3600, "between": ["01:00", "02:15"]}
    night = plan(
        span={"start": "2026-03-29T00:00", "end": "2026-03-29T12:00"},
        task=[{"name": "pump", "supply": "dc12", "working_w": 1, **once}],
    )
    page = Page(night)
    assert "do not fit into the window" in page.act("shift", task=0, minutes=90)
    assert page.act("shift", task=0, minutes=180) is None


def test_a_dropped_task_goes_with_all_that_names_it():
    page = Page(TRIP)
    film = next(k for k, task in enumerate(TRIP.task) if task.name == "film")
    page.act("done", name="film", amount=1)
    page.act("read", TRIP.span.start, percent=90)
    assert page.act("drop", task=film) is None
    want = TRIP.replace(**{f"task.{film + 1}": None})
    assert changed(page).task == want.task
    assert same_tasks(page.asked, want)
    assert page.asked["done"] == {}
    assert page.act("restore", task=film) is None
    assert changed(page).task == TRIP.task
    assert page.asked["done"] == {"film": 1}


def test_a_lead_to_a_dropped_task_goes_with_it():
    leads = [
        {"from": "pack", "to": f"task:{name}", "length_m": 2.0, "mm2": 4.0}
        for name in ("lamp", "fan")
    ]
    fan = {"name": "fan", "supply": "dc12", "working_w": 8}
    two = Plan.from_dict({**SMALL, "task": [*SMALL["task"], fan], "run": leads})
    page = Page(two)
    page.act("drop", task=0)
    assert [cable.to for cable in changed(page).run] == ["task:fan"]


def test_a_plan_keeps_one_task():
    page = Page(plan())
    assert "one task at least" in page.act("drop", task=0)


def test_tasks_without_a_name_keep_the_one_that_their_place_gave_them():
    lamp = {"supply": "dc12", "working_w": 10}
    page = Page(plan(task=[lamp, {**lamp, "working_w": 20}]))
    page.act("drop", task=0)
    assert [task.name for task in changed(page).task] == ["task 2"]


def test_done_now_is_todays_share_at_once_and_the_other_days_as_planned():
    page = Page(REPAIR)
    assert "what the battery reads" in page.act("now", MORNING, task=BOLTS)
    page.act("read", MORNING, percent=80)
    assert page.act("now", MORNING + timedelta(seconds=200), task=BOLTS) is None
    rest, now = (t for t in changed(page).task if t.name == "cut the rusted bolts")
    assert (rest.days, rest.between) == ((2,), REPAIR.task[BOLTS].between)
    assert (now.days, now.at, now.times) == ((1,), ("clock", 664.0), 16)
    # cut k, from 0, is over (k + 1/2) 150/16 + 1/2 minutes after 09:30: ten of them by 11:00
    assert page.asked["done"] == {"cut the rusted bolts": 10}


def test_done_now_takes_a_task_that_only_todays_plan_holds_away_from_its_time():
    page = Page(JOB)
    rip = next(k for k, task in enumerate(JOB.task) if task.name == "rip the boards")
    monday = datetime(2027, 1, 11, 9)
    page.act("read", monday, percent=95)
    assert page.act("now", monday, task=rip) is None
    assert page.act("now", monday, task=len(JOB.task) - 2) is not None  # the radio: hours alone
    days = [task.days for task in changed(page).task if task.name == "rip the boards"]
    assert days == [(2, 3), (1,)]
    sand = next(k for k, task in enumerate(JOB.task) if task.name == "sand the trim")
    assert "planned today" in page.act("now", monday, task=sand)


def test_a_trace_can_be_done_now(tmp_path):
    (tmp_path / "log.csv").write_text("seconds,watts\n0,10\n60,30\n120,0\n")
    traced = {"name": "mill", "supply": "ac", "kind": "trace", "trace": "log.csv"}
    tables = {**SMALL, "task": [{**traced, "between": ["09:00", "10:00"]}]}
    tables["pack"] = {"capacity_wh": 1000, "inverter": {"rated_w": 500}}
    mill = Plan.from_dict(tables, folder=tmp_path)
    page = Page(mill)
    page.act("read", mill.span.start, percent=95)
    assert page.act("now", mill.span.start, task=0) is None
    want = Plan.from_dict(tomllib.loads(page.toml), folder=tmp_path)
    assert [(task.times, task.days) for task in want.task] == [(None, (2,)), (1, (1,))]
    assert same_tasks(page.asked, want)


def test_an_added_tool_takes_a_name_that_is_free():
    page = Page(REPAIR)
    for _ in range(2):
        assert page.act("add", MORNING, tool="phone", amount={"charges": 1}, minute=840) is None
    *_, first, second = changed(page).task
    assert [first.name, second.name] == ["phone 2", "phone 3"]
    assert (first.at, first.days, first.charges) == (("clock", 840.0), (1,), 1)
    assert same_tasks(page.asked, changed(page))
    assert [task["spare"] for task in page.asked["tasks"][-2:]] == [0, 1]


@pytest.mark.parametrize(
    ("tool", "amount", "line"),
    [
        ("no-such", {"minutes": 5}, "no tool"),
        ("kettle-small", {"minutes": 0}, "the minutes must be from"),
        ("drill-10", {"times": 2.5, "each_s": 30}, "a whole number"),
    ],
)
def test_a_tool_that_cannot_be_added_is_refused_in_a_line(tool, amount, line):
    page = Page(REPAIR)
    assert line in page.act("add", MORNING, tool=tool, amount=amount, minute=840)


def test_a_sky_lasts_to_the_end_of_the_local_day():
    page = Page(REPAIR)
    page.act("sky", MORNING, name="overcast")
    sky = page.asked["sky"]
    assert (sky["name"], (sky["untilS"] - sky["fromS"]) / 3600.0) == ("overcast", 13.0)
    page.act("sky", MORNING, name=None)
    assert page.asked["sky"] is None
    assert page.act("sky", MORNING, name="constructor") is not None


def test_undo_takes_back_one_action_and_start_again_all():
    page = Page(REPAIR)
    page.act("drop", task=TEA)
    page.act("start again")
    assert page.state["dropped"] == []
    page.undo()
    assert page.state["dropped"] == [TEA]
    page.undo()
    page.undo()
    assert page.state["dropped"] == []


def test_steps_of_one_task_are_one_line_of_the_log():
    page = Page(REPAIR)
    for amount in (1, 2, 3):
        page.act("done", MORNING, name="cut the rusted bolts", amount=amount)
    page.act("done", MORNING, name="tea", amount=1)
    page.act("done", MORNING + timedelta(hours=1), name="cut the rusted bolts", amount=4)
    log = [(entry["task"], entry["amount"]) for entry in page.state["log"]]
    assert log == [("cut the rusted bolts", 3), ("tea", 1), ("cut the rusted bolts", 4)]


@pytest.mark.parametrize("amount", [-1, 2.5, 1e9])
def test_an_amount_that_cannot_be_is_refused(amount):
    assert Page(REPAIR).act("done", name="cut the rusted bolts", amount=amount) is not None


def test_tasks_of_one_name_in_several_units_are_all_done_or_not_at_all():
    lamp = SMALL["task"][0]
    page = Page(plan(task=[{**lamp, "hours": 2}, {**lamp, "minutes": 20}]))
    assert "several units" in page.act("done", name="lamp", amount=2)
    assert page.act("done", name="lamp", amount="all") is None
    page.act("read", percent=90)
    assert page.asked["done"] == {"lamp": "Infinity"}


@pytest.mark.parametrize("name", ["constructor", "__proto__", "toString", "hasOwnProperty"])
def test_a_task_may_be_called_anything(name):
    page = Page(plan(task=[{**SMALL["task"][0], "name": name, "hours": 3}]))
    page.act("read", datetime(2026, 6, 1, 8), percent=90)
    assert page.asked["done"] == {}
    page.act("done", name=name, amount=1)
    page.act("read", datetime(2026, 6, 1, 9), percent=89)
    assert page.asked["done"] == {name: 1}
    text = page.text
    assert Page(page.plan).load(text) is None
    assert page.asked["done"] == {name: 1}


# The text of a state


def test_a_state_comes_back_from_its_text_with_its_undo():
    page = Page(REPAIR)
    page.act("drop", task=TEA)
    page.act("read", MORNING, percent=80, solarW=55, loadW=None, sky="broken")
    before, text = page.state, page.text
    other = Page(REPAIR)
    assert other.load(text) is None
    assert other.state == before
    other.undo()
    assert other.state["reading"] is None


@pytest.mark.parametrize(
    ("change", "line"),
    [
        ({"id": "b"}, "another plan"),
        ({"version": 2}, "another version"),
        ({"state": None}, "cannot be read"),
        ({"past": 3}, "cannot be read"),
    ],
)
def test_a_text_of_something_else_is_refused_and_the_state_stays(change, line):
    page = Page(REPAIR)
    page.act("drop", task=TEA)
    before = page.state
    assert line in page.load(json.dumps(json.loads(page.text) | change))
    assert page.state == before


@pytest.mark.parametrize(
    "text", ["", "{", "null", "[]", '"a"', '{"version": 1, "id": "a", "state": {}, "past": []}']
)
def test_what_is_no_state_is_refused(text):
    assert "cannot be read" in Page(REPAIR).load(text)


# What is typed


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("45", 45),
        ("45 %", 45),
        ("45%", 45),
        ("45,5", 45.5),
        (" 100 ", 100),
        ("0", 0),
        ("0.5%", 0.5),
    ],
)
def test_a_percentage_is_taken_as_people_write_it(text, value):
    assert call("parsePercent", text) == {"value": value, "problem": None}


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("0.45", "did you mean 45?"),
        ("0,45", "did you mean 45?"),
        ("140", "0 to 100"),
        ("-3", "0 to 100"),
        ("abc", "such as 45"),
        ("", "such as 45"),
        ("4 5", "such as 45"),
        ("1e1", "such as 45"),
    ],
)
def test_what_is_no_percentage_is_asked_back(text, line):
    answer = call("parsePercent", text)
    assert answer["value"] is None
    assert line in answer["problem"]


@pytest.mark.parametrize(
    ("text", "value"), [("", None), ("120", 120), ("120 W", 120), ("1,5 kW", 1500), ("0", 0)]
)
def test_watts_are_taken_as_people_write_them(text, value):
    assert call("parseWatts", text) == {"value": value, "problem": None}


@pytest.mark.parametrize("text", ["-1", "lots", "12 V", "999999"])
def test_what_is_no_watts_is_asked_back(text):
    assert call("parseWatts", text)["problem"]


@pytest.mark.parametrize(
    ("text", "minutes"), [("13:20", 800), ("9:05", 545), ("24:00", None), ("noon", None)]
)
def test_a_time_of_the_day(text, minutes):
    assert call("minutesIn", text) == minutes


# The plan as a file

VALUES = st.one_of(
    st.text(st.characters(exclude_categories=["Cs"]), max_size=20).filter(
        lambda text: text not in ("Infinity", "-Infinity", "NaN")  # the tests' own way of saying so
    ),
    st.integers(-(2**53) + 1, 2**53 - 1),
    st.floats(allow_nan=False, allow_infinity=False),
    st.booleans(),
)
KEYS = st.text(st.characters(exclude_categories=["Cs"]), max_size=8)
DEEP = st.recursive(
    VALUES,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=3),
    max_leaves=12,
)


@given(st.dictionaries(KEYS, DEEP, max_size=6))
@settings(deadline=None)
def test_any_tables_come_back_from_the_toml_that_is_written(tables):
    assert tomllib.loads(call("planToml", tables)) == tables


# Series of actions


class Readings:
    """The rows that Python reads of the page's table."""

    def __init__(self, page: Page, of: Plan):
        readings = parse_readings(page.csv, of)
        assert readings.problems == ()
        self.rows = readings.rows

    def counts(self) -> list[tuple[str, str | None, int | None]]:
        return [(f"{r.at:%a %H:%M}", r.tool, r.count) for r in self.rows if r.tool is not None]


def test_the_table_of_readings_holds_what_was_read_and_counted():
    page = Page(REPAIR)
    page.act("read", datetime(2026, 9, 14, 9), percent=97, solarW=40, loadW=6, sky="overcast")
    page.act("done", MORNING, name="cut the rusted bolts", amount=9)
    page.act("read", MORNING, percent=80.5)
    page.act("done", datetime(2026, 9, 14, 13), name="tea", amount=1)
    readings = Readings(page, REPAIR)
    read = [
        (f"{r.at:%H:%M}", r.battery_percent, r.solar_w, r.load_w, r.sky)
        for r in readings.rows
        if r.battery_percent is not None
    ]
    assert read == [("09:00", 97.0, 40.0, 6.0, 8), ("11:00", 80.5, None, None, None)]
    assert readings.counts() == [
        ("Mon 11:00", "angle-grinder-115", 9),
        ("Mon 13:00", "kettle-small", 1),
    ]


def test_a_count_lies_in_the_hours_of_its_task_and_within_one_day():
    page = Page(REPAIR)
    page.act("read", datetime(2026, 9, 14, 10), percent=95)
    # 16 cuts were planned from 09:30 to 12:00, 30 of these 150 minutes before the reading
    page.act("done", datetime(2026, 9, 14, 21), name="cut the rusted bolts", amount=15)
    assert Readings(page, REPAIR).counts() == [
        ("Mon 10:00", "angle-grinder-115", 3),
        ("Mon 21:00", "angle-grinder-115", 12),
    ]
    page = Page(TRIP)
    # water from 07:00 to 21:00: 5 h of it on the first day, 14 h on the second
    page.act("done", datetime(2026, 10, 11, 6), name="washing up and hands", amount=19)
    counts = Readings(page, TRIP).counts()
    assert counts == [("Sat 00:00", "water-pump-12v", 5), ("Sun 00:00", "water-pump-12v", 14)]


def test_none_done_is_a_count_of_none():
    page = Page(REPAIR)
    page.act("done", datetime(2026, 9, 14, 13), name="tea", amount=0)
    assert Readings(page, REPAIR).counts() == [("Mon 13:00", "kettle-small", 0)]


def test_a_block_counts_where_all_of_it_is_done():
    page = Page(REPAIR)
    page.act("done", datetime(2026, 9, 14, 16), name="sand the frame", amount=12)
    assert Readings(page, REPAIR).counts() == []
    page.act("done", datetime(2026, 9, 14, 16, 20), name="sand the frame", amount=20)
    assert Readings(page, REPAIR).counts() == [("Mon 16:20", "random-orbit-sander", 1)]


def test_what_a_limit_turns_away_is_not_done_by_the_clock():
    """The inverter never starts the grinder; saw and press do not run beside others."""
    lamp = {"name": "lamp", "supply": "ac", "working_w": 100, "at": "11:00", "minutes": 60}
    counted = {"supply": "ac", "times": 4, "each_s": 60}
    grinder = {"name": "grinder", "working_w": 700, "start_w": 1900, **counted}
    saw = {"name": "saw", "working_w": 450, **counted, "between": ["10:00", "12:00"]}
    press = {"name": "press", "supply": "ac", "working_w": 450, "hours": 2, "at": "10:30"}
    tasks = [lamp, {**grinder, "between": ["09:00", "12:00"]}, saw, press]
    tables = {"pack": {"capacity_wh": 1000, "inverter": {"rated_w": 500, "surge_w": 1200}}}
    noon = datetime(2026, 6, 1, 12)
    page = Page(plan(**tables, task=tasks))
    done = {task["name"]: page.planned(task["name"], noon) for task in tasks}
    # saws at 10:15, 10:45, 11:15 and 11:45, each half a minute to either side: two beside the lamp
    assert done == {
        "lamp": {"planned": 60, "byClock": 60},
        "grinder": {"planned": 4, "byClock": 0},
        "saw": {"planned": 4, "byClock": 2},
        "press": {"planned": 2, "byClock": 0},
    }
    page.act("read", noon, percent=80)
    page.act("shift", noon, task=1, minutes=240)
    assert page.asked["done"] == {"grinder": 0}


@pytest.mark.parametrize("name", ['saw, "big"; #1', "پمپ آب", "🔧🪚", "=1+1", "<img src=x>"])
def test_a_task_of_any_name_comes_through_both_files(name):
    saw = {"name": name, "supply": "dc12", "working_w": 30, "times": 4, "each_s": 60}
    odd = plan(task=[{**saw, "between": ["08:00", "12:00"]}])
    page = Page(odd)
    page.act("done", datetime(2026, 6, 1, 11), name=name, amount=2)
    assert [row.count for row in Readings(page, odd).rows] == [2]
    assert changed(page).task == odd.task


def test_times_do_not_run_backwards_where_the_clock_is_put_back():
    berlin = {"latitude_deg": 52.5, "longitude_deg": 13.4, "timezone": "Europe/Berlin"}
    night = plan(place=berlin, span={"start": "2026-10-25T00:00", "end": "2026-10-25T12:00"})
    page = Page(night)
    page.act("read", datetime(2026, 10, 25, 2, 50), percent=80)
    page.act("read", datetime(2026, 10, 25, 2, 10, fold=1), percent=79)
    assert [r.battery_percent for r in Readings(page, night).rows] == [80, 79]


@st.composite
def series(draw, plan: Plan):
    """Actions in the order of time, most of which can be."""
    minutes = int((plan.span.end - plan.span.start).total_seconds() / 60)
    times = sorted(draw(st.lists(st.integers(0, minutes + 30), min_size=1, max_size=12)))
    return [(plan.span.start + timedelta(minutes=m), draw(an_action(plan))) for m in times]


def an_action(plan: Plan):
    task = st.integers(0, len(plan.task) + 1)
    name = st.sampled_from([task.name for task in plan.task])
    amount = st.one_of(st.integers(0, 20), st.sampled_from(["all", None, 2.5]))
    added = st.sampled_from(
        [
            ("kettle-small", {"minutes": 5}),
            ("drill-10", {"times": 3, "each_s": 30}),
            ("phone", {"charges": 1}),
        ]
    )
    return st.one_of(
        st.builds(lambda p: {"kind": "read", "percent": p}, st.integers(0, 100)),
        st.builds(lambda n, a: {"kind": "done", "name": n, "amount": a}, name, amount),
        st.builds(
            lambda k, m: {"kind": "shift", "task": k, "minutes": 15 * m}, task, st.integers(-30, 30)
        ),
        st.builds(lambda k, t: {"kind": k, "task": t}, st.sampled_from(
            ["drop", "restore", "now", "now", "as planned"]), task),
        st.builds(
            lambda t, m: {"kind": "add", "tool": t[0], "amount": t[1], "minute": m},
            added, st.integers(0, 1439)),
        st.builds(lambda s: {"kind": "sky", "name": s}, st.sampled_from(["clear", None])),
        st.just({"kind": "start again"}),
    )  # fmt: skip


@pytest.mark.parametrize("demo", [REPAIR, TRIP, JOB], ids=lambda plan: plan.origin)
@given(data=st.data())
@settings(deadline=None, max_examples=12, suppress_health_check=[HealthCheck.too_slow])
def test_after_any_actions_the_file_the_question_and_the_readings_belong_together(demo, data):
    page = Page(demo)
    for at, action in data.draw(series(demo)):
        problem = page.act(action["kind"], at, **{k: v for k, v in action.items() if k != "kind"})
        assert problem is None or len(problem) < 200
    plan = changed(page)
    assert same_tasks(page.asked, plan)
    Readings(page, plan)
    text, state = page.text, page.state
    again = Page(demo)
    assert again.load(text) is None
    assert again.state == state


@pytest.mark.parametrize("name", ["cloudy-repair", "two-night-trip"])
@given(data=st.data())
@settings(deadline=None, max_examples=8, suppress_health_check=[HealthCheck.too_slow])
def test_after_any_actions_the_answer_is_that_of_the_simulation(name, data):
    carried, demo = page_of(name), plan_of(name)
    page = Page(demo, carried.data())
    for at, action in data.draw(series(demo).filter(no_sky)):
        page.act(action["kind"], at, **{k: v for k, v in action.items() if k != "kind"})
    plan, asked, said = changed(page), page.asked, page.answer
    done = {name: "all" if n == "Infinity" else n for name, n in asked["done"].items()}
    now = None
    if asked["nowS"] is not None:
        now = carried.full.calendar.moment(asked["nowS"]).replace(tzinfo=None)
    spare = {
        task["name"]: task["spare"] for task in asked["tasks"] if task.get("spare") is not None
    }
    factors = {
        task.name: lognormal(carried.spare[spare[task.name]], task.spread_percent)
        for task in plan.task
        if task.name in spare
    }
    budget = carried.budget(plan, now, asked["percent"], done, factors)
    assert said["answer"] == budget.answer
    assert said["success"] == budget.success.sum()
    assert said["powered"] == budget.powered.sum()
    assert said["edges"] == budget.time_s.tolist()
    middle = budget.charge_percent[:, budget.middle]
    np.testing.assert_allclose(said["middle"], middle, atol=1e-4)
    np.testing.assert_allclose(
        said["dull"], np.percentile(budget.charge_percent, 10.0, axis=1), atol=1e-4
    )


def no_sky(actions) -> bool:
    """Whether no sky is chosen: the simulation of the whole plan knows none for half a day."""
    return all(action["kind"] != "sky" for _, action in actions)
