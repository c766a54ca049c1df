"""What was learned as a file: named by plans, added to, refused twice; the record of the days
after; and what should be read next."""

from datetime import date
from functools import partial

import meter_days as lived
import numpy as np
import pytest
from told import told, unfolded

from energy.answers.learn.kit_file import (
    KitFile,
    LogRecord,
    as_toml,
    named_by,
    read_kit_file,
    refuse_known_log,
    with_log,
    with_posterior,
)
from energy.answers.learn.kit_profiles import loaded
from energy.answers.learn.learn import learn
from energy.answers.learn.next_reading import what_to_read
from energy.answers.learn.own_figures import own
from energy.answers.learn.posterior import EMPTY, figures_of, size_of
from energy.answers.learn.readings import parse_readings
from energy.answers.learn.score import score
from energy.answers.learn.words import learned_sheet, own_part
from energy.plan import Plan, PlanError
from energy.simulation.budget import budget

READ = "time,battery_percent,tool,count\n08:30,88,,\n11:00,60,angle-grinder-115,20\n"


def written(tmp_path, plan, text, kit=None):
    answer = learn(plan, parse_readings(text, plan), kit)
    path = tmp_path / "my-kit.toml"
    path.write_text(as_toml(answer.kit_file, path.name))
    return answer, path


def test_a_plan_that_names_the_kit_gets_the_learned_figures(tmp_path):
    plan = lived.folded()
    answer, _ = written(tmp_path, plan, READ)
    mine = Plan.from_dict(plan.source | {"profiles": ["my-kit.toml"]}, folder=tmp_path)
    item = next(i for i in answer.items if i.what == "tool:angle-grinder-115")
    ratio = size_of(mine.task[0]) / size_of(plan.task[0])
    assert ratio == pytest.approx(item.after / item.before, rel=1e-3)


def test_more_energy_in_a_cut_does_not_make_the_inverter_overload(tmp_path):
    plan = lived.folded()
    written(tmp_path, plan, READ)
    mine = Plan.from_dict(plan.source | {"profiles": ["my-kit.toml"]}, folder=tmp_path)
    assert size_of(mine.task[0]) > 1.05 * size_of(plan.task[0])
    assert mine.task[0].working_w == plan.task[0].working_w


SPARED = "time,battery_percent,tool,count\n08:30,88,,\n11:00,78,angle-grinder-115,20\n"


def test_less_energy_than_running_free_leaves_a_tool_its_load():
    # No tool works at its idle watts: of what is drawn load and running free keep their parts.
    plan = lived.folded()
    stated = plan.task[0]
    share = 0.3 * stated.idle_w / size_of(stated)
    spared = stated.model_copy(update=loaded(stated, size_of(stated) * share))
    assert size_of(spared) == pytest.approx(size_of(stated) * share, rel=1e-3)
    assert spared.duty_percent > 0.0
    assert (spared.working_w, spared.start_w) == (stated.working_w, stated.start_w)
    assert spared.idle_w == pytest.approx(share * stated.idle_w, rel=1e-3)


def test_the_spread_of_a_learned_tool_is_a_share_of_what_it_takes_now(tmp_path):
    plan = lived.folded()
    answer, _ = written(tmp_path, plan, SPARED)
    mine = Plan.from_dict(plan.source | {"profiles": ["my-kit.toml"]}, folder=tmp_path)
    at = answer.fit.posterior.keys.index("tool:angle-grinder-115")
    mean, sd = answer.fit.posterior.mean[at], answer.fit.posterior.sd[at]
    assert mean < 0.8
    assert mine.task[0].spread_percent == pytest.approx(100.0 * sd / mean, rel=1e-3)


def test_a_learned_tool_says_that_its_figures_are_ones_own(tmp_path):
    plan = lived.folded()
    written(tmp_path, plan, READ)
    mine = Plan.from_dict(plan.source | {"profiles": ["my-kit.toml"]}, folder=tmp_path)
    assert mine.task[0].source.startswith("your own readings")


def test_the_file_gives_back_what_was_believed(tmp_path):
    answer, path = written(tmp_path, lived.folded(), READ)
    assert read_kit_file(path).posterior.covariance == pytest.approx(
        answer.kit_file.posterior.covariance, rel=1e-6
    )


def test_the_same_rows_twice_are_refused(tmp_path):
    plan = lived.folded()
    _, path = written(tmp_path, plan, READ)
    with pytest.raises(PlanError, match=r"2 of 2 rows were learned before"):
        learn(plan, parse_readings(READ, plan), read_kit_file(path))


