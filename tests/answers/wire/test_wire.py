"""The runs and strings of a plan: judged by hand arithmetic, refused in one line, and simulated."""

import json

import numpy as np
import pytest
import tomlkit
from plan_tables import FOLDER as PANEL
from plan_tables import LAMP, SAW, plan, refused
from told import told, unfolded
from typer.testing import CliRunner

from energy.answers.wire.wire import wire
from energy.answers.wire.words import sheet
from energy.cli.main import app
from energy.plan import PlanError
from energy.show.layout import part
from energy.simulation.budget import budget

CLEAR = {"kind": "clear", "temp_air_c": [-4, 9]}
INPUT = {"max_v": 60, "max_a": 30}
TO_PACK = {"from": "panel", "to": "pack", "length_m": 5}
IN_SPAN = {"start": "2026-06-01T07:00:00", "end": "2026-06-01T19:00:00"}


def kit(run=(), panel=PANEL, pack=None, task=(LAMP,), **changes):
    pack = {"capacity_wh": 1000, "nominal_v": 12.8, "solar_input": INPUT, **(pack or {})}
    panels = panel if isinstance(panel, list) else [panel]
    run = [{**one} for one in run]
    tables = {"weather": CLEAR, "panel": panels, "pack": pack, "task": list(task), "run": run}
    return plan(**{**tables, **changes})


def lines(ask):
    with pytest.raises(PlanError) as caught:
        ask()
    return caught.value.problems


# --- what a run joins ---------------------------------------------------------------------------


def test_a_panel_run_by_hand():
    # Ohm's law with IEC 60228: 11.1 A, 2 x 5 m of 4 mm2 at 4.95 ohm/km x (1 + 0.00393 x 40).
    run = wire(kit([{**TO_PACK, "mm2": 4}])).runs[0]
    ohm = 0.010 * 4.95 * (1.0 + 0.00393 * 40.0)
    assert run.drop_v == pytest.approx(11.1 * ohm)
    assert run.drop_percent == pytest.approx(100.0 * 11.1 * ohm / 18.0, rel=1e-3)
    assert run.loss_w == pytest.approx(11.1**2 * ohm)


def test_a_panels_fuse_has_both_factors():
    # NFPA 70 690.8: 1.25 x 1.25 x 11.8 A = 18.4 A, next of the series 20 A.
    assert wire(kit([TO_PACK])).runs[0].fuse_a == 20.0


def test_a_dc_tasks_fuse_has_the_factor_for_hours():
    # 100 W at 12.8 V: 7.81 A x 1.25 = 9.77 A, next of the series 10 A.
    pump = {**LAMP, "name": "pump", "working_w": 100}
    run = wire(kit([{"from": "pack", "to": "task:pump", "length_m": 3}], task=[pump])).runs[0]
    assert run.amps == pytest.approx(100.0 / 12.8)
    assert run.fuse_a == 10.0


def test_a_mains_lead_at_230_volts_with_the_tools_power_factor():
    saw = {**SAW, "working_w": 920, "power_factor": 0.8, "start_w": 1840, "times": 1, "each_s": 9}
    answer = wire(kit([{"from": "pack", "to": "task:saw", "length_m": 50, "mm2": 1.5}], task=[saw]))
    run = answer.runs[0]
    assert run.amps == pytest.approx(5.0)
    # The start draws 10 A: twice the working drop.
    assert run.start_dip_percent == pytest.approx(2.0 * run.drop_percent)
    assert run.fuse_a is None  # the inverter guards its outlet
    assert any("230 V mains, usual in Switzerland" in note for note in answer.notes)


def test_a_runs_own_volts_beat_those_assumed():
    saw = {**SAW, "working_w": 600, "times": 1, "each_s": 9}
    lead = {"from": "pack", "to": "task:saw", "length_m": 10, "volts": 120}
    answer = wire(kit([lead], task=[saw]))
    assert answer.runs[0].amps == pytest.approx(5.0)
    assert not any("mains, usual in" in note for note in answer.notes)


