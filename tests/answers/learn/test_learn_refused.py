"""One name in a kit is one thing, one row counts once, and readings that contradict the plan teach
nothing. Kits and readings are invented."""

import re
from dataclasses import replace

import meter_days as lived
import numpy as np
import pytest
from learn_days import NIGHT
from told import told

from energy.answers.learn.component_names import tools_of
from energy.answers.learn.kit_file import as_toml, named_by, read_kit_file
from energy.answers.learn.learn import learn
from energy.answers.learn.posterior import size_of
from energy.answers.learn.readings import Readings, parse_readings
from energy.answers.learn.score import score
from energy.answers.learn.words import score_sheet
from energy.plan import Plan, PlanError

GRINDER = "angle-grinder-115"
PLAIN = {"tool": GRINDER, "times": 10, "each_s": 60, "between": ["09:00", "11:00"]}
HARD = {**PLAIN, "name": "hard cut", "working_w": 1100, "between": ["11:00", "12:30"]}
CUTS = f"08:30,88,,\n11:00,74,{GRINDER},10\n12:30,53,hard cut,10\n"
READ = f"08:30,88,,\n11:00,60,{GRINDER},20\n"
LATER = f"08:31,88,,\n11:01,61,{GRINDER},20\n"


def taught(plan, rows, kit=None, head="time,battery_percent,tool,count"):
    return learn(plan, parse_readings(f"{head}\n{rows}", plan), kit)


def refused(plan, rows, kit=None, **head):
    with pytest.raises(PlanError) as caught:
        taught(plan, rows, kit, **head)
    (line,) = caught.value.problems
    return line


# --- one name, one thing ------------------------------------------------------------------------


@pytest.mark.parametrize("tasks", [[PLAIN, HARD], [HARD, PLAIN]], ids=["after", "before"])
def test_a_task_that_states_its_tools_watts_itself_is_learned_apart(tmp_path, tasks):
    plan = lived.folded(task=tasks)
    answer = taught(plan, CUTS)
    after = {i.what.removeprefix("tool:"): i.after for i in answer.items if "tool" in i.what}
    (tmp_path / "my-kit.toml").write_text(answer.kit_toml("my-kit.toml"))
    assert 'task "hard cut": say tool = "hard-cut" and take working_w out, which the plan states' \
        " itself" in answer.notes  # fmt: skip
    named = {**{key: HARD[key] for key in HARD if key != "working_w"}, "tool": "hard-cut"}
    tables = plan.source | {"profiles": ["my-kit.toml"], "task": [PLAIN, named]}
    mine = Plan.from_dict(tables, folder=tmp_path)
    for task, key, label_w in zip(mine.task, (GRINDER, "hard-cut"), (700, 1100), strict=True):
        assert size_of(task) * 60.0 / 3600.0 == pytest.approx(after[key], rel=2e-3)
        assert task.working_w == label_w
    assert mine.task[1].sparks


def test_tasks_with_one_tool_and_the_same_watts_share_it():
    plan = lived.folded(task=[HARD, {**HARD, "name": "other cut", "between": ["13:00", "14:00"]}])
    assert tools_of(plan) == [GRINDER, GRINDER]


def test_tasks_of_one_name_without_a_tool_are_told_apart_by_their_watts():
    lamp = {"name": "lamp", "supply": "dc12", "working_w": 5, "hours": 1, "at": "09:00"}
    plan = lived.folded(task=[lamp, {**lamp, "working_w": 20}, {**lamp, "working_w": 40}])
    assert tools_of(plan) == ["lamp", "lamp-2", "lamp-3"]


def test_counting_one_of_two_tasks_with_a_tool_leaves_the_other_as_planned():
    plan = lived.folded(task=[PLAIN, HARD])
    day = taught(plan, f"08:30,88,,\n11:00,88,{GRINDER},0\n12:30,66,,\n").day
    assert [task.name for task in day.budget.plan.task] == ["hard cut"]
    assert day.tools == ("hard-cut",)


SUNNY = "{0}:00,50,,\n11:{0},54,{1},0\n12:{0},57,{1},0\n13:{0},61,{1},0\n"
LAMP = [{"name": "lamp", "supply": "dc12", "working_w": 20, "hours": 8, "at": "08:30"}]


def lit(**panel):
    return lived.plan_of(panel=[{"tilt_deg": 20, "rated_w": 100, **panel}], task=LAMP)


def of_the_sun(plan, watts, kit=None):
    hour = "10" if kit else "09"
    return taught(plan, SUNNY.format(hour, watts), kit, "time,battery_percent,solar_w,sky")


def test_a_panel_of_another_make_is_not_taken_for_the_kits():
    kit = of_the_sun(lit(), 60).kit_file
    with pytest.raises(PlanError) as caught:
        of_the_sun(lit(rated_w=200), 120, kit)
    assert caught.value.problems == [
        "[panels.my-panel] has rated_w 100 in the kit and 200 in the plan, so it is another"
        " panel: give this one a profile of its own, or learn it into another file"
    ]


def test_a_panel_is_never_told_to_be_better_than_new():
    answer = of_the_sun(lit(condition_percent=100), 95)
    (panel,) = (item for item in answer.items if item.what == "condition_percent")
    assert (
        answer.fit.posterior.mean[answer.fit.posterior.keys.index("condition_percent:my-panel")]
        > 1.01
    )
    assert (panel.after, panel.high) == (100.0, 100.0)
    assert answer.kit_file.profiles["panels"]["my-panel"]["condition_percent"] == 100.0


def test_the_same_panel_laid_out_otherwise_is_the_kits():
    kit = of_the_sun(lit(), 60).kit_file
    again = of_the_sun(lit(tilt_deg=25), 60, kit).kit_file
    assert again.posterior.keys == kit.posterior.keys
    assert again.profiles["panels"].keys() == {"my-panel"}


