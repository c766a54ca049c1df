"""What follows from a task alone: watts, length and energy of a repeat, a copy at other times.

Expected numbers are closed forms; tasks are invented and small.
"""

from __future__ import annotations

import pytest
from plan_tables import CHARGER, COOLER, LAMP, SAW, plan

from energy.plan import Plan
from energy.plan.task import Task, at_other_times

LOG = "seconds,watts\n0,10\n1800,700\n2400,10\n3000,5\n"


def task(**keys: object) -> Task:
    return plan(task=[keys]).task[0]


@pytest.fixture
def logged(tmp_path):
    (tmp_path / "log.csv").write_text(LOG)

    def read(**keys: object) -> Task:
        table = {"name": "log", "supply": "ac", "kind": "trace", "trace": "log.csv", **keys}
        return Plan.from_dict(plan().source | {"task": [table]}, "plan", tmp_path).task[0]

    return read


# --- watts ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("table", "watts"),
    [(LAMP, 10), ({**SAW, "minutes": 5}, 800), (COOLER, 50), (CHARGER, 10)],
)
def test_the_working_watts_are_those_of_its_kind(table, watts):
    assert task(**table).peak_w == watts


def test_a_traces_working_watts_are_its_most(logged):
    assert logged().peak_w == 700


def test_a_tools_figures_count_for_nothing_in_a_task_of_another_kind():
    assert task(tool="phone", kind="steady", working_w=7, minutes=5).peak_w == 7
    assert task(**{**CHARGER, "kind": "charging", "tool": "led-flood"}).peak_w == 10


def test_volt_amperes_are_watts_over_the_power_factor_on_mains_alone():
    assert task(**SAW, minutes=5, power_factor=0.8).peak_va == pytest.approx(1000)
    assert task(**LAMP, power_factor=0.8).peak_va == 10


@pytest.mark.parametrize(
    ("table", "watts"),
    [
        (LAMP, 10),
        ({**SAW, "idle_w": 300, "duty_percent": 70, "minutes": 5}, 0.7 * 800 + 0.3 * 300),
        ({**COOLER, "off_w": 2}, 0.3 * 50 + 0.7 * 2),
        ({**CHARGER, "taper_from_percent": 80}, 20 / 2.4),  # 20 Wh in 1.6 h and 0.8 h of taper
    ],
)
def test_the_mean_watts_are_those_over_its_whole_course(table, watts):
    assert task(**table).mean_w == pytest.approx(watts)


def test_a_traces_mean_is_its_energy_over_its_length(logged):
    assert logged().mean_w == pytest.approx((10 * 1800 + 700 * 600 + 10 * 600) / 3000)


# --- how long, how much ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("table", "seconds"),
    [
        ({**SAW, "times": 3, "each_s": 45}, 45),
        ({**SAW, "times": 3, "each_min": 2}, 120),
        (CHARGER, 7200),  # 20 Wh at 10 W, no taper
        ({**CHARGER, "taper_from_percent": 80}, 8640),  # 1.6 h, then 4 Wh at 5 W on the mean
        ({**LAMP, "minutes": 20}, None),
        (LAMP, None),
    ],
)
def test_a_repeat_lasts(table, seconds):
    assert task(**table).repeat_s == seconds


def test_a_trace_lasts_from_its_first_row_to_its_last(logged):
    assert logged().repeat_s == 3000
    assert logged(times=2).repeat_s == 3000
    assert logged(times=2, each_s=60).repeat_s == 60


@pytest.mark.parametrize(
    ("table", "count"),
    [
        ({**SAW, "times": 3, "each_s": 45}, 3),
        ({**CHARGER, "charges": 2}, 2),
        (CHARGER, 1),
        ({**CHARGER, "minutes": 20}, None),
        ({**LAMP, "minutes": 20}, None),
        (LAMP, None),
    ],
)
def test_repeats_are_counted_in_each_window(table, count):
    assert task(**table).repeats == count


def test_a_trace_is_one_repeat_unless_it_is_given_a_time(logged):
    assert logged().repeats == 1
    assert logged(minutes=9).repeats is None


@pytest.mark.parametrize(
    ("table", "unit"),
    [
        ({**SAW, "times": 3, "each_s": 45}, "times"),
        (CHARGER, "charges"),
        ({**LAMP, "minutes": 30}, "minutes"),
        ({**LAMP, "hours": 1}, "hours"),
        (LAMP, "minutes"),
    ],
)
def test_it_is_counted_in_the_unit_in_which_it_is_stated(table, unit):
    assert task(**table).unit == unit


# --- at other times -------------------------------------------------------------------------


def test_a_copy_at_other_times_keeps_the_tool():
    table = {**SAW, "times": 3, "each_s": 45, "between": ["09:00", "12:00"], "priority": 1}
    moved = at_other_times(table, at="10:00", times=2, days=[1])
    assert moved == {**SAW, "each_s": 45, "priority": 1, "at": "10:00", "times": 2, "days": [1]}
    assert table["times"] == 3


def test_an_amount_takes_the_place_of_another():
    assert at_other_times({**LAMP, "hours": 2}, minutes=20) == {**LAMP, "minutes": 20}


def test_none_takes_a_key_away():
    table = {**LAMP, "hours": 2, "flexible": True, "days": [1]}
    assert at_other_times(table, days=None, flexible=None) == {**LAMP, "hours": 2}
