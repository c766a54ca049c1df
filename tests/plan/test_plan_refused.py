"""What a plan may not say, and the one line that each wrong thing gets.

Plans here are invented and small.
"""

from __future__ import annotations

import pytest
from plan_tables import CHARGER, COOLER, IN_AMP_HOURS, LAMP, SAW, plan, refused, tables

from energy.plan import Plan, PlanError, profiles

# --- what keys must say together ------------------------------------------------------------

PWM = {"nominal_v": 12, "solar_input": {"kind": "pwm"}}
TOGETHER = [
    ({"place": {"albedo": 0.3, "ground": "sand"}}, "[place]: give albedo or ground, not both"),
    (
        {"span": {"end": "2026-06-01T07:00:00"}},
        "[span]: end must come after start, 2026-06-01 07:00:00 (got 2026-06-01 07:00:00)",
    ),
    ({"span": {"end": "2028-06-01T07:00"}}, "[span]: must be 400 days or shorter (got 731 days)"),
    ({"weather": {"kind": "file"}}, '[weather]: kind = "file" needs file'),
    ({"weather": {"kind": "sky"}}, '[weather]: kind = "sky" needs sky'),
    ({"weather": {"kind": "monthly"}}, '[weather]: kind = "monthly" needs sun_hours'),
    (
        {"weather": {"kind": "sky", "sky": [1, 2, 3]}},
        "[weather]: sky must name at most 2 dates, those of the span (got 3)",
    ),
    (
        {"panel": [{"rated_w": 90, "aim": "re-aimed"}]},
        'panel 1: aim = "re-aimed" needs re_aim_at, such as ["09:00", "12:00"]',
    ),
    (
        {"pack": PWM, "panel": [{"rated_w": 90, "v_mp": 10}]},
        "panel 1: v_mp must be at least the pack's nominal_v, 12, for a PWM input (got 10)",
    ),
    (
        {"pack": {"solar_input": {"kind": "pwm"}}},
        '[pack.solar_input]: kind = "pwm" needs the pack\'s nominal_v',
    ),
    (
        {"pack": {**IN_AMP_HOURS, "capacity_wh": 5}},
        "[pack]: give capacity_wh, or capacity_ah with nominal_v, not both",
    ),
    ({"pack": {**IN_AMP_HOURS, "nominal_v": None}}, "[pack]: capacity_ah needs nominal_v"),
    (
        {"pack": {"capacity_wh": None}},
        "[pack]: capacity_wh is required (or capacity_ah with nominal_v, or profile:"
        f" {', '.join(profiles.packs())})",
    ),
    ({"pack": {"kinetic_c": 0.4}}, "[pack]: kinetic_c is for agm and flooded batteries only"),
    (
        {"pack": {"inverter": {"rated_w": 500, "surge_w": 400}}},
        "[pack.inverter]: surge_w must be at least rated_w, 500 (got 400)",
    ),
    ({"pack": {"inverter": {}}}, "[pack.inverter]: rated_w is required"),
    (
        {"charger": [{"watts": 50, "days": [3]}]},
        "charger 1: days must lie between 1 and 2, the days of the span (got 3)",
    ),
    (
        {"run": [{"from": "panel", "to": "pack", "length_m": 3}]},
        'run 1: from = "panel", but the plan has no panel',
    ),
    (
        {"run": [{"from": "pack", "to": "task:lmap", "length_m": 3}]},
        'run 1: to names no task of the plan (got "task:lmap"); did you mean "task:lamp"?',
    ),
    (
        {"run": [{"from": "pack", "to": "mast", "length_m": 3, "volts": 12}]},
        'run 1: "mast" is not panel, pack, inverter or task:NAME: give volts, with amps or watts',
    ),
]


@pytest.mark.parametrize(("changes", "line"), TOGETHER, ids=[line[:50] for _, line in TOGETHER])
def test_tables_that_contradict_themselves_are_refused(changes, line):
    assert refused(**changes) == [line]


