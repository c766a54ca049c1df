"""For the slow simulator: what bursts ask for, the limits they must keep, and the inverter's curve.

Higher ranks are placed first; a burst that does not fit beside them does not run.
"""

from functools import cache

import numpy as np
from brute_days import HOUR_S, charge_s


def joules_by(task, t):
    """Energy a burst has asked for, t seconds (an array) after its start."""
    if task.kind == "steady":
        return task.working_w * t
    if task.kind == "intermittent":
        duty = task.duty_percent / 100.0
        return (duty * task.working_w + (1.0 - duty) * task.idle_w) * t
    if task.kind == "cycling":
        on_s = np.minimum(t, on_phase_s(task))
        return on_s * task.on_w + (t - on_s) * task.off_w
    even_s, fall_s = charging_s(task)
    into = np.clip(t - even_s, 0.0, fall_s)
    fallen = 0.0 if fall_s == 0.0 else task.power_w * (into - into**2 / (2.0 * fall_s))
    return task.power_w * np.minimum(t, even_s) + fallen


def on_phase_s(task):
    return task.duty_percent / 100.0 * task.period_min * 60.0


def charging_s(task):
    """How long a charge runs at full power, and how long it then falls to nothing."""
    even_s = task.taper_from_percent / 100.0 * task.energy_wh / task.power_w * HOUR_S
    return even_s, charge_s(task) - even_s


def working_w(task, t):
    """What the limits count t seconds after a burst's start: a tool under load, not its mean."""
    if task.kind == "cycling":
        return task.on_w if t < on_phase_s(task) else task.off_w
    if task.kind == "charging":
        even_s, fall_s = charging_s(task)
        return task.power_w * (1.0 if t <= even_s else max(0.0, 1.0 - (t - even_s) / fall_s))
    return task.working_w


def seconds_of(plan, clock, bursts, index):
    """Mean watts asked in each second of the span by one task's bursts."""
    watts = np.zeros(clock.n)
    for b in bursts:
        if b.task == index:
            into = np.clip(clock.edges, b.start, b.end) - b.start
            watts += np.diff(joules_by(plan.task[index], into))
    return watts


def ranks(plan):
    """Task indices, the first to be served in front."""
    task = plan.task
    return sorted(range(len(task)), key=lambda i: (not task[i].must, task[i].priority))


def within_limits(plan, clock, bursts):
    """Bursts that run, and those refused for a limit: higher ranks are placed first."""
    ran, refused = [], []
    for i in ranks(plan):
        for burst in sorted((b for b in bursts if b.task == i), key=lambda b: b.start):
            beside = [b for b in ran if b.start < burst.end and b.end > burst.start]
            (ran if fits(plan, clock, burst, beside) else refused).append(burst)
    return ran, refused


def fits(plan, clock, burst, beside):
    """Whether a burst can run beside those already placed: asked whenever one of them begins."""
    first = max(burst.start, clock.start)
    moments = {first, *(b.start for b in beside if first < b.start < min(burst.end, clock.end))}
    together = [burst, *beside]
    return mains_is_on(plan, clock, burst) and all(
        holds(plan, [b for b in together if b.start <= t < b.end], t) for t in moments
    )


def mains_is_on(plan, clock, burst):
    """False for a mains burst without an inverter, or not inside the inverter's own hours."""
    if plan.task[burst.task].supply != "ac":
        return True
    if plan.pack.inverter is None:
        return False
    if isinstance(plan.pack.inverter.on, str):
        return True
    task, end = plan.task[burst.task], burst.end
    if task.kind == "cycling" and task.off_w == 0.0:
        end = min(end, burst.start + on_phase_s(task))  # at rest it needs no inverter
    start, end = max(burst.start, clock.start), min(end, clock.end)
    return any(a <= start and end <= b for a, b in inverter_hours(plan, clock))


def inverter_hours(plan, clock):
    return joined([w for on in plan.pack.inverter.on for w in clock.windows(on)])


def holds(plan, running, t):
    """Whether the outlets and the pack carry these bursts at one moment."""
    pack, inverter = plan.pack, plan.pack.inverter
    loads = [(plan.task[b.task], t - b.start) for b in running]
    watts = {"ac": 0.0, "dc12": 0.0, "usb": 0.0}
    for task, into in loads:
        watts[task.supply] += working_w(task, into)
    if watts["dc12"] > pack.dc12.rated_w or watts["usb"] > pack.usb.rated_w:
        return False
    bus = pack.idle_w + dc_input(plan, "dc12", watts["dc12"]) + dc_input(plan, "usb", watts["usb"])
    mains = [(task, into) for task, into in loads if task.supply == "ac"]
    if mains:
        if sum(working_w(*load) / load[0].power_factor for load in mains) > inverter.rated_w:
            return False
        new = [load for load in mains if load[1] < 1e-3]
        surge = watts["ac"] + sum(task.start_w - working_w(task, into) for task, into in new)
        if new and surge > inverter.surge_w:
            return False
        too_long = any(task.start_s > inverter.surge_s for task, _ in new)
        if surge > inverter.rated_w and too_long:
            return False
        bus += inverter_input(inverter, watts["ac"])
    capacity = pack.capacity_wh * pack.health_percent / 100.0
    most = capacity / (4.0 * pack.resistive_h) if pack.resistive_h else float("inf")
    return bus <= min(pack.discharge_max_w, most)


def joined(intervals):
    """Overlapping and touching intervals as one."""
    whole = []
    for start, end in sorted(i for i in intervals if i[1] > i[0]):
        if whole and start <= whole[-1][1] + 1e-6:
            whole[-1] = whole[-1][0], max(whole[-1][1], end)
        else:
            whole.append((start, end))
    return whole


def inverter_share(plan, clock, ran):
    """The share of each second in which the inverter is switched on."""
    inverter = plan.pack.inverter
    mains = [b for b in ran if plan.task[b.task].supply == "ac"]
    if inverter is None:
        hours = []
    elif inverter.on == "always":
        hours = [(clock.start, clock.end)]
    elif inverter.on == "only-in-use":
        hours = [(b.start, b.end) for b in mains]
    elif inverter.on == "with-tasks":
        groups = {}
        for b in mains:
            groups.setdefault((b.task, b.window), []).append(b)
        hours = [(min(b.start for b in g), max(b.end for b in g)) for g in groups.values()]
    else:
        hours = inverter_hours(plan, clock)
    on = np.zeros(clock.n)
    for start, end in joined(hours):
        on += np.diff(np.clip(clock.edges, start, end))
    return on


def dc_input(plan, supply, watts):
    return watts / (getattr(plan.pack, supply).efficiency_percent / 100.0)


@cache
def inverter_curve(rated_w, idle_w, efficiency_percent):
    """a and b of: input = idle + P (1 + a) + b P^2 / rated, best at half of rated."""
    loss = 100.0 / efficiency_percent - 1.0
    if idle_w == 0.0:
        return loss, 0.0
    b = 4.0 * idle_w / rated_w
    if loss - b >= 0.0:
        return loss - b, b
    return 0.0, (loss / 2.0) ** 2 * rated_w / idle_w


def inverter_input(inverter, watts):
    a, b = inverter_curve(inverter.rated_w, inverter.idle_w, inverter.efficiency_percent)
    return inverter.idle_w + watts * (1.0 + a) + b * watts**2 / inverter.rated_w
