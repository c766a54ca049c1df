"""The changes that `check` offers: each is run again as a plan. All plans are invented."""

import json
from datetime import datetime, timedelta

import numpy as np
import pytest
from choose_plans import random_plan
from seeds import seeds

from energy import Plan
from energy.answers.aim.aim import aim
from energy.answers.choose.coarse import SLOT_S
from energy.answers.choose.search import Search
from energy.answers.fix.fix import fixes
from energy.answers.fix.kinds import KINDS, ON_SITE
from energy.answers.fix.kit import more_pack
from energy.answers.fix.leaving import TRIES, _standing
from energy.answers.fix.trials import Trials
from energy.answers.fix.words import fix_part
from energy.answers.wire.wire import wire
from energy.plan.write import write_changes
from energy.simulation.budget import budget, changed
from energy.simulation.work import cells_of

DEMOS = ("cloudy-repair", "two-night-trip", "january-job")
ORDER = (  # what it costs a person who stands there: switch off, move, prop, leave out, ..., buy
    "inverter-off-between-tasks",
    "move-flexible",
    "another-time",
    "warmer-pack",
    "better-pose",
    "re-aim",
    "leave-out",
    "charge-past-the-inverter",
    "another-source",
    "fuller-start",
    "softer-start",
    "cordless",
    "stronger-inverter",
    "stronger-pack",
    "more-panel",
    "more-pack",
)
FREE = (*ORDER[: ORDER.index("charge-past-the-inverter")], "fuller-start")


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


def test_a_goal_of_nothing_leaves_only_what_a_limit_turns_away():
    kettle = {"name": "tea", "supply": "ac", "working_w": 900, "minutes": 5, "at": "10:00"}
    plan = small(goal={"chance_percent": 0}, task=[kettle])
    found = fixes(plan).found
    assert found
    assert all(budget(plan.replace(**fix.change)).yes for fix in found)


def overloading(**keys):
    pump = {"name": "pump", "supply": "ac", "working_w": 180, "minutes": 5, "at": "10:00"}
    pack = {"capacity_wh": 600, "temperature": 20, "inverter": {"rated_w": 150, "surge_w": 300}}
    return small(pack=pack, task=[pump | keys])


def test_a_stronger_inverter_surges_to_its_rating_at_least():
    plan = overloading(power_factor=0.3)  # 600 VA
    fix = next(fix for fix in fixes(plan).found if fix.kind == "stronger-inverter")
    assert fix.change == {"pack.inverter.rated_w": 600, "pack.inverter.surge_w": 600}
    assert budget(plan.replace(**fix.change)).yes


def test_no_inverter_is_offered_that_is_larger_than_any_plan_may_have():
    found = fixes(overloading(working_w=1e6, power_factor=0.06))
    assert "stronger-inverter" not in [fix.kind for fix in found.found]


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
        assert fix.free == (fix.kind in FREE)


@pytest.mark.parametrize("name", [*DEMOS, "small"])
def test_what_is_called_not_enough_is_not_among_the_fixes(answers, name):
    _, found = answers[name]
    assert len(found.found) + len(found.not_enough) <= len(ORDER)
    assert len(set(found.not_enough)) == len(found.not_enough)


def test_a_yes_needs_no_fix():
    result = budget(small(pack={"capacity_wh": 3000, "temperature": 20}))
    assert result.yes
    assert fixes(result).found == ()


def test_the_smallest_pack_is_what_the_energy_says():
    # 300 Wh for the pump and 60 Wh for the radio, at 95 and 90 %, 3 W of idle for 24 hours, and
    # 15 % kept: with half of the store to start with some (316 + 67 + 72) / (0.60 - 0.15).
    result = budget(small())
    (fix,) = (f for f in fixes(result).found if f.kind == "more-pack")
    assert fix.change["pack.capacity_wh"] == pytest.approx(455 / 0.45, rel=0.06)


OWN_FIGURES = {"rated_w": 200, "v_mp": 18, "v_oc": 21.6, "i_mp": 11.1, "i_sc": 11.8}


def more_panel_of(panel, max_a):
    """A dull day's pump on 200 W, 11.8 A, at an input of so many amps; what is offered, and what
    does not do."""
    solar_input = {"max_v": 30, "max_a": max_a}
    pack = {"capacity_wh": 1200, "start_percent": 60, "temperature": 20, "solar_input": solar_input}
    plan = small(
        place={"latitude_deg": 46.5, "longitude_deg": 8.0, "elevation_m": 500, "lowest_c": -10},
        weather={"sky": "overcast"},
        panel=[panel],
        pack=pack,
        task=[{"name": "pump", "supply": "dc12", "working_w": 75, "hours": 10}],
    )
    found = fixes(plan)
    return plan, [fix for fix in found.found if "more-panel" in fix.kind], found.not_enough


PANELS = [{"profile": "folding-200"}, OWN_FIGURES]


