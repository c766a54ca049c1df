"""What a plan may say: defaults, what follows from other keys, and what is refused.

Defaults that are figures of the trade are common practice, no source, unless a source is named.
Plans here are invented and small; files and profiles are tested elsewhere.
"""

from __future__ import annotations

import copy
from datetime import datetime, time
from typing import Any

import pytest

from energy.plan import Plan, PlanError
from energy.plan.moments import clock_minutes, moment_in_span, window

Table = dict[str, Any]

LAMP: Table = {"name": "lamp", "supply": "dc12", "working_w": 10}
SAW: Table = {"name": "saw", "supply": "ac", "kind": "intermittent", "working_w": 800}
COOLER: Table = {
    "name": "cooler",
    "supply": "dc12",
    "kind": "cycling",
    "on_w": 50,
    "duty_percent": 30,
    "period_min": 20,
}
CHARGER: Table = {
    "name": "phone",
    "supply": "usb",
    "kind": "charging",
    "energy_wh": 20,
    "power_w": 10,
    "taper_from_percent": 100,
}
SMALL: Table = {
    "place": {"latitude_deg": 47.0, "longitude_deg": 9.0, "timezone": "Europe/Zurich"},
    "span": {"start": "2026-06-01T07:00:00", "end": "2026-06-02T08:00:00"},
    "pack": {"capacity_wh": 1000},
    "task": [LAMP],
}


def tables(**changes: Any) -> Table:
    """The small plan with some tables extended (None drops a key) and others replaced."""
    whole = copy.deepcopy(SMALL)
    for key, value in changes.items():
        if isinstance(value, dict) and isinstance(whole.get(key), dict):
            extended = {**whole[key], **value}
            value = {k: v for k, v in extended.items() if v is not None}
        whole[key] = value
    return whole


def plan(**changes: Any) -> Plan:
    return Plan.from_dict(tables(**changes))


def refused(**changes: Any) -> list[str]:
    """The lines a plan is refused with, without the origin in front."""
    with pytest.raises(PlanError) as caught:
        plan(**changes)
    assert all(line.startswith("plan: ") for line in caught.value.problems)
    return [line.removeprefix("plan: ") for line in caught.value.problems]


# --- the whole ------------------------------------------------------------------------------

