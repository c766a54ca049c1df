"""Strings of panels at a solar input: their cold volts and what they give, by hand.

Check, size and wire count the same connection. Plans are invented.
"""

import numpy as np
import pytest
import tomlkit
from plan_tables import FOLDER, LAMP, plan, refused
from told import told
from typer.testing import CliRunner

from energy.answers.size.designs import design, make_designs
from energy.answers.size.worksheet import worksheet
from energy.answers.wire.wire import wire
from energy.answers.wire.words import sheet
from energy.cli.main import app
from energy.show.layout import part
from energy.simulation.budget import budget

PANEL = {**FOLDER, "condition_percent": 100}
TWO = {**PANEL, "count": 2}
FOUR = {**PANEL, "count": 4}
NO_COEFFICIENT = {key: value for key, value in TWO.items() if "coefficient" not in key}
TO_PACK = {"from": "panel", "to": "pack", "length_m": 0.1, "mm2": 50}
IN_SPAN = {"start": "2026-06-01T07:00:00", "end": "2026-06-01T19:00:00"}
CLEAR = {"kind": "clear", "temp_air_c": [-4, 9]}
GREENSBORO = {"latitude_deg": 36.1, "longitude_deg": -79.95, "timezone": "America/New_York"}
OF_A_YEAR = {"place": GREENSBORO, "weather": {"kind": "file", "file": "builtin:greensboro"}}


def kit(panel=PANEL, into=(), nominal_v=12.8, run=(), **changes):
    """A pack that never fills, so that all sun counts."""
    pack = {"capacity_wh": 9000, "start_percent": 30, "nominal_v": nominal_v}
    tables = {"weather": CLEAR, "span": IN_SPAN, "task": [LAMP], "run": list(run)}
    tables |= {"panel": [panel], "pack": {**pack, "solar_input": dict(into)}}
    return plan(**{**tables, **changes})


def row(answer, in_series):
    (found,) = (string for string in answer.strings if string.panels_in_series == in_series)
    return found


def shown(answer):
    return told(lambda width: sheet(answer, part([]), width, every=True), width=300)


# --- in the cold --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("panel", "lowest_c", "volts"),
    [
        # By its own coefficient, a straight line from 25 C: 43.2 x (1 + 0.0030 x (25 - T)).
        (TWO, 25.0, 43.2 * 1.0),
        (TWO, -5.0, 43.2 * 1.09),
        (TWO, -23.0, 43.2 * 1.144),
        (TWO, -40.0, 43.2 * 1.195),
        (TWO, -60.0, 43.2 * 1.255),
        # By NFPA 70 table 690.7(A), from memory: 1.02 to 1.25.
        (NO_COEFFICIENT, 25.0, 43.2 * 1.0),
        (NO_COEFFICIENT, -5.0, 43.2 * 1.12),
        (NO_COEFFICIENT, -23.0, 43.2 * 1.20),
        (NO_COEFFICIENT, -40.0, 43.2 * 1.25),
        # Where it ends at most 0.5 % a degree more: no silicon has as much (common practice).
        (NO_COEFFICIENT, -60.0, 43.2 * 1.35),
    ],
)
def test_two_in_series_in_the_cold_by_hand(panel, lowest_c, volts):
    for limit_v, fits in ((volts + 0.1, True), (volts - 0.1, False)):
        found = row(wire(kit(panel, {"max_v": limit_v}), lowest_c=lowest_c), 2)
        assert found.v_oc_cold == pytest.approx(volts)
        assert found.fits is fits


def test_a_string_that_fits_in_the_plans_season_only_is_a_no_that_says_so():
    # One string for its amps. June in Greensboro: 9 C, 43.2 x 1.048 V = 45.3 V.
    # The year's coldest hour, -16.7 C, and 8 K for years that are colder: 43.2 x 1.149 = 49.6 V.
    summer = kit(TWO, {"max_v": 47, "max_a": 13}, **OF_A_YEAR)
    answer = wire(summer)
    assert (answer.verdict, row(answer, 2).fits) == (False, False)
    head = shown(answer).splitlines()[0]
    assert head.startswith("NO  ")
    assert "2 in series, fits in the plan's own days only" in head
    assert "at -25 it gives 49.6 V, and the input bears 47 V" in head
    assert shown(answer).count("own days only") == 1


