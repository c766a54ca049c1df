"""Changes to a plan: checked like the file, and written into its text with the comments kept."""

from __future__ import annotations

import copy
import tomllib
from pathlib import Path

import pytest
from plan_files import TEXT, TOOLS, problems, write_files

from energy.plan import Plan, PlanError, write_changes


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_files(tmp_path)


# --- changes --------------------------------------------------------------------------------


@pytest.fixture
def plan(folder: Path) -> Plan:
    return Plan.read(folder / "my-plan.toml")


def test_a_change_reaches_what_follows_from_it(plan):
    changed = plan.replace(**{"pack.capacity_wh": 700})
    assert (changed.pack.capacity_wh, changed.pack.charge_max_w) == (700, 350)


FOLDING = {"profile": "folding-200"}  # 200 W: 11.1 A at 18 V, 11.8 A short-circuited


@pytest.mark.parametrize(
    ("stated", "i_mp", "i_sc"),
    [
        ({"rated_w": 2000}, 111, 118),
        ({"rated_w": 400, "v_mp": 36, "v_oc": 43}, 11.1, 11.8),  # as large by more volts
        ({"rated_w": 400, "i_sc": 12}, 22.2, 12),
        ({"rated_w": 400, "i_mp": 21}, 21, 23.6),
        ({"rated_w": 200}, 11.1, 11.8),
        ({"v_mp": 36, "v_oc": 43}, 11.1, 11.8),
        ({"count": 2}, 11.1, 11.8),
    ],
)
def test_the_amps_of_a_panels_profile_follow_the_watts_that_are_stated(plan, stated, i_mp, i_sc):
    # W = V x A: a larger panel of the kind gives its watts at the same volts
    written = plan.replace(panel=[FOLDING | stated])
    changed = plan.replace(panel=[FOLDING]).replace(
        **{f"panel.1.{key}": value for key, value in stated.items()}
    )
    assert written.panel == changed.panel
    assert written.panel[0].i_mp == pytest.approx(i_mp)
    assert written.panel[0].i_sc == pytest.approx(i_sc)


def test_amps_that_a_person_wrote_down_stay(plan):
    own = plan.replace(panel=[{"rated_w": 200, "i_sc": 11.8, "i_mp": 11.1}])
    changed = own.replace(**{"panel.1.rated_w": 2000})
    assert (changed.panel[0].i_mp, changed.panel[0].i_sc) == (11.1, 11.8)


@pytest.mark.parametrize("watts", [0, -5, 1e9, True, "200"])
def test_wrong_watts_of_a_panel_are_told_once(plan, watts):
    with pytest.raises(PlanError) as refused:
        plan.replace(panel=[FOLDING | {"rated_w": watts}])
    (line,) = refused.value.problems
    assert "rated_w" in line


def test_the_amps_of_absurd_watts_and_volts_stay_a_number(plan):
    changed = plan.replace(panel=[FOLDING | {"rated_w": 1e6, "v_mp": 5e-324}])
    assert changed.panel[0].i_sc == 1e6


def test_a_change_leaves_the_old_plan_alone(plan):
    plan.replace(**{"panel.1.rated_w": 300})
    assert plan.panel[0].rated_w == 120


def test_none_drops_a_task(plan):
    assert [task.name for task in plan.replace(**{"task.1": None}).task] == ["logger"]


def test_several_tasks_can_be_dropped_at_once(plan):
    three = plan.replace(task=[*plan.source["task"], {"tool": "my-logger", "name": "last"}])
    changed = three.replace(**{"task.1": None, "task.2": None})
    assert [task.name for task in changed.task] == ["last"]


def test_a_cable_to_a_tool_by_its_profiles_name_stays(plan):
    task = {"tool": "angle-grinder-115", "minutes": 1}
    other = plan.replace(task=[task])
    run = [{"from": "pack", "to": f"task:{other.task[0].name}", "length_m": 5}]
    wired = other.replace(run=run)
    assert len(wired.replace(**{"pack.idle_w": 5}).run) == 1


def test_what_went_with_or_after_a_dropped_task_stands_alone(plan):
    last = {"tool": "my-logger", "name": "last", "with": "cut", "after": "cut"}
    last |= {"priority": plan.task[0].priority}
    changed = plan.replace(task=[*plan.source["task"], last]).replace(**{"task.1": None})
    assert [(task.with_, task.after) for task in changed.task] == [(None, None)] * 2
    assert "with" not in changed.source["task"][1]


def test_a_value_given_is_the_plans_own_from_then_on(plan):
    window = ["08:00", "09:00"]
    changed = plan.replace(**{"panel.1.shade": [{"between": window, "keep_percent": 40}]})
    window[0] = "nonsense"
    assert changed.source["panel"][0]["shade"][0]["between"] == ["08:00", "09:00"]


def test_numbers_mean_the_tasks_before_any_is_dropped(plan):
    changed = plan.replace(**{"task.1": None, "task.2.name": "kept"})
    assert [task.name for task in changed.task] == ["kept"]


def test_none_drops_a_key_so_that_its_default_follows(plan):
    assert plan.replace(**{"pack.start_percent": None}).pack.start_percent == 100


def test_a_change_may_make_a_table(plan):
    assert plan.replace(**{"pack.usb.rated_w": 45}).pack.usb.rated_w == 45


def test_a_change_takes_the_place_of_what_it_excludes(plan):
    assert plan.replace(**{"task.1.at": "10:00"}).task[0].between is None


def test_a_change_is_checked_like_the_file(plan):
    found = problems(lambda: plan.replace(**{"task.1.each_s": -45}))
    assert found == ['my-plan.toml: task 1 "cut": each_s must be more than 0 (got -45)']


