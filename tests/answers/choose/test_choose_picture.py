"""The picture of a choice: what was left out is drawn as empty bars, as much as is left out.

The seconds are counted here from the bursts of both budgets. The plans are invented demos.
"""

import numpy as np
import pytest
from demo_choices import choice_of

from energy import Plan, choose
from energy.answers.check.panels import task_rows
from energy.answers.choose.picture import chosen, finding

DEMOS = ("cloudy-repair", pytest.param("january-job", marks=pytest.mark.oracle))


def seconds(result, name):
    mine = [burst for burst in result.running if result.plan.task[burst.task].name == name]
    return sum(piece.end_s - piece.start_s for burst in mine for piece in burst.pieces)


@pytest.mark.parametrize("name", DEMOS)
def test_as_much_is_drawn_empty_as_is_left_out(name):
    found = choice_of(name)
    for row in task_rows(found.budget, found.planned):
        missing_s = seconds(found.planned, row.name) - seconds(found.budget, row.name)
        drawn_s = sum(end - start for start, end in row.left_out)
        # A charger's last watts are not drawn: common to all bars.
        assert drawn_s == pytest.approx(max(missing_s, 0.0), rel=0.05, abs=1.5)
        assert bool(row.left_out) == (row.name in {left.task for left in found.left_out})


@pytest.mark.parametrize("name", DEMOS)
def test_nothing_is_drawn_empty_where_the_task_runs(name):
    found = choice_of(name)
    for row in task_rows(found.budget, found.planned):
        for start, end in row.left_out:
            assert all(off <= start or end <= on for on, off in row.runs)


def test_a_task_left_out_altogether_keeps_its_row():
    found = choice_of("cloudy-repair")
    planned = list(dict.fromkeys(task.name for task in found.planned.plan.task))
    assert [row.name for row in task_rows(found.budget, found.planned)] == planned


def test_the_picture_says_so():
    found = choice_of("cloudy-repair")
    figure = chosen(found)
    texts = [text.get_text() for panel in figure.axes for text in panel.texts]
    assert any("empty: left out" in text for text in texts)
    hollow = [
        bars
        for bars in figure.axes[1].collections
        if bars.get_paths() and np.allclose(bars.get_facecolor(), 1.0)
    ]
    assert len(hollow) == len({left.task for left in found.left_out})


def test_the_title_is_the_terminals_choice_of():
    assert finding(choice_of("cloudy-repair")).startswith("YES: This fits, in 28 of 31 weathers")


def test_what_a_limit_refuses_is_drawn_empty_too():
    # 120 Wh give at most some 500 W: no grinder, drill or kettle.
    found = choose(Plan.read("builtin:cloudy-repair").replace(**{"pack.capacity_wh": 120}))
    assert not found.possible
    rows = {row.name: row for row in task_rows(found.budget, found.planned)}
    assert len(rows["cut the rusted bolts"].left_out) == 16