def test_the_lowest_of_the_place_and_the_plans_own_days_stand_side_by_side():
    (note,) = (n for n in wire(kit(TWO, {"max_v": 60}, **OF_A_YEAR)).notes if "strings judged" in n)
    assert note.startswith("strings judged at -25 degrees C")
    assert "the plan's own days go down to 9" in note


def test_where_the_places_lowest_is_not_known_only_what_fits_at_40_below_is_a_yes():
    # 43.2 x 1.195 = 51.6 V at -40 C; 43.2 x 1.087 = 47.0 V at -4 C, which the plan states.
    fits = [row(wire(kit(TWO, {"max_v": limit_v})), 2).fits for limit_v in (52, 51, 47.5, 46)]
    assert fits == [True, None, None, False]


def test_a_panel_colder_than_the_table_is_judged_in_every_answer():
    yakutsk = {"kind": "clear", "temp_air_c": [-39, -34, -20, -5, 8, 16, 19, 15, 6, -8, -28, -38]}
    cold = kit(NO_COEFFICIENT, {"max_v": 60}, run=[TO_PACK], weather=yakutsk)
    answer = wire(budget(cold))
    assert answer.lowest_c == pytest.approx(-69.0)  # 30 K below the coldest month
    assert row(answer, 2).v_oc_cold == pytest.approx(43.2 * (1.25 + 0.005 * 29.0))
    assert any("-40, where it ends" in note for note in answer.notes)


def test_check_takes_the_same_strings_as_wire():
    # In June two in series suit 47 V; in the place's winter they do not, so they stand in parallel.
    for kind in ("mppt", "pwm"):
        summer = kit(TWO, {"max_v": 47, "max_a": 30, "kind": kind}, **OF_A_YEAR)
        (taken,) = (string for string in wire(summer).strings if string.taken)
        stated = summer.replace(**{"pack.solar_input.connection": "parallel"})
        assert taken.panels_in_series == 1
        assert (budget(summer).solar.panel_w == budget(stated).solar.panel_w).all()


def test_cautions_and_strings_are_told_in_the_cold_that_is_asked_for(tmp_path):
    # 43.2 x 1.195 = 51.6 V at -40 C, 43.2 x 1.09 = 47.1 V at -5 C.
    path = tmp_path / "plan.toml"
    source = kit(TWO, {"max_v": 50, "connection": "series"}).source
    path.write_text(tomlkit.dumps(source))
    command = ["wire", str(path), "--care"]
    unknown, mild = (
        CliRunner().invoke(app, [*command, *given]) for given in ([], ["--lowest-c", "-5"])
    )
    assert (unknown.exit_code, mild.exit_code) == (1, 0)
    assert "At -40 degrees C the panels would reach 52 V" in " ".join(unknown.output.split())
    assert "can be destroyed" not in " ".join(mild.output.split())


# --- labels -------------------------------------------------------------------------------------


def test_working_volts_above_the_inputs_limit_are_a_no_without_any_v_oc():
    # v_oc lies above v_mp: 18 V on an input of 17 V.
    bare = {"rated_w": 200, "v_mp": 18}
    assert row(wire(kit(bare, {"max_v": 17}), lowest_c=25.0), 1).fits is False
    assert row(wire(kit(bare, {"max_v": 19}), lowest_c=25.0), 1).fits is None
    assert row(wire(kit({"rated_w": 200}, {"max_v": 17}), lowest_c=25.0), 1).fits is None


@pytest.mark.parametrize(
    ("panel", "line"),
    [
        ({"v_oc": 17}, "v_oc must be more than v_mp, 18 where it is left out (got 17)"),
        ({"v_mp": 36, "v_oc": 21.6}, "v_oc must be more than v_mp, 36 (got 21.6)"),
    ],
)
def test_open_circuit_volts_below_the_working_volts_are_refused(panel, line):
    assert refused(panel=[{"rated_w": 200, **panel}]) == [f"panel 1: {line}"]