def test_a_12_volt_outlet_of_a_higher_pack_stays_at_12_8():
    run = {"from": "pack", "to": "task:lamp", "length_m": 3}
    high = kit([run], pack={"nominal_v": 51.2})
    assert wire(high).runs[0].amps == pytest.approx(10.0 / 12.8)


def test_a_run_between_other_things_takes_what_it_states():
    run = {"from": "mast", "to": "lantern", "length_m": 9, "volts": 12, "watts": 24}
    answer = wire(kit([run], panel=[]))
    assert answer.runs[0].amps == pytest.approx(2.0)
    assert any("not in the simulation" in note for note in answer.notes)


def test_tasks_of_one_name_share_a_cable_for_the_hungrier():
    tasks = [{**LAMP, "hours": 1}, {**LAMP, "hours": 1, "working_w": 64, "at": "20:00"}]
    answer = wire(kit([{"from": "pack", "to": "task:lamp", "length_m": 3}], task=tasks))
    assert answer.runs[0].amps == pytest.approx(5.0)


# --- found and judged ---------------------------------------------------------------------------


def test_the_cross_section_found_keeps_the_drop_and_the_one_below_does_not():
    for length_m in (2, 5, 9):
        found = wire(kit([{**TO_PACK, "length_m": length_m}])).runs[0]
        assert found.fits
        sizes = [0.5, 0.75, 1, 1.5, 2.5, 4, 6, 10, 16, 25, 35, 50, 70, 95]
        below = sizes[sizes.index(found.mm2) - 1]
        assert not wire(kit([{**TO_PACK, "length_m": length_m, "mm2": below}])).runs[0].fits


def test_a_thin_long_cable_is_a_no_and_says_what_would_do():
    answer = wire(kit([{**TO_PACK, "length_m": 8, "mm2": 2.5}]))
    assert not answer.yes
    assert answer.runs[0].drops_too_much
    assert any("take 10 mm2" in note for note in answer.notes)


def test_a_short_cable_too_thin_for_its_fuse_is_a_no():
    # 40 A want a fuse of 50 A; IEC 60364-5-52 B.52.2 B1 (memory): 6 mm2 carries 41 A, 10 mm2 57 A.
    run = {"from": "battery", "to": "winch", "length_m": 0.2, "volts": 12.8, "amps": 40, "mm2": 6}
    answer = wire(kit([run], panel=[]))
    assert not answer.yes
    assert not answer.runs[0].drops_too_much
    assert answer.runs[0].too_thin
    assert wire(kit([{**run, "mm2": None}], panel=[])).runs[0].mm2 == 10.0


def test_a_gauge_may_be_stated_by_its_area():
    # ASTM B258: AWG 10 is 5.26 mm2.
    run = wire(kit([{**TO_PACK, "mm2": 5.26}])).runs[0]
    assert run.awg == 10
    assert "ASTM B258" in run.rule


# --- strings ------------------------------------------------------------------------------------


def test_the_strings_cold_volts_by_the_places_lowest_air():
    # A day's low and high tell nothing of other seasons: -40 C. 21.6 V x (1 + 0.0030 x 65).
    answer = wire(kit(panel={**PANEL, "count": 2}))
    assert [s.panels_in_series for s in answer.strings] == [1, 2]
    cold = 21.6 * (1.0 + 0.0030 * 65.0)
    assert answer.lowest_c == -40.0
    assert [s.v_oc_cold for s in answer.strings] == pytest.approx([cold, 2.0 * cold])


def test_without_a_coefficient_the_cold_table_decides():
    # NFPA 70 table 690.7(A), from memory: 1.16 from -11 to -15 C.
    panel = {key: value for key, value in PANEL.items() if "coefficient" not in key}
    answer = wire(kit(panel=panel), lowest_c=-12.0)
    assert answer.strings[0].v_oc_cold == pytest.approx(21.6 * 1.16)


def test_a_string_that_fits_in_summer_may_not_in_the_cold():
    # Two in series, limit 47 V: 43.2 V at 25 C, 48.4 V at -15 C.
    two = kit(panel={**PANEL, "count": 2}, pack={"solar_input": {"max_v": 47, "max_a": 12}})
    assert wire(two, lowest_c=25.0).strings[1].fits is True
    cold = wire(two, lowest_c=-15.0)
    assert cold.strings[1].fits is False
    assert not cold.yes  # and side by side they are too many amps