TASKS = [
    ({**LAMP, "working_w": None}, 'kind = "steady" needs working_w'),
    ({**SAW, "working_w": None, "minutes": 1}, 'kind = "intermittent" needs working_w'),
    ({**COOLER, "duty_percent": None}, 'kind = "cycling" needs duty_percent'),
    ({**CHARGER, "power_w": None}, 'kind = "charging" needs power_w'),
    ({**LAMP, "kind": "trace"}, 'kind = "trace" needs trace'),
    ({**LAMP, "supply": None}, "supply is required"),
    ({**LAMP, "times": 3}, "times needs each_s or each_min"),
    (
        {**CHARGER, "times": 3},
        "times needs each_s or each_min; for full charges give charges instead",
    ),
    ({**LAMP, "each_s": 3}, "each_s needs times"),
    ({**LAMP, "times": 3, "each_s": 3, "each_min": 1}, "give each_s or each_min, not both"),
    ({**LAMP, "hours": 1, "minutes": 3}, "say how much in one way, not minutes and hours"),
    ({**LAMP, "charges": 1}, 'charges is for a charging tool (this one is "steady")'),
    ({**LAMP, "hours": 1, "at": "09:00", "between": "all-day"}, "give at or between, not both"),
    (
        {**LAMP, "at": "09:00"},
        "at needs to know how long: minutes, hours, or times with each_s or each_min",
    ),
    (
        {**LAMP, "times": 4, "each_min": 20, "between": ["09:00", "10:00"]},
        "4 times of 20 min do not fit into the window of 1 h",
    ),
    (
        {**LAMP, "times": 1, "each_s": 90, "between": ["23:59:30", "00:00:30"]},
        "1 times of 1.5 min do not fit into the window of 1 min",
    ),
    (
        {**LAMP, "times": 2, "each_min": 721},
        "2 times of 12.02 h do not fit into the window of 24 h",
    ),
    (
        # 20 Wh at 10 W take two hours.
        {**CHARGER, "charges": 2, "between": ["09:00", "12:59"]},
        "2 charges of 2 h do not fit into the window of 3.983 h",
    ),
    ({**LAMP, "minutes": 3, "pause_s": 9}, "pause_s needs times or charges"),
    ({**LAMP, "pause_s": 9}, "pause_s needs times or charges"),
    (
        {**LAMP, "times": 2, "each_s": 3, "pause_s": -9},
        "pause_s must be at least 0 (got -9)",
    ),
    ({**LAMP, "with": "lamp"}, "with names the task itself"),
    ({**LAMP, "after": "lamp"}, "after names the task itself"),
    (
        {**LAMP, "at": "00:00", "hours": 30, "days": [1, 2]},
        "30 h from 00:00 are not over when it starts again 24 h later: give at most 24 h, or one"
        " day, such as days = [1]",
    ),
    (
        {**LAMP, "at": "09:30", "times": 50, "each_min": 30},
        "25 h from 09:30 are not over when it starts again 24 h later: give at most 24 h, or one"
        " day, such as days = [1]",
    ),
    (
        {**LAMP, "at": "09:30", "times": 13, "each_min": 60, "pause_s": 3600},
        "25 h from 09:30 are not over when it starts again 24 h later: give at most 24 h, or one"
        " day, such as days = [1]",
    ),
    (
        {**CHARGER, "at": "18:00", "charges": 13},
        "26 h from 18:00 are not over when it starts again 24 h later: give at most 24 h, or one"
        " day, such as days = [1]",
    ),
    ({**LAMP, "days": [0]}, "days item 1 must be at least 1 (got 0)"),
    ({**LAMP, "days": [1, 1]}, "days must name each day once (got [1, 1])"),
    ({**LAMP, "days": []}, "days must hold at least 1 (got 0)"),
]


@pytest.mark.parametrize(("task", "line"), TASKS, ids=[line[:50] for _, line in TASKS])
def test_a_task_that_does_not_say_what_to_do_is_refused(task, line):
    task = {key: value for key, value in task.items() if value is not None}
    assert refused(task=[task]) == [f'task 1 "{task["name"]}": {line}']


UNREAD = [
    (
        {**LAMP, "duty_percent": 8},
        'duty_percent does nothing with kind = "steady", which takes working_w; did you mean kind ='
        ' "intermittent", or kind = "cycling" with on_w and period_min?',
    ),
    (
        {**COOLER, "kind": None},
        'duty_percent, on_w and period_min do nothing with kind = "steady", which takes working_w;'
        ' did you mean kind = "cycling"?',
    ),
    (
        {**CHARGER, "idle_w": 3},
        'idle_w does nothing with kind = "charging", which takes energy_wh, power_w and'
        ' taper_from_percent; did you mean kind = "intermittent" with working_w?',
    ),
    (
        {**LAMP, "off_w": 3, "power_w": 9},
        'off_w and power_w do nothing with kind = "steady", which takes working_w',
    ),
    (
        {"tool": "bilge-pump", "name": "bilge", "duty_percent": 8},
        'duty_percent does nothing with kind = "steady", which takes working_w; did you mean kind ='
        ' "intermittent", or kind = "cycling" with on_w and period_min?',
    ),
]