KEY = "temp_coefficient_voc_percent_per_c"
RANGE = f"{KEY} must lie between -0.5 and -0.15, percent of v_oc a degree (got"


@pytest.mark.parametrize(
    ("v_oc", "given", "hint"),
    [
        (21.6, 0.30, "0.3); datasheets print -0.30, the sign was lost"),
        (None, 0.25, "0.25); datasheets print -0.30, the sign was lost"),
        (21.6, -65, "-65); as mV/K of 21.6 V it would be -0.30"),  # 0.065 V / 21.6 V
        (21.6, -0.065, "-0.065); as V/K of 21.6 V it would be -0.30"),
        (21.6, 65, "65); as mV/K of 21.6 V it would be -0.30"),
        (49.5, -0.13, "-0.13); as V/K of 49.5 V it would be -0.26"),
        (None, -0.003, "-0.003); as a share it would be -0.30"),
        (None, -0.51, "-0.51); mV/K: divide by 10 and by v_oc; V/K: times 100, divided by v_oc"),
        (21.6, 0, "0); mV/K: divide by 10 and by v_oc; V/K: times 100, divided by v_oc"),
    ],
)
def test_a_coefficient_that_no_silicon_has_is_refused_with_what_was_meant(v_oc, given, hint):
    panel = {"rated_w": 200, KEY: given} | ({} if v_oc is None else {"v_oc": v_oc})
    assert refused(panel=[panel]) == [f"panel 1: {RANGE} {hint}"]


@pytest.mark.parametrize("given", [-0.5, -0.30, -0.22, -0.15])
def test_a_coefficient_of_silicon_is_taken(given):
    assert plan(panel=[{"rated_w": 200, KEY: given}]).panel[0].v_mp == 18.0


# --- a PWM input: the current binds --------------------------------------------------------------

# Panels of 18 V and 11.1 A (Isc 11.8 A). What a PWM input gets is the strings' amps at the
# battery's volts, 12.8 or 25.6 V: one panel's amps from any string.
PWM_CASES = {
    "one": (PANEL, 12.8, {}, 1, 11.1),
    "side by side as stated": (TWO, 12.8, {"connection": "parallel"}, 1, 22.2),
    "in series as stated": (TWO, 12.8, {"connection": "series"}, 2, 11.1),
    "nothing binds": (TWO, 12.8, {}, 1, 22.2),
    "both fit": (TWO, 12.8, {"max_v": 60, "max_a": 30}, 1, 22.2),
    "side by side are 23.6 A": (TWO, 12.8, {"max_v": 60, "max_a": 20}, 2, 11.1),
    "in series 51.6 V at -40 C": (TWO, 12.8, {"max_v": 50, "max_a": 30}, 1, 22.2),
    "18 V do not charge 25.6 V": (FOUR, 25.6, {"max_v": 60, "max_a": 30}, 2, 22.2),
    "nor do they in the best of bad ways": (FOUR, 25.6, {"max_v": 30}, 2, 22.2),
    "two in each string as stated": (FOUR, 25.6, {"connection": 2}, 2, 22.2),
    "all four in series": (FOUR, 25.6, {"connection": "series"}, 4, 11.1),
}


@pytest.mark.parametrize("name", PWM_CASES)
def test_check_and_wire_count_the_same_amps_behind_a_pwm_input(name):
    panel, nominal_v, into, in_series, amps = PWM_CASES[name]
    case = kit(panel, {"kind": "pwm", **into}, nominal_v, run=[TO_PACK])
    found = budget(case)
    answer = wire(found)
    (taken,) = (string for string in answer.strings if string.taken)
    assert taken.panels_in_series == in_series
    assert answer.runs[0].amps == pytest.approx(amps)
    # In full sun: amps x nominal volts x light over 1000 W/m2, which one panel at 12.8 V measures.
    one = budget(kit(PANEL, {"kind": "pwm", "connection": "parallel"})).solar.panel_w
    bright = one[:, 0] > 0.5 * one.max()
    expected = one[bright] / (11.1 * 12.8) * (amps * nominal_v)
    assert found.solar.panel_w[bright] == pytest.approx(expected, rel=1e-6)


