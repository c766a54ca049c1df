"""What is said of strings that do not suit their input: the same by every answer, and only once."""

import pytest
from caution_plans import air, found, pack, panel, run, with_changes
from told import told

from energy.answers.wire.wire import wire
from energy.answers.wire.words import sheet
from energy.show.layout import part

# 22 V x 1.10 at 0 C, 44 V x 1.10 of two in series: NFPA 70 table 690.7(A), from memory.
TWO = panel(count=2, v_oc=22, v_mp=18, i_sc=6)
FREEZING = {"place": {"lowest_c": 0}}


def shown(*tables):
    answer = wire(with_changes(*tables))
    return told(lambda width: sheet(answer, part([]), width, every=True), width=400)


@pytest.mark.parametrize(
    ("into", "words"),
    [
        ({"max_v": 30, "connection": "series"}, "2 in series, does not suit"),
        ({"max_v": 30, "connection": "series"}, "1 in series would"),
        ({"max_v": 60, "max_a": 8, "connection": "parallel"}, "2 in series would"),
        ({"max_v": 30, "max_a": 8}, "No way to join"),
    ],
)
def test_a_stated_connection_that_does_not_fit_is_told_with_one_that_does(into, words):
    text = shown(TWO, pack(solar_input=into), FREEZING)
    assert text.startswith("NO  ")
    assert words in text.splitlines()[0]


@pytest.mark.parametrize("cold", [{}, {"place": {"lowest_c": -10}}, air(-20, -15)])
@pytest.mark.parametrize("volts", [{"v_oc": 25}, {"v_mp": 30}, {"v_oc": 40, "v_mp": 33}])
@pytest.mark.parametrize("limits", [{"max_v": 29}, {"max_v": 36, "max_a": 5}, {"max_a": 4}])
def test_check_warns_of_strings_wherever_wire_refuses_them(cold, volts, limits):
    tables = (panel(i_sc=5, **volts), pack(solar_input=limits), cold)
    refused = wire(with_changes(*tables)).verdict is False
    warned = {"cold-string-voltage", "string-amps"} & set(found(*tables))
    assert warned or not refused


def test_a_panel_that_works_above_the_input_is_not_called_unjudged():
    text = shown(panel(v_mp=40), pack(solar_input={"max_v": 30}))
    assert "works at 40 V and gives more when open; the input bears 30 V" in text
    assert "give v_oc" not in text


@pytest.mark.parametrize("runs", [{}, run(**{"from": "panel"}, to="pack", volts=None, amps=None)])
def test_the_fuses_of_three_strings_are_told_once(runs):
    # NFPA 70 690.9: three in parallel or more, a fuse in each.
    three = panel(count=3, v_oc=22, v_mp=18, i_sc=6)
    assert shown(three, pack(solar_input={"max_v": 30}), FREEZING, runs).count("690.9") == 1


def test_how_panels_on_pwm_are_joined_is_told_once():
    pwm = pack(nominal_v=12.8, solar_input={"kind": "pwm", "max_a": 8, "max_v": 30})
    assert shown(TWO, pwm, FREEZING).count("taken as") == 1


def test_two_kinds_that_fit_alone_are_told_by_their_amps_together():
    kinds = [{"name": name, "rated_w": 100, "v_oc": 22, "i_sc": 7} for name in ("one", "other")]
    text = shown({"panel": kinds}, pack(solar_input={"max_v": 30, "max_a": 10}), FREEZING)
    head = text.splitlines()[0]
    assert head.startswith("NO  Together the strings can short to 14 A, the solar input takes 10 A")
    assert "no way to join" not in text.lower()
