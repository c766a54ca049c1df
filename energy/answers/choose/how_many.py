"""How many more cuts, minutes or charges of a tool fit, at the goal's chance.

Where more may run is for `room`, how much of it the charge bears for `filling`; the count is that
of the plan written out with it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from energy.answers.check.rest import left_of
from energy.answers.choose.filling import Filling
from energy.answers.choose.room import Room, Series
from energy.model.demand import Burst
from energy.model.timeline import Calendar, Interval, Moment, to_utc
from energy.plan import Plan, PlanError, profiles, require_plan
from energy.plan.task import AMOUNTS, Task, at_other_times, called
from energy.plan.tool_words import which
from energy.plan.words import shown
from energy.simulation.answered import Answered
from energy.simulation.budget import Budget, budget, changed
from energy.simulation.bursts import done_by
from energy.simulation.case import calendar_of
from energy.simulation.overloads import why_never
from energy.simulation.progress import Done

MINUTE_S = 60.0
EACH_S = 60.0  # how long one cut or hole takes where nothing says so (common practice, no source)
LAST = 1000  # the lowest priority: what is planned comes first
LEAST_S = 300.0  # in less nobody begins

Window = tuple[Moment, Moment] | None
Tables = list[dict[str, Any]]


@dataclass(frozen=True)
class HowMany(Answered):
    """So many more of a tool, and the chance with them; each_s is how long each was taken to be,
    for what is counted.

    windows: where more of it may come, runs: where it is put, in local time. full: no more finds a
    place, whatever the charge. planned: whether the plan reaches its goal before any is added.
    why_not: which limit or what other work leaves it no place, where that is so. one_more_fails: in
    how many scenarios at least the plan fails with one more, wherever it is put; None where no more
    finds a place. beside: some of it runs together with what is planned of it. set_aside: the
    plan's own tasks that overload before any is added; what the limits let run of them counts.
    change: what `Plan.replace` takes, for the plan written out with all of it.
    """

    tool: str
    count: int
    unit: str
    each_s: float | None
    windows: tuple[tuple[datetime, datetime], ...]
    runs: tuple[tuple[datetime, datetime], ...]
    full: bool
    planned: bool
    why_not: str
    one_more_fails: int | None
    beside: bool
    set_aside: tuple[str, ...]
    budget: Budget = field(repr=False)
    change: dict[str, Any] = field(repr=False)

    def as_dict(self) -> dict[str, Any]:
        """The stable answer that `--json` prints."""
        return {
            "tool": self.tool,
            "count": self.count,
            "unit": self.unit,
            "chance": self.budget.chance.as_dict(),
            "set_aside": list(self.set_aside),
            "why_not": self.why_not or None,
            "one_more_fails": self.one_more_fails,
            "beside": self.beside,
        }


def how_many(
    plan: Plan,
    tool: str,
    now: datetime | None = None,
    battery_percent: float | None = None,
    done: Done | None = None,
) -> HowMany:
    """How many more times a tool can be used before the end of the span.

    More of what is planned comes in that task's window, on any day; else, and where that window is
    over, anywhere in the day. It is put where limits, hands and the other work leave room for it
    and the charge bears most, and counted only if `budget` of the plan so written says yes.

    plan: what is planned already.
    tool: a task's name, its tool, or a profile.
    now: a naive time on the plan's clock, from which on it is counted; None: from the start.
    battery_percent: the charge measured at `now`.
    done: what was done by `now` (see `energy.simulation.progress`).

    Raises PlanError for a tool that is not known, and as `left_of`.

    >>> how_many(Plan.read("builtin:cloudy-repair"), "phone").unit
    'charges'
    """
    require_plan(plan)
    table, task = _table(plan, tool)
    left = left_of(plan, now, battery_percent, done)
    planned = [_without_mates(own) for own in (left or plan.source)["task"]]
    alone = plan.replace(**left | {"task": [_one(table)]})
    calendar = calendar_of(alone)
    more = _more_of(alone, table, task)
    windows = _windows(alone, calendar, task.between if task is not None else None)
    if not windows:
        raise PlanError([f"{plan.origin}: no time is left for more of {shown(tool)} in the span"])
    first = more.tables(calendar, [Series(windows[0][0], 1, 0.0)])
    base = budget(alone.replace(task=[*planned, *first]))
    others, set_aside = _beside(base, len(planned))
    if task is not None and task.after is not None:
        windows = _once_done(base, others, task.after, windows)
    room = Room(base.low_end, len(planned), others, more.each_s, more.unit == "minutes")
    starts = room.starts(windows)
    filling = Filling(base.low_end, room, others, starts)
    holds = not planned or filling.holds([[]])[0]
    chosen = filling.most() if holds else []
    chosen, best = _written_out(base, planned, chosen, room, more)
    several = room.in_series(chosen)
    full = holds and len(chosen) == len(starts)
    return HowMany(
        tool=tool,
        count=len(chosen),
        unit=more.unit,
        each_s=more.each_s if more.unit == "times" else None,
        windows=tuple(_local(calendar, window) for window in windows),
        runs=tuple(_local(calendar, room.lasts(series)) for series in several),
        full=full,
        planned=holds,
        why_not=(why_never(base, len(planned)) or room.why_not()) if full else "",
        one_more_fails=filling.one_more_fails if holds and not full else None,
        beside=_beside_itself(room.bursts(several), others, best.plan, table.get("name")),
        set_aside=set_aside,
        budget=best,
        change=left | {"task": [*planned, *more.tables(calendar, several)]},
    )


def _written_out(
    base: Budget, planned: Tables, chosen: list[float], room: Room, more: "_More"
) -> tuple[list[float], Budget]:
    """As many of the chosen starts [UTC s] as hold in the plan written out, and its budget: those
    in all scenarios may be one fewer than in those that decide."""
    while True:
        tables = [*planned, *more.tables(base.calendar, room.in_series(chosen))]
        best = changed(base, {"task": tables}) if tables else base
        if not chosen or _fits(best, len(planned)):
            return chosen, best
        chosen = chosen[:-1]


@dataclass(frozen=True)
class _More:
    """More of a tool: its table without how much, what is counted, how long each takes."""

    table: dict[str, Any]
    unit: str
    each_s: float

    def tables(self, calendar: Calendar, several: Sequence[Series]) -> list[dict[str, Any]]:
        """The plan's tables of some series."""
        return [
            at_other_times(
                self.table,
                at=calendar.clock(series.start_s),
                days=[(calendar.moment(series.start_s).date() - calendar.first).days + 1],
                pause_s=(series.pace_s - self.each_s or None) if series.count > 1 else None,
                **{self.unit: series.count},
            )
            for series in several
        ]


