"""What was done between two readings is not known where a row of it cannot be used: nothing is
learned of that time, and it is said. Against kits whose truth is known (invented ones, lived
through by the tests' own loop in `meter_days`)."""

from dataclasses import replace
from functools import cache

import meter_days as lived
import numpy as np
import pytest
from learn_days import BETWEEN_TOOLS, day_of, days

from energy.answers.learn.counted_work import with_counted_work
from energy.answers.learn.fit import fit
from energy.answers.learn.learn import learn
from energy.answers.learn.posterior import INTERVAL_80
from energy.answers.learn.readings import parse_readings
from energy.answers.learn.words import learned_sheet, unused_part
from energy.plan import PlanError

PLAN = lived.folded()
GRINDER, DRILL, CHARGES = "angle-grinder-115", "drill-10", "tool-pack-18v-4ah"
HEAD = "time,battery_percent,load_w,tool,count,charger_w,panel\n"
KITS = 20


def parsed(text, plan=PLAN):
    return parse_readings(HEAD + text, plan)


@pytest.mark.parametrize(
    "row",
    [
        "10:00,80,,angel-grinder,9,,\n",
        "10:00,80,,drill-10,2.5,,\n",
        "10:00,80,,,2,,\n",
        "10:00,80,,,,lots,\n",
        "noon,80,,,,,\n10:30,70,,,,,\n",
        "08:30,80,,drill-10,5,,\n10:30,70,,,,,\n",
        "09:30,80,,,,,covred\n10:00,70,,,,,\n",
    ],
)
def test_what_was_done_before_a_row_that_lost_a_use_is_not_known(row):
    rows = parsed(f"09:00,90,,,,,\n{row}12:00,60,,,,,\n").rows
    assert [one.work_unknown for one in rows[-2:]] == [True, False]


def test_a_lost_percentage_or_sky_leaves_the_work_known():
    rows = parse_readings(
        "time,battery_percent,sky\n09:00,90,\n10:00,140,\n11:00,70,purple\n", PLAN
    ).rows
    assert not any(row.work_unknown for row in rows)


def test_a_use_that_cannot_fit_is_not_made_up_from_the_plan():
    rows = parsed(f"08:30,90,,,,,\n10:00,80,,{GRINDER},7,,\n10:05,79,,{GRINDER},9,,\n").rows
    done = with_counted_work(PLAN, rows)
    assert [row.work_unknown for row in done.rows] == [False, False, True]
    (task,) = (task for task in done.plan.task if task.tool == GRINDER)
    assert task.times == 7


def test_uses_side_by_side_are_given_as_the_line_says():
    one, two = f"12:30,90,,,,,\n14:00,80,,{CHARGES},1,,\n", f"14:00,,,{CHARGES},1,,\n"
    wrong = with_counted_work(PLAN, parsed(one.replace(",1,,", ",2,,")).rows)
    (line,) = wrong.notes
    assert "2 x 4080 s do not fit into the 5400 s" in line
    assert "Write rows of at most 1 each, all with this time" in line
    right = with_counted_work(PLAN, parsed(one + two).rows)
    assert not right.notes
    assert sum(task.charges for task in right.plan.task if task.tool == CHARGES) == 2


# --- against the truth --------------------------------------------------------------------------


@cache
def drilled():
    """Kits that drilled four times as much as planned, whose owners wrote ten times that count."""
    really = PLAN.replace(**{"task.2.times": 80})
    truth = lived.truths(PLAN, KITS, seed=21)
    life = lived.Lived(really, truth, lived.skies(PLAN, KITS, 22, 0.0, 0.0), 23)
    told = {"12:30": {"tool": DRILL, "count": 800}}
    return truth, [life.readings(k, BETWEEN_TOOLS, told=told) for k in range(KITS)]


def learned_of_each(rows_as_read=lambda rows: rows):
    truth, rows_of_each = drilled()
    previous = None
    for scenario, rows in enumerate(rows_of_each):
        before, day = day_of(PLAN, rows_as_read(rows), previous=previous)
        previous = previous or day.budget
        after = fit(before, [day]).posterior
        off = {
            key: (truth.of(key)[scenario] - after.mean[k]) / after.sd[k]
            for k, key in enumerate(before.keys)
        }
        yield off, dict(zip(after.keys, after.sd / before.sd, strict=True)), after


def test_a_wrong_use_of_one_tool_teaches_nothing_false_of_the_others():
    each = list(learned_of_each())
    for key in each[0][0]:
        held = np.mean([abs(off[key]) <= INTERVAL_80 for off, _, _ in each])
        assert held >= 0.6, key  # 16 of 20 are expected, less two and a half deviations
    assert np.mean([left[f"tool:{GRINDER}"] for _, left, _ in each]) <= 0.6
    assert min(left[f"tool:{DRILL}"] for _, left, _ in each) > 0.99


def test_taken_as_planned_it_would_have():
    plain = learned_of_each(lambda rows: [replace(row, tool=None, count=None) for row in rows])
    held = [abs(off[f"tool:{DRILL}"]) <= INTERVAL_80 for off, _, _ in plain]
    assert np.mean(held) < 0.5