EVERY_KEY: Table = {
    "title": "everything at once",
    "profiles": [],
    "place": {
        "latitude_deg": 55.3,
        "longitude_deg": -160.5,
        "timezone": "America/Anchorage",
        "elevation_m": 7,
        "ground": "old snow",
        "horizon": [[90, 6], [180, 12]],
        "around": ["outdoors", "wet", "afloat", "fuel", "enclosed", "alone"],
    },
    "span": {"start": datetime(2026, 9, 14, 7), "end": datetime(2026, 9, 15, 8)},
    "weather": {
        "kind": "file",
        "file": "builtin:sand-point",
        "stamps": "middle",
        "futures": 31,
        "seed": 4,
        "sky": "overcast",
        "sun_hours": [1.2, 2.1, 3.0, 4.2, 5.1, 5.4, 5.2, 4.6, 3.5, 2.3, 1.4, 1.0],
        "temp_air_c": [4, 12],
        "wind_speed_m_s": 3,
    },
    "panel": [
        {
            "name": "folding panel",
            "rated_w": 200,
            "count": 2,
            "tilt_deg": 30,
            "facing": "SSW",
            "aim": "re-aimed",
            "re_aim_at": ["09:00", time(12, 0)],
            "out_between": ["08:00", "18:00"],
            "shade": [{"between": ["15:00", "18:00"], "keep_percent": 40}],
            "condition_percent": 90,
            "condition_spread_percent": 5,
            "temp_coefficient_percent_per_c": -0.35,
            "airflow": "laid-down",
            "v_oc": 21.6,
            "i_sc": 11.8,
            "v_mp": 18,
            "i_mp": 11.1,
            "temp_coefficient_voc_percent_per_c": -0.3,
            "length_m": 2,
            "kg": 8,
            "price": 300,
        }
    ],
    "pack": {
        "chemistry": "agm",
        "capacity_ah": 100,
        "nominal_v": 12,
        "start_percent": 95,
        "reserve_percent": 50,
        "health_percent": 90,
        "health_spread_percent": 3,
        "idle_w": 1,
        "charge_max_w": 200,
        "discharge_max_w": 500,
        "temperature": "outside",
        "heated": False,
        "resistive_h": 0.1,
        "kinetic_c": 0.4,
        "kinetic_k_per_h": 1.0,
        "coulombic_percent": 88,
        "taper_from_percent": 80,
        "self_discharge_percent_month": 4,
        "kg": 30,
        "price": 200,
        "inverter": {
            "rated_w": 1000,
            "surge_w": 2000,
            "surge_s": 1,
            "idle_w": 8,
            "efficiency_percent": 90,
            "on": [["07:00", "18:00"], ["20:00", "21:00"]],
        },
        "dc12": {"rated_w": 120, "efficiency_percent": 95},
        "usb": {"rated_w": 100, "efficiency_percent": 90},
        "solar_input": {
            "max_w": 400,
            "kind": "pwm",
            "efficiency_percent": 97,
            "max_v": 30,
            "max_a": 20,
        },
    },
    "charger": [{"name": "socket", "watts": 100, "between": ["17:00", "18:30"], "days": [1]}],
    "task": [
        {
            **SAW,
            "group": "cutting",
            "source": "invented",
            "idle_w": 300,
            "duty_percent": 70,
            "start_w": 1500,
            "start_s": 0.3,
            "power_factor": 0.95,
            "hand_held": True,
            "sparks": True,
            "rotating": True,
            "medical": False,
            "spread_percent": 25,
            "times": 12,
            "each_s": 45,
            "between": ["09:00", "12:00"],
            "days": [1, 2],
            "must": True,
            "priority": 1,
            "value": 0.5,
            "flexible": True,
        },
        {**COOLER, "off_w": 1},
        {**CHARGER, "at": "18:00", "charges": 2},
        {**LAMP, "at": time(19, 0), "hours": 2},
        {**LAMP, "minutes": 20, "between": "all-day"},
    ],
    "goal": {"chance_percent": 95, "one_at_a_time": True},
    "size": {"panel_w": [100, 800], "battery_wh": [300, 4000], "candidates": "my-kit.csv"},
    "run": [
        {
            "from": "panel",
            "to": "pack",
            "length_m": 5,
            "mm2": 2.5,
            "allowed_drop_percent": 5,
            "conductor": "tinned",
            "temp_c": 40,
        },
        {"from": "pack", "to": "task:saw", "length_m": 2},
        {"from": "mast", "to": "lamp", "length_m": 9, "volts": 12, "amps": 2},
    ],
}


def test_a_plan_may_use_every_key_there_is():
    found = Plan.from_dict(EVERY_KEY)
    assert (len(found.task), found.run[0].from_, found.size is None) == (5, "panel", False)


@pytest.mark.parametrize(
    ("table", "line"),
    [
        ("place", "plan: [place]: is required"),
        ("span", "plan: [span]: is required"),
        ("pack", "plan: [pack]: is required"),
        ("task", "plan: [[task]] is required, one at least"),
    ],
)
def test_a_plan_without_a_required_table_is_refused(table, line):
    whole = tables()
    del whole[table]
    with pytest.raises(PlanError) as caught:
        Plan.from_dict(whole)
    assert caught.value.problems == [line]


def test_a_plan_without_panels_is_a_pack_alone():
    assert plan().panel == ()


def test_a_plan_cannot_be_changed_in_place():
    with pytest.raises(ValueError, match="frozen"):
        plan().pack.capacity_wh = 5.0


@pytest.mark.parametrize("kind", ["climate", "clear", "history", "forecast"])
def test_weather_that_needs_no_other_key(kind):
    assert plan(weather={"kind": kind}).weather.kind == kind


def test_weather_left_out_is_the_climate():
    found = plan().weather
    assert (found.kind, found.futures, found.seed, found.wind_speed_m_s) == (
        "climate",
        None,
        0,
        1.6,
    )


