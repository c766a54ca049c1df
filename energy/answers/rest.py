"""The rest of a plan: what is still to come at a moment of the day, from the charge read then."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from energy.answers.cautioning.telling import carries
from energy.budget import check_now
from energy.bursts import place_bursts
from energy.model.demand import Burst
from energy.model.timeline import Calendar, Interval, to_utc
from energy.plan import Plan, PlanError
from energy.plan.task import RISKS, Task, at_other_times
from energy.scene import calendar_of

OF_A_TASK = ("group", "must", "priority", "value", "supply", "power_factor", "spread_percent")


def rest_of(plan: Plan, now: datetime | None, battery_percent: float | None) -> dict[str, Any]:
    """Changes to a plan (see `Plan.replace`) that leave what lies after `now`; none without it.

    The span begins then, with the charge measured. What is done by then is taken out; repeats that
    are left are spread over the rest of their window, and what is under way goes on to its end.
    Raises PlanError for a time outside the span, a charge that cannot be, or where nothing is left.

    >>> plan = Plan.read("builtin:cloudy-repair")
    >>> rest_of(plan, datetime(2026, 9, 14, 11), 70.0)["task"][1]["times"]
    6
    """
    changes = left_of(plan, now, battery_percent)
    if changes and not changes["task"]:
        raise PlanError([f"{plan.origin}: nothing of the plan is left after {now:%Y-%m-%d %H:%M}"])
    return changes


def left_of(plan: Plan, now: datetime | None, battery_percent: float | None) -> dict[str, Any]:
    """As `rest_of`; no tasks at all where nothing is left, which alone makes no plan."""
    check_now(plan, now, battery_percent)
    if now is None:
        return {}
    calendar = calendar_of(plan)
    span = to_utc(now, calendar.zone), to_utc(plan.span.end, calendar.zone)
    placed = place_bursts(plan, calendar, span)
    left = _Left(calendar, now, span)
    tasks: list[dict[str, Any]] = []
    for k, table in enumerate(plan.source["task"]):
        mine = [burst for burst in placed.bursts if burst.task == k]
        begun = [window for task, window in placed.begun if task == k]
        tasks += left.of_task(table, plan.task[k], mine, begun)
    changes: dict[str, Any] = {
        "span.start": now,
        "pack.start_percent": battery_percent,
        "task": tasks,
    }
    if plan.weather.sky is not None and len(plan.weather.sky) > 1:  # one a date
        past = (now.date() - calendar.first).days
        changes["weather.sky"] = list(plan.weather.sky[past:] or plan.weather.sky[-1:])
    if plan.charger:
        tables = zip(plan.source["charger"], plan.charger, strict=True)
        changes["charger"] = [
            one for table, charger in tables for one in left.of_windows(table, charger)
        ]
    return changes


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


class _Left:
    """What is left of a plan's tables from `now`, on the plan's clock, to the end of the span."""

    def __init__(self, calendar: Calendar, now: datetime, span: Interval):
        self.calendar, self.now = calendar, now
        self.now_s, self.end_s = span

    def of_task(
        self, table: Mapping[str, Any], task: Task, ahead: Sequence[Burst], begun: Sequence[int]
    ) -> list[dict[str, Any]]:
        """Tables of what is left of a task; ahead are its bursts from now on, begun the numbers of
        the windows of which something is done."""
        counted = task.repeats
        if not counted and task.duration_s is None:
            return self.of_windows(table, task) if ahead else []
        dates = self.calendar.days(task.days)
        today = self.now.date()
        found, later = [], []
        for window in sorted({burst.window for burst in ahead}):
            if window in begun or dates[window] < today:
                mine = [burst for burst in ahead if burst.window == window]
                if counted:
                    found += self._repeats(table, task, mine, dates[window])
                else:
                    found.append(self._block(table, mine[-1].end_s))
            else:
                later.append(dates[window])
        if later and task.days is None and not begun and not found:
            return [dict(table)]
        return found + ([{**table, "days": self._numbers(later)}] if later else [])

    def of_windows(self, table: Mapping[str, Any], what: Any) -> list[dict[str, Any]]:
        """A table of what goes on all through its windows (a task or a charger), on its days."""
        if what.days is None:
            return [dict(table)]
        today, found = self.now.date(), []
        for day in (day for day in self.calendar.days(what.days) if day < today):
            window = self.calendar.window(what.between, day)
            if window is not None and window[1] > self.now_s:
                between = [self.calendar.clock(self.now_s), self.calendar.clock(window[1])]
                found.append({**table, "between": between, "days": [1]})
        coming = [day for day in self.calendar.days(what.days) if day >= today]
        return found + ([{**table, "days": self._numbers(coming)}] if coming else [])

    def _repeats(
        self, table: Mapping[str, Any], task: Task, ahead: Sequence[Burst], day: date
    ) -> list[dict[str, Any]]:
        """The rest of the repeat that is under way in a window, and those to come in it."""
        running = [b for b in ahead if b.start_s <= self.now_s and not b.pieces[0].starts]
        found = [self._going_on(table, task, burst) for burst in running]
        coming = [burst for burst in ahead if burst not in running]
        if coming:
            keys: dict[str, Any] = {"charges" if task.charges else "times": len(coming)}
            if task.at is not None:
                keys["at"] = self.calendar.clock(coming[0].start_s)
            else:
                window = self.calendar.window(task.between, day)
                assert window is not None  # its bursts lie in it
                closes_s = min(window[1], self.end_s)
                keys["between"] = [self.calendar.clock(self.now_s), self.calendar.clock(closes_s)]
            found.append(at_other_times(table, **keys, days=[1]))
        return found

    def _block(self, table: Mapping[str, Any], end_s: float) -> dict[str, Any]:
        """The rest of a block of time."""
        return at_other_times(table, **self._until(end_s), flexible=None)

    def _going_on(self, table: Mapping[str, Any], task: Task, burst: Burst) -> dict[str, Any]:
        """A repeat under way, at the mean watts of what is left of it."""
        energy = sum(piece.mean_w * (piece.end_s - piece.start_s) for piece in burst.pieces)
        what = {key: getattr(task, key) for key in OF_A_TASK}
        # What its name tells is left for the name to tell again.
        what |= {k: getattr(task, k) for k in RISKS if getattr(task, k) or not carries(task, k)}
        mean_w = round(energy / (burst.end_s - burst.start_s), 3)
        return {"name": task.name, "working_w": mean_w} | what | self._until(burst.end_s)

    def _until(self, end_s: float) -> dict[str, Any]:
        minutes = round((end_s - self.now_s) / 60.0, 6)
        return {"at": self.calendar.clock(self.now_s), "minutes": minutes, "days": [1]}

    def _numbers(self, dates: Sequence[date]) -> list[int]:
        return [(day - self.now.date()).days + 1 for day in dates]
