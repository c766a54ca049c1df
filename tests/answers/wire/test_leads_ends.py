"""What a lead's ends ask of it: a USB outlet, an outlet's breaker, the inverter, terminals."""

from dataclasses import replace

import pytest
from plan_tables import CHARGER, LAMP, SAW, plan, refused

from energy.answers.wire.wire import wire
from energy.model import conductors as conductors
from energy.plan.schema import Cable
from energy.simulation.budget import budget
from energy.simulation.cables import Run

TOOL = {**SAW, "times": 1, "each_s": 60, "start_w": 0, "working_w": 300}


def wired(run, task=(LAMP,), inverter=None, timezone="America/New_York", **pack):
    whole = {"capacity_wh": 1280, "nominal_v": 12.8, **pack}
    if inverter is not None:
        whole["inverter"] = inverter
    place = {"timezone": timezone}
    weather = {"kind": "clear", "temp_air_c": 15}
    return plan(place=place, pack=whole, weather=weather, task=list(task), run=[run])


# --- USB ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("watts", "volts"),
    [
        # USB Power Delivery's power rules, IEC 62680-1-2, from memory: above 15 W 9 V, above 27 W
        # 15 V, above 45 W 20 V, above 100 W 28 V, above 140 W 36 V, above 180 W 48 V.
        (10, 5), (15, 5), (18, 9), (30, 15), (60, 20), (65, 20), (100, 20), (140, 28), (240, 48),
    ],
)  # fmt: skip
def test_a_usb_lead_is_judged_at_the_voltage_its_watts_ask_for(watts, volts):
    charger = {**CHARGER, "power_w": watts, "charges": 1}
    found = wire(wired({"from": "pack", "to": "task:phone", "length_m": 2}, [charger]))
    assert found.runs[0].volts == volts
    assert found.runs[0].amps == pytest.approx(watts / volts)
    assert any("USB outlet" in note and f"{volts} V" in note for note in found.notes)


def test_more_than_usb_gives_is_said():
    # 240 W are the most of USB Power Delivery, IEC 62680-1-2, from memory.
    charger = {**CHARGER, "power_w": 300, "charges": 1}
    found = wire(wired({"from": "pack", "to": "task:phone", "length_m": 2}, [charger]))
    assert any("USB gives 240 W at most" in note for note in found.notes)


# --- behind an outlet ---------------------------------------------------------------------------


LEAD = {"from": "pack", "to": "task:saw", "length_m": 3}


def test_a_lead_found_bears_the_outlets_breaker():
    # A breaker as large as the inverter gives: 1,000 W / 120 V = 8.3 A, next standard 10 A.
    assert wire(wired(LEAD, [TOOL], {"rated_w": 1000})).runs[0].must_carry_a == 10.0
    # 3,000 W: 25 A, but a socket ends at 20 A (NEMA 5-20) or 16 A (Europe): common practice.
    # 1.5 mm2 carries 17.5 A, 2.5 mm2 24 A (IEC 60364-5-52 table B.52.2, B1): from memory.
    run = wire(wired(LEAD, [TOOL], {"rated_w": 3000})).runs[0]
    assert run.must_carry_a == 20.0
    assert run.mm2 == 2.5
    european = wired(LEAD, [TOOL], {"rated_w": 5000}, "Europe/Paris")
    assert wire(european).runs[0].must_carry_a == 16.0


@pytest.mark.parametrize("timezone", ["America/New_York", "Europe/Paris"])
def test_a_mains_lead_found_is_no_thinner_than_they_are_used_on_site(timezone):
    # 1.5 mm2 for leads that are dragged and trodden on: common practice, from memory. By its drop
    # and its breaker of 2 or 5 A a lamp's lead would be 0.5 or 0.75 mm2.
    tool = {**TOOL, "working_w": 100}
    found = wire(wired(LEAD, [tool], {"rated_w": 200}, timezone))
    assert found.runs[0].mm2 == 1.5
    assert "least usual for a mains lead" in found.runs[0].rule
    (note,) = [note for note in found.notes if "least usual for a mains lead" in note]
    assert "run 1: 1.5 mm2" in note
    assert "common practice" in note


def test_where_drop_or_current_ask_for_more_the_least_of_a_mains_lead_is_not_spoken_of():
    found = wire(wired({**LEAD, "length_m": 60}, [TOOL], {"rated_w": 1000}))
    assert found.runs[0].mm2 > 1.5
    assert not any("least usual" in line for line in (*found.notes, found.runs[0].rule))


