"""The rough pass is close to the simulation, and hardly ever darker than it."""

from functools import cache

import numpy as np
import pytest

from energy.model.rough import rough
from energy.model.simulate import simulate
from energy.plan import Plan
from energy.simulation.budget import budget, changed
from energy.simulation.success import lowest_point


@cache
def demo(name):
    return budget(Plan.read(f"builtin:{name}"))


def lowest(case, simulated):
    return lowest_point(case, simulated)[1]


@pytest.mark.parametrize("chemistry", ["lfp", "agm"])
@pytest.mark.parametrize("name", ["cloudy-repair", "two-night-trip", "january-job"])
def test_each_weather_s_lowest_charge_is_seen_within_two_percent(name, chemistry):
    result = demo(name)
    for times in (1.0, 1.5, 3.0):
        capacity_wh = times * result.plan.pack.capacity_wh
        change = {"pack.capacity_wh": capacity_wh, "pack.chemistry": chemistry}
        case = changed(result, change).case
        seen, true = lowest(case, rough(case)), lowest(case, simulate(case, books=False))
        if chemistry == "lfp":  # it goes on below nothing
            seen = np.maximum(seen, min(true.min(), 0.0))
        assert np.abs(seen - true).max() < 2.0, (name, times)
        assert np.median(np.abs(seen - true)) < 0.5, (name, times)
        assert (true - seen).max() < 0.3, (name, times)  # hardly ever darker than it is


@pytest.mark.parametrize("name", ["two-night-trip", "january-job"])
def test_what_an_empty_lithium_pack_lacks_is_what_would_have_lasted(name):
    result = changed(demo(name), {"pack.capacity_wh": 0.7 * demo(name).plan.pack.capacity_wh})
    pack, above_percent = result.plan.pack, lowest(result.case, rough(result.case))
    deep = np.flatnonzero(above_percent < -10.0)
    assert deep.size >= 3
    for scenario in deep[:: deep.size // 3]:
        for share, runs_short in ((0.95, True), (1.1, False)):
            more_wh = -share * above_percent[scenario] / 100.0 * pack.capacity_wh
            capacity_wh = pack.capacity_wh + more_wh
            stored_wh = pack.capacity_wh * pack.start_percent / 100.0 + more_wh
            start_percent = min(100.0 * stored_wh / capacity_wh, 100.0)
            larger = {"pack.capacity_wh": capacity_wh, "pack.start_percent": start_percent}
            case = changed(result, larger).case.scenarios(slice(scenario, scenario + 1))
            assert simulate(case, books=False).ran_short[0] == runs_short


def test_some_weathers_alone_go_as_among_all_and_the_others_stay_full():
    case, some = demo("two-night-trip").case, np.array([3, 17, 30])
    every, few = rough(case), rough(case, some)
    assert few.store_wh[:, some] == pytest.approx(every.store_wh[:, some], rel=0.02)
    others = np.setdiff1d(np.arange(case.factor.shape[1]), some)
    assert (few.store_wh[:, others] == case.battery.capacity_wh[others]).all()
    assert not few.ran_short[others].any()


def test_what_runs_flat_is_seen_to():
    case = changed(demo("cloudy-repair"), {"pack.start_percent": 2}).case
    assert rough(case).ran_short.all()
    assert simulate(case, books=False).ran_short.all()
