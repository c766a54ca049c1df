"""The page's states in an embedded V8, beside the plans that they stand for; no test lives here."""

import json
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

from py_mini_racer import MiniRacer

import energy
from energy.model.timeline import to_utc
from energy.plan import Plan, profiles
from energy.plan.task import Task
from energy.simulation.case import calendar_of

SCRIPTS = Path(energy.__file__).parent / "answers/page/script"
PURE = ("calendar", "demand", "progress", "state", "export")  # all that a state needs
NOT_FIGURES = {"must", "value", "name", "days", "at", "between", "with_", "after"}


def small_data(plan: Plan, ident: str = "a") -> dict[str, Any]:
    """What a state needs of the page's data, without weather."""
    calendar = calendar_of(plan)
    zone, first, last = calendar.zone, calendar.first, calendar.last
    span = [to_utc(t, zone) for t in (plan.span.start, plan.span.end)]
    days = [first + timedelta(k - 1) for k in range((last - first).days + 4)]
    hours = [span[0] - 3 * 86400 + 1800 * k for k in range(int((span[1] - span[0]) / 1800) + 288)]
    offsets: list[list[float]] = []
    for hour in hours:
        offset = (datetime.fromtimestamp(hour, zone).utcoffset() or timedelta()).total_seconds()
        if not offsets or offsets[-1][1] != offset:
            offsets.append([hour, offset])
    return {
        "version": 1,
        "id": ident,
        "title": plan.title,
        "plan": json.loads(json.dumps(plan.source, default=lambda value: value.isoformat())),
        "zone": {"name": zone.key, "offsets": offsets},
        "span": span,
        "dates": {
            "first": first.isoformat(),
            "last": last.isoformat(),
            "sun": [calendar.sun_times(day) for day in days],
        },
        "tasks": [task.model_dump(by_alias=True) | {"lead_loss": 0.0} for task in plan.task],
        "tools": [tool(name, table) for name, table in profiles.built_in("tools").items()],
        "skies": {name: [] for name in ("clear", "few", "broken", "overcast")},
    }


@cache
def _figures(name: str) -> Task:
    place = {"latitude_deg": 0.0, "longitude_deg": 0.0, "timezone": "UTC"}
    span = {"start": "2026-06-01T08:00", "end": "2026-06-01T18:00"}
    table = {"tool": name, "between": "all-day"}
    return Plan.from_dict(
        {"place": place, "span": span, "pack": {"capacity_wh": 500}, "task": [table]}
    ).task[0]


def tool(name: str, table: dict[str, Any]) -> dict[str, Any]:
    """A tool with its figures, as a task has them."""
    return _figures(name).model_dump(by_alias=True) | {"name": name, "tool": name, "lead_loss": 0.0}


class Page:
    """A page's state of one plan: acts, and what comes of it."""

    def __init__(self, plan: Plan, ident: str = "a"):
        self.plan = plan
        self.js = MiniRacer()
        for name in PURE:
            self.js.eval((SCRIPTS / f"{name}.js").read_text(encoding="utf-8"))
        data = json.dumps(small_data(plan, ident))
        self.js.eval(
            f"var data = {data};"
            "var kit = {data, firstDay: dayNumber(data.dates.first),"
            " lastDay: dayNumber(data.dates.last)};"
            "var history = newHistory();"
        )

    def act(self, kind: str, at: datetime | None = None, **keys: Any) -> str | None:
        """Do something; the line that says why it cannot be, or None."""
        at = at or self.plan.span.start
        keys |= {"kind": kind, "atS": to_utc(at, calendar_of(self.plan).zone)}
        return self.call(
            "(() => { const after = afterAction(kit, history, %s);"
            " history = after.history; return after.problem; })()",
            keys,
        )

    def call(self, script: str, *values: Any) -> Any:
        """What a script comes to, with values in its place."""
        filled = script % tuple(json.dumps(value) for value in values)
        return json.loads(self.js.eval(f"JSON.stringify({filled}) || 'null'"))

    @property
    def asked(self) -> dict[str, Any]:
        return self.call(
            "((asked) => ({...asked, done: Object.fromEntries(Object.entries(asked.done).map("
            "([name, amount]) => [name, amount === Infinity ? 'all' : amount]))}))"
            "(askedOf(kit, history.state))"
        )

    @property
    def toml(self) -> str:
        return self.call("planToml(tablesOf(kit, history.state))")

    @property
    def csv(self) -> str:
        return self.call("readingsCsv(kit, history.state)")
