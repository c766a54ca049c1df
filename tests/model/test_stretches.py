"""Days side by side: the same as one day after another, for any pack."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from many_packs import by_scenarios, random_case

from energy.model import Array, stretches
from energy.model.case import Case
from energy.model.simulate import simulate
from energy.model.stretches import Stretches, averaged, rows_of, sun_of

LEAD: dict[str, Any] = {"chemistry": "agm", "kinetic_c": 0.45, "kinetic_k_per_h": 1.05}
PACKS: dict[str, dict[str, Any]] = {
    "lithium": {},
    "lithium without a leak": {"self_discharge_per_h": 0.0},
    "nickel cells, half full at the start": {"chemistry": "nmc", "start_share": 0.5},
    "too cold to give at times": {"discharge_min_c": -6.0},
    "lead-acid": LEAD,
    "lead-acid, a third full at the start": {**LEAD, "start_share": 0.3},
    "lead-acid with a strong leak": {**LEAD, "self_discharge_per_h": 2e-3},
}
DAY_EDGES = np.array([0, 11, 40, 41, 70, 100, 120, 128, 150, 171, 200, 240])  # of any length
SHARE, LIMIT_W = np.array([0.0, 0.4, 0.4, 1.0, 1.0, 1.5]), 350.0
SIZES_WH = np.array([900.0, 60.0, 700.0, 300.0, 4000.0, 1500.0])


def packs_of(case: Case) -> Any:
    """Six packs in each of the three weathers, pack by pack."""
    capacity = np.repeat(SIZES_WH, 3)
    return replace(case.battery, capacity_wh=capacity, charge_max_w=0.4 * capacity)


def stretches_of(case: Case, way: Array | None = None) -> Stretches:
    """The packs and the days in stretches."""
    shares, size = np.unique(SHARE, return_inverse=True)
    sun = [sun_of(replace(case, solar_w=np.minimum(case.solar_w * x, LIMIT_W))) for x in shares]
    sun_w = np.stack(sun)
    return Stretches(rows_of(case, DAY_EDGES), sun_w, size, packs_of(case), way=way)


def one_after_another(case: Case) -> tuple[Array, Array, Array]:
    """Ran short, lowest and unmet of each day by the simulation, (days, packs, weathers)."""
    order = np.arange(18).reshape(3, 6).T.ravel()  # `by_scenarios` goes weather by weather
    packs = packs_of(case)
    whole = by_scenarios(case, packs, SHARE, LIMIT_W).scenarios(order)
    whole, state, days = replace(whole, battery=packs), None, []
    for first, last in zip(DAY_EDGES[:-1].tolist(), DAY_EDGES[1:].tolist(), strict=True):
        day = whole.between(first, last)
        run = simulate(day, state=state)
        state = run.end
        charge = np.minimum(run.store_wh[1:], run.store_wh[:-1]) / packs.capacity_wh
        lowest = (charge - day.cold_unavailable()).min(axis=0)
        days.append((run.ran_short, lowest, run.unmet_wh.sum(axis=0)))
    several = zip(*days, strict=True)
    short, lowest, unmet_wh = (np.stack(each).reshape(-1, 6, 3) for each in several)
    return short, lowest, unmet_wh


@pytest.mark.parametrize("name", PACKS)
def test_side_by_side_is_the_same_as_one_after_another(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(stretches, "STRETCH_DAYS", 2)
    monkeypatch.setattr(stretches, "COLUMNS", 100)
    for seed in range(3):
        case = random_case(seed, PACKS[name])
        found, (short, lowest, unmet_wh) = stretches_of(case).run(True), one_after_another(case)
        assert found.ran_short.tolist() == short.tolist()
        assert found.lowest == pytest.approx(lowest, abs=1e-9)
        assert found.unmet_wh == pytest.approx(unmet_wh, abs=1e-6)
        assert 0.0 < short.mean() < 1.0  # or it would say little


@pytest.mark.parametrize("name", ["lithium", "lead-acid"])
def test_a_guess_at_the_way_leads_to_the_same(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stretches, "STRETCH_DAYS", 2)
    case, guess = random_case(2, PACKS[name]), np.random.default_rng(0).uniform(size=(2, 11, 18))
    guess[1] *= -0.2  # the wells' imbalance
    plain, guided = stretches_of(case), stretches_of(case, guess)
    lowest = plain.run(False).lowest
    assert guided.run(False).lowest == pytest.approx(lowest, abs=1e-9)
    assert guided.way == pytest.approx(plain.way, abs=1e-9)


def test_a_change_goes_in_few_turns_through_days_that_forget_nothing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(stretches, "STRETCH_DAYS", 1)
    monkeypatch.setattr("test_stretches.SIZES_WH", np.full(6, 1e5))  # never full, never empty
    turns: list[int] = []
    stretches_of(random_case(0, {"start_share": 0.5})).run(False, turns.append)
    assert turns[-1] == 11  # days, each a stretch
    assert len(turns) <= 4


def test_what_is_not_served_may_be_left_out() -> None:
    found = stretches_of(random_case(0, {})).run(False)
    assert found.ran_short.any()
    assert not found.unmet_wh.any()


def test_averages_keep_the_energy_of_each_day() -> None:
    case = random_case(1, {})
    rows, sun_w = rows_of(case, DAY_EDGES), sun_of(case)
    cells, to_cells = averaged(rows, 2.0)
    assert cells.hours.size < rows.hours.size
    assert cells.hours[:-1].max() <= 2.0 + 1.0  # a row more at most
    for fine, coarse in (
        (rows.hours, cells.hours),
        (rows.hours * rows.bus_w[:, 1], cells.hours * cells.bus_w[:, 1]),
        (rows.hours * sun_w[rows.solar_row, 2], cells.hours * to_cells(sun_w)[:, 2]),
    ):
        by_day = np.add.reduceat(fine, rows.first_row[:-1])
        assert np.add.reduceat(coarse, cells.first_row[:-1]) == pytest.approx(by_day)


def test_an_edge_more_changes_nothing_that_is_simulated() -> None:
    case = random_case(1, PACKS["lithium"])
    whole = by_scenarios(case, packs_of(case), SHARE, LIMIT_W)
    at_s = float(case.edges[20:22].mean())
    cut, plain = simulate(whole.split(at_s)), simulate(whole)
    assert whole.split(at_s).edges[21] == at_s
    assert np.delete(cut.store_wh, 21, axis=0) == pytest.approx(plain.store_wh, abs=1e-6)
    assert cut.unmet_wh == pytest.approx(plain.unmet_wh, rel=1e-6)
    assert whole.split(float(case.edges[3])) is whole


@pytest.mark.parametrize(("name", "rel"), [("lithium", 1e-6), ("lead-acid", 1e-4)])
def test_segments_in_which_nothing_changes_are_as_well_one(name: str, rel: float) -> None:
    case = random_case(1, PACKS[name])
    packs = replace(packs_of(case), self_discharge_per_h=0.0)  # lead-acid leaks in two halves
    whole = by_scenarios(case, packs, SHARE, LIMIT_W)
    cut = whole
    for at_s in (0.3 * whole.edges[:-1] + 0.7 * whole.edges[1:]).tolist():
        cut = cut.split(at_s)
    kept = cut.edges[[1, 7, 40]]
    joined, plain = cut.joined(kept), simulate(whole)
    assert cut.edges.size > 470
    assert joined.edges.tolist() == np.union1d(whole.edges, kept).tolist()
    went = simulate(joined)
    shared = np.isin(joined.edges, whole.edges)
    assert went.store_wh[shared] == pytest.approx(plain.store_wh, abs=1e-6)
    assert went.unmet_wh == pytest.approx(plain.unmet_wh, rel=rel)
