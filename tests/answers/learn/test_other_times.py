"""Work that nobody counted need not have been done at the plan's own times: an evening whose laptop
was charged later than planned must not make a drill of half its draw. The days are invented.
"""

from dataclasses import replace
from functools import partial

import meter_days as lived
import numpy as np
import pytest
from scipy.stats import binom, uniform
from told import told, unfolded

from energy.answers.learn.learn import learn
from energy.answers.learn.other_times import _moved_wh
from energy.answers.learn.posterior import EMPTY, Figure
from energy.answers.learn.readings import parse_readings
from energy.answers.learn.words import finding, learned_sheet
from energy.plan import Plan
from energy.plan.task import Task
from energy.simulation.budget import budget
from energy.simulation.bursts import Day

HOLES = {"tool": "drill-10", "times": 40, "each_s": 30, "between": ["18:00", "22:00"]}
LAPTOP = {"tool": "laptop-usb", "charges": 2, "between": ["20:00", "02:30"]}
LAMP = {"name": "lamp", "supply": "dc12", "working_w": 15, "hours": 9, "at": "19:00"}
EVENING = """time,battery_percent,tool,count
2026-05-20T18:00,90,,
2026-05-20T22:00,{},drill-10,40
2026-05-21T04:00,{},,
"""


def evening(**changes):
    """Holes that are counted, and a laptop charged when it suits."""
    span = {"start": "2026-05-20T18:00:00", "end": "2026-05-21T04:00:00"}
    pack = {"profile": "pack-1000", "start_percent": 90}
    tables = {"panel": [], "span": span, "pack": pack, "task": [HOLES, LAPTOP, LAMP]}
    return lived.plan_of(**(tables | changes))


def read(*laptop):
    """What is learned where both charges came between two times and all else was as stated."""
    plan = evening()
    really = budget(evening(task=[HOLES, {**LAPTOP, "between": [*laptop]}, LAMP]))
    charge = np.interp([4.0, 10.0], really.time_s / 3600.0 - really.time_s[0] / 3600.0,
                       really.charge_percent[:, 0])  # fmt: skip
    text = EVENING.format(*(f"{percent:.0f}" for percent in charge))
    return learn(plan, parse_readings(text, plan))


def of(answer, what):
    return next(item for item in answer.items if item.what == what)


LATER = ("22:05", "02:30")


def test_a_charge_later_than_planned_does_not_make_a_drill_of_half_its_draw():
    drill = of(read(*LATER), "tool:drill-10")
    assert drill.low <= drill.before <= drill.high
    assert drill.after > 0.75 * drill.before


@pytest.mark.parametrize("mark_s", [600.0, 1800.0, 4000.0, 6900.0])
def test_one_go_begins_anywhere_in_its_window_as_often_as_at_its_planned_time(mark_s):
    # An hour in a window of two; what is done before a moment by SciPy's uniform distribution.
    task = Task(name="saw", supply="ac", working_w=100, hours=1)
    day = Day(0, None, (0.0, 7200.0), ((0.0, 3600.0),))
    planned_s = min(mark_s, 3600.0)
    square = uniform(0.0, 3600.0).expect(
        lambda begun_s: (np.clip(mark_s - begun_s, 0.0, 3600.0) - planned_s) ** 2
    )
    (wh,) = _moved_wh(task, day, [mark_s])
    assert wh == pytest.approx(100.0 * np.sqrt(0.5 * square) / 3600.0, rel=0.1, abs=0.5)


@pytest.mark.parametrize("count", [30, 300])
def test_many_goes_come_before_a_moment_as_in_the_binomial_distribution(count):
    # Goes so short that they hardly fill their window: SciPy's, 50 Wh in all.
    task = Task(name="saw", supply="ac", working_w=100, times=count, each_s=1800.0 / count)
    starts = (np.arange(count) + 0.5) * 36000.0 / count
    goes = tuple((at, at + 1800.0 / count) for at in starts.tolist())
    (wh,) = _moved_wh(task, Day(0, None, (0.0, 36000.0), goes), [18000.0])
    drawn = min(count, 60)  # more are drawn in groups
    assert wh == pytest.approx(50.0 / drawn * binom(drawn, 0.5).std() * np.sqrt(0.5), rel=0.1)


TOGETHER = "time,battery_percent\n2026-05-20T18:00,90\n2026-05-21T04:00,50\n"


def together():
    """All draws between the same two readings."""
    return learn(evening(), parse_readings(TOGETHER, evening()))


def test_what_cannot_be_told_apart_is_no_headline_and_not_learned():
    answer = together()
    keys = {key for group in answer.apart for key in group.keys}
    assert "tool:drill-10" in keys
    assert not any(item.learned for item in answer.items if item.what in keys)
    assert "drill-10" not in finding(answer)
    shown = unfolded(told(partial(learned_sheet, answer)))
    assert "Not told apart: drill-10 and lamp; drill-10 and laptop-usb; and 1 more." in shown


def test_what_cannot_be_told_apart_keeps_all_its_doubt_in_the_kit():
    tool = together().kit_file.profiles["tools"]["drill-10"]
    assert tool["spread_percent"] >= 40.0
    assert "not told apart" in tool["source"]


def test_what_cannot_be_told_apart_is_not_used_smaller_than_it_was():
    # all of a surplus is one draw's as well as another's: a day of one alone would be short
    answer = learn(evening(), parse_readings(TOGETHER.replace(",50", ",65"), evening()))
    at = answer.before.keys.index("tool:drill-10")
    assert answer.fit.posterior.mean[at] < 0.95
    drill = of(answer, "tool:drill-10")
    assert drill.low < drill.after == drill.before < drill.high
    tool = answer.kit_file.profiles.get("tools", {}).get("drill-10", {"duty_percent": 70.0})
    assert tool["duty_percent"] == pytest.approx(70.0)


def test_nor_after_a_second_such_day_with_the_kit_named(tmp_path):
    first = learn(evening(), parse_readings(TOGETHER.replace(",50", ",65"), evening()))
    path = tmp_path / "my-kit.toml"
    path.write_text(first.kit_toml(path.name))
    plan = Plan.from_dict(evening().source | {"profiles": [path.name]}, folder=tmp_path)
    again = learn(
        plan, parse_readings(TOGETHER.replace(",90", ",91").replace(",50", ",66"), plan), path
    )
    assert again.fit.posterior.mean[again.before.keys.index("tool:drill-10")] < 0.95
    drill, stated = of(again, "tool:drill-10"), of(first, "tool:drill-10").before
    assert drill.before == pytest.approx(stated)
    assert drill.after == pytest.approx(stated)


def test_a_figure_is_not_surer_for_having_become_small():
    first = EMPTY.with_figures([Figure("tool:saw", 100.0, 0.4, 1.0, "W")])
    small = replace(first, mean=np.array([0.5]), covariance=np.array([[0.04]]))
    assert small.doubt_left == pytest.approx([1.0])
    assert not small.learned
