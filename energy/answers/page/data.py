"""What the page carries as the JSON that its script reads.

Long rows of numbers are base64 of little-endian arrays; moments are UTC seconds.
"""

import json
from base64 import b64encode
from collections.abc import Iterable
from datetime import date, datetime, time, timedelta
from hashlib import sha256
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from energy.answers.check.words import what_decides
from energy.answers.page.coarse import CarriedWeather
from energy.model.battery import USABLE, Battery
from energy.model.limits import Limits
from energy.model.timeline import Calendar, Interval
from energy.plan import Plan
from energy.plan.places import zone_in_words
from energy.plan.task import Task
from energy.simulation.budget import Budget
from energy.simulation.cables import lead_losses
from energy.simulation.demand import limits_of
from energy.weather.record import DAY_S

if TYPE_CHECKING:
    from energy.answers.page.carried import Carried

VERSION = 1
AROUND_S = 3 * DAY_S  # how far beyond the span the clock is told
OF_THE_FILE = ("source", "each_min")  # keys of a task that nothing is worked out from


def data_of(carried: "Carried") -> dict[str, Any]:
    """Everything that the script needs."""
    full, plan = carried.full, carried.plan
    calendar, span = full.calendar, full.days.span
    written = as_written(plan)
    skies = {sky: watts.tolist() for sky, watts in carried.skies.items()}
    return {
        "version": VERSION,
        "id": plan_id(plan),
        "title": plan.title,
        "origin": plan.origin,
        "plan": written,
        "zone": {"name": zone_in_words(calendar.zone.key), "offsets": offsets(calendar, span)},
        "span": list(span),
        "dates": _dates(calendar),
        "goal_percent": plan.goal.chance_percent,
        "reserve_percent": plan.pack.reserve_percent,
        "mean_uncertain": full.weather.mean_uncertain,
        "cells": carried.cells.tolist(),
        "lit": carried.lit.tolist(),
        "weathers": [
            _weather(weather, source)
            for weather, source in zip(carried.weathers, full.deciding, strict=False)
        ],
        **({"skies": skies} if skies else {}),
        "normals": {name: packed(normals, "<f4") for name, normals in carried.normals.items()},
        "spare": [packed(normals, "<f4") for normals in carried.spare],
        "battery": _battery(full.case.battery),
        "controller_efficiency": full.case.controller_efficiency,
        "idle_w": full.case.idle_w,
        "chargers": _chargers(plan, calendar),
        "limits": limits_data(limits_of(plan, calendar)),
        "tasks": _tasks(carried),
        "usual": USUAL,
        "tools": [
            {key: value for key, value in _figures(task).items() if value != USUAL[key]}
            | {"tool": name}
            for name, task in plan.tools().items()
        ],
        "replaced": plan.replaced,
        "full": {
            "answer": full.answer,
            "text": f"{what_decides(carried.check)}.",
            "futures": full.success.size,
        },
    }


def rounding_words(carried: "Carried") -> str:
    """What the page's coarser sun costs, and of which weathers its days on the screen are."""
    minutes = round(float(np.diff(carried.cells).max()) / 60.0)
    words = f"sun by {minutes} minutes: in no weather the lowest charge moves by more than"
    words += f" {max(carried.off_by_percent, 0.05):.1f} points"
    if (futures := carried.full.success.size) > carried.scenarios:
        words += f". On the screen the middling and the dull day are those of {carried.scenarios}"
        words += f" of the {futures} weathers, on paper and in energy check of all {futures}: they"
        words += " can lie points apart"
    return words


def as_written(plan: Plan) -> dict[str, Any]:
    """The tables of a plan as the person wrote them, dates as ISO text.

    >>> as_written(Plan.read("builtin:cloudy-repair"))["span"]["start"]
    '2026-09-14T07:00:00'
    """
    tables: dict[str, Any] = _plain(plan.source)
    return tables


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    return value.isoformat() if isinstance(value, date | datetime | time) else value


def plan_id(plan: Plan) -> str:
    """What tells a plan from all others: a hash of its tables, its seed among them.

    >>> plan = Plan.read("builtin:cloudy-repair")
    >>> plan_id(plan) == plan_id(plan.replace(**{"weather.seed": 1}))
    False
    """
    text = json.dumps([as_written(plan), plan.weather.seed], ensure_ascii=False)
    return sha256(text.encode()).hexdigest()[:16]


def packed(values: NDArray[Any], kind: str) -> str:
    """An array as base64 of its numbers, row by row.

    >>> packed(np.array([1.0, 256.0]), "<u2")
    'AQAAAQ=='
    """
    return b64encode(np.ascontiguousarray(values, dtype=kind).tobytes()).decode("ascii")


