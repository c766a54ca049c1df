"""What a task's or a charger's name alone raises, and what must not be read into it.

The names, and how they came about: `names_that_warn`, `names_that_do_not_warn`.
"""

import pytest
from caution_plans import charger, found, light, task
from names_that_do_not_warn import CHARGERS as QUIET_CHARGERS
from names_that_do_not_warn import TASKS as QUIET_TASKS
from names_that_warn import CHARGERS, TASKS

from energy.answers.caution.cautions import cautions
from energy.answers.caution.telling import risks_in
from energy.plan import Plan
from energy.plan.profiles import built_in
from energy.plan.task import RISKS
from energy.simulation.budget import budget


@pytest.mark.parametrize("name", TASKS)
def test_a_task_without_a_profile_warns_by_its_name(name):
    assert TASKS[name] in found(task(name=name))


@pytest.mark.parametrize("name", CHARGERS)
def test_a_charger_warns_by_its_name(name):
    assert CHARGERS[name] in found(charger(name))


@pytest.mark.parametrize(
    "name",
    # Of a router a name alone does not tell whether it cuts wood or carries data.
    [name for name, tool in built_in("tools").items() if name != "router"],
)
def test_a_tools_name_tells_at_least_the_risks_of_its_profile(name):
    tool = built_in("tools")[name]
    assert {risk for risk in RISKS if tool.get(risk)} <= risks_in(tool["name"])


@pytest.mark.parametrize("name", QUIET_TASKS)
def test_a_name_that_only_sounds_like_a_tool_raises_nothing(name):
    assert found(task(name=name)).keys() == found(task(name="thing")).keys()


@pytest.mark.parametrize("name", QUIET_CHARGERS)
def test_a_charger_without_an_engine_raises_nothing(name):
    assert found(charger(name)).keys() == found(charger("socket")).keys()


@pytest.mark.parametrize("name", [name for name in TASKS if TASKS[name] != "medical-load"])
def test_a_profile_is_believed_before_a_name(name):
    assert found(light(tool="led-lamp-12v", name=name)).keys() == found(light()).keys()


@pytest.mark.parametrize("name", [name for name in TASKS if TASKS[name] == "medical-load"])
def test_what_is_medical_is_told_by_the_name_whatever_the_profile(name):
    assert "medical-load" in found(light(tool="fridge-12v", name=name, working_w=None))


@pytest.mark.parametrize("name", [*TASKS, *QUIET_TASKS])
def test_capitals_and_hyphens_change_nothing(name):
    plain = found(task(name=name)).keys()
    assert found(task(name=name.upper().replace(" ", "-"))).keys() == plain


OWN = """
profiles = ["my.toml"]
place = { latitude_deg = 10.0, longitude_deg = 0.0, timezone = "UTC", elevation_m = 0 }
span = { start = 2026-06-01T08:00:00, end = 2026-06-01T20:00:00 }
weather = { kind = "clear" }
pack = { capacity_wh = 1000, inverter = { rated_w = 1000 } }
task = [{ tool = "my-drill", minutes = 5, between = ["09:00", "12:00"] }]
"""


@pytest.mark.parametrize(("said", "raised"), [("", True), ("rotating = false", False)])
def test_a_profile_of_ones_own_is_told_by_its_name_where_it_says_nothing(said, raised, tmp_path):
    (tmp_path / "my.toml").write_text(f'[my-drill]\nsupply = "ac"\nworking_w = 500\n{said}\n')
    (tmp_path / "plan.toml").write_text(OWN)
    warned = cautions(budget(Plan.read(tmp_path / "plan.toml")))
    assert ("rotating-tools" in [caution.id for caution in warned]) is raised
