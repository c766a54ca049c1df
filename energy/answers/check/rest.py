"""The rest of a plan: what is still to come at a moment of the day, from the charge read then."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from energy.answers.caution.telling import carries
from energy.model.demand import bursts
from energy.model.timeline import Calendar, Interval, comes_twice, to_utc
from energy.plan import Plan, PlanError
from energy.plan.task import RISKS, at_other_times
from energy.simulation.budget import check_now
from energy.simulation.bursts import Day, Left, days_of
from energy.simulation.case import calendar_of
from energy.simulation.progress import Done, Progress, progress

OF_A_TASK = ("group", "must", "priority", "value", "supply", "power_factor", "spread_percent")
Tables = list[dict[str, Any]]


def rest_of(
    plan: Plan,
    now: datetime | None,
    battery_percent: float | None,
    done: Done | None = None,
) -> dict[str, Any]:
    """Changes to a plan (see `Plan.replace`) that leave what a choice may take up after `now`; none
    without it.

    As `left_of`; besides, what `done` shows to be undone although its time is over is offered again
    in a later window of its task or, where that is flexible, in the rest of the day. What belongs
    to a task that cannot be taken up again goes with it. Raises PlanError as `left_of` does, and
    where nothing is left.

    >>> plan, now = Plan.read("builtin:cloudy-repair"), datetime(2026, 9, 14, 11)
    >>> rest_of(plan, now, 70.0)["task"][1]["times"]
    6
    >>> rest_of(plan, now, 70.0, {"cut the rusted bolts": 3})["task"][1]["times"]
    13
    """
    changes = left_of(plan, now, battery_percent, done, offered=True)
    if changes and not changes["task"]:
        raise PlanError([f"{plan.origin}: nothing of the plan is left after {now:%Y-%m-%d %H:%M}"])
    return changes


def left_of(
    plan: Plan,
    now: datetime | None,
    battery_percent: float | None,
    done: Done | None = None,
    *,
    offered: bool = False,
) -> dict[str, Any]:
    """Changes to a plan that leave what lies after `now`, a time on its clock; none without it.

    The span begins then, with the charge measured. What is done by then is taken out; repeats that
    are left are spread over the rest of their window, and what is under way goes on to its end. Of
    the tasks that `done` names, so much is done and the rest is open (see `simulation.progress`);
    `offered` adds what of that a choice may take up. No tasks at all where nothing is left, which
    alone makes no plan. Raises PlanError for a time outside the span or the second of two, which no
    plan can tell, a charge, names and amounts that cannot be.
    """
    check_now(plan, now, battery_percent, done)
    if now is None:
        return {}
    calendar = calendar_of(plan)
    if now.fold and comes_twice(now.replace(tzinfo=calendar.zone)):
        raise PlanError(
            [
                f"{plan.origin}: what is left is planned by the clock alone, which shows"
                f" {now:%H:%M} twice: ask from a later time that comes once"
            ]
        )
    left = _Rest(plan, calendar, now)
    under_way = progress(plan, calendar, left.span, done or {})
    stated = {
        k: parts for p in under_way for k, parts in (p.offered if offered else p.left).items()
    }
    gone = left_out_with(plan, under_way) if offered else []
    every, tables = days_of(plan, calendar), plan.source["task"]
    tasks: Tables = []
    for k, task in enumerate(plan.task):
        if task.name in gone:
            continue
        if k in stated:
            tasks += left.stated(tables[k], k, stated[k])
        else:
            tasks += left.by_clock(tables[k], k, every[k])
    changes: dict[str, Any] = {
        "span.start": now,
        "pack.start_percent": battery_percent,
        "task": tasks,
    }
    if plan.weather.sky is not None and len(plan.weather.sky) > 1:  # one a date
        past = (now.date() - calendar.first).days
        changes["weather.sky"] = list(plan.weather.sky[past:] or plan.weather.sky[-1:])
    if plan.charger:
        chargers = zip(plan.source["charger"], plan.charger, strict=True)
        changes["charger"] = [
            rest for table, charger in chargers for rest in left.of_windows(table, charger)
        ]
    return changes


def left_out_with(plan: Plan, under_way: Sequence[Progress]) -> list[str]:
    """Names of the tasks that go with, or wait for, one that is undone and cannot be taken up."""
    lost = {p.name for p in under_way if p.over > 0.0 and not any(p.offered.values())}
    gone, before = set(lost), set[str]()
    while gone != before:
        before = set(gone)
        gone |= {task.name for task in plan.task if {task.after, task.with_} & gone}
        gone |= {task.with_ for task in plan.task if task.with_ and task.name in gone}
    return list(dict.fromkeys(task.name for task in plan.task if task.name in gone - lost))


def under(plan: Plan, sky: str | None) -> dict[str, Any]:
    """Changes to a plan that put it under a stated sky, in words or eighths; none without one.

    >>> under(Plan.read("builtin:cloudy-repair"), "overcast")["weather"]["sky"]
    'overcast'
    """
    if sky is None:
        return {}
    kept = ["temp_air_c", "wind_speed_m_s", "seed"]
    kept += ["futures"] if plan.weather.kind == "sky" else []
    sky = sky.replace(" ", "")
    weather = {k: v for k, v in plan.source.get("weather", {}).items() if k in kept}
    stated: Any = [int(part) for part in sky.split(",")] if sky.replace(",", "").isdigit() else sky
    return {"weather": weather | {"kind": "sky", "sky": stated}}


class _Rest:
    """Tables of what is left of a plan from `now`, on its clock, to the end of its span."""

    def __init__(self, plan: Plan, calendar: Calendar, now: datetime):
        self.plan, self.calendar, self.now = plan, calendar, now
        self.start_s, self.now_s, self.end_s = (
            to_utc(t, calendar.zone) for t in (plan.span.start, now, plan.span.end)
        )

    @property
    def span(self) -> Interval:
        """From now to the end [UTC s]."""
        return self.now_s, self.end_s

    def by_clock(self, table: Mapping[str, Any], k: int, days: Sequence[Day]) -> Tables:
        """What is left of a task that is done as planned until now; k is its number from 0."""
        task, today = self.plan.task[k], self.now.date()
        to_come = [day for day in days if self._ahead(day)]
        if task.repeats is None and task.duration_s is None:
            return self.of_windows(table, task) if to_come else []
        begun = [d for d in days if any(self.start_s <= a < self.now_s for a, _ in d.intervals)]
        parts: Tables = []
        later = []
        for day in to_come:
            if day in begun or day.date < today:
                parts += self._under_way(table, k, day)
            else:
                later.append(day.date)
        if later and task.days is None and not begun and not parts:
            return [dict(table)]
        return parts + ([{**table, "days": self._numbers(later)}] if later else [])

    def stated(self, table: Mapping[str, Any], k: int, left: Sequence[Left]) -> Tables:
        """What is left of a task of which it was said how much is done."""
        today = self.now.date()
        later = [part.day.date for part in left if part.as_planned and part.day.date >= today]
        parts = [self._part(table, k, part) for part in left if part.day.date not in later]
        return parts + ([{**table, "days": self._numbers(later)}] if later else [])

    def of_windows(self, table: Mapping[str, Any], timed: Any) -> Tables:
        """A table of what goes on all through its windows (a task or a charger), on its days."""
        if timed.days is None:
            return [dict(table)]
        today, parts = self.now.date(), []
        for day in (day for day in self.calendar.days(timed.days) if day < today):
            window = self.calendar.window(timed.between, day)
            if window is not None and window[1] > self.now_s:
                between = [self.calendar.clock(self.now_s), self.calendar.clock(window[1])]
                parts.append({**table, "between": between, "days": [1]})
        coming = [day for day in self.calendar.days(timed.days) if day >= today]
        return parts + ([{**table, "days": self._numbers(coming)}] if coming else [])

    def _ahead(self, day: Day) -> list[Interval]:
        """What of a window's repeats or block is still to come, or goes on."""
        return [
            (begins, ends)
            for begins, ends in day.intervals
            if ends > self.now_s and begins < self.end_s
        ]

    def _under_way(self, table: Mapping[str, Any], k: int, day: Day) -> Tables:
        """The rest of the repeat that is under way in a window, and those to come in it; or of a
        block."""
        task, to_come = self.plan.task[k], self._ahead(day)
        if task.repeats is None:
            return [at_other_times(table, **self._until(to_come[-1][1]), flexible=None)]
        parts = [
            self._going_on(k, day, interval) for interval in to_come if interval[0] < self.now_s
        ]
        coming = [interval for interval in to_come if interval[0] >= self.now_s]
        if coming:
            keys: dict[str, Any] = {task.unit: len(coming), "days": [1]}
            if task.at is not None:
                keys["at"] = self.calendar.clock(coming[0][0])
            else:
                closes_s = min(day.window[1], self.end_s)
                keys["between"] = [self.calendar.clock(self.now_s), self.calendar.clock(closes_s)]
            parts.append(at_other_times(table, **keys))
        return parts

    def _going_on(self, k: int, day: Day, interval: Interval) -> dict[str, Any]:
        """A repeat under way, whole, at the mean watts of what is left of it."""
        task = self.plan.task[k]
        mine = bursts(task, k, day.number, [interval], self.span)
        energy_wh, ends_s = sum(burst.energy_wh for burst in mine), mine[-1].end_s
        same_keys = {key: getattr(task, key) for key in OF_A_TASK}
        # What its name tells is left for the name to tell again.
        same_keys |= {
            k: getattr(task, k) for k in RISKS if getattr(task, k) or not carries(task, k)
        }
        mean_w = round(3600.0 * energy_wh / (ends_s - self.now_s), 3)
        lasts_s = round(ends_s - self.now_s, 3)
        keys = {"at": self.calendar.clock(self.now_s), "times": 1, "each_s": lasts_s, "days": [1]}
        return {"name": task.name, "working_w": mean_w} | same_keys | keys

    def _until(self, end_s: float) -> dict[str, Any]:
        minutes = round((end_s - self.now_s) / 60.0, 6)
        return {"at": self.calendar.clock(self.now_s), "minutes": minutes, "days": [1]}

    def _part(self, table: Mapping[str, Any], k: int, left: Left) -> dict[str, Any]:
        """So much of a task in one of its windows, or in what is left of that."""
        task, (opens_s, closes_s) = self.plan.task[k], left.window
        keys: dict[str, Any] = {"days": self._numbers([max(left.day.date, self.now.date())])}
        if task.at is not None:
            if opens_s > left.day.window[0]:
                keys["at"] = self.calendar.clock(opens_s)
        elif left.window != left.day.window or not left.day.intervals:
            keys["between"] = [self.calendar.clock(t) for t in left.window]
        if task.repeats is not None:
            keys[task.unit] = round(left.amount)
        elif task.duration_s is not None or left.amount < closes_s - opens_s:
            keys["minutes"] = round(left.amount / 60.0, 6)
        return at_other_times(table, **keys)

    def _numbers(self, dates: Sequence[date]) -> list[int]:
        return [(day - self.now.date()).days + 1 for day in dates]
