"""Every caution is raised by the plans that must raise it and by no other, in its order.

What each is for and what its words say: `test_cautions_told`. The plans are invented.
"""

import re

import pytest
from caution_cases import MOST_SERIOUS_FIRST, NOT_RAISED, RAISED
from caution_plans import AGM, PANEL, air, around, charger, found, pack, task

from energy.answers.caution.cautions import BY_DANGER, CLOSING, cautions
from energy.plan import Plan
from energy.plan.profiles import plans
from energy.simulation.budget import budget

HELD_FORECAST = {"forecast-old"}  # needs one: in a test of its own


@pytest.mark.parametrize("case", RAISED, ids=lambda case: case[0])
def test_a_caution_is_raised_by_what_is_in_the_plan(case):
    assert case[0] in found(*case[1:])


@pytest.mark.parametrize("case", NOT_RAISED, ids=lambda case: case[0])
def test_a_caution_is_not_shown_where_it_does_not_apply(case):
    assert case[0] not in found(*case[1:])


def test_every_caution_has_a_plan_that_raises_it_and_one_that_does_not():
    assert {case[0] for case in RAISED} == {case[0] for case in NOT_RAISED}
    assert {case[0] for case in RAISED} | HELD_FORECAST == set(MOST_SERIOUS_FIRST)
    assert len(MOST_SERIOUS_FIRST) == len(BY_DANGER)


def test_danger_to_life_comes_before_gear_and_gear_before_trust():
    every = [task({"start_w": 1900, "sparks": True, "rotating": True, "medical": True}), PANEL]
    every += [charger("generator"), around("outdoors", "fuel"), AGM, air(2, 20)]
    shown = list(found(*every))
    assert len(shown) == 14
    assert shown == sorted(shown, key=MOST_SERIOUS_FIRST.index)


def test_fire_and_shock_come_before_what_strains_or_blows_over():
    shown = list(found(task(), PANEL, around("outdoors", "wet"), pack(kg=40)))
    awkward = shown.index("gear-in-the-rain")
    assert {"inverter-earth", "damaged-lithium", "live-panel"} < set(shown[:awkward])
    assert shown[awkward:][:3] == ["gear-in-the-rain", "heavy-lift", "wind-on-panel"]


def test_a_quiet_plan_raises_nothing():
    assert found() == {}


@pytest.mark.parametrize("case", RAISED, ids=lambda case: case[0])
def test_a_caution_is_at_most_two_sentences_and_says_what_raised_it(case):
    caution = found(*case[1:])[case[0]]
    assert 1 <= len(re.findall(r"[.](?: |$)", caution.text)) <= 2
    assert caution.text.endswith(".")
    assert "\n" not in caution.text
    assert caution.about


@pytest.mark.parametrize("name", plans())
def test_the_cautions_of_an_example_keep_their_order(name):
    shown = [caution.id for caution in cautions(budget(Plan.read(f"builtin:{name}")))]
    assert shown
    assert shown == sorted(shown, key=MOST_SERIOUS_FIRST.index)


@pytest.mark.parametrize(
    ("panels", "does"),
    [
        ([{"i_sc": 6}, {"i_sc": 5}], "Give each kind of panel an input or a controller of its own"),
        ([{"i_sc": 6, "count": 2, "v_oc": 22}], "Put more in series where its volts allow"),
        ([{"i_sc": 6}, {"i_sc": 6, "tilt_deg": 60}], "Put more in series where its volts allow"),
        ([{"i_sc": 11}], "Take another input."),
        ([{"i_sc": 6}, {"i_sc": 11}], "Take another input"),
    ],
)
def test_too_many_amps_are_met_by_what_helps_there(panels, does):
    panels = [{"rated_w": 100, "name": f"kind {k}"} | keys for k, keys in enumerate(panels)]
    raised = found({"panel": panels}, pack(solar_input={"max_a": 10, "max_v": 40}))
    assert does in raised["string-amps"].text


def test_the_closing_line_defers_in_one_sentence():
    assert CLOSING.count(".") == 1
    assert {"codes", "instructions", "licensed"} <= set(re.findall(r"\w+", CLOSING))