@pytest.mark.parametrize(
    ("key", "line"),
    [
        ("pakc.capacity_wh", 'pakc is not a known key; did you mean "pack"?'),
        ("pack.capacty_wh", 'capacty_wh is not a known key; did you mean "capacity_wh"?'),
        ("panel.1.azimuth_deg", 'azimuth_deg is not a known key; did you mean "facing"?'),
        ("task.1.betwen", 'betwen is not a known key; did you mean "between"?'),
        ("task.3.name", 'must name an item from 1 to 2 (got "3")'),
        ("task.0.name", 'must name an item from 1 to 2 (got "0")'),
        ("task.²", 'must name an item from 1 to 2 (got "²")'),
        ("charger.1.watts", "the plan has no charger"),
        ("title.x", "title is not a table"),
    ],
)
@pytest.mark.parametrize("value", [1, None])
def test_a_change_to_a_key_that_is_not_there_is_refused(plan, key, line, value):
    if key == "title.x":
        plan = plan.replace(title="a title")
    assert problems(lambda: plan.replace(**{key: value})) == [f"{key}: {line}"]


def test_no_file_is_read_again_for_a_change(plan, folder):
    for file in folder.iterdir():
        file.unlink()
    changed = plan.replace(**{"task.2.spread_percent": 5})
    assert changed.task[1].trace == ((0, 2), (60, 5), (90, 0))


def test_other_profiles_are_read_for_a_change_that_names_them(plan, folder):
    (folder / "other.toml").write_text(TOOLS.replace("working_w = 700", "working_w = 350"))
    assert plan.replace(profiles=["other.toml"]).task[0].working_w == 350


def test_the_source_is_what_the_person_wrote(plan):
    assert plan.source == tomllib.loads(TEXT)


def test_the_source_is_a_copy(plan):
    plan.source["task"].clear()
    assert len(plan.source["task"]) == 2


def test_tables_given_are_left_as_they_were():
    tables = tomllib.loads(TEXT.replace("my-tools.toml", "none.toml"))
    before = copy.deepcopy(tables)
    problems(lambda: Plan.from_dict(tables))
    assert tables == before


# --- written with its comments --------------------------------------------------------------


def test_a_changed_text_keeps_every_comment():
    written = write_changes(TEXT, {"panel.1.tilt_deg": 60, "pack.inverter.idle_w": 7})
    assert written == TEXT.replace("tilt_deg = 45 ", "tilt_deg = 60 ").replace(
        "idle_w = 5 ", "idle_w = 7 "
    )


@pytest.mark.parametrize(
    "changes",
    [
        {"task.1": None},
        {"task.1.at": "10:00"},
        {"task.1.between": ["08:00", "11:00"]},
        {"pack.usb.rated_w": 45, "pack.usb.efficiency_percent": 80},
        {"pack.capacity_wh": 700, "title": "changed"},
        {"panel.1.shade": [{"between": ["15:00", "18:00"], "keep_percent": 40}]},
        {"pack.inverter": None},
        {"goal": {"chance_percent": 80}},
        {"task.2": {"tool": "my-saw", "minutes": 5}},
    ],
    ids=str,
)
def test_a_changed_text_says_what_the_changed_plan_says(plan, changes):
    written = tomllib.loads(write_changes(TEXT, changes))
    assert written == plan.replace(**changes).source


def test_a_table_far_from_its_head_can_be_changed():
    text = "[pack]\ncapacity_wh = 5\n[[task]]\nname = 'x'\n[pack.inverter]\nrated_w = 5 # why\n"
    written = write_changes(text, {"pack.inverter.rated_w": 6, "pack.usb.rated_w": 3})
    assert tomllib.loads(written)["pack"] == {
        "capacity_wh": 5,
        "inverter": {"rated_w": 6},
        "usb": {"rated_w": 3},
    }
    assert "rated_w = 6 # why" in written


def test_a_file_is_changed_only_on_paper(folder):
    written = write_changes(folder / "my-plan.toml", {"pack.start_percent": 70})
    assert "start_percent = 70" in written
    assert (folder / "my-plan.toml").read_text() == TEXT


def test_a_built_in_plan_can_be_written_with_changes():
    written = write_changes("builtin:cloudy-repair", {"pack.start_percent": 70})
    assert "start_percent = 70                 # charged before leaving" in written


@pytest.mark.parametrize("value", [{1, 2}, object()], ids=["a set", "an object"])
def test_what_toml_cannot_hold_is_refused(value):
    (line,) = problems(lambda: write_changes(TEXT, {"pack.start_percent": value}))
    assert line.startswith("plan: cannot be changed like this: ")


def test_a_cable_to_a_dropped_task_goes_with_it() -> None:
    demo = Plan.read("builtin:cloudy-repair")
    runs = [
        {"from": "pack", "to": "task:phone", "length_m": 2, "mm2": 1, "volts": 5},
        {"from": "panel", "to": "pack", "length_m": 5, "mm2": 4},
    ]
    wired = demo.replace(run=runs)
    number = next(k for k, task in enumerate(wired.task, 1) if task.name == "phone")
    assert [run.to for run in wired.replace(**{f"task.{number}": None}).run] == ["pack"]


def test_a_new_list_is_written_with_the_changes_to_its_items():
    text = "[[task]]\nname = 'a'\n[[task]]\nname = 'b'\n"
    tables = [{"name": "c", "times": 4}, {"name": "d"}]
    changes = {"task": tables, "task.1.times": 2, "task.2": None, "title": "new"}
    written = tomllib.loads(write_changes(text, changes))
    assert written == {"title": "new", "task": [{"name": "c", "times": 2}]}
    assert tables == [{"name": "c", "times": 4}, {"name": "d"}]
