"""The plan with the work that was counted in place of the work that was planned.

Between two rows a counted tool's bursts lie in equal shares, as a plan's own would; several tools
follow one another, for there is one pair of hands.
"""

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
    """A plan with the work that was counted; tasks are the numbers of those tasks, from 0, and
    notes lines about counts that cannot be."""

    plan: Plan
    tasks: range
    notes: list[str]


def with_counted_work(plan: Plan, rows: Sequence[Row]) -> DonePlan:
    """The plan with each counted tool as it was counted, on the days on which it was."""
    counted, notes = _counted(plan, rows)
    if not counted:
        return DonePlan(plan, range(0), notes)
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
        return DonePlan(plan, range(0), [*notes, *lines])
    return DonePlan(done, range(kept_tasks, len(tables)), notes)


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


def _counted(plan: Plan, rows: Sequence[Row]) -> tuple[list[CountedWork], list[str]]:
    """The counts that fit the time since the row before; a tool's day with one that does not is
    left as planned."""
    counted, notes, wrong = [], [], set()
    for row in rows:
        if row.tool is None or row.count is None:
            continue
        earlier = [other.at for other in rows if other.at < row.at]
        start = max(earlier[-1] if earlier else plan.span.start, row.at - timedelta(hours=23.9))
        work = CountedWork(row.tool, row.count, start, row.at)
        each_s = burst_s(plan.task[_task_of(plan, row.tool)])
        room_s = (row.at - start).total_seconds()
        if each_s is None:
            notes.append(f"row {row.number}: {row.tool} simply runs on: it cannot be counted")
            wrong.add((work.tool, work.day))
        elif row.count * each_s > room_s:
            notes.append(
                f"row {row.number}: {row.count} x {each_s:g} s do not fit into the {room_s:g} s"
                f" since the row before; {row.tool} is taken as planned that day"
            )
            wrong.add((work.tool, work.day))
        counted.append(work)
    return [work for work in counted if (work.tool, work.day) not in wrong], notes


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