def test_learning_again_adds_to_what_is_known(tmp_path):
    plan = lived.folded()
    first, path = written(tmp_path, plan, READ)
    again = READ.replace("08:30,88", "08:31,88").replace("11:00,60", "11:01,61")
    mine = Plan.from_dict(plan.source | {"profiles": ["my-kit.toml"]}, folder=tmp_path)
    second = learn(mine, parse_readings(again, mine), read_kit_file(path))
    left = [
        next(i for i in answer.items if i.what == "tool:angle-grinder-115").doubt_left_percent
        for answer in (first, second)
    ]
    assert left[1] < 0.99 * left[0]


def test_the_same_figures_follow_whether_the_plan_names_the_kit_or_not(tmp_path):
    plan = lived.folded()
    _, path = written(tmp_path, plan, READ)
    again = READ.replace("08:30,88", "08:31,88").replace("11:00,60", "11:01,61")
    mine = Plan.from_dict(plan.source | {"profiles": ["my-kit.toml"]}, folder=tmp_path)
    means = [
        learn(one, parse_readings(again, one), read_kit_file(path)).kit_file.posterior.mean
        for one in (plan, mine)
    ]
    assert means[0] == pytest.approx(means[1], rel=0.02)


def test_a_figure_the_plan_states_itself_is_named(tmp_path):
    plan = lived.folded().replace(**{"task.1.working_w": 800})
    answer, _ = written(tmp_path, plan, READ)
    assert any("take working_w, idle_w out" in n or "take working_w out" in n for n in answer.notes)


def test_doubt_comes_back_with_time_but_never_beyond_the_first():
    plan = lived.folded()
    posterior = learn(plan, parse_readings(READ, plan)).kit_file.posterior
    later, much_later = posterior.aged(6.0), posterior.aged(1e6)
    assert (later.sd >= posterior.sd).all()
    assert much_later.sd == pytest.approx(posterior.first_sd)


def test_a_kit_that_was_spoiled_is_refused_in_one_line(tmp_path):
    plan = lived.folded()
    answer, path = written(tmp_path, plan, READ)
    broken = with_posterior(
        answer.kit_file, answer.kit_file.posterior, answer.readings.rows[-1].at.date()
    )
    broken.learned.figures.mean.pop()
    path.write_text(as_toml(broken, path.name))
    with pytest.raises(
        PlanError, match=r"my-kit.toml: \[learned.figures\]: base, mean and first_spread must be"
    ):
        read_kit_file(path)


# --- whose figures they are ---------------------------------------------------------------------


def naming(folder, plan, *files, **changes):
    tables = plan.source | {"profiles": list(files or ["my-kit.toml"])} | changes
    return Plan.from_dict(tables, folder=folder)


def yours(figures):
    """What an answer says of figures of one's own."""
    return unfolded("\n".join(line.plain for line in own_part(figures, 80, every=True).lines))


def owned(plan, folder):
    return {one.what: one.doubt_left_percent for one in own(plan, folder).figures}


def test_the_figures_of_ones_own_come_with_the_doubt_that_is_left(tmp_path):
    plan = lived.folded()
    written(tmp_path, plan, READ)
    mine = naming(tmp_path, plan)
    found = owned(mine, tmp_path)
    line = yours(own(mine, tmp_path))
    assert f"angle-grinder-115 ({found['tool:angle-grinder-115']:.0f} % of its doubt open)" in line
    assert 20.0 < found["tool:angle-grinder-115"] < 70.0
    assert "tool:drill-10" not in found


def test_a_figure_that_the_plan_states_itself_is_not_from_readings(tmp_path):
    plan = lived.folded()
    written(tmp_path, plan, READ)
    table = {**plan.source["task"][0], "working_w": 800, "idle_w": 300, "duty_percent": 50}
    mine = naming(tmp_path, plan, task=[table])
    assert "tool:angle-grinder-115" not in owned(mine, tmp_path)


def test_a_learned_tool_that_the_plan_does_not_use_is_not_spoken_of(tmp_path):
    plan = lived.folded()
    written(tmp_path, plan, READ)
    learned = f"tool:{plan.task[0].tool}"
    assert learned in owned(naming(tmp_path, plan), tmp_path)
    assert learned not in owned(naming(tmp_path, plan, task=plan.source["task"][1:]), tmp_path)


