"""Questions put to the page's script in an embedded V8, many at a time."""

from __future__ import annotations

import json
from datetime import date, timedelta
from functools import cache
from typing import Any

import page_script

from energy.answers.page.data import offsets
from energy.model.timeline import Calendar
from energy.plan.task import Task

LISTED = """
const asLists = (key, value) => {
  if (value instanceof Map) return [...value];
  return value instanceof Set ? [...value] : plain(key, value);
};
function bytesIn(text) { return Array.from(new Uint8Array(bytesOf(text))); }
const decoded = (text) => decode(JSON.parse(text));
function answers(name, kit, lists) {
  const of = JSON.parse(kit);
  return JSON.stringify(JSON.parse(lists, typed).map((list) => globalThis[name](of, ...list)));
}
function laidOutAll(kit, asked) {
  const of = decoded(kit);
  return JSON.stringify(JSON.parse(asked, typed).map((one) => layOut(of, one)), asLists);
}
"""


@cache
def context():
    """The script with what these tests ask of it."""
    return page_script.loaded(LISTED)


def answers(name: str, kit: dict[str, Any], lists: list[list[Any]]) -> list[Any]:
    """What a function of the script gives for a kit and each list of further arguments."""
    return json.loads(context().call("answers", name, json.dumps(kit), json.dumps(lists)))


def laid_out(data: dict[str, Any], *asked: dict[str, Any]) -> list[dict[str, Any]]:
    """What the script lays out for each question."""
    questions = [{"nowS": None, "percent": None, "done": {}, "sky": None} | one for one in asked]
    text = json.dumps(questions).replace(": Infinity", ': "Infinity"')
    return json.loads(context().call("laidOutAll", json.dumps(data), text))


def calendar_kit(calendar: Calendar) -> dict[str, Any]:
    """As much of a kit as calendars need."""
    epoch = date(1970, 1, 1)
    span = [calendar.at(("clock", 0.0), day) for day in (calendar.first, calendar.last)]
    zone = {"name": calendar.zone.key, "offsets": offsets(calendar, tuple(span))}
    return {
        "data": {"zone": zone, "dates": dates(calendar)},
        "firstDay": (calendar.first - epoch).days,
        "lastDay": (calendar.last - epoch).days,
    }


def dates(calendar: Calendar) -> dict[str, Any]:
    """The dates of a calendar with the sun from the day before to two after."""
    days = (
        calendar.first + timedelta(k - 1) for k in range((calendar.last - calendar.first).days + 4)
    )
    sun = [list(calendar.sun_times(day)) for day in days]
    return {"first": str(calendar.first), "last": str(calendar.last), "sun": sun}


def task_table(task: Task) -> dict[str, Any]:
    """Every figure of a task."""
    return task.model_dump(by_alias=True, mode="json") | {"lead_loss": 0.0}
