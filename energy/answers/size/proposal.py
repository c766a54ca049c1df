"""A quick guess at the pack that each weather needs, from which the search by simulation starts.

The store is run over half hours without being cut off at empty; how far it falls says how large it
should have been. Bursts inside the half hours, and what is shed, are left to the simulation.
Worth: from the middle of the list instead, `frontier` simulates 1,644 scenarios for 692 on the
January demo, 1.0 s of processor time for 0.4 s; `test_size` holds it against the simulation.
"""

from dataclasses import dataclass, replace

import numpy as np

from energy.answers.size.designs import Designs
from energy.answers.size.load_and_sun import net_w
from energy.model import Array
from energy.model.case import Case

BIN_S, MOST_BINS = 1800.0, 400
PASSES = 5
CLOSE = 0.002  # of a pack's size: a nearer guess gains nothing


@dataclass(frozen=True)
class Bins:
    """A case over half hours: means of the sun (after the controller) and of what the bus asks, of
    their squares and product [W, W2], (bins, m); hours (bins,); the share of the time in which
    frost forbids charging and the share of C that the cold holds back, (bins, m or 1)."""

    hours: Array
    sun: Array
    load: Array
    sun2: Array
    both: Array
    load2: Array
    frozen: Array
    cold_unavailable: Array


def bins_of(case: Case) -> Bins:
    """Put a case into bins."""
    sun, load = net_w(case)
    hours = np.diff(case.edges) / 3600.0
    span_s = case.edges[-1] - case.edges[0]
    each_s = max(BIN_S, span_s / MOST_BINS)
    number = ((case.edges[:-1] - case.edges[0]) / each_s).astype(int)
    first = np.flatnonzero(np.diff(number, prepend=-1))
    total = np.add.reduceat(hours, first)

    def mean(values: Array) -> Array:
        return np.asarray(np.add.reduceat(values * hours[:, None], first, axis=0) / total[:, None])

    return Bins(
        hours=total,
        sun=mean(sun),
        load=mean(load),
        sun2=mean(sun * sun),
        both=mean(sun * load),
        load2=mean(load * load),
        frozen=mean(case.frozen()),
        cold_unavailable=np.maximum.reduceat(case.cold_unavailable(), first, axis=0),
    )


def needed_wh(designs: Designs, group: int, panel_w: Array) -> Array:
    """The smallest label [Wh] that each weather of a group seems to need, (p, m).

    panel_w: panel sizes [W], (p,). Infinite where no pack seems to be enough. Found in 1/C, in
    which the lowest charge falls nearly in a straight line from what an endless pack would keep.
    """
    case = designs.cases[group]
    bins, battery = bins_of(case), case.battery
    scenario = np.arange(bins.sun.shape[1])
    light = max(float(case.solar_w.sum()), 1e-9)
    share = np.array(  # of the base panels' light, after the cable
        [
            designs.solar_w(case, np.full(scenario.size, watts), scenario).sum() / light
            for watts in panel_w
        ]
    )
    most_sun = designs.limits_w(panel_w)[:, None] * case.controller_efficiency
    endless = battery.start_share - bins.cold_unavailable.max(axis=0)
    keeps = np.broadcast_to(
        endless - designs.plan.pack.reserve_percent / 100.0, (panel_w.size, scenario.size)
    )
    falls = np.maximum(bins.load - bins.sun * share.mean(), 0.0)
    most = (falls * bins.hours[:, None]).sum(axis=0)
    inverse = np.broadcast_to(0.5 / np.maximum(most, 1.0), keeps.shape).copy()
    before, margin_before = np.zeros_like(inverse), keeps
    for _ in range(PASSES):
        margin = _margin(designs, case, bins, share[:, None], most_sun, 1.0 / inverse)
        with np.errstate(divide="ignore", invalid="ignore"):
            step = margin * (inverse - before) / (margin_before - margin)
        step = np.where(np.isfinite(step), step, inverse)
        step = np.clip(step, -0.75 * inverse, 3.0 * inverse)
        before, margin_before, inverse = inverse, margin, inverse + step
        if (np.abs(step) < CLOSE * inverse).all():
            break
    return np.where(keeps > 0.0, 1.0 / inverse, np.inf)


def _margin(
    designs: Designs, case: Case, bins: Bins, share: Array, most_sun: Array, label_wh: Array
) -> Array:
    """How far the lowest charge stays above the reserve [share of C], (p, m).

    share (p, 1) of the base panels' light; most_sun (p, 1) comes out of the controller at most [W];
    label_wh (p, m).
    """
    battery = case.battery
    capacity = label_wh * (battery.capacity_wh / designs.label_wh)
    reserve = designs.plan.pack.reserve_percent / 100.0
    charge_max_w = designs.charge_max_w(label_wh)
    ceiling = replace(battery, capacity_wh=capacity, charge_max_w=charge_max_w).charge_ceiling
    taper = ceiling / (capacity * max(1.0 - battery.taper_from, 1e-6))
    loss = battery.resistive_h / capacity
    well = battery.kinetic_c if battery.kinetic_c is not None else 1.0
    exchange = battery.kinetic_k_per_h or 0.0
    store, tilt = capacity * battery.start_share, np.zeros_like(capacity)
    lowest = battery.start_share - bins.cold_unavailable[0] - reserve + np.zeros_like(capacity)
    for i, hours in enumerate(bins.hours.tolist()):
        net = np.minimum(share * bins.sun[i], most_sun) - bins.load[i]
        squares = share * (share * bins.sun2[i] - 2.0 * bins.both[i]) + bins.load2[i]
        rate = net - loss * np.maximum(squares, 0.0)
        charging = np.minimum(rate * battery.coulombic, ceiling) * (1.0 - bins.frozen[i])
        rate = np.where(rate > 0.0, charging, rate) - battery.self_discharge_per_h * store
        room = capacity - (capacity - store) * np.exp(-taper * hours)
        after = np.minimum(store + rate * hours, np.maximum(room, store))
        if exchange:
            relax = np.exp(-exchange * hours)
            flow = (after - store) / hours
            tilt = tilt * relax + (1.0 - well) * flow * (1.0 - relax) / exchange
            # charging never overfills the available well
            tilt = np.minimum(tilt, well * (capacity - after))
            reach = (tilt + well * after) / capacity - bins.cold_unavailable[i]
            np.minimum(lowest, reach, out=lowest)
        store = after
        np.minimum(lowest, store / capacity - bins.cold_unavailable[i] - reserve, out=lowest)
    return np.asarray(lowest)
