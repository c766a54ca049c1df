"""A word for a tool: a whole profile first, then a family, and never a guess among several."""

import pytest

from energy.plan import Plan, PlanError, profiles
from energy.plan.tool_words import USUAL, called, which

TOOLS = profiles.tools()


@pytest.mark.parametrize("word", ["die-grinder", " Die grinder ", "DIE-GRINDER"])
def test_a_whole_profile_comes_alone(word):
    assert called(word, TOOLS) == ["die-grinder"]


def test_a_profiles_own_name_is_that_profile():
    assert called("angle grinder, 125 mm", TOOLS) == ["angle-grinder-125"]


def test_a_family_comes_whole_and_the_usual_first():
    grinders = called("grinder", TOOLS)
    assert grinders[0] == "angle-grinder-125"
    assert {"bench-grinder-150", "die-grinder", "angle-grinder-230"} <= set(grinders)
    assert all("grinder" in key for key in grinders)
    assert called("grinders", TOOLS) == grinders
    assert called("angle grinder", TOOLS) == [k for k in grinders if k.startswith("angle")]


def test_a_word_that_ends_with_the_family_belongs_to_it():
    assert {"jigsaw", "chainsaw-electric", "circular-saw-190"} <= set(called("saw", TOOLS))
    assert "jigsaw" not in called("jig", TOOLS)


def test_a_word_of_no_tool_calls_none():
    assert called("zeppelin", TOOLS) == []
    assert called("-", TOOLS) == []


def test_what_is_called_usual_is_there():
    assert set(USUAL) <= set(TOOLS)


def test_the_question_lists_watts():
    line = which("grinder", TOOLS)
    assert line.startswith('"grinder" may be angle-grinder-125 (900 W), angle-grinder-115 (700 W)')
    assert "did you mean" not in line


def test_a_slip_in_a_familys_name_leads_to_the_family():
    line = which("grindr", TOOLS)
    assert "angle-grinder-125" in line
    assert "die-grinder" in line


@pytest.mark.parametrize(
    ("tool", "words"),
    [
        ("grinder", ["angle-grinder-125 (900 W)", "bench-grinder-150", "die-grinder"]),
        ("angle-grindr-125", ['did you mean "angle-grinder-125"']),
        ("kettle small", ['did you mean "kettle-small"']),
    ],
)
def test_a_plan_names_what_an_ambiguous_word_may_be_in_one_line(tool, words):
    with pytest.raises(PlanError) as refused:
        Plan.read("builtin:cloudy-repair").replace(**{"task.2.tool": tool})
    (line,) = refused.value.problems
    assert "task 2" in line
    assert all(word in line for word in words), line


@pytest.mark.parametrize(
    ("key", "names"), [("pack.profile", profiles.packs()), ("panel.1.profile", profiles.panels())]
)
def test_a_missing_pack_or_panel_names_the_built_in_ones(key, names):
    with pytest.raises(PlanError) as refused:
        Plan.read("builtin:cloudy-repair").replace(**{key: "zeppelin"})
    (line,) = refused.value.problems
    assert all(name in line for name in names)


def test_a_pack_without_capacity_and_a_panel_without_watts_name_the_built_in_ones():
    demo = Plan.read("builtin:cloudy-repair")
    with pytest.raises(PlanError) as refused:
        demo.replace(**{"pack.profile": None, "panel.1.profile": None})
    (pack,) = (line for line in refused.value.problems if "capacity_wh is required" in line)
    (panel,) = (line for line in refused.value.problems if "panel 1: rated_w is required" in line)
    assert "pack-1000" in pack
    assert "folding-200" in panel


def test_how_many_of_a_family_is_asked_back():
    from energy import how_many

    with pytest.raises(PlanError, match="angle-grinder-125"):
        how_many(Plan.read("builtin:two-night-trip"), "grinder")