@pytest.mark.parametrize("panel", PANELS)
def test_more_panel_keeps_the_amps_of_its_watts(panel):
    plan, (fix,), _ = more_panel_of(panel, max_a=200)
    larger = plan.replace(**fix.change)
    assert (wire(plan).verdict, wire(larger).verdict) == (True, True)
    times = larger.panel[0].rated_w / 200
    assert times > 1.2
    assert larger.panel[0].i_sc == pytest.approx(11.8 * times, rel=1e-4)
    assert larger.panel[0].i_mp == pytest.approx(11.1 * times, rel=1e-4)


@pytest.mark.parametrize("panel", PANELS)
@pytest.mark.parametrize("max_a", [13, 11])
def test_no_more_panel_is_offered_than_the_input_bears(panel, max_a):
    """11.8 A of 200 W are more than 13 A from 220 W on."""
    plan, offered, not_enough = more_panel_of(panel, max_a)
    assert wire(plan).verdict is (max_a == 13)
    assert offered == []
    assert KINDS["more-panel"] in not_enough


def test_what_must_run_is_never_left_out_and_the_lowest_rank_goes_first():
    result = budget(small(pack={"capacity_wh": 800, "start_percent": 70, "temperature": 20}))
    (fix,) = (f for f in fixes(result).found if f.kind == "leave-out")
    assert all(key.startswith("task.2") for key in fix.change)


def test_what_is_left_out_is_the_least_of_the_lowest_rank():
    # Sanding and tea rank last, with a value of 1 each: a quarter of an hour is lost of the one.
    demo = budget(Plan.read("builtin:cloudy-repair"))
    (fix,) = (f for f in fixes(demo).found if f.kind == "leave-out")
    ((key, minutes),) = fix.change.items()
    assert key == "task.5.minutes"
    assert fix.text == f'Leave out {20 - minutes:.0f} min of "sand the frame".'
    for less in (0, 1):  # neither both cups of tea nor one of them loses less
        change = {"task.6.times": less} if less else {"task.6": None}
        assert changed(demo, change).yes == (less == 0)


def parts_put_back(plan, change):
    """Each change that leaves out a part less than another one does, by the test's own steps."""
    for key, value in change.items():
        number = int(key.split(".")[1])
        task, rest = plan.task[number - 1], {k: v for k, v in change.items() if k != key}
        whole = task.times or task.charges
        if whole:
            unit = "times" if task.times else "charges"
            kept = (value or 0) + 1
            yield rest | ({f"task.{number}.{unit}": kept} if kept < whole else {})
        else:  # a quarter of its time
            whole = task.duration_s / 60.0
            kept = (value or 0.0) + whole / 4.0
            yield rest | ({f"task.{number}.minutes": kept} if kept < whole else {})


@pytest.mark.parametrize("seed", seeds(2, 12))
def test_no_part_of_what_is_left_out_can_be_put_back(seed):
    random = np.random.default_rng(seed)
    tasks = [
        {"name": f"task {k}", "supply": "dc12", "working_w": int(random.integers(1, 8)) * 10,
         "priority": int(random.integers(1, 4)), "value": float(random.integers(1, 4)),
         "must": k == 0, "between": [f"{8 + k}:00", f"{10 + k}:00"]}
        | ({"times": int(random.integers(1, 5)), "each_min": 20} if random.integers(0, 2)
           else {"minutes": int(random.integers(2, 8)) * 15})
        for k in range(int(random.integers(3, 11)))
    ]  # fmt: skip
    pack = {"capacity_wh": int(random.integers(2, 5)) * 100, "start_percent": 60,
            "temperature": 20}  # fmt: skip
    result = budget(small(task=tasks, pack=pack, weather={"kind": "sky", "sky": "broken"}))
    found = {fix.kind: fix for fix in fixes(result).found}
    if "leave-out" not in found:
        gone = {f"task.{k + 1}": None for k in range(1, len(tasks))}
        assert result.yes or not changed(result, gone).yes
        return
    change = found["leave-out"].change
    assert changed(result, change).yes
    several = list(parts_put_back(result.plan, change))
    assert several
    for less in several:
        assert not changed(result, less).yes, less


@pytest.mark.parametrize("seed", seeds(2, 25))
def test_as_much_stays_as_a_search_in_full_passes_keeps(seed):
    result = budget(random_plan(seed))
    if result.yes:
        return
    search, in_full = (Search(_standing(result), SLOT_S, 1, None) for _ in range(2))
    kept, best = search.maximal(TRIES), in_full._improved(TRIES)
    assert (kept is None) == (best is None)
    if kept is not None:
        assert search.items.served(kept.levels) >= search.items.served(best.levels)


