"""The page's step against Python's, in random cases: the same store, the same hours short."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from page_script import call, loaded, script_case

from energy.model import Array
from energy.model.battery import Battery
from energy.model.case import Case, Load
from energy.model.electronics import inverter_curve
from energy.model.simulate import simulate

LITHIUM: dict[str, Any] = {"self_discharge_per_h": 3e-5, "coulombic": 0.99, "taper_from": 0.9}
LEAD: dict[str, Any] = {
    "self_discharge_per_h": 6e-5,
    "coulombic": 0.88,
    "taper_from": 0.8,
    "kinetic_c": 0.6,
    "kinetic_k_per_h": 1.2,
}
SEEDS = range(2)
PACKS: dict[str, dict[str, Any]] = {
    "lfp": {"chemistry": "lfp", **LITHIUM},
    "nmc": {"chemistry": "nmc", **LITHIUM},
    "agm": {"chemistry": "agm", **LEAD},
    "flooded": {"chemistry": "flooded", **LEAD, "kinetic_c": 0.5},
}
ODD: dict[str, dict[str, Any]] = {  # what random figures would seldom hit
    "nothing special": {},
    "no leak": {"self_discharge_per_h": 0.0},
    "a strong leak": {"self_discharge_per_h": 2e-3},
    "no resistance": {"resistive_h": 0.0},
    "no loss at all": {"self_discharge_per_h": 0.0, "resistive_h": 0.0, "coulombic": 1.0},
    "a taper as steep as a wall": {"taper_from": 1.0},
    "a taper all the way": {"taper_from": 0.0},
    "kept warm": {"heated": True},
    "empty at the start": {"start_share": 0.0},
    "full at the start": {"start_share": 1.0},
    "too cold to give at times": {"discharge_min_c": -6.0},
    "heated, and too cold to give": {"discharge_min_c": -6.0, "heated": True},
}
SIMULATE_FROM = """
const simulateFrom = (setup, atS, startWh) => simulate(caseFrom(setup, atS), startWh);
globalThis.simulateFrom = simulateFrom;
"""
TASKS = (("usb", 0.0), ("ac", 0.04), ("dc12", 0.03), ("ac", 0.0), ("ac", 0.0), ("dc12", 0.0))


def case_of(seed: int, figures: dict[str, Any], weathers: int = 5) -> Case:
    """Invented: 240 segments of a minute to an hour, frost, six tasks at three outlets, a charger;
    sized so that the pack is now full, now empty."""
    rng = np.random.default_rng(seed)
    count = 240
    seconds = rng.choice([60.0, 300.0, 900.0, 3600.0], count)
    sun = np.maximum(np.sin(np.arange(count) / 12.0), 0.0)[:, None]
    sun = sun * rng.uniform(0.0, 400.0, weathers)
    lit = np.flatnonzero(sun[:, 0] > 0.0)
    solar_row = np.full(count, -1)
    solar_row[lit] = np.arange(lit.size)
    columns = int(rng.choice([1, weathers]))
    capacity = rng.uniform(200.0, 1500.0) * rng.uniform(0.9, 1.0, weathers)
    plain: dict[str, Any] = {"start_share": rng.uniform(), "resistive_h": 0.06}
    battery = Battery(
        capacity_wh=capacity,
        charge_max_w=np.full(weathers, rng.uniform(30.0, 400.0)),
        **(plain | figures),
    )
    on = rng.random(count) < 0.5
    return Case(
        edges=1.7e9 + np.concatenate([[0.0], np.cumsum(seconds)]),
        battery=battery,
        solar_w=sun[lit],
        solar_row=solar_row,
        controller_efficiency=0.97,
        charger_w=np.where(np.arange(count) % 60 < 4, 90.0, 0.0),
        temp_pack=12.0 * np.sin(np.arange(count) / 30.0)[:, None]
        + rng.uniform(-8.0, 12.0, columns),
        temp_row=np.arange(count),
        idle_w=float(rng.choice([0.0, 3.0])),
        inverter=inverter_curve(600.0, float(rng.choice([0.0, 8.0])), 90.0),
        inverter_on=on.astype(float),
        outlet_efficiency={"dc12": 0.95, "usb": 0.9},
        loads=[_load(rng, task, on) for task in rng.permutation(len(TASKS)).tolist()],
        factor=rng.uniform(0.8, 1.2, (len(TASKS), weathers)),
    )


def _load(rng: np.random.Generator, task: int, on: Array) -> Load:
    supply, lead_loss = TASKS[task]
    runs = rng.random(on.size) < rng.choice([0.2, 0.9])
    rows = np.flatnonzero(runs & on if supply == "ac" else runs)
    return Load(task, supply, rows, rng.uniform(0.0, 150.0, rows.size), lead_loss)


def assert_same(case: Case, start_share: float | None = None) -> None:
    """The script goes the way Python does, to 1e-9 of what the pack holds."""
    capacity = case.battery.capacity_wh
    start = () if start_share is None else (capacity * start_share,)
    state = None if start_share is None else (capacity * start_share, np.zeros_like(capacity))
    ours, theirs = simulate(case, state=state), call("simulate", script_case(case), *start)
    store = np.reshape(theirs["storeWh"], ours.store_wh.shape)
    np.testing.assert_allclose(store / capacity, ours.store_wh / capacity, rtol=0.0, atol=1e-9)
    np.testing.assert_allclose(theirs["firstShortS"], ours.first_short_s, rtol=0.0, atol=1e-3)
    np.testing.assert_allclose(theirs["unmetWh"], ours.unmet_wh, rtol=0.0, atol=1e-9 * 1500.0)
    np.testing.assert_allclose(theirs["firstUnmetS"], ours.first_unmet_s, rtol=0.0, atol=1e-3)


@pytest.mark.parametrize("odd", ODD)
@pytest.mark.parametrize("pack", PACKS)
def test_a_pack_goes_as_in_python(pack: str, odd: str) -> None:
    for seed in SEEDS:
        assert_same(case_of(seed, PACKS[pack] | ODD[odd]))


@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    pack=st.sampled_from([*PACKS]),
    start=st.floats(0.0, 1.0),
    weathers=st.sampled_from([1, 2, 7]),
)
def test_any_pack_from_any_charge(seed: int, pack: str, start: float, weathers: int) -> None:
    assert_same(case_of(seed, PACKS[pack], weathers), start)


def test_the_cases_run_full_and_empty_and_shed_in_rank_order() -> None:
    # Or the comparisons above would say little.
    for pack in PACKS:
        cases = [case_of(seed, PACKS[pack]) for seed in SEEDS]
        went = [simulate(case) for case in cases]
        capacities = [case.battery.capacity_wh for case in cases]
        most = [(s.store_wh / c).max() for s, c in zip(went, capacities, strict=True)]
        assert max(most) > 0.97
        assert sum(s.ran_short.sum() for s in went) >= 3
        assert any((s.unmet_wh > 0.0).any(axis=1).sum() >= 3 for s in went)


@pytest.mark.parametrize("pack", PACKS)
def test_without_an_inverter_and_without_loads(pack: str) -> None:
    case = case_of(1, PACKS[pack])
    mainless = [load for load in case.loads if load.supply != "ac"]
    off = np.zeros(case.edges.size - 1)
    assert_same(replace(case, inverter=None, inverter_on=off, loads=mainless))
    assert_same(replace(case, loads=[]))


@pytest.mark.parametrize("pack", PACKS)
def test_the_rest_of_a_case_goes_on_from_any_moment(pack: str) -> None:
    case, context = case_of(2, PACKS[pack]), loaded(SIMULATE_FROM)
    for row, share in ((0, 0.0), (17, 0.25), (100, 0.0), (239, 0.9)):
        begins, ends = case.edges[row : row + 2]
        at_s = float(begins + share * (ends - begins))
        rest = case.between(row, case.edges.size - 1)
        rest = replace(rest, edges=np.concatenate([[at_s], rest.edges[1:]]))
        store = case.battery.capacity_wh * 0.4
        ours = simulate(rest, state=(store, np.zeros_like(store)))
        theirs = call("simulateFrom", script_case(case), at_s, store, context=context)
        assert np.reshape(theirs["storeWh"], ours.store_wh.shape) == pytest.approx(
            ours.store_wh, abs=1e-7
        )
        assert np.asarray(theirs["unmetWh"]) == pytest.approx(ours.unmet_wh, abs=1e-6)
