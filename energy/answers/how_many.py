"""How many more cuts, minutes or charges of a tool fit, at the goal's chance."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from energy.answers.rest import left_of
from energy.budget import Budget, budget, changed
from energy.model.timeline import Calendar, Interval, Moment, to_utc
from energy.plan import Plan, PlanError, profiles
from energy.plan.task import AMOUNTS
from energy.plan.words import meant, shown
from energy.progress import Done
from energy.refused import why_refused
from energy.scene import calendar_of

EACH_S = 60  # how long one cut or hole takes where nothing says so (common practice, no source)
LAST = 1000  # the lowest priority: what is planned comes first
LEAST_S = 300.0  # in less nobody begins

Window = tuple[Moment, Moment] | None


@dataclass(frozen=True)
class HowMany:
    """So many more of a tool, and the chance with them; each_s is how long each was taken to be,
    for what is counted.

    windows: where more of it may come, in local time. full: the time is the limit, whatever the
    charge. planned: whether the plan reaches its goal before any is added. why_not: which limit
    turns some more of it away, if one does.
    """

    tool: str
    count: int
    unit: str
    each_s: float | None
    windows: tuple[tuple[datetime, datetime], ...]
    full: bool
    planned: bool
    why_not: str
    budget: Budget = field(repr=False)

    def as_dict(self) -> dict[str, Any]:
        """The stable answer that `--json` prints."""
        return {
            "tool": self.tool,
            "count": self.count,
            "unit": self.unit,
            "chance": self.budget.chance.as_dict(),
        }


def how_many(
    plan: Plan,
    tool: str,
    now: datetime | None = None,
    battery_percent: float | None = None,
    done: Done | None = None,
) -> HowMany:
    """How many more times a tool can be used before the end of the span, found by bisection.

    With `now` (a naive time on the plan's clock), the charge measured then and what was `done` by
    then (see `energy.progress`), how many more from there on. tool is a task's name, the tool of a
    task, or a profile. More of what is planned comes in that task's window and takes as long; else,
    and where that window is over, it comes anywhere in the day; on several days it is spread
    evenly. Raises PlanError for a tool that is not known, and as `left_of` does.

    >>> how_many(Plan.read("builtin:cloudy-repair"), "phone").unit
    'charges'
    """
    table, between = _table(plan, tool)
    left = left_of(plan, now, battery_percent, done)
    rest = plan.replace(**left | {"task": [_one(table)]})
    task, planned = rest.task[0], (left or plan.source)["task"]
    more = _more_of(rest, table, between)
    room = more.room
    if not more.windows or not (planned or any(room)):
        raise PlanError([f"{plan.origin}: no time is left for more of {shown(tool)} in the span"])
    base = budget(rest.replace(task=[*planned, *more.tables(_evenly(int(not planned), room))]))

    def tried(numbers: Sequence[int]) -> Budget:
        return changed(base, {"task": [*planned, *more.tables(numbers)]})

    numbers, best, holds = [0] * len(room), base, not planned or base.yes
    if holds:
        numbers, best = _most(tried, [_evenly(n, room) for n in range(sum(room) + 1)], base)
        if numbers != room and len(room) > 1:  # one day may have room for more than another
            for k in reversed(range(len(room))):
                rising = [
                    [*numbers[:k], n, *numbers[k + 1 :]] for n in range(numbers[k], room[k] + 1)
                ]
                numbers, best = _most(tried, rising, best)
    count = sum(numbers)
    refused = [refusal for refusal in best.refusals if refusal.burst.task >= len(planned)]
    return HowMany(
        tool=tool,
        count=max(count - len(refused), 0),
        unit=more.unit,
        each_s=more.each_s if more.unit == "times" else None,
        windows=more.local,
        full=holds and count == sum(room),
        planned=holds,
        why_not=why_refused(task.supply, task.start_w, refused, max(count, 1)) if refused else "",
        budget=best,
    )


@dataclass(frozen=True)
class _More:
    """More of a tool: its table without how much, what is counted, how long each takes, and the
    windows in which it may come, one a day [UTC s]."""

    table: dict[str, Any]
    unit: str
    each_s: float
    windows: list[Interval]
    calendar: Calendar

    @property
    def local(self) -> tuple[tuple[datetime, datetime], ...]:
        """The windows on the plan's clock."""
        moment = self.calendar.moment
        return tuple((moment(start_s), moment(end_s)) for start_s, end_s in self.windows)

    @property
    def room(self) -> list[int]:
        """How many fit into each window: of its length by the clock too, where that skips or
        repeats an hour, for so a plan counts it."""
        found = []
        for (start_s, end_s), (opens, closes) in zip(self.windows, self.local, strict=True):
            by_clock = closes.replace(tzinfo=None) - opens.replace(tzinfo=None)
            found.append(int(min(end_s - start_s, by_clock.total_seconds()) // self.each_s))
        return found

    def tables(self, numbers: Sequence[int]) -> list[dict[str, Any]]:
        """The plan's tables of so many in each window."""
        found = []
        for (opens, closes), number in zip(self.local, numbers, strict=True):
            if number:
                day = (opens.date() - self.calendar.first).days + 1
                made = self.table | {self.unit: number, "days": [day]}
                clock = [f"{opens:%H:%M}", f"{closes:%H:%M}"]
                found.append(made | ({"between": clock} if clock[0] != clock[1] else {}))
        return found


def _more_of(rest: Plan, table: dict[str, Any], between: Window) -> _More:
    """What is counted of the tool that is the only task of a plan, and where it may come."""
    task, calendar = rest.task[0], calendar_of(rest)
    unit, each_s = "minutes", 60.0
    if task.kind == "charging":
        unit, each_s = "charges", task.charge_s or each_s
    elif task.kind in ("intermittent", "trace") or {"each_s", "each_min"} & set(table):
        unit, each_s = "times", task.each_s or EACH_S
        table = {key: v for key, v in table.items() if key != "each_min"} | {"each_s": each_s}
    return _More(table, unit, each_s, _windows(rest, calendar, between), calendar)


def _most(
    tried: Callable[[Sequence[int]], Budget], rising: Sequence[list[int]], first: Budget
) -> tuple[list[int], Budget]:
    """The last of rising numbers that holds, by bisection, and its budget; the first one does."""
    low, high, best = 0, len(rising), first
    while high - low > 1:
        middle = (low + high) // 2
        found = tried(rising[middle])
        if found.reaches_goal:
            low, best = middle, found
        else:
            high = middle
    return rising[low], best


def _table(plan: Plan, tool: str) -> tuple[dict[str, Any], Window]:
    """The table of a task with this name or tool, without how much, and its window; or a new one
    of a profile."""
    gone = (*AMOUNTS, "at", "between", "days", "must", "flexible", "with")
    for table, task in zip(plan.source["task"], plan.task, strict=True):
        if tool in (task.name, task.tool):
            kept = {key: value for key, value in table.items() if key not in gone}
            return kept | {"name": task.name, "priority": LAST}, task.between
    known = [*profiles.tools(), *(task.name for task in plan.task)]
    if tool not in known:
        raise PlanError([f"there is no tool {shown(tool)}{meant(tool, known)}"])
    return {"tool": tool, "priority": LAST}, None


def _one(table: Mapping[str, Any]) -> dict[str, Any]:
    """A task of one repeat, for what follows from its tool."""
    counted = {"each_s", "each_min"} & set(table)
    return {**table, **({"times": 1} if counted else {})}


def _windows(rest: Plan, calendar: Calendar, between: Window) -> list[Interval]:
    """Where more of it may come, day by day inside the span [UTC s]: in a window, where that is not
    over, else all day."""
    ends = (to_utc(rest.span.start, calendar.zone), to_utc(rest.span.end, calendar.zone))
    found: list[Interval] = []
    for way in (between, None):
        days = calendar.days(range(1, (calendar.last - calendar.first).days + 2))
        inside = [_inside(calendar.window(way, day), ends) for day in days]
        found = [one for one in inside if one[1] - one[0] >= LEAST_S]
        if found:
            break
    return found


def _inside(window: Interval | None, ends: Interval) -> Interval:
    """A window cut to the span, in whole minutes; empty where there is none."""
    if window is None:
        return 0.0, 0.0
    start, end = max(window[0], ends[0]), min(window[1], ends[1])
    return -(-start // 60.0) * 60.0, end // 60.0 * 60.0


def _evenly(count: int, room: Sequence[int]) -> list[int]:
    """So many over days that hold so many each, as evenly as they go, the first days first.

    >>> _evenly(7, [1, 9, 9]), _evenly(2, [5, 5, 5])
    ([1, 3, 3], [1, 1, 0])
    """
    found, left = [0] * len(room), count
    for done, k in enumerate(sorted(range(len(room)), key=lambda k: room[k])):
        found[k] = min(room[k], -(-left // (len(room) - done)))
        left -= found[k]
    return found