@pytest.mark.parametrize(("task", "line"), UNREAD, ids=[line[:50] for _, line in UNREAD])
def test_a_figure_that_a_task_of_its_kind_does_not_read_is_refused(task, line):
    task = {key: value for key, value in task.items() if value is not None}
    assert refused(task=[task]) == [f'task 1 "{task["name"]}": {line}']


def test_a_figure_in_a_profile_of_ones_own_that_it_does_not_read_is_refused(tmp_path):
    kit = '[pump]\nsupply = "dc12"\nworking_w = 36\nduty_percent = 8\n'
    (tmp_path / "kit.toml").write_text(kit, encoding="utf-8")
    whole = tables(profiles=["kit.toml"], task=[{"tool": "pump"}])
    with pytest.raises(PlanError, match="duty_percent does nothing"):
        Plan.from_dict(whole, folder=tmp_path)


def test_what_is_left_of_another_kind_in_a_kit_file_that_was_learned_is_no_mistake(tmp_path):
    keys = "on_w = 36\nduty_percent = 8\nperiod_min = 60\nworking_w = 36\n"
    kit = f'[tools.pump]\nsupply = "dc12"\nkind = "cycling"\n{keys}[learned.figures]\n'
    (tmp_path / "kit.toml").write_text(kit, encoding="utf-8")
    whole = tables(profiles=["kit.toml"], task=[{"tool": "pump"}])
    (pump,) = Plan.from_dict(whole, folder=tmp_path).task
    assert (pump.working_w, pump.on_w) == (None, 36)


def test_a_task_of_another_kind_than_its_tool_needs_none_of_its_figures():
    keys = {"kind": "cycling", "on_w": 36, "duty_percent": 8, "period_min": 60}
    (pump,) = plan(task=[{"tool": "bilge-pump", **keys}]).task
    assert (pump.working_w, pump.mean_w) == (None, pytest.approx(0.08 * 36))


@pytest.mark.parametrize("keys", [{"duty_percent": 100}, {"off_w": 0}, {"idle_w": 0.0}])
def test_a_figure_that_says_the_usual_is_no_mistake(keys):
    assert plan(task=[{**LAMP, **keys}]).task[0].mean_w == LAMP["working_w"]


FILM = {**LAMP, "name": "film"}
TOGETHER_WITH = [
    ({"with": "flim"}, 'with names no task of the plan (got "flim"); did you mean "film"?'),
    ({"after": "flim"}, 'after names no task of the plan (got "flim"); did you mean "film"?'),
    (
        {"with": "film", "must": True},
        'with = "film" needs the same must and priority of both: "film" has must = false and'
        ' priority = 2, "sound" must = true and priority = 2',
    ),
    (
        {"with": "film", "priority": 1},
        'with = "film" needs the same must and priority of both: "film" has must = false and'
        ' priority = 2, "sound" must = false and priority = 1',
    ),
    ({"with": 3}, "with must be text (got 3)"),
]


@pytest.mark.parametrize(("keys", "line"), TOGETHER_WITH)
def test_a_task_can_only_go_with_or_after_one_that_there_is(keys, line):
    sound = {**LAMP, "name": "sound", **keys}
    assert refused(task=[FILM, sound]) == [f'task 2 "sound": {line}']


def test_tasks_cannot_wait_for_one_another_in_a_circle():
    named = {name: {**LAMP, "name": name} for name in ("cut", "file", "paint", "tea")}
    tasks = [
        {**named["cut"], "after": "paint"},
        {**named["file"], "after": "cut"},
        {**named["paint"], "after": "file"},
        {**named["tea"], "after": "paint"},
    ]
    line = 'after goes round in a circle: "cut" after "paint" after "file" after "cut"'
    assert refused(task=tasks) == [f'task 1 "cut": {line}']


def test_tasks_may_go_with_each_other_and_wait_in_a_row():
    film = {**FILM, "with": "sound"}
    sound = {**LAMP, "name": "sound", "with": "film", "after": "lamp"}
    found = plan(task=[LAMP, film, sound]).task
    assert (found[1].with_, found[2].with_, found[2].after) == ("sound", "film", "lamp")


@pytest.mark.parametrize(
    "amount",
    [
        {"times": 3, "each_min": 20, "between": ["09:00", "10:00"]},
        {"times": 9, "each_min": 60, "at": "22:00"},
        {"times": 9, "each_min": 60, "between": ["sunrise", "sunset"]},
        {"hours": 5, "between": ["09:00", "10:00"]},
    ],
    ids=["they just fit", "one after another", "the sun decides", "a block is cut"],
)
def test_repeats_are_refused_only_where_the_clock_shows_they_cannot_fit(amount):
    assert plan(task=[{**LAMP, **amount}]).task[0].name == "lamp"