def test_what_is_left_out_of_many_days_is_said_in_short():
    # Two of four evenings run flat: a day's sun carries one evening of film, not all of them.
    film = {"name": "film", "supply": "dc12", "working_w": 60, "minutes": 120,
            "between": ["19:00", "21:00"]}  # fmt: skip
    result = budget(small(task=[film], pack={"capacity_wh": 500, "temperature": 20},
                     span={"start": "2026-05-14T08:00", "end": "2026-05-18T08:00"}))  # fmt: skip
    (fix,) = (f for f in fixes(result).found if f.kind == "leave-out")
    again = budget(result.plan.replace(**fix.change))
    assert again.yes
    minutes = sum(burst.end_s - burst.start_s for burst in again.bursts) / 60.0
    assert fix.text.startswith(f'Leave out {480 - minutes:.0f} min of "film"')


# --- the full range of each kind ----------------------------------------------------------------


def full_range(b):
    """Every kind of change over all that it can do, by the test's own steps: kind, change."""
    plan = b.plan
    yield "leave-out", {f"task.{k + 1}": None for k, t in enumerate(plan.task) if not t.must}
    for day in range(1, (plan.span.end.date() - plan.span.start.date()).days + 2):
        for hour in range(6, 21):
            for hours in (1, 4, 8):
                if hour + hours <= 21:
                    source = {"name": "source", "watts": 100, "days": [day],
                              "between": [f"{hour:02d}:00", f"{hour + hours}:00"]}  # fmt: skip
                    yield "another-source", {"charger": [source]}
    for times in (["09:00"], ["12:00"], ["15:00"], ["09:00", "13:00"], ["08:00", "12:00", "16:00"]):
        if plan.panel:
            yield "re-aim", {"panel.1.aim": "re-aimed", "panel.1.re_aim_at": times}
    for more in (50, 500, 3000):
        if plan.panel:
            yield "more-panel", {"panel.1.rated_w": plan.panel[0].rated_w + more}
        else:
            yield "more-panel", {"panel": [{"rated_w": more}]}
    for times in (1.2, 2, 4, 8):
        yield "more-pack", {"pack.capacity_wh": times * plan.pack.capacity_wh}
    for rated in (500, 800, 1000, 2000):
        if plan.pack.inverter is not None:
            yield "stronger-inverter", {"pack.inverter.rated_w": rated,
                                        "pack.inverter.surge_w": 3 * rated}  # fmt: skip
    for start in (70, 85, 100):
        if start > plan.pack.start_percent:
            yield "fuller-start", {"pack.start_percent": start}


def short_of(random):
    """A plan that misses its goal for one reason or another; in some the inverter is too weak."""
    weak = int(random.integers(0, 2))
    tasks = [
        {"name": "pump", "supply": "dc12", "working_w": int(random.integers(2, 9)) * 10,
         "hours": int(random.integers(2, 7)), "must": True,
         "between": [f"{random.integers(8, 14)}:00", "20:00"]},
        {"name": "saw", "supply": "ac", "working_w": int(random.integers(1, 4 + 5 * weak)) * 100,
         "start_w": int(random.integers(8, 25)) * 100 * weak, "times": 4, "each_min": 5,
         "between": ["10:00", "14:00"]},
        {"name": "dust", "supply": "ac", "working_w": 150, "between": ["10:00", "12:00"],
         "priority": 3},
    ]  # fmt: skip
    pack = {"capacity_wh": int(random.integers(2, 12)) * 100, "temperature": 20,
            "start_percent": int(random.integers(4, 10)) * 10, "discharge_max_w": 1500,
            "inverter": {"rated_w": 600, "surge_w": 1200, "idle_w": 6}}  # fmt: skip
    panel = [{"rated_w": int(random.integers(30, 150))}] if random.integers(0, 3) else []
    return small(task=tasks, pack=pack, panel=panel,
                 weather={"kind": "sky", "sky": "broken", "futures": 31})  # fmt: skip


@pytest.mark.parametrize("seed", seeds(1, 12))
def test_nothing_is_called_not_enough_that_is(seed):
    result = budget(short_of(np.random.default_rng(seed)))
    not_enough = {kind for kind, words in KINDS.items() if words in fixes(result).not_enough}
    for kind, change in full_range(result):
        if kind in not_enough:
            assert not changed(result, change).yes, (kind, change)


@pytest.mark.parametrize("name", [*DEMOS[:2], "small"])
def test_another_source_runs_when_it_helps_most(answers, name):
    # At every whole hour and for every length by the test's own count: none does with much less.
    b, found = answers[name]
    (fix,) = (fix for fix in found.found if fix.kind == "another-source")
    others = b.plan.source.get("charger", [])
    start, end = (datetime.strptime(t, "%H:%M") for t in fix.change["charger"][-1]["between"])
    minutes = (end - start).seconds // 60 - 3  # a little less than was found
    for day in range(1, (b.plan.span.end.date() - b.plan.span.start.date()).days + 2):
        for hour in range(6, 21):
            ends = datetime(2000, 1, 1, hour) + timedelta(minutes=minutes)
            source = {"name": "source", "watts": 100, "days": [day],
                      "between": [f"{hour:02d}:00", f"{ends:%H:%M}"]}  # fmt: skip
            assert not changed(b, {"charger": [*others, source]}).yes, (day, hour)


