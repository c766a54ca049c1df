"""The step as machine code: the same as the NumPy step, fetched only when a sweep repays it."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from checkout import ROOT
from many_packs import by_scenarios, random_case
from size_plans import OUTSIDE, small

from energy.answers.size.years import years
from energy.model import Array, compiled
from energy.model.battery import Battery, advance, start
from energy.model.compiled import REPAID_STEPS, Sweep, laid_out, machine_code, pass_through, repaid
from energy.model.simulate import Case, block_of, simulate

EDGE_PACKS: dict[str, dict[str, Any]] = {  # what random figures would seldom hit
    "nothing special": {},
    "no leak": {"self_discharge_per_h": 0.0},
    "a strong leak": {"self_discharge_per_h": 2e-3},
    "no resistance": {"resistive_h": 0.0},
    "no loss at all": {"self_discharge_per_h": 0.0, "resistive_h": 0.0, "coulombic": 1.0},
    "a taper as steep as a wall": {"taper_from": 1.0},
    "a taper all the way": {"taper_from": 0.0},
    "kept warm": {"heated": True},
    "nickel cells, half full": {"chemistry": "nmc", "taper_from": 0.8, "start_share": 0.5},
    "empty at the start": {"start_share": 0.0},
    "too cold to give at times": {"discharge_min_c": -6.0},
    "heated, and too cold to give": {"discharge_min_c": -6.0, "heated": True},
}


def part_of(case: Case, first: int, last: int) -> Case:
    """Some segments of a random case."""
    inside = [(d.rows >= first) & (d.rows < last) for d in case.loads]
    return replace(
        case,
        edges=case.edges[first : last + 1],
        solar_row=case.solar_row[first:last],
        charger_w=case.charger_w[first:last],
        temp_row=case.temp_row[first:last],
        inverter_on=case.inverter_on[first:last],
        loads=[
            replace(d, rows=d.rows[here] - first, watts=d.watts[here])
            for d, here in zip(case.loads, inside, strict=True)
        ],
    )


def hours_without(case: Case) -> Array:
    """How long each scenario could not give what was asked of it [h], from the store alone."""
    air = case.temp_pack[case.temp_row]
    block = block_of(case, slice(0, case.edges.size - 1))
    floor = case.battery.cold_unavailable_share(air) * case.battery.capacity_wh
    path = advance(case.battery, start(case.battery), block.rate, block.hours, floor)
    return np.asarray(((1.0 - path.full) * block.hours).sum(axis=0))


def both_agree(seed: int, changes: dict[str, Any], sizes_wh: Array, code: Any) -> None:
    """Run a random case by NumPy, and by `code` in two parts, and compare to 1e-9."""
    case = random_case(seed, changes)
    share, limit_w = np.linspace(0.0, 1.5, sizes_wh.size), 350.0
    capacity = np.tile(sizes_wh, 3)
    battery = replace(case.battery, capacity_wh=capacity, charge_max_w=0.4 * capacity)
    scenarios = by_scenarios(case, battery, share, limit_w)
    run = simulate(scenarios)
    sweep = Sweep(battery, share, limit_w * case.controller_efficiency)
    found = [sweep.run(part_of(case, *ends), code=code) for ends in ((0, 100), (100, 240))]
    cold_unavailable = battery.cold_unavailable_share(scenarios.temp_pack)[scenarios.temp_row]
    above = np.minimum(run.store_wh[1:], run.store_wh[:-1]) / capacity - cold_unavailable
    lowest = np.minimum(found[0].lowest, found[1].lowest).ravel()
    unmet_wh = (found[0].unmet_wh + found[1].unmet_wh).ravel()
    without = (found[0].hours_without + found[1].hours_without).ravel()
    charge = found[1].store_wh.ravel() / capacity
    assert charge == pytest.approx(run.store_wh[-1] / capacity, rel=1e-9, abs=1e-12)
    assert lowest == pytest.approx(above.min(axis=0), rel=1e-9, abs=1e-12)
    assert unmet_wh == pytest.approx(run.unmet_wh.sum(axis=0), rel=1e-9, abs=1e-9)
    assert without == pytest.approx(hours_without(scenarios), rel=1e-9, abs=1e-12)
    assert (without > 0.0).any()  # or it would say little
    assert (lowest > 0.0).any() or changes.get("start_share") == 0.0


@pytest.mark.parametrize("name", EDGE_PACKS)
def test_machine_code_agrees_with_numpy_in_charge_unmet_and_hours(name: str) -> None:
    for seed in range(4):
        both_agree(seed, EDGE_PACKS[name], np.geomspace(20.0, 20000.0, 150), machine_code())


@pytest.mark.parametrize("name", ["nothing special", "no loss at all", "nickel cells, half full"])
def test_the_source_of_the_machine_code_agrees_as_plain_python_too(name: str) -> None:
    both_agree(7, EDGE_PACKS[name], np.array([30.0, 300.0, 5000.0]), pass_through)


def test_one_design_is_the_same_alone_and_among_many() -> None:
    case, sizes_wh = random_case(3, {}), np.geomspace(20.0, 20000.0, 150)

    def unmet(sizes: Array) -> Array:
        packs = replace(case.battery, capacity_wh=np.tile(sizes, 3), charge_max_w=np.array(200.0))
        return Sweep(packs, np.full(sizes.size, 0.7), np.inf).run(case, laid_out(case)).unmet_wh

    assert unmet(sizes_wh[40:41])[:, 0] == pytest.approx(unmet(sizes_wh)[:, 40], rel=1e-12)


CABLE = [{"from": "panel", "to": "pack", "length_m": 15, "mm2": 2.5}]


@pytest.mark.parametrize(
    "plan",
    [
        pytest.param(small(None, OUTSIDE), marks=pytest.mark.oracle),
        small(None, {**OUTSIDE, "solar_input": {"max_w": 90}}, run=CABLE),
        pytest.param(
            small(None, {**OUTSIDE, "solar_input": {"max_a": 4}}), marks=pytest.mark.oracle
        ),
    ],
    ids=["panels of any size", "behind a long cable", "few amps from the panels"],
)
def test_whole_years_are_the_same_either_way(plan: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    designs = np.array([60.0, 150.0, 60.0]), np.array([300.0, 500.0, 1500.0])
    monkeypatch.setattr(compiled, "REPAID_STEPS", 10**15)
    usual = years(plan, *designs)
    monkeypatch.setattr(compiled, "REPAID_STEPS", 0)
    assert repaid(PACK, 1)  # or both would go the usual way
    found = years(plan, *designs)
    assert found.lowest == pytest.approx(usual.lowest, abs=2e-9)  # twice what `SAME` allows
    assert found.unmet_wh == pytest.approx(usual.unmet_wh, abs=1e-5)
    assert (found.lost == usual.lost).all()
    assert 0.0 < usual.lost.mean() < 1.0


ONE = np.array([1000.0])
PACK = Battery("lfp", ONE, ONE, 1.0, 0.06, 0.99, 0.9, 0.0)


def test_a_small_sweep_does_not_ask_for_machine_code(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[Callable[..., None] | None] = []
    monkeypatch.setattr(compiled, "machine_code", lambda: asked.append(None))
    assert not repaid(PACK, REPAID_STEPS - 1)
    assert not asked


def test_a_large_sweep_is_worth_machine_code() -> None:
    assert repaid(PACK, REPAID_STEPS)


def test_without_numba_a_large_sweep_takes_the_usual_way(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "numba", None)  # importing it now fails
    monkeypatch.setattr(compiled, "machine_code", machine_code.__wrapped__)
    assert not repaid(PACK, 10 * REPAID_STEPS)


@pytest.mark.parametrize(
    ("command", "demo"),
    [
        ("check", "cloudy-repair"),
        pytest.param("check", "january-job", marks=pytest.mark.oracle),
        pytest.param("size", "january-job", marks=pytest.mark.oracle),
    ],
)
def test_the_everyday_commands_do_not_import_numba(command: str, demo: str) -> None:
    arguments = ["-X", "importtime", "-m", "energy", command, f"builtin:{demo}", "--json"]
    done = subprocess.run(
        [sys.executable, *arguments],
        cwd=ROOT,
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )
    assert done.returncode in (0, 1), done.stderr  # yes or no
    imported = {line.rsplit("|", 1)[-1].strip() for line in done.stderr.splitlines()}
    assert "numpy" in imported
    assert "numba" not in imported
