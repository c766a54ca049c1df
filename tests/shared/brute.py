"""A second, slow simulator for the tests: one scenario, one plain step after another, a second
each.

It shares no code with `energy`: windows, limits, sun, inverter and battery are written again from
the rules, as simply as they can be said. It does not know traces, drawn futures or weather files.
"""

from dataclasses import dataclass
from math import sqrt

import numpy as np
from brute_days import HOUR_S, Clock, place
from brute_loads import (
    dc_input,
    inverter_curve,
    inverter_input,
    inverter_share,
    ranks,
    seconds_of,
    within_limits,
)
from brute_sun import air_c, most_taken_w, panel_side_w


@dataclass(frozen=True)
class BruteRun:
    """What came out: charge at every second, energy in Wh, lists by task in the plan's order."""

    time_s: np.ndarray  # UTC, shape (n + 1,)
    charge_percent: np.ndarray  # shape (n + 1,)
    asked_wh: list  # refused bursts included
    delivered_wh: list
    unmet_wh: list
    solar_used_wh: float  # behind the controller
    spilled_wh: float  # on the panel side
    charger_wh: float
    idle_wh: float  # pack, inverter and self-discharge
    stored_change_wh: float
    refused: set  # (task index, start in UTC seconds)


def simulate(plan, sky_at=None):
    """Run a plan second by second; `sky_at(utc_seconds)` may give the oktas in the plan's place."""
    clock = Clock(plan)
    bursts = [b for i, task in enumerate(plan.task) for b in place(clock, i, task)]
    ran, refused = within_limits(plan, clock, bursts)
    asked = [seconds_of(plan, clock, bursts, i) for i in range(len(plan.task))]
    wants = [seconds_of(plan, clock, ran, i) for i in range(len(plan.task))]
    air = air_c(plan, clock)
    panel = panel_side_w(plan, clock, air, sky_at)
    charger = sum((c.watts * clock.lit(c.between, c.days) for c in plan.charger), np.zeros(clock.n))
    inverter_on = inverter_share(plan, clock, ran)
    percent, totals, delivered = run_seconds(plan, wants, panel, charger, inverter_on, air)
    asked_wh = [float(a.sum()) / HOUR_S for a in asked]
    return BruteRun(
        time_s=clock.start + np.arange(clock.n + 1.0),
        charge_percent=np.array(percent),
        asked_wh=asked_wh,
        delivered_wh=delivered,
        unmet_wh=[a - d for a, d in zip(asked_wh, delivered, strict=True)],
        refused={(b.task, b.start) for b in refused},
        **totals,
    )


def from_store(watts, h, capacity):
    """x, the rate out of the store, where x - h x^2/C = P at the terminals."""
    if h == 0.0:
        return watts
    return (1.0 - sqrt(1.0 - 4.0 * h * watts / capacity)) * capacity / (2.0 * h)


def into_store(watts, h, capacity):
    """y, the rate behind the resistance, where y + h y^2/C = P at the terminals."""
    if h == 0.0:
        return watts
    return (sqrt(1.0 + 4.0 * h * watts / capacity) - 1.0) * capacity / (2.0 * h)


def most_given(rate, h, capacity):
    """Terminal power of the largest rate out of the store; past C/2h more gives less."""
    rate = min(rate, capacity / (2.0 * h)) if h else rate
    return rate - h * rate**2 / capacity


def well_flow(near, far, c, k_per_h):
    """Kinetic model: what runs from the bound well to the available one, per hour."""
    return k_per_h * (c * far - (1.0 - c) * near)


# Usable share of the label in the cold: common practice; lead-acid 1 over the IEEE 485 factors
# (from memory), carried on to -20 C.
USABLE = {
    "lfp": ((-20.0, -10.0, 0.0, 25.0), (0.60, 0.80, 0.90, 1.0)),
    "nmc": ((-20.0, -10.0, 0.0, 25.0), (0.70, 0.85, 0.92, 1.0)),
    "lead": (
        (-20.0, *((f - 32.0) / 1.8 for f in (25, 30, 40, 45, 50, 55, 60, 70, 77))),
        [1.0 / x for x in (2.1, 1.52, 1.43, 1.30, 1.25, 1.19, 1.15, 1.11, 1.04, 1.00)],
    ),
}


def serve(plan, order, wants, k, have, inverter_w):
    """Share `have` watts out while the pack is empty: its idle, then tasks by rank.

    Gives watts by task, the idle paid, and what was used in all.
    """
    pack, inverter, given = plan.pack, plan.pack.inverter, [0.0] * len(wants)
    left = have - min(have, pack.idle_w)
    idle, mains, paid = have - left, 0.0, False
    for i in order:
        want, supply = wants[i][k], plan.task[i].supply
        if want == 0.0:
            continue
        if supply != "ac":
            efficiency = getattr(pack, supply).efficiency_percent / 100.0
            given[i] = min(want, left * efficiency)
            left -= given[i] / efficiency
            continue
        if not paid:
            if left <= inverter_w:
                continue
            left, idle, paid = left - inverter_w, idle + inverter_w, True
        a, b = inverter_curve(inverter.rated_w, inverter.idle_w, inverter.efficiency_percent)
        b /= inverter.rated_w
        carried = mains * (1.0 + a) + b * mains**2
        most = (left + carried) / (1.0 + a)
        if b > 0.0:
            most = (sqrt((1.0 + a) ** 2 + 4.0 * b * (left + carried)) - (1.0 + a)) / (2.0 * b)
        given[i] = min(want, max(most - mains, 0.0))
        mains += given[i]
        left = max(left + carried - mains * (1.0 + a) - b * mains**2, 0.0)
    if not paid:  # switched on with nothing to feed: last in the row
        idle, left = idle + min(left, inverter_w), left - min(left, inverter_w)
    return given, idle, have - left


