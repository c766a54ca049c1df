"""The kinds of change that can turn a no into a yes, easiest first.

Each is a ladder: how far it can go, what it changes in the plan at a size, and in words. Which size
is enough is found in `fixes`.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import numpy as np

from energy.answers.poses import search
from energy.budget import Budget
from energy.plan.kit import compass_word
from energy.scene import ranked

Change = dict[str, Any]

SOURCE_W = 100.0  # what a vehicle's 12 V socket gives for hours (common practice, no source)
SOURCE_MOST_MIN = 480
PARTS = 4  # a block of minutes is given up by quarters
_SECONDS = {"minutes": 60.0, "hours": 3600.0}
LATEST_H = 21  # nobody tends a charger later than this
MOST_PANEL_W, MOST_PACK = 3000.0, 8.0  # more is another plan: watts added, times the capacity
KINDS = {
    "inverter-off-between-tasks": "switching the inverter off between tasks",
    "move-flexible": "moving flexible tasks nearer noon",
    "better-pose": "standing the panels the best way",
    "re-aim": "turning the panels at the sun up to three times a day",
    "fuller-start": "starting full",
    "leave-out": "leaving out all that need not run",
    "charge-past-the-inverter": "charging past the inverter",
    "another-source": f"up to {SOURCE_MOST_MIN // 60} hours of {SOURCE_W:.0f} W from elsewhere",
    "stronger-inverter": "a stronger inverter",
    "more-panel": f"up to {MOST_PANEL_W:.0f} W more panel",
    "more-pack": f"up to {MOST_PACK:.0f} times the pack",
}


@dataclass(frozen=True)
class Ladder:
    """A kind of change: what it does at a size (whole numbers, or any), and in words."""

    kind: str
    free: bool
    most: float
    whole: bool
    change: Callable[[float], Change]
    words: Callable[[float], str]


def ladders(b: Budget) -> list[Ladder]:
    """The kinds of change that this plan allows, easiest first.

    >>> from energy.budget import budget
    >>> from energy.plan import Plan
    >>> [kind.kind for kind in ladders(budget(Plan.read("builtin:cloudy-repair")))][:2]
    ['inverter-off-between-tasks', 'move-flexible']
    """
    kinds = (
        _inverter_off,
        _nearer_noon,
        _better_pose,
        _re_aim,
        _fuller_start,
        _leave_out,
        _past_the_inverter,
        _another_source,
        _stronger_inverter,
        _more_panel,
        _more_pack,
    )
    return [ladder for kind in kinds if (ladder := kind(b)) is not None]


def _inverter_off(b: Budget) -> Ladder | None:
    inverter = b.plan.pack.inverter
    if inverter is None or inverter.on == "only-in-use":
        return None
    return Ladder(
        kind="inverter-off-between-tasks",
        free=True,
        most=1.0,
        whole=True,
        change=lambda _: {"pack.inverter.on": "only-in-use"},
        words=lambda _: "Switch the inverter off whenever nothing runs on it.",
    )


def _nearer_noon(b: Budget) -> Ladder | None:
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


def _better_pose(b: Budget) -> Ladder | None:
    """The panels that stand still, set up the best way for the days and the weather."""
    panels = b.plan.panel
    if not panels or any(panel.aim in ("re-aimed", "follow") for panel in panels):
        return None
    sought = search(b)
    tilt, azimuth = sought.yields().best()
    facing = (
        "" if sought.swings else f", facing {azimuth:.0f} degrees true ({compass_word(azimuth)})"
    )
    name = "the panels" if len(sought.aimed) > 1 else f'"{panels[sought.aimed[0]].name}"'
    return Ladder(
        kind="better-pose",
        free=True,
        most=1.0,
        whole=True,
        change=lambda _: sought.change(sought.standing, (tilt, azimuth)),
        words=lambda _: f"Prop {name} up at {tilt:.0f} degrees{facing}: energy aim says how.",
    )


def _re_aim(b: Budget) -> Ladder | None:
    """Turn what stands still at the sun, up to three times a day."""
    panels = [k for k, panel in enumerate(b.plan.panel) if panel.aim in ("fixed", "flat")]
    if not panels:
        return None
    rise, fall = b.calendar.sun_times(b.calendar.first)
    out = b.plan.panel[panels[0]].out_between
    window = b.calendar.window(out, b.calendar.first) if out is not None else None
    if window is not None:
        rise, fall = max(rise, window[0]), min(fall, window[1])
    if fall - rise < 2.0 * 3600.0:
        return None

    def times(number: float) -> list[str]:
        part = (fall - rise) / number
        moments = (rise + (k + 0.3) * part for k in range(int(number)))
        return [f"{b.local(round(t / 1800.0) * 1800.0):%H:%M}" for t in moments]

    def change(number: float) -> Change:
        found: Change = {}
        for k in panels:
            found |= {
                f"panel.{k + 1}.aim": "re-aimed",
                f"panel.{k + 1}.re_aim_at": times(number),
            }
        return found

    name = "the panels" if len(panels) > 1 else f'"{b.plan.panel[panels[0]].name}"'
    return Ladder(
        kind="re-aim",
        free=True,
        most=3.0,
        whole=True,
        change=change,
        words=lambda n: f"Turn {name} square to the sun at {_and(times(n))}, each day.",
    )


def _fuller_start(b: Budget) -> Ladder | None:
    start = b.plan.pack.start_percent
    if b.now is not None or start >= 100.0:
        return None
    return Ladder(
        kind="fuller-start",
        free=True,
        most=100.0 - start,
        whole=False,
        change=lambda more: {"pack.start_percent": round(min(start + more, 100.0), 4)},
        words=lambda more: f"Start at {math.ceil(start + more)} % instead of {start:.0f} %.",
    )


def _leave_out(b: Budget) -> Ladder | None:
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
            left = round(pieces * value * _SECONDS[key.split(".")[2]] / (task.duration_s or 1.0))
        found.append(_left_out(b, k, pieces - left))
    return f"Leave out {_and(found)}."


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


def _past_the_inverter(b: Budget) -> Ladder | None:
    """What is charged on the mains outlet, charged at 12 V instead."""
    rated = b.plan.pack.dc12.rated_w
    moved = [
        k
        for k, task in enumerate(b.plan.task)
        if task.kind == "charging" and task.supply == "ac" and (task.power_w or 0.0) <= rated
    ]
    if not moved:
        return None
    names = _and([f'"{b.plan.task[k].name}"' for k in moved])
    return Ladder(
        kind="charge-past-the-inverter",
        free=False,
        most=1.0,
        whole=True,
        change=lambda _: {f"task.{k + 1}.supply": "dc12" for k in moved},
        words=lambda _: f"Do {names} at the 12 V outlet, with a 12 V charger for it.",
    )


def _another_source(b: Budget) -> Ladder | None:
    """Minutes of 100 W that end when the failing weathers fall to their lowest, or that evening."""
    failing = np.flatnonzero(~b.success)
    if failing.size == 0:
        return None
    ends = b.local(min(b.lowest(int(lane)).at_s for lane in failing))
    if ends.hour < LATEST_H - 12:
        ends -= timedelta(days=1)
        ends = ends.replace(hour=LATEST_H, minute=0)
    ends = min(ends.replace(second=0, microsecond=0), ends.replace(hour=LATEST_H, minute=0))
    most = min((ends.timestamp() - float(b.time_s[0])) // 60.0, float(SOURCE_MOST_MIN))
    day = (ends.date() - b.calendar.first).days + 1
    if most < 1.0 or day < 1:
        return None
    others = b.plan.source.get("charger", [])

    def starts(minutes: float) -> str:
        return f"{b.local(ends.timestamp() - 60.0 * minutes):%H:%M}"

    def change(minutes: float) -> Change:
        source = {
            "name": "another source",
            "watts": SOURCE_W,
            "between": [starts(minutes), f"{ends:%H:%M}"],
            "days": [day],
        }
        return {"charger": [*others, source]}

    return Ladder(
        kind="another-source",
        free=False,
        most=most,
        whole=True,
        change=change,
        words=lambda minutes: (
            f"{SOURCE_W:.0f} W from another source, such as a vehicle's socket,"
            f" for {_long(minutes)}, from {starts(minutes)} to {ends:%H:%M} on day {day}."
        ),
    )


def _stronger_inverter(b: Budget) -> Ladder | None:
    """One that bears what was turned away: its rating and its surge, in whole hundreds."""
    inverter = b.plan.pack.inverter
    turned_away = [r for r in b.refusals if r.limit in ("inverter", "surge")]
    if inverter is None or not turned_away:
        return None
    rated, surge = inverter.rated_w, inverter.surge_w
    for refusal in turned_away:  # of its limits a refusal names the first
        task = b.plan.task[refusal.burst.task]
        runs = (task.working_w or task.on_w or task.power_w or 0.0) / task.power_factor
        asked = {refusal.limit: refusal.asked}
        rated = max(rated, runs, asked.get("inverter", 0.0))
        surge = max(surge, task.start_w, asked.get("surge", 0.0))
    rated, surge = (
        old if new <= old else math.ceil(new / 100.0) * 100.0
        for old, new in ((inverter.rated_w, rated), (inverter.surge_w, surge))
    )
    return Ladder(
        kind="stronger-inverter",
        free=False,
        most=1.0,
        whole=True,
        change=lambda _: {"pack.inverter.rated_w": rated, "pack.inverter.surge_w": surge},
        words=lambda _: f"An inverter of {rated:.0f} W that surges to {surge:.0f} W.",
    )


def _more_panel(b: Budget) -> Ladder:
    panels = b.plan.panel
    if not panels:
        return Ladder(
            kind="more-panel",
            free=False,
            most=MOST_PANEL_W,
            whole=False,
            change=lambda more: {"panel": [{"rated_w": more}]},
            words=lambda more: f"A panel of {math.ceil(more)} W.",
        )
    largest = max(range(len(panels)), key=lambda k: panels[k].rated_w * panels[k].count)
    old, count = panels[largest].rated_w, panels[largest].count
    total = sum(panel.rated_w * panel.count for panel in panels)
    return Ladder(
        kind="more-panel",
        free=False,
        most=MOST_PANEL_W,
        whole=False,
        change=lambda more: {f"panel.{largest + 1}.rated_w": round(old + more / count, 4)},
        words=lambda more: (
            f"{math.ceil(more)} W more panel, set up the same: {math.ceil(total + more)} W in all."
        ),
    )


def _more_pack(b: Budget) -> Ladder:
    old = b.plan.pack.capacity_wh
    return Ladder(
        kind="more-pack",
        free=False,
        most=(MOST_PACK - 1.0) * old,
        whole=False,
        change=lambda more: {"pack.capacity_wh": round(old + more, 4)},
        words=lambda more: f"{math.ceil(more)} Wh more pack: {math.ceil(old + more)} Wh in all.",
    )


def _long(minutes: float) -> str:
    """A time as people say it.

    >>> _long(47.0), _long(261.0), _long(240.0)
    ('47 min', '4 h 21 min', '4 h')
    """
    hours, rest = divmod(round(minutes), 60)
    if not rest and hours:
        return f"{hours} h"
    return f"{hours} h {rest} min" if hours else f"{rest} min"


def _and(words: list[str]) -> str:
    """Words in a row.

    >>> _and(["a", "b", "c"])
    'a, b and c'
    """
    return " and ".join(filter(None, [", ".join(words[:-1]), words[-1]])) if words else ""