def test_a_pack_with_another_inverter_is_not_taken_for_the_kits():
    night = {**NIGHT, "pack": {"capacity_wh": 1000, "inverter": {"rated_w": 1800, "on": "always"}}}
    kit = taught(lived.plan_of(**night), "20:00,80,,\n06:00,66,,\n").kit_file
    other = lived.plan_of(**night).replace(**{"pack.inverter.rated_w": 1500})
    assert refused(other, "21:00,80,,\n05:00,66,,\n", kit).startswith(
        "[packs.my-pack] has inverter.rated_w 1800 in the kit and 1500 in the plan, so it is"
        " another pack"
    )


def test_far_figures_are_told_in_plain_numbers():
    kit = taught(lived.folded(), READ).kit_file
    line = refused(lived.folded(pack={"profile": "pack-1000", "capacity_wh": 3000}), LATER, kit)
    assert re.search(r"is \d{3,4} Wh in the kit and 3000 in the plan", line)


# --- one row counts once ------------------------------------------------------------------------


def asked(folder, plan, rows, file):
    path = folder / "rows.csv"
    path.write_text(f"time,battery_percent,tool,count\n{rows}")
    return learn(plan, path, named_by(plan, folder, folder / file)).kit_file


def naming_one_kit(folder):
    """A plan that names k1.toml, which holds READ; k2.toml holds other rows."""
    plan = lived.folded()
    for name, rows in (("k1.toml", READ), ("k2.toml", LATER)):
        (folder / name).write_text(as_toml(taught(plan, rows).kit_file, name))
    return Plan.from_dict(plan.source | {"profiles": ["k1.toml"]}, folder=folder)


def test_rows_of_the_plans_kit_are_refused_whatever_file_is_written(tmp_path):
    mine = naming_one_kit(tmp_path)
    for rows in (READ, LATER):
        with pytest.raises(PlanError, match="2 of 2 rows were learned before"):
            asked(tmp_path, mine, rows, "k2.toml")


def test_what_is_written_to_another_file_holds_what_the_plans_kit_knew(tmp_path):
    mine = naming_one_kit(tmp_path)
    (tmp_path / "k2.toml").write_text('[my-saw]\nsupply = "ac"\nworking_w = 300\n')
    kit = asked(tmp_path, mine, LATER, "k2.toml")
    assert len(kit.learned.readings) == 2
    assert kit.profiles["my-saw"]["working_w"] == 300
    first = read_kit_file(tmp_path / "k1.toml").posterior
    at = first.keys.index(f"tool:{GRINDER}")
    assert kit.posterior.sd[kit.posterior.keys.index(f"tool:{GRINDER}")] < 0.99 * first.sd[at]


# --- what contradicts the plan ------------------------------------------------------------------

LOW = {"pack": {"profile": "pack-1000", "start_percent": 18}, **NIGHT}


@pytest.mark.parametrize(("first", "last"), [(25, 30), (26, 34)])
def test_readings_that_no_likely_kit_shows_are_not_learned(first, last):
    line = refused(
        lived.plan_of(**LOW),
        f"20:00,18,\n20:45,{first},210\n21:30,{last},210\n",
        head="time,battery_percent,charger_w",
    )
    assert line.startswith("readings: these readings do not fit the plan, and nothing is learned:")
    assert re.search(r"with capacity by this display \d+ Wh, which was 1020; was something", line)


def test_a_tool_that_took_next_to_nothing_is_not_learned():
    # What was planned was not done, the first percentage or the times are wrong: a kit that
    # believed it would plan ten times the cuts.
    with pytest.raises(PlanError) as caught:
        taught(
            lived.folded(), "08:00,60\n09:00,59\n11:00,58\n12:30,57\n", head="time,battery_percent"
        )
    nothing, start = caught.value.problems
    assert nothing.startswith("readings: these readings do not fit the plan, and nothing is")
    assert "nearest to it with angle-grinder-115 2." in nothing
    assert "line 2: battery_percent of 60 is 30 points below what the plan's start" in start


def test_a_tool_does_not_drift_out_of_reach_from_day_to_day():
    answer = taught(lived.folded(), READ)
    tools = np.array([key.startswith("tool:") for key in answer.before.keys])
    lower, too_low = (np.where(tools, share, answer.before.mean) for share in (0.45, 0.29))
    before = replace(answer.before, mean=lower)
    after = replace(answer.fit, posterior=replace(answer.fit.posterior, mean=too_low))
    assert after.contradicts(before, 3)
    assert not replace(after, posterior=before).contradicts(before, 3)


def test_too_little_read_is_one_line():
    assert "too little was read to learn from" in refused(lived.folded(), "09:00,80,,\n")


def test_no_rows_at_all_is_one_line():
    with pytest.raises(PlanError, match="no row can be used"):
        learn(lived.folded(), Readings("empty.csv", ()))


# --- a chance comes with how many weathers ------------------------------------------------------


@pytest.mark.parametrize("futures", [1, 9])
def test_a_score_of_one_weather_tells_no_chance(futures):
    sky = {"kind": "sky", "sky": 4, "futures": futures, "temp_air_c": 15}
    plan = lived.plan_of(weather=sky)
    answer = score(plan, parse_readings("time,battery_percent\n12:00,60\n", plan))
    text = told(lambda width: score_sheet(answer, width))
    assert text.count(f"8 in 10 of {futures} weathers") == (2 if futures > 1 else 0)
    assert (" to " in text) == (futures > 1)
    assert answer.as_dict()["score"]["weathers"] == futures