# --- defaults and what follows from other keys ----------------------------------------------


IN_AMP_HOURS = {"capacity_wh": None, "capacity_ah": 80, "nominal_v": 12.8}


def test_amp_hours_times_volts_are_the_label():
    assert plan(pack=IN_AMP_HOURS).pack.capacity_wh == pytest.approx(1024.0)


@pytest.mark.parametrize(
    ("chemistry", "charge_max_w", "discharge_max_w", "idle_w"),
    [("lfp", 500, 1000, 3), ("nmc", 500, 1000, 3), ("agm", 200, 500, 0), ("flooded", 200, 500, 0)],
)
def test_a_pack_charges_and_discharges_at_its_chemistrys_pace(
    chemistry, charge_max_w, discharge_max_w, idle_w
):
    pack = plan(pack={"chemistry": chemistry, "capacity_wh": 1000}).pack
    found = (pack.charge_max_w, pack.discharge_max_w, pack.idle_w)
    assert found == (charge_max_w, discharge_max_w, idle_w)


@pytest.mark.parametrize(
    ("chemistry", "resistive_h", "coulombic", "taper_from", "a_month"),
    [
        ("lfp", 0.06, 99, 90, 2),
        ("nmc", 0.08, 99, 80, 2),
        ("agm", 0.08, 90, 80, 3),
        ("flooded", 0.10, 85, 80, 5),
    ],
)
def test_a_chemistrys_constants_are_those_of_practice(
    chemistry, resistive_h, coulombic, taper_from, a_month
):
    pack = plan(pack={"chemistry": chemistry}).pack
    assert (
        pack.resistive_h,
        pack.coulombic_percent,
        pack.taper_from_percent,
        pack.self_discharge_percent_month,
    ) == (resistive_h, coulombic, taper_from, a_month)


def test_only_lead_acid_has_two_wells():
    wells = {
        c: plan(pack={"chemistry": c}).pack.kinetic_c for c in ("lfp", "nmc", "agm", "flooded")
    }
    assert wells == {"lfp": None, "nmc": None, "agm": 0.45, "flooded": 0.45}


def test_an_inverter_surges_to_twice_and_idles_at_a_hundredth_of_its_rating():
    inverter = plan(pack={"inverter": {"rated_w": 600}}).pack.inverter
    assert (inverter.surge_w, inverter.idle_w, inverter.on) == (1200, 6, "with-tasks")


def test_a_pack_has_12_volt_and_usb_outlets_but_no_mains_outlet_of_itself():
    pack = plan().pack
    assert (pack.dc12.rated_w, pack.usb.rated_w, pack.inverter) == (120, 100, None)


def test_a_solar_input_is_mppt_without_a_limit():
    solar = plan().pack.solar_input
    assert (solar.kind, solar.max_w, solar.efficiency_percent) == ("mppt", None, 97)


@pytest.mark.parametrize(("said", "held"), [("outside", None), (8, 8.0)])
def test_a_pack_follows_the_air_or_keeps_its_own_temperature(said, held):
    assert plan(pack={"temperature": said}).pack.temperature == held


def test_a_panels_current_is_its_watts_over_its_volts():
    panel = plan(panel=[{"rated_w": 90}]).panel[0]
    assert (panel.v_mp, panel.i_mp) == (18, 5)


@pytest.mark.parametrize(("latitude", "azimuth"), [(47, 180), (0, 180), (-33, 0)])
def test_a_panel_faces_the_equator(latitude, azimuth):
    found = plan(place={"latitude_deg": latitude}, panel=[{"rated_w": 90}])
    assert found.panel[0].facing_deg == azimuth


@pytest.mark.parametrize(
    ("said", "azimuth"),
    [("N", 0), ("nne", 22.5), ("E", 90), ("SSW", 202.5), ("W", 270), (200, 200), (-90, 270)],
)
def test_a_facing_is_a_compass_word_or_degrees_clockwise_from_north(said, azimuth):
    assert plan(panel=[{"rated_w": 90, "facing": said}]).panel[0].facing_deg == azimuth