def test_what_moved_along_with_what_was_learned_is_written_and_spoken_of(tmp_path):
    # Percentages tell how the pack and its draws go together: one without the others is wrong.
    plan = lived.folded()
    answer, _ = written(tmp_path, plan, READ)
    moved = [one.what for one in answer.items if one.moved and not one.learned]
    assert moved
    spoken_of = {key.split(":pack")[0] for key in owned(naming(tmp_path, plan), tmp_path)}
    assert set(moved) <= spoken_of


def test_figures_come_from_all_the_kits_that_a_plan_names(tmp_path):
    plan = lived.folded()
    for name, tool, between in (("a.toml", "angle-grinder-115", ("08:30", "11:00")),
                                ("b.toml", "drill-10", ("11:00", "12:30"))):  # fmt: skip
        text = f"time,battery_percent,tool,count\n{between[0]},80,,\n{between[1]},60,{tool},20\n"
        answer = learn(plan, parse_readings(text, plan))
        (tmp_path / name).write_text(as_toml(answer.kit_file, name))
    found = owned(naming(tmp_path, plan, "a.toml", "b.toml"), tmp_path)
    assert {"tool:angle-grinder-115", "tool:drill-10"} <= set(found)
    both = named_by(naming(tmp_path, plan, "a.toml", "b.toml"), tmp_path)
    assert len(both.learned.readings) == 2
    np.linalg.cholesky(both.posterior.covariance)


BARE = {
    "capacity_wh": 1000, "start_percent": 90, "inverter": {"rated_w": 1800, "surge_w": 6000},
}  # fmt: skip
LATER = READ.replace("08:30,88", "08:31,88").replace("11:00,60", "11:01,61")


@pytest.mark.parametrize("other", [{"capacity_wh": 2000}, {"capacity_wh": 500}])
def test_another_pack_without_a_name_is_not_taken_for_the_kits(tmp_path, other):
    plan = lived.folded(pack=BARE)
    _, path = written(tmp_path, plan, READ)
    second = lived.folded(pack=BARE | other)
    with pytest.raises(PlanError) as caught:
        learn(second, parse_readings(LATER, second), read_kit_file(path))
    (line,) = caught.value.problems
    assert line.startswith("the capacity of my-pack is ")
    assert "in the kit and" in line
    assert "give this one a profile name of its own" in line


def test_another_tool_under_the_same_name_is_not_taken_for_the_kits(tmp_path):
    tables = {"name": "saw", "supply": "ac", "working_w": 100, "hours": 1, "at": "09:00"}
    plan, other = lived.folded(task=[tables]), lived.folded(task=[{**tables, "working_w": 900}])
    _, path = written(tmp_path, plan, "time,battery_percent\n08:30,80\n11:00,66\n")
    with pytest.raises(PlanError, match=r"the draw of saw is .* give this one a tool name"):
        learn(other, parse_readings(LATER.partition("\n11")[0], other), read_kit_file(path))


SUN = "time,battery_percent,solar_w,sky\n10:00,40,,\n11:00,{1},{0},0\n"
SUN += "12:00,{2},{0},0\n13:00,{3},{0},0\n"
LAMP = [{"name": "lamp", "supply": "dc12", "working_w": 20, "hours": 8, "at": "08:30"}]


def two_panels(first, second, **more):
    panels = [{"tilt_deg": 20, "condition_percent": 80, **one} for one in (first, second)]
    return lived.plan_of(panel=panels, task=LAMP, **more)


def learned_panels(folder, plan):
    expected = budget(plan.replace(weather={"kind": "sky", "sky": 0, "futures": 1}))
    watts = 0.75 * float(expected.case.solar_w.max())
    an_hour = 100.0 * (watts - 25.0) / plan.pack.capacity_wh
    percents = (round(40.0 + hours * an_hour) for hours in (1, 2, 3))
    return written(folder, plan, SUN.format(round(watts), *percents))


def test_two_panels_of_another_make_are_kept_apart_in_the_kit(tmp_path):
    plan = two_panels({"rated_w": 100}, {"rated_w": 200})
    answer, _ = learned_panels(tmp_path, plan)
    panels = answer.kit_file.profiles["panels"]
    assert {name: table["rated_w"] for name, table in panels.items()} == {
        "my-panel": 100.0,
        "my-panel-2": 200.0,
    }
    lines = [note for note in answer.notes if "profile" in note]
    assert lines[:2] == [
        'panel 1: say profile = "my-panel" and take condition_percent out, which the plan states'
        " itself",
        'panel 2: say profile = "my-panel-2" and take condition_percent out, which the plan states'
        " itself",
    ]
    assert unfolded(told(partial(learned_sheet, answer))).count("To use it panel") == 2