def test_panels_stand_side_by_side_where_the_input_lets_them():
    # Common practice: shade costs least in parallel.
    run = wire(kit([TO_PACK], panel={**PANEL, "count": 2})).runs[0]
    assert (run.volts, run.amps) == pytest.approx((18.0, 22.2))


def test_panels_go_in_series_where_the_input_takes_fewer_amps():
    few_amps = {"solar_input": {"max_v": 60, "max_a": 13}}
    run = wire(kit([TO_PACK], panel={**PANEL, "count": 2}, pack=few_amps)).runs[0]
    assert (run.volts, run.amps) == pytest.approx((36.0, 11.1))


def test_two_kinds_of_panel_share_the_inputs_amps():
    two = [{**PANEL, "name": "one"}, {**PANEL, "name": "two"}]
    few_amps = {"solar_input": {"max_v": 60, "max_a": 20}}
    assert wire(kit(panel=two)).yes
    assert not wire(kit(panel=two, pack=few_amps)).yes


def test_kinds_that_are_too_many_amps_side_by_side_go_in_series():
    # Two kinds, two of each: 4 x 11.8 A side by side, 2 x 11.8 A in series; the input takes 25 A.
    two = [{**PANEL, "name": name, "count": 2} for name in ("one", "two")]
    answer = wire(kit([TO_PACK], panel=two, pack={"solar_input": {"max_v": 60, "max_a": 25}}))
    assert answer.runs[0].amps == pytest.approx(22.2)
    assert answer.yes


def test_an_unknown_limit_or_cold_is_not_called_a_fit():
    assert wire(kit(pack={"solar_input": {}})).strings[0].fits is None
    near = {"solar_input": {"max_v": 24, "max_a": 30}}  # 22.2 V as it is, more in the cold
    assert wire(kit(weather={"kind": "clear"}, pack=near)).strings[0].fits is None
    assert wire(kit(panel={"rated_w": 100})).strings[0].fits is None


def test_a_known_misfit_stays_one_where_the_cold_is_not_known():
    # 21.6 V on an input of 20 V at any temperature below 25 C.
    low = kit(weather={"kind": "clear"}, pack={"solar_input": {"max_v": 20, "max_a": 30}})
    assert wire(low).strings[0].fits is False


# --- wrong input --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("length_m", 0, "length_m must be more than 0 (got 0)"),
        ("length_m", -5, "length_m must be more than 0 (got -5)"),
        ("allowed_drop_percent", 0, "allowed_drop_percent must be more than 0 (got 0)"),
        ("conductor", "tined", '(got "tined"); did you mean "tinned"?'),
    ],
)
def test_a_wrong_figure_of_a_run_is_one_line(key, value, words):
    (line,) = refused(panel=[PANEL], run=[{**TO_PACK, key: value}])
    assert line.startswith("run 1: ")
    assert line.endswith(words)


def test_an_unknown_task_is_named_with_what_was_meant():
    (line,) = refused(run=[{"from": "pack", "to": "task:lmap", "length_m": 3}])
    assert line == (
        'run 1: to names no task of the plan (got "task:lmap"); did you mean "task:lamp"?'
    )


@pytest.mark.parametrize(
    ("runs", "line"),
    [
        (
            [TO_PACK, {**TO_PACK, "from": "pack", "to": "panel"}],
            'plan: run 2: "pack" to "panel" is run 1 already: give the whole way as one length, or'
            " name what else it joins",
        ),
        (
            [{**TO_PACK, "mm2": 3}],
            "plan: run 1: mm2 must be one of 0.5, 0.75, 1, 1.5, 2.5, 4, 6, 10, 16, 25, 35, 50, 70,"
            " 95, or that of an even gauge, such as 5.26 for AWG 10 (got 3)",
        ),
        ([{**TO_PACK, "from": "pack"}], 'plan: run 1: from and to are both "pack"'),
        (
            [{**TO_PACK, "to": "task:lamp"}],
            'plan: run 1: "panel" to "task:lamp" is not panel to pack, pack to inverter or pack'
            " to task:NAME: give volts, with amps or watts",
        ),
    ],
)
def test_what_no_cable_joins_is_one_line_for_the_answer_and_the_simulation(runs, line):
    wrong = kit(runs)
    assert lines(lambda: wire(wrong, lowest_c=0.0)) == [line]
    assert lines(lambda: budget(wrong)) == [line]


