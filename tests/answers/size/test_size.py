"""The sizes found, against a grid of whole budgets worked out one by one, and against reason."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from plan_tables import plan
from size_plans import CASES, CUTS, INVERTER, LAMP, PHONE, PUMP, sized, small

from energy.answers.size.designs import design, make_designs
from energy.answers.size.frontier import frontier
from energy.answers.size.limits import within_limits
from energy.answers.size.proposal import needed_wh
from energy.answers.size.ranges import ranges
from energy.answers.size.size import GOALS, Size, size
from energy.plan import Plan
from energy.simulation.budget import WITHOUT_BOOKS, Budget, budget

PANEL_W = np.array([60.0, 150.0, 400.0])
SIZES_WH = np.array([120.0, 200, 280, 360, 450, 560, 700, 900, 1200, 1600, 2200, 3000])


@cache
def found_for(name: str) -> Any:
    """The frontier of a case, worked out once."""
    of = make_designs(CASES[name])
    return within_limits(of, frontier(of, PANEL_W, SIZES_WH, GOALS))[0]


@cache
def small_sized() -> Size:
    return size(small())


def resized(start: Plan, panel_w: float, battery_wh: float) -> Plan:
    """The plan with one panel of so many watts and a pack of so many watt-hours, nothing else."""
    changes = {"panel.1.rated_w": panel_w, "pack.capacity_wh": battery_wh}
    return start.replace(**changes)


def reached(result: Budget, goal: float) -> bool:
    """Whether a whole budget answers yes at a goal."""
    shares = [100.0 * float(result.success.mean())]
    if result.plan.weather.kind == "climate":
        shares += [100.0 * float(end.success.mean()) for end in result.bounds]
    return not result.overloads and min(shares) >= goal - 1e-9


def brute(start: Plan) -> list[list[list[bool]]]:
    """Whether each goal is reached at each panel size and pack, budget by budget."""
    grid = []
    for watts in PANEL_W.tolist():
        previous = budget(resized(start, watts, 500.0))
        row = [
            budget(resized(start, watts, label), previous=previous, step=WITHOUT_BOOKS)
            for label in SIZES_WH.tolist()
        ]
        grid.append([[reached(b, goal) for b in row] for goal in GOALS])
    return grid


HARD = (
    "lithium in the frost of the far north",
    "flooded lead-acid behind a plain controller",
    "a saw on an inverter",
    "a long thin lead to the pump",
)
SOFT = ("lithium kept warm", "twelve sun-hour figures")


def often(*names: str) -> list[Any]:
    """The cases, all but these as oracles."""
    return [n if n in names else pytest.param(n, marks=pytest.mark.oracle) for n in CASES]


@pytest.mark.parametrize("name", often(*HARD))
def test_the_frontier_is_that_of_a_grid_of_budgets(name: str) -> None:
    smallest = [
        [next((k for k, yes in enumerate(row) if yes), SIZES_WH.size) for row in rows]
        for rows in brute(CASES[name])
    ]
    assert found_for(name).smallest.tolist() == smallest


@pytest.mark.parametrize("name", often(*HARD, *SOFT))
def test_a_surer_goal_never_needs_less(name: str) -> None:
    assert (np.diff(found_for(name).smallest, axis=1) >= 0).all()


@pytest.mark.parametrize("name", often(*HARD, *SOFT))
def test_more_panel_never_needs_more_pack(name: str) -> None:
    assert (np.diff(found_for(name).smallest, axis=0) <= 0).all()


@settings(max_examples=6, deadline=None)
@given(
    chemistry=st.sampled_from(["lfp", "nmc", "agm", "flooded"]),
    air=st.sampled_from([-12.0, -3.0, 8.0, 25.0]),
    start_percent=st.floats(60, 100),
    reserve=st.sampled_from([0.0, 15.0, 40.0]),
    panel_w=st.floats(20, 600),
    battery_wh=st.floats(100, 3000),
    more=st.floats(1.02, 3.0),
)
def test_the_chance_never_falls_with_more_panel_or_more_pack(
    chemistry: str,
    air: float,
    start_percent: float,
    reserve: float,
    panel_w: float,
    battery_wh: float,
    more: float,
) -> None:
    own = {"chemistry": chemistry, "start_percent": start_percent, "reserve_percent": reserve}
    one = small(None, {**own, "temperature": air})
    first = budget(resized(one, panel_w, battery_wh))
    assume(not first.overloads)  # what a limit turns away draws nothing: a larger pack lets it run
    previous = {"previous": first}
    larger_pack = budget(resized(one, panel_w, more * battery_wh), **previous)
    larger_panel = budget(resized(one, more * panel_w, battery_wh), **previous)
    assert larger_pack.chance.percent >= first.chance.percent
    assert larger_panel.chance.percent >= first.chance.percent


@pytest.mark.parametrize(
    "name",
    [
        pytest.param("lithium in the frost of the far north", marks=pytest.mark.oracle),
        pytest.param("flooded lead-acid behind a plain controller", marks=pytest.mark.oracle),
        pytest.param("a saw on an inverter", marks=pytest.mark.oracle),
        pytest.param("a long thin cable", marks=pytest.mark.oracle),
    ],
)
def test_the_quick_guess_is_near_what_a_middling_weather_needs(name: str) -> None:
    of = make_designs(CASES[name])
    sizes_wh = np.geomspace(100.0, 3000.0, 120)
    weathers = np.arange(of.groups[0].success.size)
    scenario, label_wh = np.tile(weathers, sizes_wh.size), np.repeat(sizes_wh, weathers.size)
    for watts, guesses in zip(PANEL_W, needed_wh(of, 0, PANEL_W), strict=True):
        served, _ = of.tried(0, np.full(scenario.size, watts), label_wh, scenario)
        needs_wh = sizes_wh[served.reshape(sizes_wh.size, weathers.size).argmax(axis=0)]
        assert np.median(np.abs(guesses / needs_wh - 1.0)) < 0.06  # the sizes lie 3 % apart


def test_every_window_of_the_season_is_tried_where_the_plan_asks_for_no_number() -> None:
    assert make_designs(small()).groups[0].chance.scenarios == 31  # 15 days either side of the date


def test_a_pack_that_is_only_the_least_looked_at_is_said_to_be() -> None:
    asked = small(task=[PHONE], size={"panel_w": [0, 50], "battery_wh": [900, 2000]})
    found = size(asked)
    assert found.frontier.floor_wh == found.as_dict()["floor_wh"] == 900.0
    assert "900 Wh is the smallest pack looked at: smaller ones may do" in found.why
    assert budget(resized(asked, 50.0, 600.0)).yes  # so it is


def test_without_a_range_of_its_own_the_list_goes_down_to_packs_that_do_not_do() -> None:
    phone = small(None, {"capacity_wh": 2000}, task=[PHONE])
    found = size(phone)
    assert found.frontier.floor_wh is None
    assert found.pick is not None
    assert found.pick.battery_wh < 200.0
    assert "the smallest pack looked at" not in found.why


def test_a_pack_too_weak_for_what_runs_is_off_the_frontier() -> None:
    # 800 W through a 90 % inverter is some 900 W at the pack, which gives its label in an hour
    found = sized("a saw on an inverter")
    assert found.limit is not None
    assert "are asked of the pack, it gives" in found.limit
    assert found.least_wh is not None
    assert 880 < found.least_wh < 960
    sizes = [s for goal in GOALS for s in found.frontier.battery_wh(goal) if s is not None]
    assert min(sizes) >= found.least_wh


def test_no_pack_helps_where_the_inverter_is_too_small() -> None:
    weak = small(None, {"inverter": {"rated_w": 500}}, task=[LAMP, CUTS])
    found = size(weak)
    assert found.pick is None
    assert not found.yes
    assert all(s is None for goal in GOALS for s in found.frontier.battery_wh(goal))
    assert "asks 800 VA of the inverter, rated 500 W" in found.why


@pytest.mark.parametrize("name", often(*HARD, *SOFT))
def test_every_pick_is_a_yes_of_its_own_plan(name: str) -> None:
    found = sized(name)
    assert found.pick is not None
    assert found.budget is not None
    assert found.budget.yes
    assert budget(found.plan.replace(**found.change)).yes


def test_a_size_that_is_given_is_kept_and_the_other_found() -> None:
    found = size(small(size={"panel_w": [100, 100]}))
    assert found.frontier.panel_w.tolist() == [100.0]
    assert found.pick is not None
    assert found.pick.panel_w == 100.0


def test_the_pick_reaches_the_goal_in_a_budget_of_its_own() -> None:
    found = small_sized()
    assert found.pick is not None
    again = budget(resized(small(), found.pick.panel_w, found.pick.battery_wh))
    assert again.chance.percent >= 90.0
    assert found.budget is not None
    assert found.budget.chance.percent == again.chance.percent


def test_no_size_of_the_frontier_is_better_in_both_weight_and_price_than_the_pick() -> None:
    found = small_sized()
    assert found.pick is not None
    for watts, label in zip(found.frontier.panel_w, found.frontier.battery_wh(90.0), strict=True):
        if label is not None:
            kg, price = found.costs.kg(watts, label), found.costs.price(watts, label)
            assert kg >= found.pick.kg - 1e-9 or price >= found.pick.price - 1e-9


def test_nothing_in_the_range_says_so_and_gives_nulls() -> None:
    found = size(small(size={"panel_w": [10, 20], "battery_wh": [20, 60]}))
    assert "No pack up to 60 Wh reaches 90 % with panels up to 20 W" in found.why
    assert found.as_dict()["pick"]["battery_wh"] is None
    assert all(v is None for v in found.as_dict()["frontier"][0]["battery_wh"].values())


def test_a_goal_of_nothing_is_reached_by_the_smallest_that_gives_the_power() -> None:
    found = size(small(goal={"chance_percent": 0}))
    assert found.frontier.battery_wh(0.0)[0] == found.least_wh


def test_a_pack_that_starts_below_its_reserve_is_told_so() -> None:
    found = size(small(None, {"start_percent": 10, "temperature": 25}))
    assert found.pick is None
    assert "the pack starts at 10 %, and the reserve ends at 15 %: no size helps" in found.why


def test_the_json_has_the_keys_that_were_promised() -> None:
    found = small_sized().as_dict()
    assert set(found) == {
        "goal",
        "frontier",
        "floor_wh",
        "pick",
    }  # kits and worksheet come from their own
    assert set(found["pick"]) == {"panel_w", "battery_wh", "kg", "price", "why", "chance"}
    for row in found["frontier"]:
        assert set(row) == {"panel_w", "battery_wh"}
        assert list(row["battery_wh"]) == ["80", "90", "95", "99"]
    chance = {"percent", "low", "high", "futures", "independent", "goal", "must_percent"}
    chance |= {"powered_percent", "powered_low"}
    assert set(found["pick"]["chance"]) == chance


def test_the_ranges_hold_the_plans_own_size_and_both_ends_asked_for() -> None:
    watts, sizes = ranges(make_designs(small()))
    assert watts[0] <= 100.0 <= watts[-1]
    assert sizes[0] <= 700.0 <= sizes[-1]
    asked = small(size={"panel_w": [130, 770], "battery_wh": [310, 1990]})
    watts, sizes = ranges(make_designs(asked))
    assert (watts[0], watts[-1], sizes[0], sizes[-1]) == (130.0, 770.0, 310.0, 1990.0)


def test_no_pack_of_the_list_is_smaller_than_a_plan_allows() -> None:
    tiny = small(None, {"capacity_wh": 4, "idle_w": 0}, task=[{**PHONE, "energy_wh": 1}])
    _, sizes = ranges(make_designs(tiny))
    assert 1.0 <= sizes[0] <= 4.0


def test_a_plan_without_a_panel_is_sized_with_one() -> None:
    found = size(plan(weather={"kind": "clear"}))
    assert found.pick is not None
    assert found.pick.panel_w > 0.0


AGM = {"profile": "lead-acid-100ah", "capacity_wh": 1200, "inverter": INVERTER}


def short_cuts(**changes: Any) -> Plan:
    """Little work, and a saw whose power asks for a larger pack than its energy does."""
    evening = {**LAMP, "between": ["18:00", "20:00"]}
    return small(None, AGM, task=[evening, {**CUTS, "times": 3}], **changes)


def test_the_packs_looked_at_reach_well_past_the_one_that_gives_the_power() -> None:
    found = size(short_cuts())
    assert found.pick is not None, found.why
    assert found.least_wh is not None
    assert found.frontier.sizes_wh[-1] >= 1.4 * found.least_wh
    assert found.least_wh > 1200.0  # larger than the plan's own, and than its energy asks for


def test_where_every_pack_asked_for_is_too_weak_the_size_that_is_not_is_named() -> None:
    found = size(short_cuts(size={"battery_wh": [300, 1000]}))
    assert found.pick is None
    assert "1000 Wh and less is too weak" in found.why
    assert found.least_wh is not None
    assert f"power enough comes from about {found.least_wh:.0f} Wh on" in found.why
    assert not budget(design(short_cuts(), 100.0, found.least_wh)).overloads
    assert budget(design(short_cuts(), 100.0, 0.9 * found.least_wh)).overloads


def test_a_pick_without_panels_drops_them_and_their_cable() -> None:
    lead = {"from": "panel", "to": "pack", "length_m": 5, "mm2": 4}
    one = small(task=[PHONE], run=[lead], size={"panel_w": [0, 50], "battery_wh": [900, 2000]})
    found = size(one)
    assert found.pick is not None
    assert found.pick.panel_w == 0.0
    taken = one.replace(**found.change)
    assert not taken.panel
    assert not taken.run
    assert budget(taken).yes


def test_a_pick_of_a_plan_without_panels_brings_one() -> None:
    one = small(panel=[], task=[{**PUMP, "minutes": 200}, LAMP])
    found = size(one)
    assert found.pick is not None
    assert found.pick.panel_w > 0.0
    taken = one.replace(**found.change)
    assert sum(p.rated_w * p.count for p in taken.panel) == pytest.approx(found.pick.panel_w)
    assert budget(taken).yes


def test_what_follows_the_size_is_written_only_where_a_profile_states_it() -> None:
    by_itself = small_sized().change
    assert not [key for key in by_itself if key.endswith(("charge_max_w", "discharge_max_w"))]
    found = size(short_cuts())
    assert found.pick is not None
    more = found.pick.battery_wh / 1200.0
    assert found.change["pack.discharge_max_w"] == pytest.approx(750.0 * more)
    assert found.change["pack.kg"] == pytest.approx(34.0 * more)  # it is the pack that is carried
