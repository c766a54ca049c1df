"""The changes that `check` offers: each is run again as a plan. All plans are invented."""

from datetime import datetime

import pytest

from energy import Plan
from energy.answers.aim import aim
from energy.answers.fixes import fixes
from energy.budget import budget
from energy.plan.write import write_changes

DEMOS = ("cloudy-repair", "two-night-trip", "january-job")
ORDER = (
    "inverter-off-between-tasks", "move-flexible", "better-pose", "re-aim", "fuller-start",
    "leave-out", "charge-past-the-inverter", "another-source", "stronger-inverter", "more-panel",
    "more-pack",
)  # fmt: skip


def small(**changes):
    tables = {
        "place": {"latitude_deg": 46.5, "longitude_deg": 8.0, "elevation_m": 500},
        "span": {"start": "2026-05-14T08:00", "end": "2026-05-15T08:00"},
        "weather": {"kind": "clear"},
        "pack": {"capacity_wh": 600, "start_percent": 60, "temperature": 20},
        "task": [
            {"name": "pump", "supply": "dc12", "working_w": 60, "hours": 5, "must": True,
             "between": ["12:00", "20:00"]},
            {"name": "radio", "supply": "usb", "working_w": 10, "hours": 6, "priority": 3},
        ],
    }  # fmt: skip
    return Plan.from_dict(tables | changes)


@pytest.fixture(scope="module")
def answers():
    plans = {name: Plan.read(f"builtin:{name}") for name in DEMOS} | {"small": small()}
    found = {name: budget(plan) for name, plan in plans.items()}
    return {name: (b, fixes(b)) for name, b in found.items()}


@pytest.mark.parametrize("name", DEMOS)
def test_every_fix_written_into_the_plan_makes_check_say_yes(answers, name, tmp_path):
    _, found = answers[name]
    assert found.found
    for fix in found.found:
        written = tmp_path / "plan.toml"
        written.write_text(write_changes(f"builtin:{name}", fix.change))
        assert budget(Plan.read(written)).yes, fix.text


@pytest.mark.parametrize("name", [*DEMOS, "small"])
def test_a_continuous_fix_five_percent_smaller_says_no(answers, name):
    b, found = answers[name]
    looked_at = 0
    for fix in found.found:
        if fix.kind not in ("fuller-start", "more-panel", "more-pack"):
            continue
        ((key, value),) = fix.change.items()
        if isinstance(value, list):  # a panel where there was none
            less = {key: [{"rated_w": 0.95 * value[0]["rated_w"]}]}
        else:
            old = {"pack.start_percent": b.plan.pack.start_percent,
                   "pack.capacity_wh": b.plan.pack.capacity_wh}.get(key)  # fmt: skip
            old = b.plan.panel[int(key.split(".")[1]) - 1].rated_w if old is None else old
            less = {key: old + 0.95 * (value - old)}
        assert not budget(b.plan.replace(**less)).yes, fix.text
        looked_at += 1
    assert looked_at >= 2


@pytest.mark.parametrize("name", [*DEMOS, "small"])
def test_easy_things_come_first_and_free_ones_need_no_kit(answers, name):
    _, found = answers[name]
    kinds = [ORDER.index(fix.kind) for fix in found.found]
    assert kinds == sorted(kinds)
    for fix in found.found:
        bought = any("rated_w" in key or "capacity" in key or key == "panel" for key in fix.change)
        assert not (fix.free and bought)
        assert fix.free == (ORDER.index(fix.kind) < ORDER.index("charge-past-the-inverter"))


@pytest.mark.parametrize("name", [*DEMOS, "small"])
def test_what_is_called_not_enough_is_not_among_the_fixes(answers, name):
    _, found = answers[name]
    assert len(found.found) + len(found.not_enough) <= len(ORDER)
    assert len(set(found.not_enough)) == len(found.not_enough)


def test_a_yes_needs_no_fix():
    b = budget(small(pack={"capacity_wh": 3000, "temperature": 20}))
    assert b.yes
    assert fixes(b).found == ()


def test_the_smallest_pack_is_what_the_energy_says():
    # 300 Wh for the pump and 60 Wh for the radio, at 95 and 90 %, 3 W of idle for 24 hours, and
    # 15 % kept: with half of the store to start with some (316 + 67 + 72) / (0.60 - 0.15).
    b = budget(small())
    (fix,) = (f for f in fixes(b).found if f.kind == "more-pack")
    assert fix.change["pack.capacity_wh"] == pytest.approx(455 / 0.45, rel=0.06)


def test_what_must_run_is_never_left_out_and_the_lowest_rank_goes_first():
    b = budget(small(pack={"capacity_wh": 800, "start_percent": 70, "temperature": 20}))
    (fix,) = (f for f in fixes(b).found if f.kind == "leave-out")
    assert all(key.startswith("task.2") for key in fix.change)
    demo = budget(Plan.read("builtin:cloudy-repair"))
    (fix,) = (f for f in fixes(demo).found if f.kind == "leave-out")
    assert fix.change == {"task.6": None}  # tea, of the lowest priority the last


