"""What `size` says of a size is what `check` says of the plan with it, in any number of weathers.

Each point of a frontier, put into the plan, is a yes of the whole budget, and the next smaller pack
a no. The budgets are worked out one by one, in weathers of their own.
"""

from __future__ import annotations

import copy
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plan_tables import Table
from size_plans import CUTS, FLOODED, GREENSBORO, INVERTER, LAMP, OUTSIDE, PHONE, PUMP, small

from energy.answers.size.designs import design_changes
from energy.answers.size.size import Size, size
from energy.model.sun import clear_sun
from energy.plan import Plan
from energy.simulation.budget import budget
from energy.weather.fetched.cache import About, Forecast, save_forecast

ROUGH: Table = {"kind": "climate", "temp_air_c": [-4, 6]}
# Invented sun hours of a place at 36 degrees north.
MONTHLY: Table = {
    "kind": "monthly",
    "sun_hours": [2.4, 3.1, 4.2, 5.4, 5.6, 6.2, 6.1, 5.6, 4.4, 3.6, 2.4, 2.2],
    "temp_air_c": [-2, 9],
}


def check_says_yes(plan: Plan, panel_w: float, battery_wh: float) -> bool:
    """Whether the plan with this size is a yes when it is checked alone."""
    return budget(plan.replace(**design_changes(plan, panel_w, battery_wh))).yes


def disagreements(plan: Plan, found: Size, points: int = 3) -> list[str]:
    """Where the frontier, at some of its panel sizes, is not what `check` says."""
    wrong = []
    sizes = found.frontier.sizes_wh
    at = np.unique(np.linspace(0, found.frontier.panel_w.size - 1, points).astype(int))
    smallest = found.frontier.smallest[:, found.frontier.goals.index(plan.goal.chance_percent)]
    for watts, step in zip(found.frontier.panel_w[at].tolist(), smallest[at].tolist(), strict=True):
        if step < sizes.size and not check_says_yes(plan, watts, float(sizes[step])):
            wrong.append(f"{watts} W and {sizes[step]} Wh: a no")
        if step > 0 and check_says_yes(plan, watts, float(sizes[step - 1])):
            wrong.append(f"{watts} W and {sizes[step - 1]} Wh: a yes already")
    if found.pick is not None and not budget(plan.replace(**found.change)).yes:
        wrong.append("the pick: a no")
    return wrong


@pytest.mark.parametrize(
    ("weather", "futures"),
    [
        (ROUGH, 40),
        *(pytest.param(ROUGH, n, marks=pytest.mark.oracle) for n in (1, 200, 333, 1000)),
        pytest.param(MONTHLY, 333, marks=pytest.mark.oracle),
    ],
)
def test_sizes_are_those_of_check_in_any_number_of_drawn_weathers(
    weather: Table, futures: int
) -> None:
    plan = small({**weather, "futures": futures}, OUTSIDE)
    assert disagreements(plan, size(plan)) == []


@pytest.mark.parametrize("futures", [1, 7, 20, None])
def test_sizes_are_those_of_check_in_any_number_of_windows_of_a_file(futures: int | None) -> None:
    weather: Table = {"kind": "file", "file": "builtin:greensboro"}
    plan = small(weather if futures is None else {**weather, "futures": futures})
    found = size(plan)
    assert found.designs.groups[0].success.size == (futures or 31)  # 15 days either side
    assert disagreements(plan, found) == []


