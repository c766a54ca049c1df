"""The plan with the work that was counted in place of the work that was planned.

Between two rows a counted tool's bursts lie in equal shares, as a plan's own would; several tools
follow one another, for there is one pair of hands.
"""

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

import numpy as np

from energy.answers.learn.component_names import tools_of
from energy.answers.learn.readings import Row
from energy.plan import Plan, PlanError
from energy.plan.task import Task, at_other_times

NO_TASK: dict[str, Any] = {"name": "nothing", "supply": "dc12", "working_w": 0, "spread_percent": 0}


@dataclass(frozen=True)
class CountedWork:
    """So many bursts or charges of a tool between two moments on the plan's clock."""

    tool: str
    count: int
    start: datetime
    end: datetime

    @property
    def day(self) -> int:
        return self.start.toordinal()


@dataclass(frozen=True)
class DonePlan:
    """A plan with the work that was counted; tasks are the numbers of those tasks, from 0; notes
    lines about counts that cannot be, and rows all rows, those of such counts as unknown work."""

    plan: Plan
    tasks: range
    notes: list[str]
    rows: tuple[Row, ...]


def with_counted_work(plan: Plan, rows: Sequence[Row]) -> DonePlan:
    """The plan with each counted tool as it was counted, on the days on which it was."""
    rows, notes = _checked(plan, rows)
    counted = _counted(plan, rows)
    if not counted:
        return DonePlan(plan, range(0), notes, rows)
    first = plan.span.start.toordinal()
    days: dict[str, set[int]] = defaultdict(set)
    for work in counted:
        days[work.tool].add(work.day - first + 1)
    tables: list[dict[str, Any]] = []
    for table, task, tool in zip(plan.source["task"], plan.task, tools_of(plan), strict=True):
        if tool not in days:
            tables.append(table)
            continue
        last = (plan.span.end - timedelta(seconds=1)).toordinal()
        kept = [day for day in task.days or range(1, last - first + 2) if day not in days[tool]]
        if kept:
            tables.append({**table, "days": kept})
    kept_tasks = len(tables)
    for work in _one_after_another(plan, counted):
        if work.count:
            index = _task_of(plan, work.tool)
            tables.append(_table(plan.source["task"][index], plan.task[index], work, first))
    try:
        done = plan.replace(task=tables or [NO_TASK])
    except PlanError as error:
        lines = [f"the counts are left out: {line}" for line in error.problems]
        rows = tuple(replace(r, work_unknown=r.work_unknown or r.count is not None) for r in rows)
        return DonePlan(plan, range(0), [*notes, *lines], rows)
    return DonePlan(done, range(kept_tasks, len(tables)), notes, rows)


def _one_after_another(plan: Plan, counted: Sequence[CountedWork]) -> list[CountedWork]:
    """What was counted between the same two rows in parts of that time, each as long as it needs;
    where all together do not fit they were done side by side."""
    together: dict[tuple[datetime, datetime], list[CountedWork]] = defaultdict(list)
    for work in counted:
        together[work.start, work.end].append(work)
    return [part for works in together.values() for part in _in_parts(plan, works)]


def _in_parts(plan: Plan, works: list[CountedWork]) -> list[CountedWork]:
    needed_s = [w.count * (burst_s(plan.task[_task_of(plan, w.tool)]) or 0.0) for w in works]
    start, room_s = works[0].start, (works[0].end - works[0].start).total_seconds()
    if len(works) < 2 or not 0.0 < sum(needed_s) <= room_s:
        return works
    shares = np.floor(room_s * np.cumsum([0.0, *needed_s]) / sum(needed_s))
    if (np.diff(shares) < needed_s).any():
        return works
    return [
        replace(work, start=start + timedelta(seconds=since), end=start + timedelta(seconds=until))
        for work, (since, until) in zip(works, pairwise(shares.tolist()), strict=True)
    ]


def _checked(plan: Plan, rows: Sequence[Row]) -> tuple[tuple[Row, ...], list[str]]:
    """The rows, those with a count that cannot be as unknown work, and a line for each of these."""
    checked, notes = [], []
    for row in rows:
        line = ""
        if row.tool is not None and row.count is not None:
            each_s = burst_s(plan.task[_task_of(plan, row.tool)])
            room_s = (row.at - _since(plan, rows, row)).total_seconds()
            if each_s is None:
                line = f"{row.tool} simply runs on: it cannot be counted"
            elif row.count * each_s > room_s:
                line = (
                    f"{row.count} x {each_s:g} s do not fit into the {room_s:g} s since the row"
                    f" before. {_advice(int(room_s // each_s))}"
                )
        if line:
            notes.append(f"line {row.number}: {line}")
        checked.append(replace(row, work_unknown=True) if line else row)
    return tuple(checked), notes


def _advice(fitting: int) -> str:
    """What to do where so many fit one after another."""
    if not fitting:
        return "Was it begun before that row?"
    return f"Were they side by side? Write rows of at most {fitting} each, all with this time"


def _counted(plan: Plan, rows: Sequence[Row]) -> list[CountedWork]:
    """What was counted; none of what is not known, which is not as planned either."""
    return [
        CountedWork(row.tool, 0 if row.work_unknown else row.count, _since(plan, rows, row), row.at)
        for row in rows
        if row.tool is not None
        and row.count is not None
        and burst_s(plan.task[_task_of(plan, row.tool)]) is not None
    ]


def _since(plan: Plan, rows: Sequence[Row], row: Row) -> datetime:
    """The moment from which on the work of a row was done."""
    earlier = bisect_left(rows, row.at, key=lambda other: other.at)
    since = rows[earlier - 1].at if earlier else plan.span.start
    return max(since, row.at - timedelta(hours=23.9))


def _task_of(plan: Plan, tool: str) -> int:
    return tools_of(plan).index(tool)


def burst_s(task: Task) -> float | None:
    """How long one of what people count takes, or None where a task simply runs on."""
    return task.charge_s or (task.repeat_s if task.repeats else task.duration_s)


def _table(source: dict[str, Any], task: Task, work: CountedWork, first: int) -> dict[str, Any]:
    """A counted tool as a task of its own."""
    amount: dict[str, Any] = {"times": work.count, "each_s": burst_s(task)}
    if task.kind == "charging":
        amount = {"charges": work.count, "each_s": None}
    return at_other_times(
        source,
        **amount,
        each_min=None,
        between=[f"{work.start:%H:%M:%S}", f"{work.end:%H:%M:%S}"],
        days=[work.day - first + 1],
        flexible=None,
    )
