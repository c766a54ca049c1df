"""The rest of a plan: what is still to come at a moment of the day, from the charge read then."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from energy.budget import Budget, budget, check_now
from energy.model.timeline import to_utc
from energy.plan import Plan, PlanError

AMOUNTS = ("times", "charges", "minutes", "hours")


def rest_of(plan: Plan, now: datetime | None, battery_percent: float | None) -> dict[str, Any]:
    """Changes to a plan (see `Plan.replace`) that leave what lies after `now`; none without it.

    The span begins then, with the charge measured; repeats and minutes that are done by then are
    taken out, and what is left of a window's is spread over the rest of it. Raises PlanError for a
    time outside the span or a charge that cannot be.

    >>> plan = Plan.read("builtin:cloudy-repair")
    >>> rest_of(plan, datetime(2026, 9, 14, 11), 70.0)["task"][1]["times"]
    6
    """
    check_now(plan, now, battery_percent)
    if now is None:
        return {}
    b = budget(plan.replace(weather={"kind": "clear"}))  # for its bursts, the same in any weather
    gone_days = (now.date() - plan.span.start.date()).days
    now_s = to_utc(now, b.calendar.zone)
    tasks: list[dict[str, Any]] = []
    for k, table in enumerate(plan.source["task"]):
        tasks += _task(b, k, table, now_s, gone_days)
    if not tasks:
        raise PlanError([f"{plan.origin}: nothing of the plan is left after {now:%Y-%m-%d %H:%M}"])
    chargers = [_later(table, gone_days) for table in plan.source.get("charger", [])]
    changes: dict[str, Any] = {
        "span.start": now,
        "pack.start_percent": battery_percent,
        "task": tasks,
    }
    if chargers:
        changes["charger"] = [table for table in chargers if table is not None]
    return changes


def under(plan: Plan, sky: str | None) -> dict[str, Any]:
    """Changes to a plan that put it under a stated sky, in words or eighths; none without one.

    >>> under(Plan.read("builtin:cloudy-repair"), "overcast")["weather"]["sky"]
    'overcast'
    """
    if sky is None:
        return {}
    kept = ("temp_air_c", "wind_speed_m_s", "seed")
    weather = {k: v for k, v in plan.source.get("weather", {}).items() if k in kept}
    stated: Any = [int(part) for part in sky.split(",")] if sky.replace(",", "").isdigit() else sky
    return {"weather": weather | {"kind": "sky", "sky": stated}}


def _task(
    b: Budget, k: int, table: Mapping[str, Any], now_s: float, gone_days: int
) -> list[dict[str, Any]]:
    """What is left of one task: today's rest and the days to come."""
    task = b.plan.task[k]
    today = b.local(now_s).date()
    window = b.calendar.window(task.between, today)
    if task.at is not None:
        at = b.calendar.at(task.at, today)
        window = (at, at + 1.0)
    amount = task.times or task.charges
    whole = amount is None and task.duration_s is None
    planned = task.days is None or (today - b.calendar.first).days + 1 in task.days
    begun = planned and window is not None and window[0] < now_s
    if whole or not begun or window is None:
        later = _later(table, gone_days)
        return [] if later is None else [dict(later)]
    found = []
    mine = [
        burst for burst in b.bursts if burst.task == k and b.local(burst.start_s).date() == today
    ]
    left = {key: value for key, value in table.items() if key not in (*AMOUNTS, "days")}
    if task.at is None:
        left["between"] = [f"{b.local(now_s):%H:%M}", f"{b.local(window[1]):%H:%M}"]
        if amount is not None:
            number = sum(burst.start_s >= now_s for burst in mine)
            key = "times" if task.times else "charges"
            if number:
                found.append(left | {key: number, "days": [1]})
        elif mine and mine[-1].end_s > now_s + 60.0:
            minutes = round((mine[-1].end_s - now_s) / 60.0, 3)
            found.append(left | {"minutes": minutes, "days": [1]})
    rest_days = (b.calendar.last - today).days
    days = [d - gone_days for d in task.days] if task.days else range(2, rest_days + 2)
    if coming := [d for d in days if 2 <= d <= rest_days + 1]:
        found.append({**table, "days": coming})
    return found


def _later(table: Mapping[str, Any], gone_days: int) -> dict[str, Any] | None:
    """A table with its days counted from the new first day; None where none is left."""
    if not table.get("days"):
        return dict(table)
    days = table["days"] if isinstance(table["days"], list) else [table["days"]]
    coming = [d - gone_days for d in days if d > gone_days]
    return {**table, "days": coming} if coming else None
