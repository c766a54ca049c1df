"""What was learned as a file: named by plans, added to, refused twice; the record of the days
after; and what should be read next."""

import meter_days as lived
import numpy as np
import pytest

from energy.answers.learn import learn
from energy.answers.learning.figures import NOTHING, figures_of, size_of
from energy.answers.learning.overlay import as_toml, named_by, own_figures, read_kit, with_belief
from energy.answers.learning.readings import parse_readings
from energy.answers.learning.score import score
from energy.answers.learning.what_to_read import what_to_read
from energy.budget import budget
from energy.plan import Plan, PlanError

READ = "time,battery_percent,tool,count\n08:30,88,,\n11:00,60,angle-grinder-115,20\n"


def written(tmp_path, plan, text, kit=None):
    answer = learn(plan, parse_readings(text, plan), kit)
    path = tmp_path / "my-kit.toml"
    path.write_text(as_toml(answer.kit, path.name))
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


def test_a_learned_tool_says_that_its_figures_are_ones_own(tmp_path):
    plan = lived.folded()
    written(tmp_path, plan, READ)
    mine = Plan.from_dict(plan.source | {"profiles": ["my-kit.toml"]}, folder=tmp_path)
    assert mine.task[0].source.startswith("your own readings")


def test_the_file_gives_back_what_was_believed(tmp_path):
    answer, path = written(tmp_path, lived.folded(), READ)
    assert read_kit(path).belief.covariance == pytest.approx(answer.kit.belief.covariance, rel=1e-6)


def test_the_same_rows_twice_are_refused(tmp_path):
    plan = lived.folded()
    _, path = written(tmp_path, plan, READ)
    with pytest.raises(PlanError, match=r"2 of 2 rows were learned before"):
        learn(plan, parse_readings(READ, plan), read_kit(path))


def test_learning_again_adds_to_what_is_known(tmp_path):
    plan = lived.folded()
    first, path = written(tmp_path, plan, READ)
    again = READ.replace("08:30,88", "08:31,88").replace("11:00,60", "11:01,61")
    mine = Plan.from_dict(plan.source | {"profiles": ["my-kit.toml"]}, folder=tmp_path)
    second = learn(mine, parse_readings(again, mine), read_kit(path))
    left = [
        next(i for i in answer.items if i.what == "tool:angle-grinder-115").doubt_left_percent
        for answer in (first, second)
    ]
    assert left[1] < 0.98 * left[0]


def test_the_same_figures_follow_whether_the_plan_names_the_kit_or_not(tmp_path):
    plan = lived.folded()
    _, path = written(tmp_path, plan, READ)
    again = READ.replace("08:30,88", "08:31,88").replace("11:00,60", "11:01,61")
    mine = Plan.from_dict(plan.source | {"profiles": ["my-kit.toml"]}, folder=tmp_path)
    means = [
        learn(one, parse_readings(again, one), read_kit(path)).kit.belief.mean
        for one in (plan, mine)
    ]
    assert means[0] == pytest.approx(means[1], rel=0.02)


def test_a_figure_the_plan_states_itself_is_named(tmp_path):
    plan = lived.folded().replace(**{"task.1.working_w": 800})
    answer, _ = written(tmp_path, plan, READ)
    assert any("take working_w, idle_w out" in n or "take working_w out" in n for n in answer.notes)


def test_doubt_comes_back_with_time_but_never_beyond_the_first():
    plan = lived.folded()
    belief = learn(plan, parse_readings(READ, plan)).kit.belief
    later, much_later = belief.aged(6.0), belief.aged(1e6)
    assert (later.sd >= belief.sd).all()
    assert much_later.sd == pytest.approx(belief.first_sd)


def test_a_kit_that_was_spoiled_is_refused_in_one_line(tmp_path):
    plan = lived.folded()
    answer, path = written(tmp_path, plan, READ)
    broken = with_belief(answer.kit, answer.kit.belief, answer.readings.rows[-1].at.date())
    broken.tables["learned"]["figures"]["mean"].pop()
    path.write_text(as_toml(broken, path.name))
    with pytest.raises(PlanError, match=r"my-kit.toml: \[learned.figures\] cannot be used"):
        read_kit(path)


def test_the_figures_of_ones_own_come_with_the_doubt_that_is_left(tmp_path):
    plan = lived.folded()
    written(tmp_path, plan, READ)
    mine = Plan.from_dict(plan.source | {"profiles": ["my-kit.toml"]}, folder=tmp_path)
    own = dict(own_figures(named_by(mine, tmp_path).belief))
    assert 20.0 < own["tool:angle-grinder-115"] < 60.0
    assert "tool:drill-10" not in own


# --- the day after, and what to read ------------------------------------------------------------


def test_a_score_is_the_difference_in_points():
    plan = lived.folded()
    b = budget(plan)
    at_noon = b.calendar.at(("clock", 720.0), plan.span.start.date())
    predicted = float(np.interp(at_noon, b.time_s, b.charge_percent[:, 0]))
    text = f"time,battery_percent\n12:00,{predicted - 6.0:.3f}\n"
    assert score(plan, parse_readings(text, plan)).typical_points == pytest.approx(6.0, abs=0.01)


def test_the_record_of_scores_grows_and_refuses_a_day_twice():
    plan = lived.folded()
    first = score(plan, parse_readings("time,battery_percent\n12:00,60\n", plan))
    second = score(plan, parse_readings("time,battery_percent\n13:00,50\n", plan), first.kit)
    assert second.days == 2
    with pytest.raises(PlanError, match="scored before"):
        score(plan, parse_readings("time,battery_percent\n13:00,50\n", plan), second.kit)


def test_three_readings_are_suggested_the_best_first():
    found = what_to_read(lived.plan_of())
    left = [one.doubt_left_percent for one in found]
    assert len(found) == 3
    assert left == sorted(left)


def test_what_was_just_learned_is_not_suggested_first():
    plan = lived.folded()
    first = what_to_read(plan)[0]
    assert first.about == "angle-grinder-115"
    belief = NOTHING.with_figures(figures_of(plan)).told("tool:angle-grinder-115", 1.0, 0.01)
    assert what_to_read(plan, belief)[0].about != "angle-grinder-115"
