"""What is said of a run's fuse: its amps, its DC volts, what it must break, and string fuses."""

import json

import pytest
from plan_tables import FOLDER as PANEL
from plan_tables import LAMP, plan
from told import told, unfolded

from energy.answers.wire.wire import wire
from energy.answers.wire.words import sheet
from energy.show.layout import part

TO_PACK = {"from": "panel", "to": "pack", "length_m": 5}
TO_LAMP = {"from": "pack", "to": "task:lamp", "length_m": 3}


def wired(run, panel=PANEL, solar_input=None, weather=None, lowest_c=-15.0, **pack):
    limits = solar_input or {"max_v": 100, "max_a": 60}
    whole = {"capacity_wh": 1280, "nominal_v": 12.8, "solar_input": limits, **pack}
    air = weather or {"kind": "clear", "temp_air_c": [-4, 9]}
    panels = [panel] if panel else []
    asked = plan(panel=panels, pack=whole, weather=air, task=[LAMP], run=[run])
    return wire(asked, lowest_c=lowest_c if panel else None)


def test_a_panel_fuse_bears_the_strings_at_their_coldest():
    # Two in series: 2 x 21.6 V x (1 + 0.0030 x 40) = 48.4 V at -15 C.
    two = {**PANEL, "count": 2}
    run = wired(TO_PACK, two, {"max_v": 60, "max_a": 13}).runs[0]
    assert run.fuse_v == pytest.approx(2 * 21.6 * 1.12)
    assert "48.4 V" in run.fuse_words
    assert "coldest" in run.fuse_words
    assert "blade fuses end at 32 V" in run.fuse_words


def test_where_nobody_knows_the_cold_the_fuse_bears_the_coldest_there_is():
    # 21.6 V x (1 + 0.0030 x 65) = 25.8 V at -40 C.
    run = wired(TO_PACK, weather={"kind": "clear"}, lowest_c=None).runs[0]
    assert run.fuse_v == pytest.approx(21.6 * (1.0 + 0.0030 * 65.0))


def test_without_a_label_the_fuses_voltage_asks_for_it():
    run = wired(TO_PACK, {**PANEL, "v_oc": None}).runs[0]
    assert run.fuse_v is None
    assert "give v_oc" in run.fuse_words


@pytest.mark.parametrize(
    ("chemistry", "nominal_v", "highest_v"),
    [
        # Charged full, common practice: LFP 3.65 V of 3.2 V a cell, NMC 4.2 of 3.6 V, AGM 2.45 of
        # 2.0 V, flooded 2.6 of 2.0 V (equalising).
        ("lfp", 12.8, 14.6),
        ("nmc", 14.4, 16.8),
        ("agm", 12.0, 14.7),
        ("flooded", 12.0, 15.6),
    ],
)
def test_a_battery_circuits_fuse_bears_the_charging_voltage(chemistry, nominal_v, highest_v):
    run = wired(TO_LAMP, None, chemistry=chemistry, nominal_v=nominal_v).runs[0]
    assert run.fuse_v == pytest.approx(highest_v)


def test_a_48_volt_battery_is_beyond_blade_fuses():
    # 51.2 V x 3.65 / 3.2 = 58.4 V.
    winch = {"from": "pack", "to": "winch", "length_m": 1, "volts": 51.2, "amps": 10}
    run = wired(winch, None, nominal_v=51.2).runs[0]
    assert run.fuse_v == pytest.approx(58.4)
    assert "blade fuses end at 32 V" in run.fuse_words
    low = wired({**winch, "volts": 12.8}, None).runs[0]
    assert "32 V" not in low.fuse_words


@pytest.mark.parametrize(
    ("chemistry", "capacity_wh", "nominal_v", "breaks_a"),
    [
        # Lithium 50 x the amp-hours: common practice, no source. Lead-acid ten times the
        # one-minute rate (IEEE 946, from memory), which is some 2.5 x the amp-hours.
        ("lfp", 1280, 12.8, 50 * 100),
        ("nmc", 720, 36.0, 50 * 20),
        ("agm", 1200, 12.0, 25 * 100),
        ("flooded", 2700, 12.0, 25 * 225),
    ],
)
def test_a_fuse_breaks_what_the_battery_gives_into_a_short(
    chemistry, capacity_wh, nominal_v, breaks_a
):
    pack = {"chemistry": chemistry, "capacity_wh": capacity_wh, "nominal_v": nominal_v}
    run = wired(TO_LAMP, None, **pack).runs[0]
    assert run.fuse_breaks_a == pytest.approx(breaks_a)
    assert f"{breaks_a:,} A" in run.fuse_words
    assert ("IEEE 946" if chemistry in ("agm", "flooded") else "common practice") in run.fuse_words


def test_the_packs_own_resistance_counts_where_it_lets_more_through():
    # 100 Ah / 0.01 h = 10,000 A: the volts over the resistance.
    assert wired(TO_LAMP, None, resistive_h=0.01).runs[0].fuse_breaks_a == pytest.approx(10_000)


def test_where_a_blade_fuse_cannot_break_the_short_it_is_said():
    # ISO 8820-3, from memory: blade fuses break 1,000 A.
    assert "blade fuses break 1,000 A" in wired(TO_LAMP, None).runs[0].fuse_words
    small = wired(TO_LAMP, None, capacity_wh=128).runs[0]  # 10 Ah: 500 A
    assert "blade" not in small.fuse_words


def test_two_strings_need_no_fuse_each_and_three_do():
    # IEC 62548 and NFPA 70 690.9, from memory: two strings cannot overload one another.
    two = wired(TO_PACK, {**PANEL, "count": 2}).runs[0].fuse_words
    assert "2 strings in parallel need no fuse each (IEC 62548, NFPA 70 690.9)" in two
    # 1.25 x 1.25 x 11.8 A = 18.4 A, next 20 A.
    three = wired(TO_PACK, {**PANEL, "count": 3}).runs[0].fuse_words
    assert "3 strings in parallel: a fuse of 20 A in each" in three
    assert "series fuse" in three
    assert "strings in parallel" not in wired(TO_PACK).runs[0].fuse_words


def test_a_run_without_a_fuse_says_nothing_of_one():
    phone = {"name": "phone", "supply": "usb", "working_w": 5}
    lead = {"from": "pack", "to": "task:phone", "length_m": 1}
    asked = plan(pack={"capacity_wh": 500}, task=[phone], run=[lead])
    run = wire(asked).runs[0]
    assert (run.fuse_a, run.fuse_v, run.fuse_breaks_a, run.fuse_words) == (None, None, None, "")


def test_the_fuse_lines_are_shown_and_in_the_json():
    found = wired(TO_PACK)
    text = unfolded(told(lambda width: sheet(found, part([]), width)))
    assert "Fuse run 1: 20 A, DC voltage at least 24.2 V" in text
    run = json.loads(json.dumps(found.as_dict()))["runs"][0]
    assert run["fuse_v"] == pytest.approx(24.2)
    assert run["fuse_breaks_a"] == 5000