def test_panels_named_as_the_notes_say_take_the_learned_condition(tmp_path):
    plan = two_panels({"rated_w": 100}, {"rated_w": 200})
    answer, _ = learned_panels(tmp_path, plan)
    named = [{"profile": name, "tilt_deg": 20} for name in ("my-panel", "my-panel-2")]
    mine = naming(tmp_path, plan, panel=named)
    assert [panel.rated_w for panel in mine.panel] == [100.0, 200.0]
    after = next(item for item in answer.items if item.what == "condition_percent").after
    assert [p.condition_percent for p in mine.panel] == pytest.approx([after, after], rel=1e-3)
    assert "condition_percent:my-panel+my-panel-2" in owned(mine, tmp_path)


def test_two_panels_of_one_make_share_a_profile(tmp_path):
    answer, _ = learned_panels(tmp_path, two_panels({"rated_w": 100}, {"rated_w": 100}))
    assert list(answer.kit_file.profiles["panels"]) == ["my-panel"]


def test_a_meters_log_is_recorded_and_refused_twice(tmp_path):
    kit = with_log(
        KitFile(),
        "0f3a",
        LogRecord(file="monday.csv", tool="saw", first=date(2026, 5, 18), last=date(2026, 5, 19)),
    )
    (tmp_path / "my-kit.toml").write_text(as_toml(kit, "my-kit.toml"))
    known = read_kit_file(tmp_path / "my-kit.toml")
    assert known.learned.logs["from-0f3a"].last == date(2026, 5, 19)
    refuse_known_log(known, "tuesday.csv", "77aa")
    with pytest.raises(PlanError, match=r"copy.csv: was learned before, as monday.csv of saw"):
        refuse_known_log(known, "copy.csv", "0f3a")


# --- the day after, and what to read ------------------------------------------------------------


def test_a_score_is_the_difference_in_points():
    plan = lived.folded()
    result = budget(plan)
    at_noon = result.calendar.at(("clock", 720.0), plan.span.start.date())
    predicted = float(np.interp(at_noon, result.time_s, result.charge_percent[:, 0]))
    text = f"time,battery_percent\n12:00,{predicted - 6.0:.3f}\n"
    assert score(plan, parse_readings(text, plan)).typical_points == pytest.approx(6.0, abs=0.01)


def on_day(number, **changes):
    span = {"start": f"2026-05-{number}T08:00:00", "end": f"2026-05-{number}T15:00:00"}
    return lived.folded(span=span, **changes)


def scored(plan, text, kit=None):
    return score(plan, parse_readings(f"time,battery_percent\n{text}", plan), kit)


def test_the_record_of_scores_counts_days_and_refuses_a_row_twice():
    first = scored(on_day(20), "12:00,60\n")
    same = scored(on_day(20), "13:00,50\n", first.kit_file)
    second = scored(on_day(21), "13:00,50\n", same.kit_file)
    assert [one.days for one in (first, same, second)] == [1, 1, 2]
    with pytest.raises(PlanError, match="scored before"):
        scored(on_day(21), "13:00,50\n", second.kit_file)


def test_a_score_of_another_site_is_no_part_of_the_usual_error():
    south = {"latitude_deg": -33.0, "longitude_deg": 19.0, "timezone": "Africa/Johannesburg"}
    here = scored(on_day(20), "12:00,60\n")
    there = scored(on_day(21, place=south), "12:00,5\n", here.kit_file)
    assert there.days == 1
    assert there.typical_on_record == pytest.approx(there.typical_points, abs=0.01)
    again = scored(on_day(22), "12:00,61\n", there.kit_file)
    assert again.days == 2
    assert again.typical_on_record < 0.5 * there.typical_points


def test_rows_that_were_learned_are_no_forecast(tmp_path):
    plan = lived.folded()
    _, path = written(tmp_path, plan, READ)
    with pytest.raises(PlanError, match=r"learned before.*no forecast"):
        score(plan, parse_readings(READ, plan), read_kit_file(path))


def test_a_display_at_its_ends_is_not_compared():
    answer = scored(on_day(20), "08:30,100\n12:00,60\n14:30,0\n")
    assert [one.measured_percent for one in answer.compared] == [60.0]
    assert answer.as_dict()["notes"] == [
        "not compared are 2 battery_percent of 0, or of 95 and more: displays stay there"
    ]