def _weather(weather: CarriedWeather, source: Budget) -> dict[str, Any]:
    count = weather.count
    return {
        "count": count,
        "shift_days": source.weather.shift_days[:count].tolist(),
        "capacity_wh": packed(source.capacity_wh[:count], "<f8"),
        "sun": {"unit_w": weather.unit_w, "data": packed(weather.sun_steps, "<u2")},
        "temp": {"columns": weather.temp_steps.shape[1], "data": packed(weather.temp_steps, "<i2")},
    }


def offsets(calendar: Calendar, span: Interval) -> list[list[float]]:
    """The zone's offsets from UTC [s] around a span, each with the moment from which it holds; the
    first holds before, too.

    >>> from energy.simulation.case import calendar_of, span_of
    >>> plan = Plan.read("builtin:cloudy-repair")
    >>> [offset / 3600 for _, offset in offsets(calendar_of(plan), span_of(plan))]
    [-8.0]
    """

    def offset_s(time_s: float) -> float:
        return (calendar.moment(time_s).utcoffset() or timedelta()).total_seconds()

    begins_s, ends_s = float(np.floor(span[0] - AROUND_S)), float(np.ceil(span[1] + AROUND_S))
    steps = [[begins_s, offset_s(begins_s)]]
    hours = np.append(np.arange(begins_s, ends_s, 3600.0), ends_s)
    for low, high in pairwise(hours.tolist()):
        if offset_s(high) == offset_s(low):
            continue
        while high - low > 1.0:
            middle = float(np.floor((low + high) / 2.0))
            low, high = (middle, high) if offset_s(middle) == offset_s(low) else (low, middle)
        steps.append([high, offset_s(high)])
    return steps


def _dates(calendar: Calendar) -> dict[str, Any]:
    days = (calendar.last - calendar.first).days + 4
    return {
        "first": calendar.first.isoformat(),
        "last": calendar.last.isoformat(),
        "sun": [calendar.sun_times(calendar.first + timedelta(k - 1)) for k in range(days)],
    }


def _battery(battery: Battery) -> dict[str, Any]:
    return {
        "chemistry": battery.chemistry,
        "lithium": battery.lithium,
        "charge_max_w": float(battery.charge_max_w[0]),
        "start_share": battery.start_share,
        "resistive_h": battery.resistive_h,
        "coulombic": battery.coulombic,
        "taper_from": battery.taper_from,
        "self_discharge_per_h": battery.self_discharge_per_h,
        "heated": battery.heated,
        "kinetic_c": battery.kinetic_c,
        "kinetic_k_per_h": battery.kinetic_k_per_h,
        "discharge_min_c": battery.discharge_min_c,
        "usable": [list(column) for column in USABLE[battery.chemistry]],
    }


def _chargers(plan: Plan, calendar: Calendar) -> list[list[float]]:
    return [
        [*window, charger.watts]
        for charger in plan.charger
        for window in calendar.windows(charger.between, charger.days)
    ]


def limits_data(limits: Limits) -> dict[str, Any]:
    """What a pack can deliver at once, as the script takes it [W, s]."""
    curve, most_w = limits.curve, limits.battery_max_w
    return {
        "curve": None if curve is None else vars(curve),
        "surge_w": limits.surge_w,
        "surge_s": limits.surge_s,
        "on": limits.on if isinstance(limits.on, str) else [list(window) for window in limits.on],
        "outlet_rated_w": limits.outlet_rated_w,
        "outlet_efficiency": limits.outlet_efficiency,
        "discharge_max_w": limits.discharge_max_w,
        "battery_max_w": most_w if np.isfinite(most_w) else None,
    }


def _tasks(carried: "Carried") -> list[dict[str, Any]]:
    lost = lead_losses(carried.plan, carried.full.days.site.cold)
    return [
        _figures(task) | {"lead_loss": lost.get(k, 0.0)} for k, task in enumerate(carried.plan.task)
    ]


def _figures(task: Task) -> dict[str, Any]:
    """The figures of a task, its tool's merged in."""
    figures = task.model_dump(by_alias=True, exclude=set(OF_THE_FILE))
    return {key: _listed(value) for key, value in figures.items()}


def _listed(value: Any) -> Any:
    return (
        [_listed(item) for item in value]
        if isinstance(value, Iterable) and not isinstance(value, str)
        else value
    )


# What most tools have in common is carried once.
USUAL = _figures(Task(name="", supply="ac"))