@pytest.mark.parametrize(
    ("ground", "albedo"),
    [
        ("grass", 0.20),
        ("soil", 0.17),
        ("concrete", 0.30),
        ("asphalt", 0.12),
        ("sand", 0.40),
        ("snow", 0.65),
        ("old snow", 0.50),
        ("water", 0.06),
    ],
)
def test_the_ground_gives_its_albedo(ground, albedo):
    assert plan(place={"ground": ground}).place.albedo == albedo


def test_the_albedo_is_a_fifth_where_nothing_is_said():
    assert plan().place.albedo == 0.2


def test_a_time_zone_left_out_is_looked_up():
    place = {"latitude_deg": -43.5, "longitude_deg": 172.6, "timezone": None}
    assert plan(place=place).place.timezone == "Pacific/Auckland"


@pytest.mark.parametrize(
    ("sky", "oktas"),
    [
        ("overcast", (8,)),
        ("broken", (6,)),
        ("scattered", (4,)),
        ("few", (2,)),
        ("clear", (0,)),
        (7, (7,)),
        ([6, "few"], (6, 2)),
    ],
)
def test_a_sky_is_in_eighths(sky, oktas):
    # The okta classes of the World Meteorological Organization: few 1-2, scattered 3-4, broken
    # 5-7, overcast 8.
    assert plan(weather={"kind": "sky", "sky": sky}).weather.sky == oktas


@pytest.mark.parametrize(
    ("said", "held"), [(15, 15.0), ([-2, 9], (-2.0, 9.0)), (list(range(12)), tuple(range(12)))]
)
def test_the_air_is_one_number_a_days_two_or_a_years_twelve(said, held):
    assert plan(weather={"temp_air_c": said}).weather.temp_air_c == held


def test_minutes_each_become_seconds_each():
    assert plan(task=[{**LAMP, "times": 3, "each_min": 2}]).task[0].each_s == 120


@pytest.mark.parametrize(("amount", "seconds"), [({"minutes": 20}, 1200), ({"hours": 1.5}, 5400)])
def test_a_block_has_a_length_in_seconds(amount, seconds):
    assert plan(task=[{**LAMP, **amount}]).task[0].duration_s == seconds


def test_a_charging_tool_is_charged_once():
    assert plan(task=[CHARGER]).task[0].charges == 1


@pytest.mark.parametrize(("tool", "start_w"), [(LAMP, 10), (SAW, 800), (COOLER, 50), (CHARGER, 10)])
def test_a_tool_starts_with_its_working_watts(tool, start_w):
    task = {**tool} if tool is not SAW else {**tool, "minutes": 5}
    assert plan(task=[task]).task[0].start_w == start_w


def test_a_task_is_of_middling_priority_and_value():
    task = plan().task[0]
    assert (task.must, task.priority, task.value, task.spread_percent) == (False, 2, 1, 20)


# --- times of day and windows ---------------------------------------------------------------


def between(value: Any) -> Any:
    return plan(task=[{**LAMP, "between": value}]).task[0].between


def test_a_window_by_the_clock_is_in_minutes_after_midnight():
    assert between(["09:30", "24:00"]) == (("clock", 570), ("clock", 1440))


def test_a_toml_time_is_a_time_of_day():
    assert between([time(9, 30), time(10, 0, 30)]) == (("clock", 570), ("clock", 600.5))


def test_a_window_may_follow_the_sun():
    found = between(["sunrise-1h", "sunset + 30min"])
    assert found == (("sunrise", -60), ("sunset", 30))


def test_all_day_is_no_window():
    assert between("all-day") is None


@pytest.mark.parametrize(
    ("said", "minutes"),
    [
        (["09:00", "12:00"], 180),
        (["22:00", "06:00"], 480),
        ("all-day", 1440),
        (["sunset", "23:00"], None),
    ],
)
def test_the_length_of_a_window_is_known_where_the_clock_gives_it(said, minutes):
    assert clock_minutes(window(said)) == minutes