def run_seconds(plan, wants, panel, charger, inverter_on, air):
    """The loop. Gives percent at each edge, the totals in Wh, and Wh delivered by task."""
    pack, order = plan.pack, ranks(plan)
    lithium = pack.chemistry in ("lfp", "nmc")
    h, coulombic = pack.resistive_h, pack.coulombic_percent / 100.0
    capacity = pack.capacity_wh * pack.health_percent / 100.0
    c, k_per_h = (1.0, 0.0) if lithium else (pack.kinetic_c, pack.kinetic_k_per_h)
    leak = pack.self_discharge_percent_month / 100.0 / (30.0 * 24.0)  # a share of the store an hour
    taper = pack.taper_from_percent / 100.0
    top_in = into_store(pack.charge_max_w, h, capacity)
    store = capacity * pack.start_percent / 100.0
    near, far = c * store, (1.0 - c) * store  # the available and the bound well

    cell_c = air if pack.temperature is None else np.full(len(air), pack.temperature)
    usable = np.interp(cell_c, *USABLE[pack.chemistry if lithium else "lead"])
    floors = (1.0 - usable) * c * capacity
    if lithium:
        floors[cell_c < pack.discharge_min_c] = np.inf  # however full, it gives nothing
    floors = floors.tolist()
    frozen = (cell_c < 0.0).tolist() if lithium and not pack.heated else [False] * len(air)

    efficiency = plan.pack.solar_input.efficiency_percent / 100.0
    taken = np.minimum(panel, most_taken_w(plan))
    sun, charger = (taken * efficiency).tolist(), charger.tolist()
    idle_inverter = (inverter_on * (pack.inverter.idle_w if pack.inverter else 0.0)).tolist()
    needs = bus_w(plan, wants, inverter_on).tolist()
    served = [float(w.sum()) for w in wants]  # in joules; what is shed is taken off again
    wants = [w.tolist() for w in wants]

    percent = [100.0 * store / capacity]
    sun_used = charger_used = idle = 0.0
    for k in range(len(sun)):
        flow = well_flow(near, far, c, k_per_h)
        offer, need = sun[k] + charger[k], needs[k]
        paid_idle = pack.idle_w + idle_inverter[k]
        rate_out = 0.0  # out of the store, negative into it, in watts
        if offer >= need:
            below = 1.0 - (near + far) / capacity
            y = top_in * (min(1.0, below / (1.0 - taper)) if taper < 1.0 else 1.0)
            y = min(y, max(0.0, (c * capacity - near) * HOUR_S - flow) / coulombic)
            room = 0.0 if frozen[k] else y + h * y * y / capacity
            charge = min(offer - need, room)
            rate_out = -coulombic * into_store(charge, h, capacity)
            used = need + charge
        else:
            most = most_given(max(0.0, (near - floors[k]) * HOUR_S + flow), h, capacity)
            used = need
            if offer + most < need:
                given, paid_idle, used = serve(
                    plan, order, wants, k, offer + most, idle_inverter[k]
                )
                for i, watts in enumerate(given):
                    served[i] -= wants[i][k] - watts
            if used > offer:
                rate_out = from_store(used - offer, h, capacity)
        from_sun = min(sun[k], used)
        sun_used += from_sun
        charger_used += min(charger[k], max(0.0, used - from_sun))
        idle += paid_idle + leak * (near + far)
        near += (flow - rate_out - leak * near) / HOUR_S
        far += (-flow - leak * far) / HOUR_S
        percent.append(100.0 * (near + far) / capacity)
    totals = {
        "solar_used_wh": sun_used / HOUR_S,
        "spilled_wh": float(taken.sum()) / HOUR_S - sun_used / efficiency / HOUR_S,
        "charger_wh": charger_used / HOUR_S,
        "idle_wh": idle / HOUR_S,
        "stored_change_wh": near + far - store,
    }
    return percent, totals, [joules / HOUR_S for joules in served]


def bus_w(plan, wants, inverter_on):
    """What idle draws and all running tasks ask of the bus in each second."""
    need = np.full(len(inverter_on), plan.pack.idle_w)
    mains = np.zeros(len(inverter_on))
    for task, watts in zip(plan.task, wants, strict=True):
        if task.supply == "ac":
            mains = mains + watts
        else:
            need = need + dc_input(plan, task.supply, watts)
    if plan.pack.inverter is None:
        return need
    idle_w = plan.pack.inverter.idle_w
    return need + inverter_input(plan.pack.inverter, mains) - idle_w * (1.0 - inverter_on)
