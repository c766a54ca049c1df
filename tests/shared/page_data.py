"""What a page carries of a plan, written by hand from its budget, and the functions of the script
that tests ask for it. The sun is left in the cells of the budget."""

from __future__ import annotations

import base64
import json
from datetime import datetime
from functools import cache
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import page_script
from page_script import script_battery

from energy.model.timeline import Calendar
from energy.plan.task import Task
from energy.simulation.case import inverter_windows, limits_of, random_factors
from energy.simulation.result import Budget

DAY_S = 86400.0
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
    epoch = datetime(1970, 1, 1).date()
    return {
        "data": {"zone": zone(calendar), "dates": dates(calendar)},
        "firstDay": (calendar.first - epoch).days,
        "lastDay": (calendar.last - epoch).days,
    }


def zone(calendar: Calendar) -> dict[str, Any]:
    """A zone's offsets from 3 days before the dates to 3 after, found quarter hour by quarter
    hour."""
    name = calendar.zone.key
    first, last = (
        datetime(d.year, d.month, d.day, tzinfo=ZoneInfo("UTC")).timestamp()
        for d in (calendar.first, calendar.last)
    )
    quarters = np.arange(first - 4 * DAY_S, last + 5 * DAY_S, 900.0)
    offsets = [
        datetime.fromtimestamp(t, calendar.zone).utcoffset().total_seconds() for t in quarters
    ]
    changes = [
        [float(t), after]
        for t, (before, after) in zip(quarters[1:], pairwise(offsets), strict=True)
        if after != before
    ]
    return {"name": name, "offsets": [[float(quarters[0]), offsets[0]], *changes]}


def dates(calendar: Calendar) -> dict[str, Any]:
    count = (calendar.last - calendar.first).days + 4
    midnight = np.datetime64(calendar.first)
    days = [(midnight + np.timedelta64(k - 1, "D")).item() for k in range(count)]
    return {
        "first": str(calendar.first),
        "last": str(calendar.last),
        "sun": [list(calendar.sun_times(day)) for day in days],
    }


def task_table(task: Task, lead_loss: float = 0.0) -> dict[str, Any]:
    """Every figure of a task."""
    return task.model_dump(by_alias=True, mode="json") | {"lead_loss": lead_loss}


def page_data(whole: Budget) -> dict[str, Any]:
    """The data of a page for a budget from the plan's start, without what layOut() leaves alone."""
    plan, calendar, case = whole.plan, whole.calendar, whole.case
    count = whole.capacity_wh.size
    limits = limits_of(plan, inverter_windows(plan, calendar))
    leads = {load.task: load.lead_loss for load in case.loads}
    columns = case.temp_pack.shape[1]
    cells = whole.days.cells.size - 1
    temp = case.temp_pack if plan.pack.temperature is None else np.full((cells, 1), case.temp_pack)
    unit_w = max(float(whole.solar.panel_w.max(initial=0.0)) / 65535.0, 1e-9)
    return {
        "zone": zone(calendar),
        "span": list(whole.days.span),
        "dates": dates(calendar),
        "cells": whole.days.cells.tolist(),
        "lit": whole.days.lit.tolist(),
        "weathers": [
            {
                "count": count,
                "sun": {"unit_w": unit_w, "data": packed(whole.solar.panel_w / unit_w, "<u2")},
                "temp": {"columns": columns, "data": packed(temp * 100.0, "<i2")},
            }
        ],
        "skies": {"clear": (10.0 + np.arange(whole.days.lit.size)).tolist()},
        "capacity_wh": packed(whole.capacity_wh, "<f8"),
        "normals": {
            task.name: packed(normals(plan, task.name, count), "<f4") for task in plan.task
        },
        "spare": [packed(np.linspace(-1.0, 1.0, count), "<f4")],
        "battery": script_battery(case.battery),
        "controller_efficiency": case.controller_efficiency,
        "idle_w": case.idle_w,
        "chargers": [
            [*window, charger.watts]
            for charger in plan.charger
            for window in calendar.windows(charger.between, charger.days)
        ],
        "limits": {
            "curve": vars(limits.curve) if limits.curve else None,
            "surge_w": limits.surge_w,
            "surge_s": limits.surge_s,
            "on": limits.on,
            "outlet_rated_w": limits.outlet_rated_w,
            "outlet_efficiency": limits.outlet_efficiency,
            "discharge_max_w": limits.discharge_max_w,
            "battery_max_w": limits.battery_max_w if np.isfinite(limits.battery_max_w) else None,
        },
        "tasks": [task_table(task, leads.get(k, 0.0)) for k, task in enumerate(plan.task)],
    }


def normals(plan, name: str, count: int) -> np.ndarray:
    """Standard normals behind the factors of a name."""
    sigma = np.sqrt(np.log1p(0.04))
    return np.log(random_factors(plan, "task", name, 20.0, count)) / sigma + sigma / 2.0


def packed(values: Any, kind: str) -> str:
    values = np.asarray(values)
    values = np.round(values) if np.dtype(kind).kind in "iu" else values
    return base64.b64encode(values.astype(kind).tobytes()).decode()
