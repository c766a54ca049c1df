"""A quick guess at the pack that each weather needs, for the full simulation to decide on.

The store is run over half hours without being cut off at empty; how far it falls says how large it
should have been. Bursts inside the half hours, and what is shed, are left to the simulation.
"""

from dataclasses import dataclass, replace

import numpy as np

from energy.answers.size.designs import Designs
from energy.model import Array
from energy.model.simulate import Case, simulate
from energy.simulation.budget import Budget
from energy.weather.record import DAY_S

BIN_S, MOST_BINS = 1800.0, 400
PASSES = 5
CLOSE = 0.002  # of a pack's size: a nearer guess gains nothing


@dataclass(frozen=True)
class Bins:
    """A case over half hours: means of the sun (after the controller) and of what the bus asks, of
    their squares and product [W, W2], (bins, m); hours (bins,); the share of the time in which
    frost forbids charging and the share of C that the cold locks, (bins, m or 1)."""

    hours: Array
    sun: Array
    load: Array
    sun2: Array
    both: Array
    load2: Array
    frozen: Array
    cold_unavailable: Array


def net_w(case: Case) -> tuple[Array, Array]:
    """Sun (after the controller) and what the bus asks beyond other charging [W], each (n, m).

    What is asked is read off a lossless store too large to matter.
    """
    endless = replace(
        case.battery,
        chemistry="lfp",
        capacity_wh=np.full_like(case.battery.capacity_wh, 1e9),
        charge_max_w=np.full_like(case.battery.capacity_wh, 1e9),
        start_share=0.5,
        resistive_h=0.0,
        coulombic=1.0,
        taper_from=1.0,
        self_discharge_per_h=0.0,
        heated=True,
        kinetic_c=None,
        kinetic_k_per_h=None,
    )
    hours = np.diff(case.edges) / 3600.0
    store = simulate(replace(case, battery=endless)).store_wh
    net = np.diff(store, axis=0) / hours[:, None]
    sun = case.controller_efficiency * case.sun_w()
    return sun, sun - net


def load_and_sun(result: Budget) -> tuple[float, float, int]:
    """What the job asks of the bus and what the sun brings to it [Wh], means over the weathers,
    and how many days long it is (see `days_in`)."""
    sun, load = net_w(result.case)
    hours = np.diff(result.case.edges)[:, None] / 3600.0
    asked_wh, sun_wh = ((values * hours).sum(axis=0).mean() for values in (load, sun))
    return float(asked_wh), float(sun_wh), length_days(result)


def length_days(result: Budget) -> int:
    """How many days a budget's span holds (see `days_in`)."""
    return days_in(
        result.plan.place.longitude_deg, float(result.time_s[0]), float(result.time_s[-1])
    )


def days_in(longitude_deg: float, start_s: float, end_s: float) -> int:
    """How many days of work or nights out lie between two moments [UTC s]: noons or midnights by
    the sun, whichever are more, at least 1.

    >>> days_in(0.0, 7 * 3600.0, 4 * 86400.0 + 18 * 3600.0), days_in(0.0, 0.0, 3600.0)
    (5, 1)
    """
    ahead_s = longitude_deg / 360.0 * DAY_S
    first, last = ((t + ahead_s) / DAY_S for t in (start_s, end_s))
    passed = (int(np.floor(last - at) - np.ceil(first - at)) + 1 for at in (0.0, 0.5))
    return max(1, *passed)


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


def needed_wh(of: Designs, group: int, panel_w: Array) -> Array:
    """The smallest label [Wh] that each weather seems to need at each panel size, (p, m).

    Infinite where no pack seems to be enough. Found in 1/C, in which the lowest charge falls nearly
    in a straight line from what an endless pack would keep.
    """
    case = of.bases[group].case
    bins, battery = bins_of(case), case.battery
    every = np.arange(bins.sun.shape[1])
    whole = max(float(case.solar_w.sum()), 1e-9)
    sun = [
        of.sun_w(of.bases[group], np.full(every.size, watts), every).sum() / whole
        for watts in panel_w
    ]
    share = np.array(sun)  # of the base panels' light, after the cable
    most_sun = of.limits_w(panel_w)[:, None] * case.controller_efficiency
    endless = battery.start_share - bins.cold_unavailable.max(axis=0)
    keeps = np.broadcast_to(
        endless - of.plan.pack.reserve_percent / 100.0, (panel_w.size, bins.sun.shape[1])
    )
    falls = np.maximum(bins.load - bins.sun * share.mean(), 0.0)
    most = (falls * bins.hours[:, None]).sum(axis=0)
    inverse = np.broadcast_to(0.5 / np.maximum(most, 1.0), keeps.shape).copy()
    before, margin_before = np.zeros_like(inverse), keeps
    for _ in range(PASSES):
        margin = _margin(of, group, bins, share[:, None], most_sun, 1.0 / inverse)
        with np.errstate(divide="ignore", invalid="ignore"):
            step = margin * (inverse - before) / (margin_before - margin)
        step = np.where(np.isfinite(step), step, inverse)
        step = np.clip(step, -0.75 * inverse, 3.0 * inverse)
        before, margin_before, inverse = inverse, margin, inverse + step
        if (np.abs(step) < CLOSE * inverse).all():
            break
    return np.where(keeps > 0.0, 1.0 / inverse, np.inf)


def _margin(
    of: Designs, group: int, bins: Bins, share: Array, most_sun: Array, label_wh: Array
) -> Array:
    """How far the lowest charge stays above the reserve [share of C], (p, m).

    share (p, 1) of the base panels' light; most_sun (p, 1) comes out of the controller at most [W];
    label_wh (p, m).
    """
    battery = of.bases[group].case.battery
    capacity = label_wh * (battery.capacity_wh / of.bases[group].label_wh)
    reserve = of.plan.pack.reserve_percent / 100.0
    charge_max_w = of.charge_max_w(label_wh)
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