def test_where_no_change_is_enough_alone_two_may_be():
    # The pump's start overloads the inverter whatever the sun; the rest runs flat.
    plan = small(
        pack={"capacity_wh": 600, "start_percent": 60, "temperature": 20,
              "inverter": {"rated_w": 300, "surge_w": 400}},
        task=[
            {"name": "saw", "supply": "ac", "working_w": 250, "start_w": 900, "times": 3,
             "each_s": 60, "between": ["10:00", "12:00"]},
            {"name": "pump", "supply": "dc12", "working_w": 60, "hours": 6, "must": True,
             "between": ["12:00", "20:00"]},
        ],
    )  # fmt: skip
    b = budget(plan)
    found = fixes(b)
    assert [fix.kind for fix in found.found if "+" in fix.kind] == [fix.kind for fix in found.found]
    (pair,) = found.found
    assert pair.kind.startswith("leave-out + ") or pair.kind.endswith("leave-out")
    assert budget(plan.replace(**pair.change)).yes


def test_from_now_on_nobody_can_start_fuller():
    b = budget(small(), datetime(2026, 5, 14, 13), 40.0)
    found = fixes(b)
    assert "fuller-start" not in [fix.kind for fix in found.found]
    assert all(fix.budget.yes for fix in found.found)


def test_from_now_on_only_what_is_still_to_come_is_left_out():
    cut = {"name": "cut", "supply": "ac", "working_w": 700, "times": 16, "each_min": 2,
           "between": ["09:00", "13:00"]}  # fmt: skip
    pack = {"capacity_wh": 500, "temperature": 20, "discharge_max_w": 1200,
            "inverter": {"rated_w": 1000}}  # fmt: skip
    plan = small(task=[cut], pack=pack)
    now = datetime(2026, 5, 14, 12, 5)
    b = budget(plan, now, 45.0)
    left = sum(burst.task == 0 for burst in b.bursts)
    assert left == 4
    assert not b.yes
    (fix,) = (f for f in fixes(b).found if f.kind == "leave-out")
    assert f" of {left} of" in fix.text
    again = budget(plan.replace(**fix.change))
    assert again.yes
    assert sum(burst.task == 0 for burst in again.bursts) == left - int(fix.text.split()[2])


@pytest.mark.parametrize("minute", [700, 800, 1000])
def test_a_fix_from_now_on_can_be_written_down(minute, tmp_path):
    demo = Plan.read("builtin:cloudy-repair")
    now = datetime(2026, 9, 14, minute // 60, minute % 60)
    found = fixes(budget(demo, now, 42.0)).found
    assert {"leave-out", "more-pack"} <= {fix.kind for fix in found}
    for fix in found:
        written = tmp_path / "plan.toml"
        written.write_text(write_changes("builtin:cloudy-repair", fix.change))
        assert budget(Plan.read(written)).yes, fix.text


def test_where_nothing_of_the_tasks_is_left_the_pack_still_may_be_helped():
    lamp = {"name": "lamp", "supply": "usb", "working_w": 5, "between": ["09:00", "10:00"]}
    b = budget(small(task=[lamp]), datetime(2026, 5, 14, 20, 0), 20.0)
    assert not b.yes
    found = fixes(b).found
    assert found
    assert all(fix.budget.yes for fix in found)


def test_a_tool_that_trips_the_inverter_names_the_one_that_bears_it():
    saw = {"name": "saw", "supply": "ac", "working_w": 900, "start_w": 2450, "times": 3,
           "each_s": 60, "between": ["10:00", "12:00"]}  # fmt: skip
    pack = {"capacity_wh": 2000, "temperature": 20, "inverter": {"rated_w": 800, "surge_w": 1600}}
    b = budget(small(task=[saw], pack=pack))
    assert b.verdict == "overloads"
    (fix,) = (f for f in fixes(b).found if f.kind == "stronger-inverter")
    assert fix.change == {"pack.inverter.rated_w": 900.0, "pack.inverter.surge_w": 2500.0}
    assert not fix.free
    weaker = {"pack.inverter.rated_w": 900.0, "pack.inverter.surge_w": 2400.0}
    assert not budget(b.plan.replace(**weaker)).yes


def test_a_better_pose_is_found_and_is_the_one_that_aim_finds():
    b = budget(Plan.read("builtin:cloudy-repair"))
    (fix,) = (f for f in fixes(b).found if f.kind == "better-pose")
    assert fix.free
    assert fix.change == aim(b).change


def test_a_rough_table_needs_its_low_end_in_fixes_too():
    b = budget(small(weather={}, panel=[{"rated_w": 60}]))
    for fix in fixes(b).found:
        assert fix.budget.chance.low >= 90.0


def test_the_json_of_a_fix_has_its_stable_keys(answers):
    _, found = answers["cloudy-repair"]
    answer = found.found[0].as_dict()
    assert list(answer) == ["kind", "text", "free", "change", "chance"]
    assert set(answer["chance"]) >= {"percent", "low", "high", "futures", "goal"}


def test_no_more_is_left_out_than_has_to_be():
    # The fridge alone empties the pack; what ranks below it is small, and may stay.
    tasks = [
        {"name": "fridge", "supply": "dc12", "working_w": 45, "priority": 1},
        {"name": "lamp", "supply": "dc12", "working_w": 5, "hours": 3, "must": True,
         "between": ["20:00", "23:00"]},
        {"name": "phone", "supply": "usb", "working_w": 10, "hours": 1, "priority": 3,
         "between": ["12:00", "14:00"]},
    ]  # fmt: skip
    b = budget(small(task=tasks))
    (fix,) = (f for f in fixes(b).found if f.kind == "leave-out")
    assert fix.change == {"task.1": None}
    assert fix.text == 'Leave out "fridge".'
    assert budget(b.plan.replace(**fix.change)).yes