def test_it_is_the_same_as_two_days_with_nothing_read_between():
    rows = drilled()[1][0]
    before, whole = day_of(PLAN, rows)
    _, until = day_of(PLAN, rows[:3])
    _, since = day_of(PLAN, rows[3:])
    found, expected = fit(before, [whole]).posterior, fit(before, [until, since]).posterior
    assert found.mean == pytest.approx(expected.mean, rel=0.01)
    assert found.sd == pytest.approx(expected.sd, rel=0.02)


def test_a_charger_whose_watts_were_lost_teaches_nothing_false_of_the_pack():
    plan, really, _, charger, (times, *_) = days()["a known charger"]
    truth = lived.truths(plan, KITS, seed=21)
    life = lived.Lived(really, truth, lived.skies(plan, KITS, 22, 0.0, 0.0), 23, charger)
    told = {"05:00": {"work_unknown": True}, "06:00": {"charger_w": 210.0}}
    off, left = [], []
    for scenario in range(KITS):
        before, day = day_of(plan, life.readings(scenario, times, told=told))
        after = fit(before, [day]).posterior
        true = np.array([truth.of(key)[scenario] for key in before.keys])
        off.append((true - after.mean) / after.sd)
        left.append((after.sd / before.sd)[day.capacity])
    assert (np.mean(np.abs(off) <= INTERVAL_80, axis=0) >= 0.6).all()
    assert np.mean(left) <= 0.8  # by the hour whose charger was read


# --- what is said -------------------------------------------------------------------------------

DAY = (
    "08:30,90,,,,,\n11:00,66,,angle-grinder-115,20,,\n12:30,52,,drill-10,800,,\n"
    "14:40,44,,tool-pack-18v-4ah,1,,\n"
)


def test_what_was_not_used_is_said_first_and_never_folded():
    bad = "".join(f"14:5{k},44,,angel-grinder,1,,\n" for k in range(6))
    answer = learn(PLAN, parsed(DAY + bad))
    assert len(answer.unused) == 8
    assert answer.notes[:8] == answer.unused
    assert answer.unused[-1] == (
        "readings: lines 4, 6, 7, 8, 9, 10 and 1 more: nothing is learned of the time since the"
        " battery_percent before: what was done is not known"
    )
    sheet = learned_sheet(answer, 200)
    said = "\n".join(str(line) for part in sheet.parts for line in part.versions[-1])
    assert all(line in said for line in answer.unused)


def test_of_very_many_lines_the_first_are_shown_and_the_number():
    lines = ["line 2: did you mean this?", *(f"line {k}: wrong" for k in range(3, 14))]
    few, every = (
        [str(line) for line in unused_part(lines, 80, every=every).lines] for every in (False, True)
    )
    assert len(every) == 12
    assert every[0].endswith("this?")
    assert few == [*every[:10], "          2 more not used: --all"]


def test_what_one_use_alone_makes_of_the_percentages_is_not_told_of_unknown_work():
    answer = learn(PLAN, parsed(DAY))
    items = {item.what: item for item in answer.items}
    assert items[f"tool:{GRINDER}"].raw_wh
    assert items[f"tool:{DRILL}"].raw_wh is None
    assert not items[f"tool:{DRILL}"].learned


def test_the_same_rows_are_still_known_again():
    marks = [row.mark for row in parsed(DAY).rows]
    (record,) = learn(PLAN, parsed(DAY)).kit_file.learned.readings.values()
    assert record.rows == marks


def test_watts_at_the_outlets_while_unknown_work_goes_on_teach_nothing():
    heater = [{"name": "heater", "supply": "ac", "working_w": 200, "hours": 3, "at": "09:00"}]
    plan = lived.plan_of(panel=[], task=heater)
    _, day = day_of(plan, parsed("08:30,90,,,,,\n10:00,70,700,haeter,1,,\n", plan).rows)
    assert not day.observed


def test_unknown_work_in_row_after_row_is_one_gap():
    rows = "09:00,80,,,,,\n10:00,70,,haeter,1,,\n11:00,60,,haeter,1,,\n12:00,50,,,,,\n"
    _, day = day_of(PLAN, parsed(rows).rows)
    assert len(day.restarts) == 1
    assert [seen.value for seen in day.observed] == [50.0]


def test_more_unknown_work_than_can_be_followed_is_refused_in_a_line():
    rows = "".join(
        f"{9 + k // 30:02}:{2 * (k % 30):02},70,,{'haeter,1' if k % 2 else ','},,\n"
        for k in range(43)
    )
    with pytest.raises(PlanError) as caught:
        day_of(PLAN, parsed(rows).rows)
    assert caught.value.problems == [
        "what was done is not known at 21 times; at most 20 may be so: write these rows again"
    ]


def test_a_refusal_says_what_was_not_used():
    with pytest.raises(PlanError) as caught:
        learn(PLAN, parsed("08:30,90,,,,,\n10:00,60,,drill-10,800,,\n"))
    assert any("800 x 40 s do not fit" in line for line in caught.value.problems)