def test_another_source_in_the_morning_helps_what_falls_lowest_at_noon():
    # The pump takes all by 11:00 and only then comes the sun: what helps must come before.
    pump = {"name": "pump", "supply": "dc12", "working_w": 100, "must": True, "hours": 2,
            "between": ["09:00", "11:00"]}  # fmt: skip
    pack = {"capacity_wh": 300, "temperature": 20, "start_percent": 70}
    panel = [{"rated_w": 200, "out_between": ["11:30", "20:00"]}]
    result = budget(small(task=[pump], pack=pack, panel=panel))
    (fix,) = (f for f in fixes(result).found if f.kind == "another-source")
    assert fix.change["charger"][0]["between"][1] <= "11:00"


@pytest.mark.parametrize(
    ("hour", "hours", "watts", "panel_w", "capacity_wh", "start"),
    [(17, 3, 100, 140, 400, 60), (17, 2, 100, 284, 200, 30), (13, 5, 80, 189, 200, 40),
     (9, 4, 80, 212, 400, 40)],
)  # fmt: skip
def test_a_pose_for_the_hours_that_count_is_not_missed(
    hour, hours, watts, panel_w, capacity_wh, start
):
    # What is used late in the day wants a panel that faces its afternoon, not the one that gives
    # most; what is used before noon one that faces the morning.
    pump = {"name": "pump", "supply": "dc12", "working_w": watts, "must": True, "hours": hours,
            "between": [f"{hour:02d}:00", "22:00"]}  # fmt: skip
    pack = {"capacity_wh": capacity_wh, "start_percent": start, "temperature": 20}
    sky = {"kind": "sky", "sky": "broken"}
    result = budget(small(task=[pump], pack=pack, panel=[{"rated_w": panel_w}], weather=sky))
    grid = [{"panel.1.tilt_deg": tilt, "panel.1.facing": facing}
            for tilt in (15, 30, 45) for facing in range(0, 360, 45)]  # fmt: skip
    assert not result.yes
    assert any(changed(result, pose).yes for pose in grid)
    assert "better-pose" in [fix.kind for fix in fixes(result).found]


def test_a_pack_in_the_frost_may_be_kept_warm():
    """Lithium takes no charge below 0 degrees: common practice, no source."""
    frost = {"weather": {"kind": "clear", "temp_air_c": -12}, "panel": [{"rated_w": 60}]}
    outside = {"capacity_wh": 600, "start_percent": 60}
    cold = budget(small(**frost, pack=outside))
    assert not cold.yes
    (warm,) = (fix for fix in fixes(cold).found if fix.kind == "warmer-pack")
    assert warm.free
    assert changed(cold, {"pack.temperature": 10}).yes
    assert warm.change == {"pack.temperature": 10}
    inside = small(**frost, pack=outside | {"start_percent": 20, "temperature": 5})
    mild = small(weather={"kind": "clear", "temp_air_c": 2}, pack=outside)
    for plan in (inside, mild):
        answer = fixes(budget(plan))
        assert answer.found
        assert "warmer-pack" not in [fix.kind for fix in answer.found]
        assert KINDS["warmer-pack"] not in answer.not_enough


def test_a_pack_is_no_larger_than_it_has_to_be_where_the_rough_pass_errs():
    """A lead-acid pack that runs short while charge is left: rough passes took it for enough."""
    plan = small(
        place={"latitude_deg": 60.2, "longitude_deg": 24.9, "elevation_m": 300},
        span={"start": "2027-01-20T07:00", "end": "2027-01-21T19:00"},
        weather={"kind": "climate", "futures": 11},
        pack={"chemistry": "flooded", "capacity_wh": 2000, "start_percent": 80,
              "health_percent": 70, "health_spread_percent": 3, "reserve_percent": 0},
        task=[
            {"name": "call", "supply": "dc12", "working_w": 54, "hours": 1, "at": "12:00"},
            {"name": "pump", "supply": "dc12", "working_w": 54, "hours": 4,
             "between": ["07:30", "16:00"]},
        ],
    )  # fmt: skip
    result = budget(plan)
    size, best = Trials(result).enough(more_pack(result))
    assert best.yes
    assert not changed(result, {"pack.capacity_wh": 2000 + 0.95 * size}).yes


def test_a_fuller_start_stands_before_what_is_bought():
    found = fixes(budget(small())).found
    kinds = [fix.kind for fix in found]
    assert kinds[kinds.index("fuller-start") + 1 :] == ["more-panel", "more-pack"]


def too_little(**changes):
    """A pump and tea that must run, an inverter that idles all day and a panel turned away from the
    sun: neither put right is enough, nor is a vehicle's socket."""
    pump = {"name": "pump", "supply": "dc12", "working_w": 300, "hours": 6, "must": True,
            "between": ["12:00", "20:00"]}  # fmt: skip
    tea = {"name": "tea", "supply": "ac", "working_w": 400, "times": 2, "each_min": 6,
           "between": ["09:00", "11:00"], "must": True}  # fmt: skip
    inverter = {"rated_w": 600, "idle_w": 50, "on": "always"}
    tables = {
        "task": [pump, tea],
        "pack": {"capacity_wh": 2200, "start_percent": 80, "temperature": 20,
                 "discharge_max_w": 1500, "dc12": {"rated_w": 400}, "inverter": inverter},
        "panel": [{"rated_w": 280, "tilt_deg": 70, "facing": "N"}],
    }  # fmt: skip
    tables["pack"] |= changes
    return small(**tables)


