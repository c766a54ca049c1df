"""What a plan may say: every key, defaults, what follows from other keys, times of day.

Defaults that are figures of the trade are common practice, no source, unless a source is named.
Plans here are invented and small; what is refused and how files are read is tested elsewhere.
"""

from __future__ import annotations

from datetime import datetime, time
from typing import Any

import pytest
from plan_tables import CHARGER, COOLER, EVERY_KEY, IN_AMP_HOURS, LAMP, SAW, plan, refused, tables

from energy.plan import Plan, PlanError, profiles
from energy.plan.moments import clock_minutes, moment_in_span, window

# --- the whole ------------------------------------------------------------------------------


def test_a_plan_may_use_every_key_there_is():
    found = Plan.from_dict(EVERY_KEY)
    assert (len(found.task), found.run[0].from_, found.size is None) == (5, "panel", False)


@pytest.mark.parametrize(
    ("table", "line"),
    [
        ("place", "plan: [place]: is required"),
        ("span", "plan: [span]: is required"),
        ("pack", f"plan: [pack]: is required (profile: {', '.join(profiles.packs())})"),
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
        ("07:00", datetime(2026, 6, 1, 7)),
        ("06:59", datetime(2026, 6, 2, 6, 59)),
        ("2026-06-02T01:00", datetime(2026, 6, 2, 1)),
    ],
)
def test_a_clock_time_is_the_first_one_in_the_span(text, expected):
    assert moment_in_span(text, plan().span.start, "Europe/Berlin") == expected


@pytest.mark.parametrize("text", ["noon", "", "25:00", "sunset", "2026-13-01T10:00"])
def test_what_is_no_time_in_the_span_is_refused(text):
    with pytest.raises(PlanError, match="is not a time"):
        moment_in_span(text, plan().span.start, "Europe/Berlin")


@pytest.mark.parametrize(
    ("text", "fold"),
    [
        ("2027-10-31T02:30", 0),
        ("2027-10-31T02:30+02:00", 0),
        ("2027-10-31 02:30+01:00", 1),
        ("2027-10-31T03:30+01:00", 0),
    ],
)
def test_the_offset_of_a_time_tells_which_of_two_is_meant(text, fold):
    # The EU's summer time ends on the last Sunday of October at 01:00 UTC (directive 2000/84/EC).
    at = moment_in_span(text, plan().span.start, "Europe/Berlin")
    assert at == datetime.fromisoformat(text).replace(tzinfo=None)
    assert at.fold == fold


@pytest.mark.parametrize(
    ("text", "own"),
    [
        ("2026-06-01T13:20+01:00", "2026-06-01T14:20+02:00"),
        ("2027-03-28T02:30+01:00", "2027-03-28T03:30+02:00"),
        ("2026-06-01T13:20Z", "2026-06-01T15:20+02:00"),
    ],
)
def test_a_time_with_anothers_offset_is_refused(text, own):
    with pytest.raises(PlanError) as refused:
        moment_in_span(text, plan().span.start, "Europe/Berlin")
    assert refused.value.problems == [
        f'"{text}": on the plan\'s own clock that is {own}; give that'
    ]
