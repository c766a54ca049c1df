"""Invented plans of a few winter days, for the sizes found; no test lives here."""

from __future__ import annotations

import copy
import random
from datetime import timedelta
from functools import cache
from typing import Any

from plan_tables import SAW, Table

from energy.answers.size.size import Size, size
from energy.plan import Plan

# Invented work: a lamp through the night, a saw, a pump, a phone.
LAMP: Table = {"name": "lamp", "supply": "dc12", "working_w": 8, "between": ["18:00", "07:00"]}
CUTS: Table = {**SAW, "times": 10, "each_s": 60, "between": ["09:00", "15:00"]}
PUMP: Table = {"name": "pump", "supply": "dc12", "working_w": 60, "minutes": 90, "at": "11:00"}
PHONE: Table = {
    "name": "phone",
    "supply": "usb",
    "kind": "charging",
    "energy_wh": 20,
    "power_w": 12,
    "between": ["12:00", "16:00"],
}
WINTER = {"start": "2026-01-12T07:00:00", "end": "2026-01-14T08:00:00"}
SAND_POINT = {"latitude_deg": 55.32, "longitude_deg": -160.52, "timezone": "America/Anchorage"}
GREENSBORO = {"latitude_deg": 36.1, "longitude_deg": -79.95, "timezone": "America/New_York"}
TYPICAL = {"kind": "file", "file": "builtin:greensboro"}
INVERTER = {"rated_w": 1500, "surge_w": 3000, "idle_w": 8, "on": "only-in-use"}


def small(weather: Table | None = None, pack: Table | None = None, **changes: Any) -> Plan:
    """An invented plan of two winter days; the pack and the weather extended."""
    whole: Table = {
        "place": GREENSBORO,
        "span": WINTER,
        "weather": weather or TYPICAL,
        "panel": [{"rated_w": 100, "tilt_deg": 55, "condition_spread_percent": 5}],
        "pack": {"capacity_wh": 700, "temperature": 15, **(pack or {})},
        "task": [LAMP, PUMP, PHONE],
    }
    return Plan.from_dict(copy.deepcopy({**whole, **changes}))


OUTSIDE = {"temperature": "outside"}
FLOODED = {
    "chemistry": "flooded",
    "nominal_v": 12,
    "reserve_percent": 50,
    "solar_input": {"kind": "pwm"},
}

BEFORE: dict[str, Plan] = {
    "lithium kept warm": small(),
    "lithium in the frost of the far north": small(
        {"kind": "file", "file": "builtin:sand-point"}, OUTSIDE, place=SAND_POINT
    ),
    "nickel cells, a cold morning start at 60 %": small(
        None, {**OUTSIDE, "chemistry": "nmc", "start_percent": 60, "health_spread_percent": 5}
    ),
    "sealed lead-acid outside": small(
        None, {**OUTSIDE, "chemistry": "agm", "reserve_percent": 40, "heated": False}
    ),
    "flooded lead-acid behind a plain controller": small(None, FLOODED),
    "a saw on an inverter": small(None, {"inverter": INVERTER}, task=[LAMP, CUTS]),
    "a small solar input and a slow charger": small(
        None, {"solar_input": {"max_w": 90}, "charge_max_w": 60}
    ),
    "few amps from the panels": small(None, {"solar_input": {"max_a": 4}}),
    "a long thin cable": small(
        None, None, run=[{"from": "panel", "to": "pack", "length_m": 15, "mm2": 2.5}]
    ),
    "a long thin lead to the pump": small(
        None,
        {"nominal_v": 12.8},
        run=[{"from": "pack", "to": "task:pump", "length_m": 8, "mm2": 1.5}],
    ),
    "twelve sun-hour figures": small(
        {
            "kind": "monthly",
            "sun_hours": [2.4, 3.1, 4.2, 5.4, 5.6, 6.2, 6.1, 5.6, 4.4, 3.6, 2.4, 2.2],
            "futures": 24,
            "temp_air_c": [-2, 9],
        }
    ),
    "the rough table": small({"kind": "climate", "futures": 20, "temp_air_c": [-4, 6]}, OUTSIDE),
}


def at_random(name: str, start: Plan) -> Plan:
    """The plan with its day, tilt and the amount of its first two tasks drawn by chance."""
    luck = random.Random(name)
    day = timedelta(days=luck.randrange(20))
    changes: Table = {
        "span.start": start.span.start + day,
        "span.end": start.span.end + day,
        "panel.1.tilt_deg": luck.uniform(30, 70),
        "task.1.working_w": luck.uniform(5, 11),
    }
    if len(start.task) == 3:
        changes["task.2.minutes"] = luck.uniform(40, 150)
    else:
        changes["task.2.times"] = luck.randrange(6, 20)
    return start.replace(**changes)


CASES = {name: at_random(name, start) for name, start in BEFORE.items()}


@cache
def sized(name: str = "lithium kept warm") -> Size:
    """What `size` says of a case, worked out once."""
    return size(CASES[name])
