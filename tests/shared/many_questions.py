"""Questions for many plans that cost nothing, and some that end the process that answers them.

They stand in a module of their own, where worker processes find them.
"""

import os
from pathlib import Path
from types import SimpleNamespace

from energy.plan import Plan, PlanError

BASE = Plan.read("builtin:cloudy-repair").replace(weather={"kind": "clear"})


def plans(count, **changes):
    """So many plans that differ in their packs, named by their number. Invented."""
    return [
        (f"plan {k}", BASE.replace(**{"pack.capacity_wh": 500 + k, **changes}))
        for k in range(count)
    ]


def by_pack(plan):
    """An answer that the pack's size decides; an odd watt-hour makes it a no."""
    capacity = plan.pack.capacity_wh
    chance = SimpleNamespace(percent=capacity / 10.0, low=capacity / 20.0, high=None)
    lowest = SimpleNamespace(percent=capacity / 30.0)
    return SimpleNamespace(answer="no" if capacity % 2 else "yes", chance=chance, lowest=lowest)


def by_panel(plan):
    return by_pack(plan)


def refused_from(plan, least_wh=502):
    """An answer up to a size of pack."""
    if plan.pack.capacity_wh == least_wh:
        raise PlanError(["a line", "another"])
    if plan.pack.capacity_wh == least_wh + 1:
        raise ZeroDivisionError("by\nnothing")
    return by_pack(plan)


def dies_once(plan, folder, wh):
    """Ends its process at one plan the first time that it is asked."""
    marker = Path(folder) / "died"
    if plan.pack.capacity_wh == wh and not marker.exists():
        marker.touch()
        os._exit(9)
    return by_pack(plan)


def dies(plan, wh):
    """Ends its process at one plan whenever it is asked."""
    if plan.pack.capacity_wh == wh:
        os._exit(9)
    return by_pack(plan)