def _more_of(alone: Plan, table: dict[str, Any], planned: Task | None) -> _More:
    """What is counted of the tool that is the only task of a plan: minutes where it is planned in
    one stretch."""
    task = alone.task[0]
    if task.kind == "charging":
        return _More(table, "charges", task.charge_s or MINUTE_S)
    stretch = planned is not None and planned.repeats is None
    if stretch and task.kind == "intermittent":
        return _More(table, "minutes", MINUTE_S)
    if task.kind in ("intermittent", "trace") or {"each_s", "each_min"} & set(table):
        each_s = task.repeat_s or EACH_S
        return _More(at_other_times(table, each_min=None, each_s=each_s), "times", each_s)
    return _More(table, "minutes", MINUTE_S)


def _beside(base: Budget, number: int) -> tuple[list[Burst], tuple[str, ...]]:
    """What the limits let run of the first tasks of a plan, and the names of those of which they
    turn something away."""
    aside = {overload.burst.task for overload in base.overloads}
    names = (base.plan.task[k].name for k in sorted(aside) if k < number)
    others = [burst for burst in base.running if burst.task < number]
    return others, tuple(dict.fromkeys(names))


def _beside_itself(
    more: Sequence[Burst], others: Sequence[Burst], plan: Plan, name: str | None
) -> bool:
    """Whether some of it runs while what is planned of that name does."""
    own = [burst for burst in others if plan.task[burst.task].name == name]
    return any(
        added.start_s < burst.end_s and burst.start_s < added.end_s
        for added in more
        for burst in own
    )


def _fits(result: Budget, number: int) -> bool:
    """Whether the chance reaches the goal and nothing beyond the first tasks overloads."""
    return result.reaches_goal and all(
        overload.burst.task < number for overload in result.overloads
    )


def _table(plan: Plan, tool: str) -> tuple[dict[str, Any], Task | None]:
    """The table of a task with this name or tool, without how much and when, and that task; or a
    new one of a profile."""
    gone = (*AMOUNTS, "at", "between", "days", "must", "flexible", "pause_s", "with", "after")
    for k in called(plan.task, tool):
        kept = {key: value for key, value in plan.source["task"][k].items() if key not in gone}
        return kept | {"name": plan.task[k].name, "priority": LAST}, plan.task[k]
    if tool not in profiles.built_in("tools"):
        raise PlanError([which(tool, profiles.built_in("tools"), [t.name for t in plan.task])])
    return {"tool": tool, "priority": LAST}, None


def _without_mates(table: Mapping[str, Any]) -> dict[str, Any]:
    """A task's table without `with`: nothing is left out here, and more of the other task ranks
    below both."""
    return {key: value for key, value in table.items() if key != "with"}


def _one(table: Mapping[str, Any]) -> dict[str, Any]:
    """A task of one repeat, for what follows from its tool."""
    counted = {"each_s", "each_min"} & set(table)
    return {**table, **({"times": 1} if counted else {})}


def _windows(alone: Plan, calendar: Calendar, between: Window) -> list[Interval]:
    """Where more of it may come, day by day inside the span [UTC s]: in a window, where that is not
    over, else all day."""
    span = to_utc(alone.span.start, calendar.zone), to_utc(alone.span.end, calendar.zone)
    windows: list[Interval] = []
    for way in (between, None):
        days = calendar.days(range(1, (calendar.last - calendar.first).days + 2))
        inside = [_inside(calendar.window(way, day), span) for day in days]
        windows = [window for window in inside if window[1] - window[0] >= LEAST_S]
        if windows:
            break
    return windows


def _inside(window: Interval | None, span: Interval) -> Interval:
    """A window cut to the span, in whole minutes; empty where there is none."""
    if window is None:
        return 0.0, 0.0
    start, end = max(window[0], span[0]), min(window[1], span[1])
    return -(-start // 60.0) * 60.0, end // 60.0 * 60.0


def _once_done(
    base: Budget, others: Sequence[Burst], after: str, windows: Sequence[Interval]
) -> list[Interval]:
    """The windows from when what is waited for is done."""
    done: dict[date, float] = {}
    for burst in others:
        if base.plan.task[burst.task].name == after:
            day = base.local(burst.start_s).date()
            done[day] = max(burst.end_s, done.get(day, burst.end_s))
    later = []
    for opens_s, closes_s in windows:
        due_s = done_by(base.local(opens_s).date(), done) if done else opens_s
        later.append((max(opens_s, due_s), closes_s))
    return later


def _local(calendar: Calendar, interval: Interval) -> tuple[datetime, datetime]:
    """An interval on the plan's clock."""
    return calendar.moment(interval[0]), calendar.moment(interval[1])
