"""What `energy` exports, asked wrongly: one line that says what is needed and what was given.

That a wrong type raises TypeError is Python's own rule (Built-in Exceptions).
"""

import inspect
from functools import partial

import pytest

import energy
from energy import Plan, check, many

DEMO = "builtin:cloudy-repair"
ABOUT_NO_PLAN = {"Plan", "PlanError", "many", "tools", "trace"}
ABOUT_A_PLAN = sorted(set(energy.__all__) - ABOUT_NO_PLAN)


def asked(name, given):
    """Call a name with its first argument so given, and a word for each other that it must have."""
    question = getattr(energy, name)
    _, *others = inspect.signature(question).parameters.values()
    return question(given, *("x.csv" for other in others if other.default is other.empty))


@pytest.mark.parametrize("name", ABOUT_A_PLAN)
@pytest.mark.parametrize(
    ("given", "line"),
    [
        (DEMO, r'a Plan is needed \(got "builtin:cloudy-repair"\): Plan\.read reads it'),
        ([DEMO], r"a Plan is needed \(got list\): many\(question, plans\) asks several"),
        ({}, r"a Plan is needed \(got dict\): Plan\.from_dict makes one"),
        (None, r"a Plan is needed \(got NoneType\)"),
    ],
    ids=["path", "list", "dict", "none"],
)
def test_what_is_no_plan_is_refused_in_one_line(name, given, line):
    with pytest.raises(TypeError, match=f"^{line}$"):
        asked(name, given)


@pytest.mark.parametrize(
    ("question", "plans", "line"),
    [
        (check, Plan.read(DEMO), r"plans must be a list or another iterable of them \(got Plan\)"),
        (check, DEMO, r"plans must be a list or another iterable of them \(got str\)"),
        (check, {"hut": Plan.read(DEMO)}, r"plans must be .* \(got dict\)"),
        (check, None, r"plans must be .* \(got NoneType\)"),
        (check, [DEMO], r'a Plan is needed \(got "builtin:cloudy-repair"\): Plan\.read reads it'),
        (check, [("hut", DEMO)], r'a Plan is needed \(got "builtin:cloudy-repair"\).*'),
        (check, [{}], r"a Plan is needed \(got dict\): Plan\.from_dict makes one"),
        ([Plan.read(DEMO)], check, r"the question must be a function of a plan \(got list\)"),
    ],
    ids=["one plan", "path", "dict", "none", "paths", "named paths", "dicts", "wrong way round"],
)
def test_many_refuses_what_are_no_plans_in_one_line(question, plans, line):
    with pytest.raises(TypeError, match=f"^{line}$"):
        many(question, plans, 1)


@pytest.mark.parametrize(
    ("given", "got"),
    [(DEMO, "str"), ([{}], "list"), (None, "NoneType"), (Plan.read(DEMO), "Plan")],
    ids=["path", "list", "none", "plan"],
)
def test_what_are_no_tables_are_refused_in_one_line(given, got):
    line = rf"tables as TOML gives them are needed, a dict \(got {got}\)"
    with pytest.raises(TypeError, match=f"^{line}$"):
        Plan.from_dict(given)


@pytest.mark.parametrize("given", [["grinder"], Plan.read(DEMO)], ids=["list", "plan"])
def test_what_is_no_word_for_a_tool_is_refused_in_one_line(given):
    with pytest.raises(TypeError, match=rf"^a word is needed \(got {type(given).__name__}\)$"):
        energy.tools(given)


def test_a_time_and_a_charge_do_not_hide_that_it_is_no_plan():
    with pytest.raises(TypeError, match="a Plan is needed"):
        partial(check, now="09:00", battery_percent=50)(DEMO)