def test_where_no_change_on_site_is_enough_alone_two_may_be():
    result = budget(too_little())
    found = fixes(result).found
    kinds = [fix.kind for fix in found]
    (pair,) = [fix for fix in found if "+" in fix.kind]
    easy, hard = pair.kind.split(" + ")
    assert ORDER.index(easy) < ORDER.index(hard) < ORDER.index("fuller-start")
    assert not {easy, hard} & set(kinds)  # neither does it alone
    assert kinds[0] == pair.kind  # two things at once stand before what is bought
    assert budget(result.plan.replace(**pair.change)).yes
    assert "; and " in pair.text


def test_no_pair_is_sought_where_one_change_on_site_is_enough(answers):
    _, found = answers["cloudy-repair"]
    assert not [fix for fix in found.found if "+" in fix.kind]


def test_all_kinds_and_pairs_of_a_long_plan_cost_less_than_thirty_budgets(monkeypatch):
    made = []

    def noted(*given):
        made.append(Trials(*given))
        return made[-1]

    monkeypatch.setattr("energy.answers.fix.fix.Trials", noted)
    result = budget(Plan.read("builtin:january-job"))
    assert fixes(result).found
    assert 5.0 < made[0].cells / cells_of(result) < 30.0


def test_what_trips_the_inverter_and_runs_flat_takes_two_changes():
    # The saw's start is more than the inverter bears; once it runs, the rest runs flat.
    plan = small(
        pack={"capacity_wh": 600, "start_percent": 60, "temperature": 20,
              "inverter": {"rated_w": 3000, "surge_w": 5900}},
        task=[
            {"name": "saw", "supply": "ac", "working_w": 250, "start_w": 9000, "times": 3,
             "each_s": 60, "between": ["10:00", "12:00"], "must": True},
            {"name": "pump", "supply": "dc12", "working_w": 60, "hours": 6, "must": True,
             "between": ["12:00", "20:00"]},
        ],
    )  # fmt: skip
    (pair,) = fixes(budget(plan)).found
    assert "stronger-inverter" in pair.kind.split(" + ")
    assert budget(plan.replace(**pair.change)).yes


# --- what a limit turns away --------------------------------------------------------------------


def grinding(tool="angle-grinder-125", **changes):
    """A grinder on a pack that bears its watts and not its start."""
    cut = {"tool": tool, "name": "cut", "times": 6, "each_s": 60, "between": ["10:00", "12:00"]}
    pack = {"profile": "pack-1000", "inverter": {"rated_w": 1200, "surge_w": 2000},
            "temperature": 20, "discharge_max_w": 1500}  # fmt: skip
    return small(**({"task": [cut], "pack": pack} | changes))


def of_kind(found, kind):
    (fix,) = (fix for fix in found.found if fix.kind == kind)
    return fix


def test_a_tool_that_starts_too_hard_may_be_one_with_a_soft_start():
    fix = of_kind(fixes(budget(grinding())), "softer-start")
    assert fix.change == {"task.1.tool": "angle-grinder-125-soft"}
    assert '"angle-grinder-125-soft"' in fix.text
    assert "1300 W instead of 2700 W" in fix.text
    assert not fix.free
    assert budget(grinding("angle-grinder-125-soft")).yes


def test_figures_of_ones_own_do_not_stay_with_another_tool():
    cut = {"tool": "angle-grinder-125", "working_w": 1100, "start_w": 3000, "times": 6,
           "each_s": 60, "between": ["10:00", "12:00"]}  # fmt: skip
    result = budget(grinding(task=[cut]))
    fix = of_kind(fixes(result), "softer-start")
    assert fix.budget.plan.task[0].start_w == 1300
    assert fix.budget.plan.task[0].working_w == 1000


def test_a_smaller_disc_does_not_do_the_job_of_a_large_one():
    kinds = [fix.kind for fix in fixes(budget(grinding("angle-grinder-230"))).found]
    assert "softer-start" not in kinds
    assert "cordless" not in kinds  # nor does an 18 V one do 1900 W


def test_a_cordless_tool_takes_as_much_energy_for_its_packs():
    # 6 cuts of a minute at 0.7 x 900 + 0.3 x 350 = 735 W are 73.5 Wh: one pack of 106 Wh.
    result = budget(grinding())
    fix = of_kind(fixes(result), "cordless")
    assert "one pack of 18 V 5 Ah" in fix.text
    task = fix.budget.plan.task[0]
    assert (task.name, task.charges, task.sparks, task.rotating) == ("cut", 1, True, True)
    assert fix.budget.asked_wh[0] >= result.asked_wh[0]


