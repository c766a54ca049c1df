"""Changes to what is done: when flexible tasks run, what is left out, which outlet charges.

Changes to the kit are in `kit`.
"""

import math

from energy.answers.fixing.ladder import Change, Ladder
from energy.budget import Budget
from energy.plan.words import and_list
from energy.scene import ranked

PARTS = 4  # a block of minutes is given up by quarters
SECONDS = {"minutes": 60.0, "hours": 3600.0}


def nearer_noon(b: Budget) -> Ladder | None:
    """Flexible tasks one after another around the sun's noon, each inside its own window."""
    moved: list[tuple[int, float, float, float]] = []
    for k in ranked(b.plan):
        task = b.plan.task[k]
        mine = [burst for burst in b.bursts if burst.task == k]
        window = b.calendar.window(task.between, b.local(mine[0].start_s).date()) if mine else None
        if not task.flexible or window is None or task.between is None:
            continue
        per_day = [burst for burst in mine if burst.window == mine[0].window]
        long = sum(burst.end_s - burst.start_s for burst in per_day)
        long += (task.pause_s or 0.0) * ((task.repeats or 1) - 1)
        opens = max(window[0], float(b.time_s[0]))
        if long <= window[1] - opens:
            moved.append((k, long, opens, window[1]))
    if not moved:
        return None
    rise, fall = b.calendar.sun_times(b.local(moved[0][2]).date())
    begins = (rise + fall - sum(long for _, long, _, _ in moved)) / 2.0
    change: Change = {}
    for k, long, opens, closes in moved:
        start = min(max(begins, opens), closes - long)
        at = b.local(math.floor(start / 300.0) * 300.0)
        if at.timestamp() < opens:
            at = b.local(math.ceil(start / 60.0) * 60.0)
        change |= {f"task.{k + 1}.at": f"{at:%H:%M}", f"task.{k + 1}.between": None}
        begins = start + long
    names = ", ".join(f'"{b.plan.task[k].name}" at {change[f"task.{k + 1}.at"]}' for k, *_ in moved)
    return Ladder(
        "move-flexible", True, 1.0, True, lambda _: change, lambda _: f"Move nearer noon: {names}."
    )


def leave_out(b: Budget) -> Ladder | None:
    """Give up repeats, lowest rank first; what the pack refuses before what it could run."""
    refused = {refusal.burst.task for refusal in b.refusals}
    left = {burst.task for burst in b.bursts}
    tasks = b.plan.task
    order = [k for k in reversed(ranked(b.plan)) if k in left and not tasks[k].must]
    order.sort(key=lambda k: k not in refused)
    units: list[int] = [k for k in order for _ in range(_pieces(b, k))]
    if len(order) == len(tasks):  # a plan without tasks is none
        units.pop()
    if not units:
        return None

    def change(number: float) -> Change:
        found: Change = {}
        for k in order:
            gone = units[: int(number)].count(k)
            if gone:
                found |= _less(b, k, gone)
        return found

    def words(number: float) -> str:
        return left_out_words(b, change(number))

    return Ladder("leave-out", True, float(len(units)), True, change, words)


def left_out_words(b: Budget, change: Change) -> str:
    """What a change leaves out of the plan's tasks."""
    found = []
    for key, value in change.items():
        k = int(key.split(".")[1]) - 1
        task, pieces = b.plan.task[k], _pieces(b, k)
        left = 0 if value is None else value
        if value is not None and not (task.times or task.charges):
            left = round(pieces * value * SECONDS[key.split(".")[2]] / (task.duration_s or 1.0))
        found.append(_left_out(b, k, pieces - left))
    return f"Leave out {and_list(found)}."


def _pieces(b: Budget, k: int) -> int:
    task = b.plan.task[k]
    return task.times or task.charges or (PARTS if task.duration_s else 1)


def _less(b: Budget, k: int, gone: int) -> Change:
    task, key = b.plan.task[k], f"task.{k + 1}"
    if gone >= _pieces(b, k):
        return {key: None}
    if task.times or task.charges:
        return {f"{key}.{'times' if task.times else 'charges'}": _pieces(b, k) - gone}
    unit = "hours" if task.hours is not None else "minutes"
    return {f"{key}.{unit}": getattr(task, unit) * (1.0 - gone / PARTS)}


def _left_out(b: Budget, k: int, gone: int) -> str:
    task, pieces = b.plan.task[k], _pieces(b, k)
    if gone >= pieces:
        return f'"{task.name}"'
    if task.times or task.charges:
        return f'{gone} of {pieces} of "{task.name}"'
    minutes = (task.duration_s or 0.0) / 60.0 * gone / PARTS
    return f'{minutes:.0f} min of "{task.name}"'


def past_the_inverter(b: Budget) -> Ladder | None:
    """What is charged on the mains outlet, charged at 12 V instead."""
    rated = b.plan.pack.dc12.rated_w
    moved = [
        k
        for k, task in enumerate(b.plan.task)
        if task.kind == "charging" and task.supply == "ac" and (task.power_w or 0.0) <= rated
    ]
    if not moved:
        return None
    names = and_list([f'"{b.plan.task[k].name}"' for k in moved])
    return Ladder(
        kind="charge-past-the-inverter",
        free=False,
        most=1.0,
        whole=True,
        change=lambda _: {f"task.{k + 1}.supply": "dc12" for k in moved},
        words=lambda _: f"Do {names} at the 12 V outlet, with a 12 V charger for it.",
    )