@pytest.mark.parametrize("lowest_c", [-91.0, 61.0, float("nan")])
def test_an_impossible_cold_is_one_line(lowest_c):
    (line,) = lines(lambda: wire(kit(), lowest_c=lowest_c))
    assert line.startswith("the lowest air must lie between -90 and 25 degrees C (got ")


def test_colder_than_the_table_a_panel_without_a_coefficient_is_judged_at_its_worst():
    # 1.25 at -40 C, and 0.5 % a degree below.
    panel = {key: value for key, value in PANEL.items() if "coefficient" not in key}
    cold = wire(kit(panel=panel), lowest_c=-45.0).strings[0].v_oc_cold
    assert cold == pytest.approx(21.6 * 1.275)
    assert wire(kit(), lowest_c=-45.0).strings[0].v_oc_cold == pytest.approx(21.6 * 1.21)


# --- the answer ---------------------------------------------------------------------------------


def test_the_stable_keys():
    answer = json.loads(json.dumps(wire(kit([TO_PACK])).as_dict()))
    assert list(answer) == ["runs", "strings", "air"]
    run_keys = "from to amps drop_v drop_percent loss_w mm2 awg fuse_a rule"
    added = "volts about fuse_v fuse_breaks_a"
    assert list(answer["runs"][0]) == run_keys.split() + added.split()
    string_keys = "panels_in_series v_oc_cold limit_v fits taken"
    assert list(answer["strings"][0]) == string_keys.split()
    assert list(answer["air"]) == ["lowest_c", "from", "known", "plan_lowest_c"]


def test_a_budget_gives_the_same_answer_as_its_plan():
    one = kit([TO_PACK], panel={**PANEL, "count": 2})
    assert wire(budget(one)) == wire(one)


@pytest.mark.parametrize("runs", [[], [TO_PACK], [{**TO_PACK, "length_m": 9, "mm2": 1.5}]])
def test_the_shown_answer_ends_with_the_cautions(runs, tmp_path):
    asked = kit(runs)
    (tmp_path / "plan.toml").write_text(tomlkit.dumps(asked.source))
    output = CliRunner().invoke(app, ["wire", str(tmp_path / "plan.toml")]).output
    assert ("\nYES  " if wire(asked).yes else "\nNO  ") in output
    text = unfolded(output)
    for words in ("local codes", "polarity", "fuse close to the battery", "DC arc"):
        assert words in text


# --- in the simulation --------------------------------------------------------------------------


def closes(b):
    """What came in less what went out, over what went through, (m,)."""
    books = dict(b.ledger_wh)
    del books["unmet"]
    came = books.pop("sun_on_panel") + books.pop("other_charging")
    return np.abs(came - sum(books.values())) / came


def low(run=(), **changes):
    """A pack that never fills, so that all sun counts."""
    pack = {"capacity_wh": 5000, "start_percent": 30, **changes.pop("pack", {})}
    return budget(kit(run, span=IN_SPAN, pack=pack, **changes))


@pytest.mark.parametrize("mm2", [1, 2.5, 10])
def test_the_ledger_closes_with_a_cable_to_the_pack(mm2):
    assert closes(low([{**TO_PACK, "mm2": mm2}])) == pytest.approx(0.0, abs=1e-9)


def test_a_thinner_cable_lowers_the_charge():
    ends = [float(low([{**TO_PACK, "mm2": mm2}]).charge_percent[-1, 0]) for mm2 in (1, 2.5, 10)]
    assert ends[0] < ends[1] < ends[2] < float(low().charge_percent[-1, 0])