def test_a_built_in_pack_that_bears_it_is_named():
    fix = of_kind(fixes(budget(grinding())), "stronger-pack")
    assert fix.change["pack.profile"] == "pack-2000"
    assert '"pack-2000"' in fix.text
    assert "4000 W" in fix.text
    assert budget(grinding(pack={"profile": "pack-2000", "temperature": 20,
                                 "start_percent": 100})).yes  # fmt: skip


def test_a_pack_of_the_list_comes_before_built_in_ones(tmp_path):
    listed = tmp_path / "kit.csv"
    listed.write_text(
        "name,kind,capacity_wh,inverter_w,surge_w\nweak box,pack,900,1000,2000\n"
        "strong box,pack,1500,1500,3000\n"
    )
    plan = grinding(size={"candidates": str(listed)})
    fix = of_kind(fixes(budget(plan)), "stronger-pack")
    assert '"strong box"' in fix.text
    again = budget(plan.replace(**fix.change))
    assert again.yes
    assert again.plan.pack.capacity_wh == 1500
    assert again.plan.pack.inverter.surge_w == 3000


def test_a_list_that_cannot_be_read_stops_no_fixes(tmp_path):
    listed = tmp_path / "kit.csv"
    listed.write_text("name,kind\n")
    fix = of_kind(fixes(budget(grinding(size={"candidates": str(listed)}))), "stronger-pack")
    assert fix.change["pack.profile"] == "pack-2000"


def test_what_clashes_is_done_at_another_time():
    kettle = {"name": "kettle", "supply": "ac", "working_w": 900, "minutes": 30, "at": "10:00",
              "priority": 1}  # fmt: skip
    heater = {"name": "glue", "supply": "ac", "working_w": 400, "minutes": 30, "at": "10:15"}
    pack = {"capacity_wh": 2000, "temperature": 20, "discharge_max_w": 1500,
            "inverter": {"rated_w": 1000}}  # fmt: skip
    result = budget(small(task=[kettle, heater], pack=pack))
    assert result.verdict == "overloads"
    fix = of_kind(fixes(result), "another-time")
    assert fix.free
    assert fix.change == {"task.2.at": "10:30", "task.2.between": None}
    assert 'Do "glue" at 10:30' in fix.text


def test_what_is_moved_to_another_time_alone_is_placed_anew(monkeypatch):
    from energy.answers.fix import overloaded

    heater = {"supply": "ac", "working_w": 700, "minutes": 30, "at": "10:00"}
    pack = {"capacity_wh": 4000, "temperature": 20, "inverter": {"rated_w": 1000}}
    heaters = [{"name": f"heater {k}", **heater} for k in range(4)]
    result, placed = budget(small(task=heaters, pack=pack)), []
    place = overloaded.place_bursts

    def counted(plan, *where):
        placed.append(len(plan.task))
        return place(plan, *where)

    monkeypatch.setattr(overloaded, "place_bursts", counted)
    change = overloaded.another_time(result).change(1.0)
    times = [change[f"task.{k}.at"] for k in (2, 3, 4)]
    assert sorted(times) == ["09:00", "09:30", "10:30"]
    assert set(placed) == {1}
    assert not budget(result.plan.replace(**change)).overloads


def test_another_time_lies_inside_the_tasks_own_window_where_it_can():
    kettle = {"name": "kettle", "supply": "ac", "working_w": 900, "minutes": 120, "at": "09:00",
              "priority": 1}  # fmt: skip
    glue = {"name": "glue", "supply": "ac", "working_w": 400, "minutes": 30,
            "between": ["09:30", "14:00"]}  # fmt: skip
    pack = {"capacity_wh": 4000, "temperature": 20, "discharge_max_w": 1500,
            "inverter": {"rated_w": 1000}}  # fmt: skip
    result = budget(small(task=[kettle, glue], pack=pack))
    fix = of_kind(fixes(result), "another-time")
    assert fix.change["task.2.at"] == "11:00"  # not 08:30, which is nearer and too early


def test_nothing_that_could_never_run_is_given_another_time():
    kinds = [fix.kind for fix in fixes(budget(grinding())).found]
    assert "another-time" not in kinds


def test_a_medical_device_is_not_moved():
    kettle = {"name": "kettle", "supply": "ac", "working_w": 900, "minutes": 30, "at": "10:00",
              "priority": 1}  # fmt: skip
    device = {"name": "nebuliser", "supply": "ac", "working_w": 400, "minutes": 30, "at": "10:15",
              "medical": True}  # fmt: skip
    pack = {"capacity_wh": 2000, "temperature": 20, "discharge_max_w": 1500,
            "inverter": {"rated_w": 1000}}  # fmt: skip
    found = fixes(budget(small(task=[kettle, device], pack=pack)))
    assert "another-time" not in [fix.kind for fix in found.found]