@pytest.mark.parametrize(
    "amount",
    [
        {"at": "00:00", "hours": 24},
        {"at": "07:00", "hours": 25, "days": [1]},
        {"at": "07:00", "times": 2, "each_min": 900, "days": [2]},
        {"at": "sunset", "hours": 25},
        {"at": "00:00", "hours": 30, "days": [1, 3]},
    ],
    ids=["just over in time", "once", "repeats, once", "the sun decides", "a day between"],
)
def test_a_task_may_last_until_it_starts_again(amount):
    span = {"end": "2026-06-04T08:00:00"}
    assert plan(span=span, task=[{**LAMP, **amount}]).task[0].name == "lamp"


def test_a_start_every_other_day_leaves_48_hours():
    span, task = {"end": "2026-06-04T08:00"}, {**LAMP, "at": "00:00", "hours": 50, "days": [3, 1]}
    assert refused(span=span, task=[task]) == [
        'task 1 "lamp": 50 h from 00:00 are not over when it starts again 48 h later: give at most'
        " 48 h, or one day, such as days = [1]"
    ]


def test_two_charges_just_fit():
    task = {**CHARGER, "charges": 2, "between": ["09:00", "13:00"]}
    assert plan(task=[task]).task[0].charges == 2


def test_a_charge_lasts_longer_for_its_falling_tail():
    # 20 Wh at 10 W: 80 % in 1.6 h, the rest at half power on average in 0.8 h.
    task = {**CHARGER, "taper_from_percent": 80, "between": ["09:00", "11:23"]}
    line = "1 charges of 2.4 h do not fit into the window of 2.383 h"
    assert refused(task=[task]) == [f'task 1 "phone": {line}']


def test_a_panel_may_just_reach_the_packs_volts_for_a_pwm_input():
    panel = [{"rated_w": 90, "v_mp": 12}]
    assert plan(pack=PWM, panel=panel).pack.solar_input.kind == "pwm"


def test_two_tasks_may_have_one_name():
    assert len(plan(task=[LAMP, LAMP]).task) == 2


def test_keys_of_another_weather_are_left_alone():
    assert plan(weather={"kind": "clear", "file": "x.csv", "sky": 3}).weather.kind == "clear"


def test_more_starts_than_can_be_laid_out_are_refused():
    line = refused(span={"end": "2027-06-01T07:00"}, task=[{**LAMP, "times": 10_000, "each_s": 1}])
    assert line == ["the tasks start 3,670,000 times; at most 200,000 are possible"]


# --- one value at a time --------------------------------------------------------------------

