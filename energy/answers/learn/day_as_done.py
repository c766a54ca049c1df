"""The day as it was done: the plan with what the readings counted in place of what was planned.

Between two rows a counted tool's bursts lie in equal shares, as a plan's own would.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from energy.answers.learn.kit_names import tools_of
from energy.answers.learn.readings import Row
from energy.plan import Plan, PlanError
from energy.plan.task import Task, at_other_times

NOTHING: dict[str, Any] = {"name": "nothing", "supply": "dc12", "working_w": 0, "spread_percent": 0}


@dataclass(frozen=True)
class Counted:
    """So many of a tool between two moments on the plan's clock."""

    row: Row
    start: datetime
    end: datetime

    @property
    def day(self) -> int:
        return self.start.toordinal()


def as_done(plan: Plan, rows: Sequence[Row]) -> tuple[Plan, list[str]]:
    """The plan with each counted tool as it was counted, on the days on which it was; and lines
    about counts that cannot be."""
    counted, notes = _counted(plan, rows)
    if not counted:
        return plan, notes
    days: dict[str, set[int]] = defaultdict(set)
    first = plan.span.start.toordinal()
    for one in counted:
        assert one.row.tool is not None
        days[one.row.tool].add(one.day - first + 1)
    tables: list[dict[str, Any]] = []
    for table, task, tool in zip(plan.source["task"], plan.task, tools_of(plan), strict=True):
        gone = days.get(tool, set())
        if not gone:
            tables.append(table)
            continue
        last = (plan.span.end - timedelta(seconds=1)).toordinal()
        kept = [d for d in task.days or range(1, last - first + 2) if d not in gone]
        if kept:
            tables.append({**table, "days": kept})
    for one in counted:
        if one.row.count:
            index = _task_of(plan, one.row.tool)
            tables.append(_table(plan.source["task"][index], plan.task[index], one, first))
    try:
        return plan.replace(task=tables or [NOTHING]), notes
    except PlanError as error:
        return plan, [*notes, *(f"the counts are left out: {line}" for line in error.problems)]


def _counted(plan: Plan, rows: Sequence[Row]) -> tuple[list[Counted], list[str]]:
    """The counts that fit the time since the row before; a tool's day with one that does not is
    left as planned."""
    found, notes, wrong = [], [], set()
    for row in rows:
        if row.tool is None or row.count is None:
            continue
        earlier = [other.at for other in rows if other.at < row.at]
        start = max(earlier[-1] if earlier else plan.span.start, row.at - timedelta(hours=23.9))
        one = Counted(row, start, row.at)
        each_s = burst_s(plan.task[_task_of(plan, row.tool)])
        room_s = (row.at - start).total_seconds()
        if each_s is None:
            notes.append(f"row {row.number}: {row.tool} simply runs on: it cannot be counted")
            wrong.add((row.tool, one.day))
        elif row.count * each_s > room_s:
            notes.append(
                f"row {row.number}: {row.count} x {each_s:g} s do not fit into the {room_s:g} s"
                f" since the row before; {row.tool} is taken as planned that day"
            )
            wrong.add((row.tool, one.day))
        found.append(one)
    return [one for one in found if (one.row.tool, one.day) not in wrong], notes


def _task_of(plan: Plan, tool: str | None) -> int:
    return next(k for k, name in enumerate(tools_of(plan)) if name == tool)


def burst_s(task: Task) -> float | None:
    """How long one of what people count takes, or None where a task simply runs on."""
    return task.charge_s or (task.repeat_s if task.repeats else task.duration_s)


def _table(source: dict[str, Any], task: Task, one: Counted, first: int) -> dict[str, Any]:
    """A counted tool as a task of its own."""
    amount: dict[str, Any] = {"times": one.row.count, "each_s": burst_s(task)}
    if task.kind == "charging":
        amount = {"charges": one.row.count, "each_s": None}
    return at_other_times(
        source,
        **amount,
        each_min=None,
        between=[f"{one.start:%H:%M:%S}", f"{one.end:%H:%M:%S}"],
        days=[one.day - first + 1],
        flexible=None,
    )