def test_an_answer_ends_with_the_usual_error_at_its_site(tmp_path):
    answer = scored(on_day(20), "12:00,60\n")
    (tmp_path / "my-kit.toml").write_text(as_toml(answer.kit_file, "my-kit.toml"))
    near, far = {"longitude_deg": 9.1}, {"longitude_deg": 12.0}
    here, there = (
        own(naming(tmp_path, on_day(21), place=answer.plan.source["place"] | place), tmp_path)
        for place in (near, far)
    )
    points = f"{answer.typical_points:.0f}"
    assert yours(here) == f"Yours usual error here {points} points of charge over 1 day scored."
    assert here.as_dict()["usual_error"]["days"] == 1
    assert there.usual is None


def test_three_readings_are_suggested_the_best_first():
    found = what_to_read(lived.plan_of())
    left = [one.doubt_left_percent for one in found]
    assert len(found) == 3
    assert left == sorted(left)


def test_what_was_just_learned_is_not_suggested_first():
    plan = lived.folded()
    first = what_to_read(plan)[0]
    assert first.about == "angle-grinder-115"
    posterior = EMPTY.with_figures(figures_of(plan)).measured("tool:angle-grinder-115", 1.0, 0.01)
    posterior = posterior.measured("capacity_wh:pack-1000", 1.0, 0.01)  # which a known tool tells
    assert what_to_read(plan, posterior)[0].about != "angle-grinder-115"


def test_the_charge_at_the_start_is_the_plans_own_and_scores_nothing():
    plan = lived.folded()
    text = f"time,battery_percent\n{plan.span.start:%H:%M},90\n11:00,70\n13:00,60\n"
    scored = score(plan, parse_readings(text, plan))
    assert len(scored.compared) == 2


def test_a_record_that_cannot_be_used_is_one_line(tmp_path):
    path = tmp_path / "my-kit.toml"
    path.write_text('[learned.scores.from-0f3a]\nfile = "monday.csv"\nrows = 5\n')
    with pytest.raises(PlanError) as caught:
        read_kit_file(path)
    (line,) = caught.value.problems
    assert line.startswith("my-kit.toml: [learned.scores.from-0f3a]: first is missing; learn anew")


def test_what_another_hand_wrote_below_learned_is_kept(tmp_path):
    path = tmp_path / "my-kit.toml"
    path.write_text(
        '[learned.logs.from-0f3a]\nfile = "a.csv"\ntool = "saw"\nmeter = "the old one"\n'
    )
    assert 'meter = "the old one"' in as_toml(read_kit_file(path), path.name)


def test_a_start_below_the_plans_is_no_error_of_the_prediction():
    plan = lived.folded()
    text = "time,battery_percent\n08:00,{}\n14:50,{}\n"
    planned = budget(plan)
    end = float(planned.charge_percent[-1, planned.middle])
    lower = score(plan, parse_readings(text.format(70, round(end - 20)), plan))
    assert abs(lower.bias_points) < 3.0
    assert "the day began at 70 %, not at 90 % as planned" in lower.notes[0]
    assert not score(plan, parse_readings(text.format(90, round(end)), plan)).notes


@pytest.mark.parametrize(("own", "kept"), [({}, 50.0), ({"reserve_percent": 30}, 30.0)])
def test_a_learned_pack_keeps_the_reserve_of_its_profile_or_the_plans_own(tmp_path, own, kept):
    """Lead-acid lasts if seldom drawn below half: common practice, no source."""
    plan = lived.folded().replace(pack={"profile": "lead-acid-100ah", **own})
    answer, _ = written(tmp_path, plan, READ)
    table = answer.kit_file.profiles["packs"]["lead-acid-100ah"]
    assert table.get("reserve_percent", "") == ("" if own else 50.0)
    mine = Plan.from_dict(plan.source | {"profiles": ["my-kit.toml"]}, folder=tmp_path)
    assert mine.pack.reserve_percent == kept
    assert mine.pack.capacity_wh != plan.pack.capacity_wh
    again = READ.replace("08:30,88", "08:31,88").replace("11:00,60", "11:01,61")
    written(tmp_path, mine, again, read_kit_file(tmp_path / "my-kit.toml"))
    assert Plan.from_dict(mine.source, folder=tmp_path).pack.reserve_percent == kept