def test_a_pwm_input_passes_no_more_than_its_amps():
    # Two side by side can give 22.2 A; the input passes 15 A x 12.8 V = 192 W. The rest is refused.
    free = budget(kit(TWO, {"kind": "pwm", "connection": "parallel"}))
    bound = budget(kit(TWO, {"kind": "pwm", "connection": "parallel", "max_a": 15}))
    assert bound.solar.panel_w.max() == pytest.approx(192.0)
    assert bound.solar.panel_w == pytest.approx(np.minimum(free.solar.panel_w, 192.0))
    less_wh = free.solar.panel_w - bound.solar.panel_w
    hours = np.diff(bound.days.cells)[bound.weather.light.lit] / 3600.0
    assert bound.ledger_wh["refused"] == pytest.approx((less_wh * hours[:, None]).sum(axis=0))
    assert wire(bound).verdict is False


def test_check_says_how_the_panels_of_a_pwm_input_are_taken_to_be_joined():
    found = budget(kit(TWO, {"kind": "pwm", "max_v": 60, "max_a": 20}))
    note = (
        '2 x "folder" taken as 2 in series, 1 in parallel: 11.1 A for the PWM input, at the'
        " battery's 12.8 V"
    )
    assert note in found.notes
    assert note in wire(found).notes
    assert not any("PWM" in note for note in budget(kit(TWO)).notes)
    bound = budget(kit(TWO, {"kind": "pwm", "connection": "parallel", "max_a": 15}))
    assert any("22.2 A for the PWM input, which passes 15 A in all" in n for n in bound.notes)


def test_the_sheet_by_hand_counts_strings_behind_a_pwm_input():
    # 12.8 of 18 V, or of 36 V.
    shares = []
    for connection in ("parallel", "series"):
        sheet = worksheet(budget(kit(TWO, {"kind": "pwm", "connection": connection})))
        shares += [step.value for step in sheet.steps if step.what == "panel to battery"]
    assert shares[1] == pytest.approx(shares[0] / 2.0)


@pytest.mark.parametrize(
    ("panel", "pack", "line"),
    [
        (
            {"count": 2},
            {"nominal_v": 24, "solar_input": {"kind": "pwm", "connection": "parallel"}},
            "panel 1: v_mp must be at least the pack's nominal_v, 24, for a PWM input (got 18)",
        ),
        (
            {"count": 2},
            {"nominal_v": 48, "solar_input": {"kind": "pwm"}},
            "panel 1: v_mp must be at least the pack's nominal_v, 48, for a PWM input"
            " (got 18 with 2 in series)",
        ),
        (
            {"count": 3},
            {"solar_input": {"connection": 2}},
            "panel 1: count must be a multiple of the solar input's connection, 2 (got 3)",
        ),
        (
            {},
            {"solar_input": {"connection": "serial"}},
            "[pack.solar_input]: connection must be series, parallel, or how many panels stand in"
            ' series in each string (got "serial"); did you mean "series"?',
        ),
        (
            {},
            {"nominal_v": 12, "solar_input": {"kind": "pwm", "charge_max_a": 20}},
            "[pack.solar_input]: charge_max_a is for mppt: a pwm input passes the panels' amps on,"
            " give max_a",
        ),
        (
            {},
            {"solar_input": {"charge_max_a": 20}},
            "[pack.solar_input]: charge_max_a needs the pack's nominal_v",
        ),
    ],
)
def test_what_cannot_be_joined_so_is_one_line(panel, pack, line):
    assert refused(panel=[{"rated_w": 200, **panel}], pack=pack) == [line]


def test_panels_in_series_may_reach_a_pwm_inputs_battery():
    two = plan(
        panel=[{"rated_w": 200, "count": 2}],
        pack={"nominal_v": 24, "solar_input": {"kind": "pwm"}},
    )
    assert two.panel[0].count == 2


