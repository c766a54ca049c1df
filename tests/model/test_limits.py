"""Which bursts the limits turn away, and what finding that costs, counted in segments looked at."""

from types import SimpleNamespace

import numpy as np
import pytest

from energy.model.demand import Burst, Step
from energy.model.electronics import inverter_curve
from energy.model.limits import Limits, overloads

COOLER = SimpleNamespace(
    supply="ac", kind="steady", power_factor=1.0, start_w=900.0, start_s=0.2, working_w=900.0
)


def limits(on="with-tasks"):
    outlets = {"dc12": 120.0, "usb": 100.0}, {"dc12": 0.95, "usb": 0.9}
    return Limits(inverter_curve(1000.0, 8.0, 90.0), 2000.0, 1.0, on, *outlets, 3.0, 1e4, 1e4)


def starts(count, task=0):
    """A start an hour, each of a minute, a day's in one window."""
    return [
        Burst(task, k // 24, (Step(3600.0 * k, 3600.0 * k + 60.0, 900.0, 900.0, starts=True),))
        for k in range(count)
    ]


def edges_of(bursts):
    return np.unique([t for burst in bursts for t in (burst.start_s, burst.end_s)])


@pytest.mark.parametrize("on", ["with-tasks", "only-in-use", "always"])
def test_turning_many_away_looks_at_each_segment_a_few_times(monkeypatch, on):
    sizes, bincount = [], np.bincount

    def counted(*arguments, **keys):
        sums = bincount(*arguments, **keys)
        sizes.append(sums.size)
        return sums

    looked_at = []
    for count in (400, 800):
        bursts = starts(count) + starts(count, task=1)
        with monkeypatch.context() as patch:
            patch.setattr(np, "bincount", counted)
            turned_away = overloads(edges_of(bursts), bursts, [COOLER] * 2, [0, 1], limits(on))
        assert [o.burst for o in turned_away] == bursts[count:]
        looked_at.append(sum(sizes))
        sizes.clear()
    assert looked_at[1] < 2.2 * looked_at[0]


def test_what_is_turned_away_leaves_nothing_behind():
    """Tasks ranked below one that is turned away fare as if that were not there."""
    bursts, small = starts(30), SimpleNamespace(**vars(COOLER) | {"working_w": 90.0})
    beside = [Burst(2, 0, (Step(b.start_s, b.end_s, 90.0, 90.0),)) for b in bursts]
    loads = [COOLER, SimpleNamespace(**vars(COOLER)), small]
    with_it = overloads(
        edges_of(bursts), [*bursts, *starts(30, task=1), *beside], loads, [0, 1, 2], limits()
    )
    assert [o.burst.task for o in with_it] == [1] * 30
