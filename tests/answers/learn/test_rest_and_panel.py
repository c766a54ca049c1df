"""What a row says of the panel and of rest is what learning takes for it: readings made as the
advice asks teach what the advice promises, against kits whose truth is known (invented ones, lived
through by the tests' own loop in `meter_days`)."""

from dataclasses import replace
from functools import cache

import meter_days as lived
import numpy as np
import pytest
from learn_days import BETWEEN_TOOLS, NIGHT, day_of

from energy.answers.learn.fit import fit
from energy.answers.learn.learn import learn
from energy.answers.learn.next_reading import what_to_read
from energy.answers.learn.readings import parse_readings

GRINDER = "tool:angle-grinder-115"
KITS = 5
HEAD = "time,battery_percent,panel\n"


def rows_of(plan, text):
    readings = parse_readings(text, plan)
    assert not readings.problems
    return readings.rows


def sun_wh(plan, text):
    _, day = day_of(plan, rows_of(plan, text))
    return float(day.sun_w @ np.diff(day.case.edges)) / 3600.0


def test_the_panel_holds_until_the_next_row():
    plan = lived.plan_of()
    text = HEAD + "08:00,90,{}\n11:00,80,{}\n16:00,70,\n"
    planned = sun_wh(plan, text.format("", ""))
    morning = planned - sun_wh(plan, text.format("covered", ""))
    noon = planned - sun_wh(plan, text.format("", "covered"))
    assert 0.0 < morning < noon
    assert morning + noon == pytest.approx(planned)
    assert sun_wh(plan, text.format("as planned", "25 %")) == pytest.approx(planned - 0.75 * noon)


def test_panels_that_lay_flat_gave_what_flat_ones_do():
    plan = lived.plan_of()
    text = HEAD + "08:00,90,{0}\n12:00,80,{0}\n16:00,70,\n"
    flat = plan.replace(**{"panel.1.aim": "flat"})
    assert sun_wh(plan, text.format("flat")) == pytest.approx(sun_wh(flat, text.format("")))


@pytest.mark.parametrize("word", ["0.4", "140", "half", "covred"])
def test_a_panel_that_cannot_be_is_one_line(word):
    readings = parse_readings(f"{HEAD}08:00,90,{word}\n12:00,80,\n", lived.plan_of())
    assert len(readings.problems) == 1
    assert "panel" in readings.problems[0]
    assert len(readings.rows) == 2


def test_rows_learned_before_there_was_the_column_are_known_again():
    plan = lived.plan_of()
    plain, covered = (rows_of(plan, f"{HEAD}08:00,90,{word}\n")[0].mark for word in ("", "covered"))
    assert plain == "01feec3147a8"
    assert plain != covered


def _covered(row):
    return replace(row, panel=0.0)


@cache
def read():
    """The kits with what was read of each on a day with the panel folded."""
    folded = lived.folded()
    truth = lived.truths(lived.plan_of(), KITS, seed=21)
    life = lived.Lived(folded, truth, lived.skies(folded, KITS, 22, 0.0, 0.0), 23)
    return truth, [life.readings(scenario, BETWEEN_TOOLS) for scenario in range(KITS)]


def grinders_errors(asked, cover):
    """Errors of the grinder's figure after a day with the panel covered, and before, of KITS kits;
    the plan that was asked may say that the panel is out, and the rows that it was covered."""
    truth, rows_of_each = read()
    errors, previous = [], None
    for scenario, rows in enumerate(rows_of_each):
        before, day = day_of(
            asked, [_covered(r) for r in rows] if cover else rows, previous=previous
        )
        previous = previous or day.budget
        after = fit(before, [day]).posterior
        at, true = after.keys.index(GRINDER), truth.of(GRINDER)[scenario]
        errors.append((after.mean[at] - true, before.mean[at] - true))
    return np.sqrt(np.mean(np.square(errors), axis=0))


def test_a_covered_panel_teaches_as_much_as_one_that_was_planned_folded():
    out = lived.folded(panel=lived.plan_of().source["panel"])
    planned, _ = grinders_errors(lived.folded(), cover=False)
    written, before = grinders_errors(out, cover=True)
    unsaid, _ = grinders_errors(out, cover=False)
    assert written == pytest.approx(planned, rel=1e-3)
    assert written <= 0.65 * before
    assert unsaid > 1.2 * written


def test_a_night_of_rest_is_said_in_the_row_and_not_in_the_plan():
    plan = lived.plan_of(**NIGHT).replace(
        task=[{"name": "heater", "supply": "ac", "working_w": 40, "hours": 10, "at": "20:00"}]
    )
    text = "time,battery_percent,tool\n20:00,80,\n06:00,66,{}\n"
    left = {}
    for word in ("", "inverter", "nothing"):
        before, day = day_of(plan, rows_of(plan, text.format(word)))
        after = fit(before, [day]).posterior
        sd = dict(zip(after.keys, after.sd / before.sd, strict=True))
        left[word] = sd["idle_w:pack-1000"], sd["tool:heater"]
    assert left["inverter"][0] <= 0.4 < left[""][0]
    assert left["inverter"][1] == pytest.approx(1.0, abs=0.01)
    assert left["nothing"][1] == pytest.approx(1.0, abs=0.01)


def test_rest_is_not_counted():
    readings = parse_readings("time,tool,count\n20:00,nothing,3\n", lived.plan_of(**NIGHT))
    assert readings.problems == ("readings: line 2: count: nothing is not counted",)


def test_each_advice_names_what_to_write():
    plan = lived.plan_of()
    advice = what_to_read(plan, most=10)
    assert len(advice) >= 3
    for suggestion in advice:
        if "Cover the panel" in suggestion.text:
            assert "covered under panel" in suggestion.text
        if suggestion.about == "idle":
            assert "under tool" in suggestion.text
        if suggestion.about == "capacity":
            assert "charger_w" in suggestion.text


def test_panels_that_are_stated_to_give_nothing_teach_nothing_of_their_condition():
    dead = {"panel": [{"rated_w": 200, "condition_percent": 0}], "run": []}
    plan = lived.folded().replace(**dead)
    answer = learn(plan, parse_readings("time,battery_percent\n08:30,88\n11:00,80\n", plan))
    assert answer.items
    assert not [item for item in answer.items if item.what.startswith("condition_percent")]