# --- amps on either side of an MPPT input ---------------------------------------------------------


@pytest.mark.parametrize(
    ("panel", "into", "most_w"),
    [
        # Panels' side, at the strings' working volts: 5 A x 18 V; 5 A x 36 V.
        (PANEL, {"max_a": 5}, 90.0),
        (TWO, {"max_a": 5, "connection": "series"}, 180.0),
        (TWO, {"max_a": 5, "connection": "parallel"}, 90.0),
        # Battery's side: 5 A x 12.8 V out of a controller of 97 %.
        (PANEL, {"charge_max_a": 5}, 64.0 / 0.97),
        (TWO, {"charge_max_a": 5, "connection": "series"}, 64.0 / 0.97),
        # The least counts.
        (PANEL, {"max_a": 5, "max_w": 80}, 80.0),
        (PANEL, {"max_a": 5, "charge_max_a": 5}, 64.0 / 0.97),
        (PANEL, {"max_a": 5, "charge_max_a": 50, "max_w": 400}, 90.0),
    ],
)
def test_amps_limit_an_mppt_input_on_the_side_they_are_meant_on(panel, into, most_w):
    free, bound = budget(kit(panel)), budget(kit(panel, into))
    assert bound.solar.panel_w == pytest.approx(np.minimum(free.solar.panel_w, most_w))
    assert free.solar.panel_w.max() > most_w


def test_no_more_amps_flow_in_the_cable_than_the_input_takes():
    # 5 A at 18 V, less 5 A squared x 2 x 10 m of 2.5 mm2 at 7.98 ohm/km x (1 + 0.00393 x 40).
    run = [{**TO_PACK, "length_m": 10, "mm2": 2.5}]
    ohm = 0.020 * 7.98 * (1.0 + 0.00393 * 40.0)
    found = budget(kit(PANEL, {"max_a": 5}, run=run)).solar.panel_w
    assert found.max() == pytest.approx(90.0 - 25.0 * ohm)


# --- every size of panels -------------------------------------------------------------------------

SIZED = {
    "pwm, in series for its amps": (TWO, {"kind": "pwm", "max_v": 60, "max_a": 20}, []),
    "pwm, side by side": (TWO, {"kind": "pwm", "max_v": 30, "max_a": 30}, []),
    "pwm in a long cable": (
        TWO,
        {"kind": "pwm", "max_v": 60, "max_a": 20},
        [{**TO_PACK, "length_m": 9, "mm2": 2.5}],
    ),
    "mppt, amps from the panels": (TWO, {"max_v": 60, "max_a": 14}, []),
    "mppt, amps in a long cable": (
        TWO,
        {"max_v": 60, "max_a": 14},
        [{**TO_PACK, "length_m": 9, "mm2": 2.5}],
    ),
    "mppt, amps to the battery": (TWO, {"max_v": 60, "charge_max_a": 14}, []),
}


@pytest.mark.parametrize("name", SIZED)
def test_the_sun_of_every_size_is_that_of_the_plan_so_sized(name):
    panel, into, run = SIZED[name]
    of = make_designs(kit(panel, into, run=run))
    case, every = of.cases[0], np.zeros(1, dtype=int)
    for watts in (100.0, 400.0, 900.0):
        sized = design(of.plan, watts, 9000.0)
        expected = budget(sized).solar.panel_w
        scaled = of.scaled(case, np.array([watts]), np.array([9000.0]), every)
        assert scaled.solar_w == pytest.approx(expected, rel=1e-9)
        assert of.limit_w(watts) >= expected.max() * (1.0 - 1e-9)


def test_a_size_keeps_the_way_its_panels_are_joined_behind_a_pwm_input():
    # 23.6 A side by side are too many for 20 A: in series, and so at every size.
    of = make_designs(kit(TWO, {"kind": "pwm", "max_v": 60, "max_a": 20}))
    small = design(kit(TWO, {"kind": "pwm", "max_v": 60, "max_a": 20}), 100.0, 9000.0)
    assert small.pack.solar_input.connection == "series"
    assert of.plan.pack.solar_input.connection == "series"