def test_what_the_cable_loses_is_booked_with_the_panels():
    bare, cabled = low(), low([{**TO_PACK, "mm2": 2.5}])
    assert cabled.ledger_wh["sun_on_panel"] == pytest.approx(bare.ledger_wh["sun_on_panel"])
    lost = cabled.ledger_wh["panel_losses"] - bare.ledger_wh["panel_losses"]
    # Independent: the power that came without the cable, segment by segment, P^2 R / V^2.
    power = bare.solar.panel_w
    hours = np.diff(bare.days.cells)[bare.weather.light.lit] / 3600.0
    ohm = 0.010 * 7.98 * (1.0 + 0.00393 * 40.0)
    assert lost == pytest.approx((power**2 * ohm / 18.0**2 * hours[:, None]).sum(axis=0), rel=1e-6)


def test_a_cable_yet_to_be_found_is_simulated_as_found():
    found = wire(kit([TO_PACK])).runs[0].mm2
    left_out, stated = low([TO_PACK]), low([{**TO_PACK, "mm2": found}])
    assert left_out.charge_percent == pytest.approx(stated.charge_percent, abs=1e-12)


def test_the_input_limit_counts_what_arrives():
    # 60 W at the input whether the cable takes a little before it or not.
    limit = {"solar_input": {**INPUT, "max_w": 60}}
    noon = low([{**TO_PACK, "mm2": 2.5}], pack=limit).solar.panel_w.max()
    assert noon == pytest.approx(60.0)


def test_a_pwm_input_loses_nothing_in_a_cable_within_the_panels_spare_volts():
    # 11.1 A x 0.046 ohm = 0.5 V; the panel has 18 - 12.8 V to spare.
    pwm = {"solar_input": {**INPUT, "kind": "pwm"}}
    bare, cabled = low(pack=pwm), low([{**TO_PACK, "mm2": 2.5}], pack=pwm)
    assert cabled.charge_percent == pytest.approx(bare.charge_percent, abs=1e-12)


def test_a_cable_that_stands_alone_changes_nothing():
    alone = {"from": "mast", "to": "lantern", "length_m": 9, "volts": 12, "amps": 2}
    assert (low([alone]).charge_percent == low().charge_percent).all()


# --- what is not known --------------------------------------------------------------------------


def headed(found):
    return told(lambda width: sheet(found, part([]), width), width=200).splitlines()[0]


def test_what_nobody_can_judge_is_no_yes():
    nothing = wire(kit(panel=[]))
    assert (nothing.verdict, nothing.yes) == (None, False)
    assert headed(nothing).startswith("NOT KNOWN  The plan names no cable")
    no_label = wire(kit(panel={**PANEL, "v_oc": None}))
    assert no_label.verdict is None
    assert headed(no_label).startswith("NOT KNOWN")
    assert wire(kit()).verdict is True


def test_bright_amps_beyond_the_input_stand_in_the_first_line():
    found = wire(kit(pack={"solar_input": {"max_v": 60, "max_a": 14}}))
    assert found.verdict is True
    assert "can short to 14.8 A" in headed(found)  # 1.25 x 11.8


def test_where_no_way_fits_the_harmless_one_is_shown_and_called_so():
    found = wire(kit(panel={**PANEL, "count": 5}, pack={"solar_input": {"max_v": 60, "max_a": 25}}))
    (taken,) = (string for string in found.strings if string.taken)
    assert taken.panels_in_series == 1  # not five times the volts
    assert found.verdict is False
    assert any("no way to join them suits the input" in note for note in found.notes)


def test_a_string_that_fits_in_any_cold_there_is_fits_where_none_is_known():
    mild = {"kind": "clear"}  # nobody says how cold it gets
    wide = wire(kit(weather=mild, pack={"solar_input": {"max_v": 100, "max_a": 30}}))
    assert wide.verdict is True  # 21.6 V may rise by a quarter at -40 degrees C
    tight = wire(kit(weather=mild, pack={"solar_input": {"max_v": 24, "max_a": 30}}))
    assert tight.verdict is None
