"""Random plans that use every way of saying when and how much, on packs that often say no. All are
invented."""

from __future__ import annotations

from contextlib import suppress
from datetime import datetime, timedelta
from typing import Any

import numpy as np
from checkout import ROOT

from energy import Plan, PlanError
from energy.simulation.bursts import days_of
from energy.simulation.case import calendar_of

Random = np.random.Generator
PLACES = {
    "Europe/Berlin": (52.5, 13.4, ("2026-03-28", "2026-10-24", "2026-06-10")),
    "America/Anchorage": (61.2, -149.9, ("2026-03-07", "2026-10-31", "2026-12-20")),
    "Asia/Kathmandu": (27.7, 85.3, ("2028-02-28",)),
    "Australia/Lord_Howe": (-31.6, 159.1, ("2026-04-04", "2026-10-03")),
    "Pacific/Apia": (-13.8, -171.8, ("2026-01-05",)),
    "Arctic/Longyearbyen": (78.2, 15.6, ("2026-06-20", "2026-12-20")),
}
CLOCKS = ("00:00", "02:30", "06:00", "08:15", "09:00", "12:00", "13:20", "17:45", "21:00", "23:30")
SUNS = ("sunrise", "sunset", "sunrise-30min", "sunset+1.5h", "sunset-20min")


TRACE = ROOT / "tests" / "shared" / "page_trace.csv"  # invented


def chosen(random: Random, values: Any) -> Any:
    return values[int(random.integers(len(values)))]


def random_task(random: Random, name: str, days: int) -> dict[str, Any]:
    """A [[task]] table of any kind."""
    watts = float(random.integers(3, 130))
    table: dict[str, Any] = {
        "name": name,
        "supply": chosen(random, ("ac", "ac", "ac", "dc12", "usb")),
        "must": bool(random.random() < 0.2),
        "priority": int(random.integers(1, 4)),
        "spread_percent": float(random.choice([0, 20, 35])),
    }
    if table["supply"] == "ac":
        watts *= 6.0
        table |= {"power_factor": chosen(random, (1.0, 0.9, 0.6))}
        table |= chosen(random, ({}, {"start_w": 2.2 * watts, "start_s": chosen(random, (0.3, 2))}))
    match int(random.integers(5)):
        case 0:
            table |= {"working_w": watts}
        case 1:
            table |= {"kind": "intermittent", "working_w": watts, "idle_w": watts / 3,
                      "duty_percent": 60}  # fmt: skip
        case 2:
            table |= {"kind": "cycling", "on_w": watts, "off_w": chosen(random, (0, 2)),
                      "duty_percent": chosen(random, (35, 100)),
                      "period_min": chosen(random, (13.7, 40))}  # fmt: skip
        case 3:
            table |= {"kind": "trace", "trace": str(TRACE)}
        case _:
            table |= {"kind": "charging", "power_w": watts, "energy_wh": 0.7 * watts + 1,
                      "taper_from_percent": chosen(random, (0, 80, 100))}  # fmt: skip
    return table | _amount(random, table.get("kind")) | _when(random, days)


def _amount(random: Random, kind: str | None) -> dict[str, Any]:
    if kind == "trace":
        return chosen(random, ({}, {"times": 3}, {"minutes": 25}))
    if kind == "charging":
        return chosen(random, ({}, {"charges": 2}, {"minutes": 25}))
    counted = {"times": int(random.integers(1, 9)), "each_s": chosen(random, (7, 45.5, 600))}
    return chosen(random, (counted, counted, {"minutes": 40.5}, {"hours": 3}, {}))


def _when(random: Random, days: int) -> dict[str, Any]:
    times = CLOCKS + SUNS
    between = [chosen(random, times), chosen(random, times)]
    when = chosen(random, ({"between": between}, {"between": between}, {"at": between[0]}, {}))
    if between[0] == between[1] and "between" in when:
        when = {}
    if "at" in when and random.random() < 0.5:
        when |= {"pause_s": 61}
    if random.random() < 0.3:
        when |= {"days": sorted({int(random.integers(1, days + 1)) for _ in range(2)})}
    return when


def random_plan(seed: int, fits: bool = True) -> Plan:
    """A plan of one to three days and three to nine tasks, two of which may share a name; where it
    need not fit, repeats may find a sunset too near to a sunrise."""
    random = np.random.default_rng(seed)
    while True:
        with suppress(PlanError):  # such as "at" without an amount, or repeats that never fit
            plan = Plan.from_dict(_tables(random))
            if fits:
                days_of(plan, calendar_of(plan))
            return plan


def _tables(random: Random) -> dict[str, Any]:
    zone = chosen(random, tuple(PLACES))
    latitude, longitude, dates = PLACES[zone]
    days = int(random.integers(1, 4))
    start = datetime.fromisoformat(chosen(random, dates)) + timedelta(hours=7, minutes=20)
    end = start + timedelta(days=days - 1, hours=int(random.integers(5, 17)))
    names = ["cut", "drill", "light", "tea", "pump", "radio", "sand", "fan"]
    tasks = [random_task(random, name, days) for name in names[: int(random.integers(3, 9))]]
    if random.random() < 0.3:
        tasks.append({**tasks[0], **_when(random, days)})
    inverter = {
        "rated_w": 700, "surge_w": 1400, "surge_s": 1, "idle_w": 8,
        "on": chosen(random, ("with-tasks", "with-tasks", "only-in-use", "always",
                              [["07:00", "13:00"], ["20:00", "01:00"]])),
    }  # fmt: skip
    pack = {
        "chemistry": chosen(random, ("lfp", "agm")),
        "capacity_wh": chosen(random, (1500, 1500, 120)),
        "temperature": chosen(random, (20, "outside")),
        "discharge_max_w": chosen(random, (500, 1500)),
        "dc12": {"rated_w": 150},
        "usb": {"rated_w": 100},
    }
    return {
        "place": {"latitude_deg": latitude, "longitude_deg": longitude, "elevation_m": 10,
                  "timezone": zone},
        "span": {"start": start, "end": end},
        "weather": {"kind": "sky", "sky": "broken", "temp_air_c": [2, 9], "futures": 5},
        "panel": chosen(random, ([], [], [{"rated_w": 100}])),
        "pack": pack | chosen(random, ({"inverter": inverter}, {"inverter": inverter}, {})),
        "charger": chosen(random, ([], [{"name": "van", "watts": 90,
                                         "between": ["17:00", "sunset+2h"], "days": [1]}])),
        "task": tasks,
    }  # fmt: skip