def test_fixes_for_what_is_turned_away_can_be_written_down(tmp_path):
    text = """
        place = { latitude_deg = 46.5, longitude_deg = 8.0 }
        span = { start = 2026-05-14T08:00:00, end = 2026-05-15T08:00:00 }
        weather = { kind = "clear" }
        [pack]
        profile = "pack-1000"
        temperature = 20
        discharge_max_w = 1500
        [pack.inverter]
        rated_w = 1200
        [[task]]
        tool = "angle-grinder-125"
        times = 6
        each_s = 60
        between = ["10:00", "12:00"]
        """
    written = tmp_path / "plan.toml"
    written.write_text(text)
    found = fixes(budget(Plan.read(written))).found
    assert {"softer-start", "cordless", "stronger-pack"} <= {fix.kind for fix in found}
    for fix in found:
        written.write_text(write_changes(text, fix.change))
        assert budget(Plan.read(written)).yes, fix.text


def test_from_now_on_nobody_can_start_fuller_or_buy():
    bought = {"fuller-start", "more-panel", "more-pack"}
    before = fixes(small(pack=small().source["pack"] | {"start_percent": 40})).found
    assert bought <= {fix.kind for fix in before}
    found = fixes(budget(small(), datetime(2026, 5, 14, 13), 40.0))
    assert found.found
    assert all(kind in ON_SITE for fix in found.found for kind in fix.kind.split(" + "))
    assert not any(KINDS[kind] in found.not_enough for kind in bought)
    assert all(fix.budget.yes for fix in found.found)


def test_from_now_on_only_what_is_still_to_come_is_left_out():
    cut = {"name": "cut", "supply": "ac", "working_w": 700, "times": 16, "each_min": 2,
           "between": ["09:00", "13:00"]}  # fmt: skip
    pack = {"capacity_wh": 500, "temperature": 20, "discharge_max_w": 1200,
            "inverter": {"rated_w": 1000}}  # fmt: skip
    plan = small(task=[cut], pack=pack)
    now = datetime(2026, 5, 14, 12, 5)
    result = budget(plan, now, 45.0)
    left = sum(burst.task == 0 for burst in result.bursts)
    assert left == 4
    assert not result.yes
    (fix,) = (f for f in fixes(result).found if f.kind == "leave-out")
    assert f" of {left} of" in fix.text
    again = budget(plan.replace(**fix.change))
    assert again.yes
    assert sum(burst.task == 0 for burst in again.bursts) == left - int(fix.text.split()[2])


def test_from_the_second_of_two_times_on_no_change_is_looked_for_and_that_is_said():
    # The EU's summer time ends on the last Sunday of October at 01:00 UTC (directive 2000/84/EC).
    pump = {"name": "pump", "supply": "dc12", "working_w": 60, "between": ["01:00", "08:00"]}
    night = {"start": "2027-10-30T20:00", "end": "2027-10-31T08:00"}
    berlin = {"latitude_deg": 52.5, "longitude_deg": 13.4, "timezone": "Europe/Berlin"}
    asked, at = small(task=[pump], span=night, place=berlin), datetime(2027, 10, 31, 2, 30)
    assert fixes(budget(asked, at, 20.0)).not_enough
    second = fixes(budget(asked, at.replace(fold=1), 20.0))
    assert second.found == ()
    (line,) = (row.plain for row in fix_part(second, 200, every=True, clash=False).lines if row)
    assert line.startswith("No changes were looked for: ")
    assert line.endswith("shows 02:30 twice: ask from a later time that comes once.")


