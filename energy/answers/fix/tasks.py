"""Changes to how things are done: when flexible tasks run, which outlet charges.

What is left out is in `leaving`, changes to the kit are in `kit`.
"""

import math

from energy.answers.fix.ladder import Change, Ladder
from energy.plan.words import and_list
from energy.simulation.budget import Budget
from energy.simulation.demand import ranked


def nearer_noon(result: Budget) -> Ladder | None:
    """Flexible tasks one after another around the sun's noon, each inside its own window."""
    movable: list[tuple[int, float, float, float]] = []
    for k in ranked(result.plan):
        task = result.plan.task[k]
        mine = result.bursts_by_task.get(k, [])
        window = (
            result.calendar.window(task.between, result.local(mine[0].start_s).date())
            if mine
            else None
        )
        if not task.flexible or window is None or task.between is None:
            continue
        per_day = [burst for burst in mine if burst.window == mine[0].window]
        long = sum(burst.end_s - burst.start_s for burst in per_day)
        long += (task.pause_s or 0.0) * ((task.repeats or 1) - 1)
        opens = max(window[0], float(result.time_s[0]))
        if long <= window[1] - opens:
            movable.append((k, long, opens, window[1]))
    if not movable:
        return None
    rise, fall = result.calendar.sun_times(result.local(movable[0][2]).date())
    begins = (rise + fall - sum(long for _, long, _, _ in movable)) / 2.0
    change: Change = {}
    for k, long, opens, closes in movable:
        start = min(max(begins, opens), closes - long)
        at = result.local(math.floor(start / 300.0) * 300.0)
        if at.timestamp() < opens:
            at = result.local(math.ceil(start / 60.0) * 60.0)
        change |= {f"task.{k + 1}.at": f"{at:%H:%M}", f"task.{k + 1}.between": None}
        begins = start + long
    names = ", ".join(
        f'"{result.plan.task[k].name}" at {change[f"task.{k + 1}.at"]}' for k, *_ in movable
    )
    return Ladder("move-flexible", True, lambda _: change, lambda _: f"Move nearer noon: {names}.")


def past_the_inverter(result: Budget) -> Ladder | None:
    """What is charged on the mains outlet, charged at 12 V instead."""
    rated = result.plan.pack.dc12.rated_w
    tasks = [
        k
        for k, task in enumerate(result.plan.task)
        if task.kind == "charging" and task.supply == "ac" and (task.power_w or 0.0) <= rated
    ]
    if not tasks:
        return None
    names = and_list([f'"{result.plan.task[k].name}"' for k in tasks])
    return Ladder(
        kind="charge-past-the-inverter",
        free=False,
        change=lambda _: {f"task.{k + 1}.supply": "dc12" for k in tasks},
        words=lambda _: f"Do {names} at the 12 V outlet, with a 12 V charger for it.",
    )