def test_no_gauge_thinner_than_16_is_advised_for_a_mains_lead():
    # AWG 16 is the gauge of such leads where wire is told by gauges: common practice, from memory.
    run = Run(Cable(**{"from": "pack", "to": "saw", "length_m": 1}), "ac", 120.0, 0.5, 0.6)
    assert run.smallest_awg == 16
    assert replace(run, kind="dc12").smallest_awg == 18


def test_the_lead_of_a_12_volt_lamp_may_be_thinner():
    run = {"from": "pack", "to": "task:lamp", "length_m": 2}
    assert wire(wired(run)).runs[0].mm2 < 1.5


def test_a_lead_thinner_than_its_outlets_breaker_is_a_no():
    thin = wire(wired({**LEAD, "mm2": 0.75}, [TOOL], {"rated_w": 2000}))
    assert thin.runs[0].too_thin
    assert thin.verdict is False
    assert any("must carry 20 A" in note for note in thin.notes)


def test_a_flexible_lead_of_gauge_16_may_stand_behind_20_amps_and_the_answer_says_why():
    # NFPA 70 240.5(B): extension leads of AWG 16 and larger on 20 A, from memory.
    found = wire(wired({**LEAD, "mm2": 1.31}, [TOOL], {"rated_w": 2000}))
    assert not found.runs[0].too_thin
    (note,) = [note for note in found.notes if "breaker" in note]
    assert "carries 10 A" in note
    assert "20 A" in note
    assert "nothing else" in note
    assert "NFPA 70 240.5(B)" in note


def test_the_rule_of_a_mains_lead_names_the_outlets_breaker():
    found = wire(wired(LEAD, [TOOL], {"rated_w": 1000}))
    assert "the outlet's breaker of 10 A" in found.runs[0].rule


# --- to the inverter ----------------------------------------------------------------------------


TO_INVERTER = {"from": "pack", "to": "inverter", "length_m": 0.5}


def test_an_inverter_run_is_sized_at_the_lowest_battery_voltage_with_the_inverters_curve():
    # 600 W rated, 6 W idle, 90 % at half load (Schmidt & Sauer, three terms): b = 4 x 6 / 600 =
    # 0.04, a = 1 / 0.9 - 1 - 0.04 = 0.0711; at full load 6 + 600 x (1 + 0.0711 + 0.04) = 672.7 W.
    # LFP at 2.5 V of 3.2 V a cell (common practice): 12.8 x 2.5 / 3.2 = 10.0 V, so 67.3 A;
    # x 1.25 = 84.1 A, next fuse 100 A; 25 mm2 carries 101 A.
    inverter = {"rated_w": 600, "idle_w": 6, "efficiency_percent": 90, "surge_w": 600}
    found = wire(wired(TO_INVERTER, inverter=inverter))
    (run,) = found.runs
    assert run.volts == pytest.approx(10.0)
    assert run.amps == pytest.approx(67.27, abs=0.01)
    assert run.fuse_a == 100.0
    assert run.mm2 == 25.0
    assert any("lowest" in note and "10 V" in note for note in found.notes)
    assert any("not in the simulation" in note for note in found.notes)


@pytest.mark.parametrize(
    ("chemistry", "nominal_v", "volts"),
    [
        # Common practice: LFP 2.5 V of 3.2 V a cell, NMC 3.0 of 3.6 V, lead-acid 1.75 of 2.0 V.
        ("lfp", 25.6, 20.0),
        ("nmc", 36.0, 30.0),
        ("agm", 12.0, 10.5),
        ("flooded", 24.0, 21.0),
    ],
)
def test_the_lowest_voltage_by_chemistry(chemistry, nominal_v, volts):
    found = wire(
        wired(TO_INVERTER, inverter={"rated_w": 300}, chemistry=chemistry, nominal_v=nominal_v)
    )
    assert found.runs[0].volts == pytest.approx(volts)


def test_an_inverter_runs_own_figures_win():
    stated = {**TO_INVERTER, "volts": 24, "amps": 30}
    run = wire(wired(stated, inverter={"rated_w": 600})).runs[0]
    assert (run.volts, run.amps) == (24.0, 30.0)