@pytest.mark.parametrize(
    "value",
    [
        ["09:00", "9:00"],
        ["09:00"],
        ["09:00", "25:00"],
        ["09:00", "10:60"],
        ["noon", "13:00"],
        ["sunset+30", "23:00"],
        ["sunset+13h", "23:00"],
        ["24:00", "06:00"],
        "09:00",
        9,
        [],
        [["09:00", "10:00"]],
        [None, "10:00"],
    ],
)
def test_what_is_no_window_is_refused(value):
    assert refused(task=[{**LAMP, "between": value}])[0].startswith('task 1 "lamp": between ')


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("13:20", datetime(2026, 6, 1, 13, 20)),
        ("06:59", datetime(2026, 6, 2, 6, 59)),
        ("2026-06-02T01:00", datetime(2026, 6, 2, 1)),
    ],
)
def test_a_clock_time_is_the_first_one_in_the_span(text, expected):
    assert moment_in_span(text, plan()) == expected


@pytest.mark.parametrize("text", ["noon", "", "25:00", "sunset", "2026-13-01T10:00"])
def test_what_is_no_time_in_the_span_is_refused(text):
    with pytest.raises(PlanError, match="is not a time"):
        moment_in_span(text, plan())


def test_a_time_with_an_offset_is_refused():
    with pytest.raises(PlanError, match="leave the offset out"):
        moment_in_span("2026-06-01T13:20+02:00", plan())


# --- what keys must say together ------------------------------------------------------------

AC = {"inverter": {"rated_w": 1000}}
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
        "[pack]: capacity_wh is required (or capacity_ah with nominal_v)",
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
        'run 1: "mast" is not panel, pack or task:NAME: give volts, with amps or watts',
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
    ({**LAMP, "days": [0]}, "days item 1 must be at least 1 (got 0)"),
    ({**LAMP, "days": [1, 1]}, "days must name each day once (got [1, 1])"),
    ({**LAMP, "days": []}, "days must hold at least 1 (got 0)"),
]


@pytest.mark.parametrize(("task", "line"), TASKS, ids=[line[:50] for _, line in TASKS])
def test_a_task_that_does_not_say_what_to_do_is_refused(task, line):
    task = {key: value for key, value in task.items() if value is not None}
    assert refused(task=[task]) == [f'task 1 "{task["name"]}": {line}']


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


def test_two_charges_just_fit():
    task = {**CHARGER, "charges": 2, "between": ["09:00", "13:00"]}
    assert plan(task=[task]).task[0].charges == 2


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
        "[span]: start is on the place's own clock: leave the offset out (got 2026-06-01 07:00:00+02:00)",
    ),
    (
        {"span": {"start": "today"}},
        '[span]: start must be a date with a time, such as 2026-09-14T07:00:00 (got "today")',
    ),
    ({"weather": {"futures": 0}}, "[weather]: futures must be at least 1 (got 0)"),
    ({"weather": {"futures": 2.5}}, "[weather]: futures must be a whole number (got 2.5)"),
    (
        {"weather": {"sky": "overcats"}},
        "[weather]: sky must be clear, few, scattered, broken, overcast, or eighths from 0 to 8"
        ' (got "overcats"); did you mean "overcast"?',
    ),
    (
        {"weather": {"sky": 9}},
        "[weather]: sky must be clear, few, scattered, broken, overcast, or eighths from 0 to 8 (got 9)",
    ),
    ({"weather": {"sun_hours": [1] * 11}}, "[weather]: sun_hours must hold at least 12 (got 11)"),
    (
        {"weather": {"temp_air_c": [9, 2]}},
        "[weather]: temp_air_c must be [low, high], the lower first (got [9, 2])",
    ),
    ({"panel": [{"rated_w": 90, "tilt_deg": -5}]}, "panel 1: tilt_deg must be at least 0 (got -5)"),
    ({"panel": [{"rated_w": 0}]}, "panel 1: rated_w must be more than 0 (got 0)"),
    ({"panel": [{}]}, "panel 1: rated_w is required"),
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
        "[size]: panel_w must be [from, to], rising, at most 1e6 (got [800, 100])",
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