VALUES = [
    ({"place": {"latitude_deg": 91}}, "[place]: latitude_deg must be at most 90 (got 91)"),
    ({"place": {"longitude_deg": -181}}, "[place]: longitude_deg must be at least -180 (got -181)"),
    ({"place": {"latitude_deg": "47"}}, '[place]: latitude_deg must be a number (got "47")'),
    (
        {"place": {"latitude_deg": float("nan")}},
        "[place]: latitude_deg must be a finite number (got nan)",
    ),
    (
        {"place": {"elevation_m": float("inf")}},
        "[place]: elevation_m must be a finite number (got inf)",
    ),
    (
        {"place": {"timezone": "Europe/Zurch"}},
        '[place]: timezone must be an IANA name such as "America/Anchorage" (got "Europe/Zurch");'
        ' did you mean "Europe/Zurich"?',
    ),
    (
        {"place": {"horizon": [[90, 91]]}},
        "[place]: horizon item 1 item 2 must be at most 90 (got 91)",
    ),
    (
        {"place": {"around": ["wte"]}},
        "[place]: around item 1 must be one of outdoors, wet, afloat, fuel, enclosed, alone"
        ' (got "wte"); did you mean "wet"?',
    ),
    (
        {"place": {"lattitude_deg": 4}},
        '[place]: lattitude_deg is not a known key; did you mean "latitude_deg"?',
    ),
    (
        {"span": {"start": "2026-06-01T07:00:00+02:00"}},
        "[span]: start is on the place's own clock: leave the offset out"
        " (got 2026-06-01 07:00:00+02:00)",
    ),
    (
        {"span": {"start": "today"}},
        '[span]: start must be a date with a time, such as 2026-09-14T07:00:00 (got "today")',
    ),
    ({"weather": {"futures": 0}}, "[weather]: futures must be at least 1 (got 0)"),
    ({"weather": {"futures": 2.5}}, "[weather]: futures must be a whole number (got 2.5)"),
    (
        {"weather": {"sky": "overcats"}},
        "[weather]: sky must be clear, sunny, few, fair, scattered, partly, broken,"
        " cloudy, overcast, grey, drizzle, fog, rain, or eighths from 0 to 8"
        ' (got "overcats"); did you mean "overcast"?',
    ),
    (
        {"weather": {"sky": 9}},
        "[weather]: sky must be clear, sunny, few, fair, scattered, partly, broken,"
        " cloudy, overcast, grey, drizzle, fog, rain, or eighths from 0 to 8"
        " (got 9)",
    ),
    (
        {"weather": {"sun_hours": [24, 42, 81, 110, 140, 150, 155, 130, 95, 60, 30, 20]}},
        "[weather]: sun_hours must be kWh/m2 a day, at most 12 (got 1037 in all: are these totals"
        " of the months? Then divide each by its days)",
    ),
    ({"weather": {"sun_hours": [1] * 11}}, "[weather]: sun_hours must hold at least 12 (got 11)"),
    (
        {"weather": {"temp_air_c": [9, 2]}},
        "[weather]: temp_air_c must be [low, high], the lower first (got [9, 2])",
    ),
    ({"panel": [{"rated_w": 90, "tilt_deg": -5}]}, "panel 1: tilt_deg must be at least 0 (got -5)"),
    ({"panel": [{"rated_w": 0}]}, "panel 1: rated_w must be more than 0 (got 0)"),
    ({"panel": [{}]}, f"panel 1: rated_w is required (or profile: {', '.join(profiles.panels())})"),
    (
        {"panel": {"rated_w": 90}},
        "panel must be written as [[panel]], with double brackets (got a table)",
    ),
    (
        {"panel": [{"rated_w": 90, "shade": [{"between": "all-day", "keep_percent": 120}]}]},
        "panel 1: shade 1: keep_percent must be at most 100 (got 120)",
    ),
    ({"pack": {"capacity_wh": True}}, "[pack]: capacity_wh must be a number (got true)"),
    (
        {"pack": {"temperature": "inside"}},
        '[pack]: temperature must be "outside" or degrees C (got "inside")',
    ),
    (
        {"pack": {"chemistry": "lpf"}},
        '[pack]: chemistry must be one of lfp, nmc, agm, flooded (got "lpf"); did you mean "lfp"?',
    ),
    (
        {"pack": {"inverter": {"rated_w": 5, "on": "with-task"}}},
        "[pack.inverter]: on must be one of with-tasks, only-in-use, always, or windows"
        ' (got "with-task"); did you mean "with-tasks"?',
    ),
    ({"pack": {"usb": 5}}, "[pack.usb]: must be a table (got 5)"),
    ({"task": [5]}, "task 1: must be a table (got 5)"),
    ({"task": []}, "task must hold at least 1 (got 0)"),
    ({"task": [{**LAMP, "must": "yes"}]}, 'task 1 "lamp": must must be true or false (got "yes")'),
    (
        {"task": [{**LAMP, "name": "a\nb"}]},
        'task 1 "a b": name must be one line of printable text (got "a b")',
    ),
    ({"task": [LAMP] * 2001}, "task must hold at most 2000 items (got 2001)"),
    (
        {"size": {"panel_w": [800, 100]}},
        "[size]: panel_w must be [from, to], not falling, at most 1e6 (got [800, 100])",
    ),
    ({"goal": {"chance_percent": 101}}, "[goal]: chance_percent must be at most 100 (got 101)"),
    ({"pakc": {}}, 'pakc is not a known key; did you mean "pack"?'),
]


@pytest.mark.parametrize(("changes", "line"), VALUES, ids=[line[:50] for _, line in VALUES])
def test_a_value_that_cannot_be_is_refused_in_one_line(changes, line):
    assert refused(**changes) == [line]


def test_all_problems_come_at_once_in_the_plans_order():
    lines = refused(
        task=[LAMP, {**LAMP, "working_w": -1, "at": "09:00", "between": "all-day"}],
        pack={"capacity_wh": -1, "chemistry": "lfpp"},
        place={"latitude_deg": 91, "albedo": 0.1, "ground": "sand"},
    )
    starts = ["[place]", "[place]", "[pack]", "[pack]", "task 2", "task 2", "task 2"]
    assert [line[: len(start)] for line, start in zip(lines, starts, strict=True)] == starts


def test_a_wrong_value_does_not_hide_what_the_same_table_contradicts():
    lines = refused(task=[{**LAMP, "times": 2, "each_s": -45, "hours": 1}])
    assert lines == [
        'task 1 "lamp": say how much in one way, not times and hours',
        'task 1 "lamp": each_s must be more than 0 (got -45)',
    ]