def test_sizes_are_those_of_check_where_the_climate_table_carries_a_forecast_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    at = GREENSBORO["latitude_deg"], GREENSBORO["longitude_deg"]
    first = np.datetime64("2026-01-12T00:00").astype("datetime64[s]").astype(float)
    start_s = first + 3600.0 * np.arange(44)  # invented members, for the first day and a half
    moments = (start_s[:, None] + np.arange(150, 3600, 300)).ravel()
    clear = clear_sun(moments, *at, 250.0).ghi.reshape(-1, 12).mean(axis=1)
    ghi = clear[:, None] * np.linspace(0.15, 0.9, 31)
    air, wind = np.full(ghi.shape, 4.0), np.full(ghi.shape, 3.0)
    held = Forecast("invented", *at, 250.0, time.time(), start_s, ghi, air, wind)
    save_forecast(held, About("invented", "", *at, 250.0, time.time(), "", ""))
    plan = small({"kind": "forecast"}, OUTSIDE)
    found = size(plan)
    assert found.designs.groups[0].weather.mean_uncertain
    assert found.pick is not None, found.why  # 31 members alone never reach Wilson's 90 %
    assert disagreements(plan, found) == []


@pytest.mark.oracle
@pytest.mark.parametrize("futures", [40, 333])
def test_the_low_end_of_the_chance_never_falls_with_more_pack(futures: int) -> None:
    plan = small({**ROUGH, "futures": futures, "seed": 1}, OUTSIDE)
    previous = budget(plan)
    low = []
    for label in np.arange(700.0, 920.0, 10.0).tolist():
        chance = budget(plan.replace(**{"pack.capacity_wh": label}), previous=previous).chance
        assert chance.low is not None
        low.append(chance.low)
    assert low == sorted(low)
    assert low[-1] > low[0]


PACKS: dict[str, Table] = {
    "warm": {},
    "outside": {"temperature": "outside", "health_spread_percent": 5},
    "nickel": {**OUTSIDE, "chemistry": "nmc", "start_percent": 70, "charge_max_w": 80},
    "agm": {"chemistry": "agm", "reserve_percent": 40},
    "flooded": FLOODED,
    "small input": {"solar_input": {"max_w": 60}},
}
PANELS: dict[str, Table] = {
    "south": {"tilt_deg": 55, "condition_spread_percent": 5},
    "out by day": {"tilt_deg": 40, "out_between": ["08:10", "15:40"]},
    "shaded": {"aim": "flat", "shade": [{"between": ["08:30", "10:00"], "keep_percent": 30}]},
}


any_plan = given(
    weather=st.sampled_from([ROUGH, MONTHLY, {"kind": "sky", "sky": "broken", "temp_air_c": 2}]),
    futures=st.sampled_from([1, 3, 29, 101, 250, 401]),
    seed=st.integers(0, 99),
    pack=st.sampled_from(sorted(PACKS)),
    panels=st.lists(st.sampled_from(sorted(PANELS)), max_size=2),
    goal=st.sampled_from([0.0, 60.0, 85.5, 90.0, 99.0, 100.0]),
    saw=st.booleans(),
    cable=st.booleans(),
)


def assert_sizes_are_those_of_check(
    weather: Table,
    futures: int,
    seed: int,
    pack: str,
    panels: list[str],
    goal: float,
    saw: bool,
    cable: bool,
) -> None:
    run: Table = {"from": "panel", "to": "pack", "length_m": 12, "mm2": 2.5}
    changes: Table = {"run": [run]} if cable and panels else {}
    plan = small(
        {**copy.deepcopy(weather), "futures": futures, "seed": seed},
        copy.deepcopy(PACKS[pack]) | ({"inverter": INVERTER} if saw else {}),
        panel=[{"rated_w": 60, "name": f"{k}", **PANELS[name]} for k, name in enumerate(panels)],
        task=[LAMP, PUMP, CUTS if saw else PHONE],
        goal={"chance_percent": goal},
        **changes,
    )
    assert disagreements(plan, size(plan)) == []


def test_sizes_of_a_hard_plan_are_those_of_check() -> None:
    assert_sizes_are_those_of_check(ROUGH, 41, 5, "nickel", ["shaded"], 85.5, True, True)


@pytest.mark.oracle
@settings(max_examples=10, deadline=None, derandomize=True)
@any_plan
def test_sizes_of_any_plan_are_those_of_check(**figures: Any) -> None:
    assert_sizes_are_those_of_check(**figures)