@pytest.mark.parametrize("minute", [700, pytest.param(800, marks=pytest.mark.oracle), 1000])
def test_a_fix_from_now_on_can_be_written_down(minute, tmp_path):
    demo = Plan.read("builtin:cloudy-repair")
    now = datetime(2026, 9, 14, minute // 60, minute % 60)
    found = fixes(budget(demo, now, 42.0)).found
    assert {"leave-out", "another-source"} <= {fix.kind for fix in found}
    for fix in found:
        written = tmp_path / "plan.toml"
        change = json.loads(json.dumps(fix.as_dict()))["change"]
        written.write_text(write_changes("builtin:cloudy-repair", change))
        assert budget(Plan.read(written)).yes, fix.text


def test_where_nothing_of_the_tasks_is_left_the_pack_still_may_be_helped():
    lamp = {"name": "lamp", "supply": "usb", "working_w": 5, "between": ["09:00", "10:00"]}
    result = budget(small(task=[lamp]), datetime(2026, 5, 14, 20, 0), 20.0)
    assert not result.yes
    found = fixes(result).found
    assert found
    assert all(fix.budget.yes for fix in found)


def test_a_tool_that_trips_the_inverter_names_the_one_that_bears_it():
    saw = {"name": "saw", "supply": "ac", "working_w": 900, "start_w": 2450, "times": 3,
           "each_s": 60, "between": ["10:00", "12:00"]}  # fmt: skip
    pack = {"capacity_wh": 2000, "temperature": 20, "inverter": {"rated_w": 800, "surge_w": 1600}}
    result = budget(small(task=[saw], pack=pack))
    assert result.verdict == "overloads"
    (fix,) = (f for f in fixes(result).found if f.kind == "stronger-inverter")
    assert fix.change == {"pack.inverter.rated_w": 900.0, "pack.inverter.surge_w": 2500.0}
    assert not fix.free
    weaker = {"pack.inverter.rated_w": 900.0, "pack.inverter.surge_w": 2400.0}
    assert not budget(result.plan.replace(**weaker)).yes


def test_a_better_pose_is_found_and_is_the_one_that_aim_finds(answers):
    result, sought = answers["cloudy-repair"]
    (fix,) = (f for f in sought.found if f.kind == "better-pose")
    assert fix.free
    assert fix.change == aim(result).change


def test_a_rough_table_needs_its_low_end_in_fixes_too():
    result = budget(small(weather={}, panel=[{"rated_w": 60}]))
    for fix in fixes(result).found:
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
    result = budget(small(task=tasks))
    (fix,) = (f for f in fixes(result).found if f.kind == "leave-out")
    assert fix.change == {"task.1": None}
    assert fix.text == 'Leave out "fridge".'
    assert budget(result.plan.replace(**fix.change)).yes


@pytest.mark.parametrize("also", [{}, {"after": "drill"}])
def test_next_to_nothing_of_a_task_is_not_worth_keeping(also):
    # Each hole takes 5 Wh: beside the lamp's 220 Wh the pack has room for a few of 60.
    drill = {"name": "drill", "supply": "dc12", "working_w": 100, "times": 60, "each_min": 3,
             "between": ["08:00", "18:00"]}  # fmt: skip
    lamp = {"name": "lamp", "supply": "dc12", "working_w": 55, "hours": 4, "must": True,
            "between": ["19:00", "23:00"]}  # fmt: skip
    phone = {"name": "phone", "supply": "usb", "working_w": 1, "minutes": 30, "at": "18:30"} | also
    pack = {"capacity_wh": 400, "temperature": 20}
    result = budget(small(task=[drill, lamp, phone], pack=pack))
    (fix,) = (f for f in fixes(result).found if f.kind == "leave-out")
    if also:  # the phone waits for the holes
        assert 0 < fix.change["task.1.times"] < 6
    else:
        assert fix.change == {"task.1": None}
        assert fix.text == 'Leave out "drill".'
    assert changed(result, fix.change).yes


def test_nobody_is_told_to_leave_out_a_medical_device():
    # By its key, or by what it is called.
    lamp = {"name": "lamp", "supply": "dc12", "working_w": 30, "between": ["18:00", "23:00"]}
    breath = {"supply": "dc12", "working_w": 40, "between": ["22:00", "06:00"], "priority": 9}
    for named in ({"name": "CPAP"}, {"name": "night machine", "medical": True}):
        plan = Plan.read("builtin:cloudy-repair").replace(
            task=[lamp, {**breath, **named}], panel=[], **{"pack.capacity_wh": 700}
        )
        asked = budget(plan)
        assert not asked.yes
        texts = [fix.text for fix in fixes(asked).found if fix.kind == "leave-out"]
        assert texts
        assert "lamp" in texts[0]
        assert named["name"] not in texts[0]


@pytest.mark.parametrize("names_the_other", ["night machine", "humidifier"])
def test_what_goes_with_a_medical_device_stays_with_it(names_the_other):
    breath = {"name": "night machine", "medical": True, "working_w": 30}
    mate = {"name": "humidifier", "working_w": 10}
    night = {"supply": "dc12", "between": ["22:00", "06:00"]}
    both = [night | breath, night | mate]
    for task, other in (both, both[::-1]):
        if task["name"] == names_the_other:
            task["with"] = other["name"]
    lamp = {"name": "lamp", "supply": "dc12", "working_w": 30, "between": ["18:00", "23:00"]}
    plan = Plan.read("builtin:cloudy-repair").replace(
        task=[lamp, *both], panel=[], run=[], **{"pack.capacity_wh": 700}
    )
    left = [fix for fix in fixes(plan).found if "leave-out" in fix.kind]
    assert left
    for fix in left:
        kept = plan.replace(**fix.change).task
        assert {"night machine", "humidifier"} <= {task.name for task in kept}


def test_two_parts_of_a_task_are_left_out_by_one_name():
    pack = {"capacity_wh": 380.0, "temperature": 20, "inverter": {"rated_w": 500.0}}
    charge = {"name": "spare packs", "tool": "tool-pack-18v-4ah", "charges": 1}
    asked = [{**charge, "between": ["09:00", "12:00"]}, {**charge, "between": ["13:00", "16:00"]}]
    lamp = {"name": "lamp", "supply": "usb", "working_w": 10, "hours": 20, "must": True}
    texts = [
        fix.text
        for fix in fixes(budget(small(pack=pack, task=[*asked, lamp]))).found
        if fix.kind == "leave-out"
    ]
    assert texts == ['Leave out "spare packs".']