def test_a_lead_may_begin_at_the_inverter():
    from_pack = wire(wired(LEAD, [TOOL], {"rated_w": 1000})).runs[0]
    from_inverter = wire(wired({**LEAD, "from": "inverter"}, [TOOL], {"rated_w": 1000})).runs[0]
    assert from_inverter.amps == from_pack.amps
    losing = wired({**LEAD, "from": "inverter", "mm2": 1}, [TOOL], {"rated_w": 1000})
    same = wired({**LEAD, "mm2": 1}, [TOOL], {"rated_w": 1000})
    assert (budget(losing).charge_percent == budget(same).charge_percent).all()


@pytest.mark.parametrize(
    ("run", "pack", "words"),
    [
        (
            {**TO_INVERTER, "to": "invertor"},
            {"inverter": {"rated_w": 300}},
            '"invertor" is not panel, pack, inverter or task:NAME: give volts, with amps or watts;'
            ' did you mean "inverter"?',
        ),
        (TO_INVERTER, {}, 'to = "inverter", but the pack has no [pack.inverter]'),
        (
            TO_INVERTER,
            {"inverter": {"rated_w": 300}},
            "pack to inverter needs the pack's nominal_v, or volts of the run",
        ),
        (
            {**TO_INVERTER, "from": "inverter", "to": "task:lamp"},
            {"inverter": {"rated_w": 300}},
            '"task:lamp" runs on dc12, not on the inverter: name the pack',
        ),
    ],
)
def test_an_inverter_run_that_cannot_be_is_one_line(run, pack, words):
    assert refused(pack={"capacity_wh": 1000, **pack}, run=[run]) == [f"run 1: {words}"]


def test_an_inverter_elsewhere_may_be_an_end_of_stated_figures():
    alone = {**TO_INVERTER, "volts": 12, "amps": 20}
    assert wire(wired(alone)).runs[0].amps == 20.0


# --- terminals ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("awg", "at_60", "at_75"),
    [
        # NFPA 70 240.4(D) to AWG 10, above it table 310.16, copper, 60 and 75 C: from memory.
        (18, 7, 7), (16, 10, 10), (14, 15, 15), (12, 20, 20), (10, 30, 30), (8, 40, 50),
        (6, 55, 65), (4, 70, 85), (3, 85, 100), (2, 95, 115), (1, 110, 130), (0, 125, 150),
    ],
)  # fmt: skip
def test_gauges_by_what_their_terminals_bear(awg, at_60, at_75):
    # NFPA 70 110.14(C), from memory: 60 C up to 100 A unless marked, 75 C above.
    mm2 = conductors.awg_mm2(awg)
    assert conductors.ampacity_a(mm2, circuit_a=100.0) == at_60
    assert conductors.ampacity_a(mm2, circuit_a=125.0) == at_75
    assert conductors.ampacity_a(mm2, circuit_a=100.0, terminals_c=75) == at_75
    assert conductors.ampacity_a(mm2, circuit_a=125.0, terminals_c=60) == at_60


def test_terminals_decide_whether_a_gauge_will_do():
    # 65 A x 1.25 = 81 A, fuse 100 A: AWG 3 carries 85 A at 60 C and 100 A at 75 C.
    winch = {"from": "battery", "to": "winch", "length_m": 1, "volts": 12.8, "amps": 65}
    winch["mm2"] = round(conductors.awg_mm2(3), 2)
    unmarked, marked = (wire(wired({**winch, **key})).runs[0] for key in ({}, {"terminals_c": 75}))
    assert unmarked.too_thin
    assert not marked.too_thin
    assert "60 C" in unmarked.rule
    assert "110.14(C)" in unmarked.rule


def test_terminals_are_60_or_75():
    free = {"from": "a", "to": "b", "length_m": 1, "volts": 12, "amps": 1}
    (line,) = refused(run=[{**free, "terminals_c": 90}])
    assert line == "run 1: terminals_c must be one of 60, 75 (got 90)"


def test_the_gauge_beside_a_cross_section_found_carries_its_fuse_at_60_degrees():
    # 25 mm2 (101 A) behind 100 A: AWG 3 is as thick, but carries 85 A at 60 C; AWG 1 carries 110.
    winch = {"from": "battery", "to": "winch", "length_m": 1, "volts": 12.8, "amps": 70}
    run = wire(wired(winch)).runs[0]
    assert (run.mm2, run.fuse_a) == (25.0, 100.0)
    assert run.awg == 1
