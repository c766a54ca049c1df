"""Small invented plans as tables, for the tests of the plan's schema; no test lives here."""

from __future__ import annotations

import copy
from datetime import datetime, time
from typing import Any

import pytest

from energy.plan import Plan, PlanError

Table = dict[str, Any]

LAMP: Table = {"name": "lamp", "supply": "dc12", "working_w": 10}
SAW: Table = {"name": "saw", "supply": "ac", "kind": "intermittent", "working_w": 800}
COOLER: Table = {
    "name": "cooler",
    "supply": "dc12",
    "kind": "cycling",
    "on_w": 50,
    "duty_percent": 30,
    "period_min": 20,
}
CHARGER: Table = {
    "name": "phone",
    "supply": "usb",
    "kind": "charging",
    "energy_wh": 20,
    "power_w": 10,
    "taper_from_percent": 100,
}
SMALL: Table = {
    "place": {"latitude_deg": 47.0, "longitude_deg": 9.0, "timezone": "Europe/Zurich"},
    "span": {"start": "2026-06-01T07:00:00", "end": "2026-06-02T08:00:00"},
    "pack": {"capacity_wh": 1000},
    "task": [LAMP],
}
# An invented folding panel with its label.
FOLDER: Table = {
    "name": "folder",
    "rated_w": 200,
    "v_mp": 18,
    "i_mp": 11.1,
    "v_oc": 21.6,
    "i_sc": 11.8,
    "temp_coefficient_voc_percent_per_c": -0.30,
}


def tables(**changes: Any) -> Table:
    """The small plan with some tables extended (None drops a key) and others replaced."""
    whole = copy.deepcopy(SMALL)
    for key, value in changes.items():
        if isinstance(value, dict) and isinstance(whole.get(key), dict):
            extended = {**whole[key], **value}
            value = {k: v for k, v in extended.items() if v is not None}
        whole[key] = value
    return whole


def plan(**changes: Any) -> Plan:
    return Plan.from_dict(tables(**changes))


def refused(**changes: Any) -> list[str]:
    """The lines a plan is refused with, without the origin in front."""
    with pytest.raises(PlanError) as caught:
        plan(**changes)
    assert all(line.startswith("plan: ") for line in caught.value.problems)
    return [line.removeprefix("plan: ") for line in caught.value.problems]


IN_AMP_HOURS = {"capacity_wh": None, "capacity_ah": 80, "nominal_v": 12.8}

EVERY_KEY: Table = {
    "title": "everything at once",
    "profiles": [],
    "place": {
        "latitude_deg": 55.3,
        "longitude_deg": -160.5,
        "timezone": "America/Anchorage",
        "elevation_m": 7,
        "ground": "old snow",
        "horizon": [[90, 6], [180, 12]],
        "around": ["outdoors", "wet", "afloat", "fuel", "enclosed", "alone"],
    },
    "span": {"start": datetime(2026, 9, 14, 7), "end": datetime(2026, 9, 15, 8)},
    "weather": {
        "kind": "file",
        "file": "builtin:sand-point",
        "stamps": "middle",
        "futures": 31,
        "seed": 4,
        "sky": "overcast",
        "sun_hours": [1.2, 2.1, 3.0, 4.2, 5.1, 5.4, 5.2, 4.6, 3.5, 2.3, 1.4, 1.0],
        "temp_air_c": [4, 12],
        "wind_speed_m_s": 3,
    },
    "panel": [
        {
            "name": "folding panel",
            "rated_w": 200,
            "count": 2,
            "tilt_deg": 30,
            "facing": "SSW",
            "aim": "re-aimed",
            "re_aim_at": ["09:00", time(12, 0)],
            "out_between": ["08:00", "18:00"],
            "shade": [{"between": ["15:00", "18:00"], "keep_percent": 40}],
            "condition_percent": 90,
            "condition_spread_percent": 5,
            "temp_coefficient_percent_per_c": -0.35,
            "airflow": "laid-down",
            "v_oc": 21.6,
            "i_sc": 11.8,
            "v_mp": 18,
            "i_mp": 11.1,
            "temp_coefficient_voc_percent_per_c": -0.3,
            "length_m": 2,
            "kg": 8,
            "price": 300,
        }
    ],
    "pack": {
        "chemistry": "agm",
        "capacity_ah": 100,
        "nominal_v": 12,
        "start_percent": 95,
        "reserve_percent": 50,
        "health_percent": 90,
        "health_spread_percent": 3,
        "idle_w": 1,
        "charge_max_w": 200,
        "discharge_max_w": 500,
        "temperature": "outside",
        "heated": False,
        "resistive_h": 0.1,
        "kinetic_c": 0.4,
        "kinetic_k_per_h": 1.0,
        "coulombic_percent": 88,
        "taper_from_percent": 80,
        "self_discharge_percent_month": 4,
        "kg": 30,
        "price": 200,
        "inverter": {
            "rated_w": 1000,
            "surge_w": 2000,
            "surge_s": 1,
            "idle_w": 8,
            "volts": 230,
            "efficiency_percent": 90,
            "on": [["07:00", "18:00"], ["20:00", "21:00"]],
        },
        "dc12": {"rated_w": 120, "efficiency_percent": 95},
        "usb": {"rated_w": 100, "efficiency_percent": 90},
        "solar_input": {
            "max_w": 400,
            "kind": "pwm",
            "efficiency_percent": 97,
            "max_v": 30,
            "max_a": 20,
            "connection": "parallel",
        },
    },
    "charger": [{"name": "socket", "watts": 100, "between": ["17:00", "18:30"], "days": [1]}],
    "task": [
        {
            **SAW,
            "group": "cutting",
            "source": "invented",
            "idle_w": 300,
            "duty_percent": 70,
            "start_w": 1500,
            "start_s": 0.3,
            "power_factor": 0.95,
            "hand_held": True,
            "sparks": True,
            "rotating": True,
            "dust": True,
            "hot": False,
            "wet_work": False,
            "medical": False,
            "lifts": False,
            "spread_percent": 25,
            "times": 12,
            "each_s": 45,
            "between": ["09:00", "12:00"],
            "days": [1, 2],
            "must": True,
            "priority": 1,
            "value": 0.5,
            "flexible": True,
        },
        {**COOLER, "off_w": 1},
        {**CHARGER, "at": "18:00", "charges": 2, "pause_s": 60, "with": "cooler"},
        {**LAMP, "at": time(19, 0), "hours": 2},
        {**LAMP, "minutes": 20, "between": "all-day", "after": "saw"},
    ],
    "goal": {"chance_percent": 95, "one_at_a_time": True},
    "size": {"panel_w": [100, 800], "battery_wh": [300, 4000], "candidates": "my-kit.csv"},
    "run": [
        {
            "from": "panel",
            "to": "pack",
            "length_m": 5,
            "mm2": 2.5,
            "allowed_drop_percent": 5,
            "conductor": "tinned",
            "temp_c": 40,
            "terminals_c": 75,
        },
        {"from": "pack", "to": "task:saw", "length_m": 2},
        {"from": "mast", "to": "lamp", "length_m": 9, "volts": 12, "amps": 2},
    ],
}
