"""A quiet plan that raises no caution, and the changes of it that do. Invented."""

import copy

from energy.answers.caution.cautions import cautions
from energy.plan import Plan
from energy.simulation.budget import budget

QUIET = {
    "place": {
        "latitude_deg": 10.0,
        "longitude_deg": 0.0,
        "timezone": "UTC",
        "elevation_m": 0,
    },
    "span": {"start": "2026-06-01T08:00:00", "end": "2026-06-01T20:00:00"},
    "weather": {"kind": "clear", "temp_air_c": 20},
    "pack": {"capacity_wh": 1000, "temperature": 20, "inverter": {"rated_w": 1000, "volts": 230}},
    "task": [{"name": "lamp", "supply": "dc12", "working_w": 5, "hours": 2, "at": "09:00"}],
}
PANEL = {"panel": [{"rated_w": 100}]}
PHONE = {"name": "phone", "supply": "usb", "kind": "charging", "energy_wh": 18, "power_w": 18}
LIGHT = {"name": "anchor light", "supply": "dc12", "working_w": 50, "must": True}


def with_changes(*changes: dict) -> Plan:
    """The quiet plan with keys of its tables set, or dropped where a change says None."""
    tables = copy.deepcopy(QUIET)
    for change in changes:
        for key, value in change.items():
            merged = {**tables.get(key, {}), **value} if isinstance(value, dict) else value
            if isinstance(merged, dict):
                merged = {k: v for k, v in merged.items() if v is not None}
            tables[key] = merged
    return Plan.from_dict(tables)


FOUND = {}  # by the changes: many tests ask about one plan


def found(*changes: dict) -> dict:
    key = repr(changes)
    if key not in FOUND:
        result = budget(with_changes(*changes))
        FOUND[key] = {caution.id: caution for caution in cautions(result)}
    return FOUND[key]


def task(*tasks: dict, **keys) -> dict:
    cut = {"name": "cut", "supply": "ac", "working_w": 500, "times": 2, "each_s": 30}
    cut["between"] = ["10:00", "12:00"]
    return {"task": [{**cut, **one, **keys} for one in tasks or [{}]]}


def around(*words: str) -> dict:
    return {"place": {"around": list(words)}}


def pack(**keys) -> dict:
    return {"pack": keys}


def air(low: float, high: float) -> dict:
    return {"weather": {"temp_air_c": [low, high]}, "pack": {"temperature": "outside"}}


def charger(name: str, **keys) -> dict:
    return {"charger": [{"name": name, "watts": 100, **keys}]}


def span(start: str, end: str) -> dict:
    return {"span": {"start": start, "end": end}}


def no_air(latitude_deg: float, start: str) -> list[dict]:
    place = {"place": {"latitude_deg": latitude_deg}, "weather": {"temp_air_c": None}}
    return [PANEL, place, pack(temperature="outside"), span(start, start.replace("T08", "T20"))]


def light(**keys) -> dict:
    """12 h of 50 W / 0.95 and 12 h of the pack's 3 W: 668 of 1000 Wh."""
    return {"task": [{**LIGHT, **keys}]}


def run(**keys) -> dict:
    """A run from the pack to a winch at 12 V, for 10 A over 2 m, so thick that it says nothing."""
    winch = {"from": "pack", "to": "winch", "volts": 12, "amps": 10, "length_m": 2, "mm2": 16}
    given = {**winch, **keys}
    return {"run": [{key: value for key, value in given.items() if value is not None}]}


def lead(length_m: float, to: str = "cut", **keys) -> dict:
    return {"run": [{"from": "pack", "to": f"task:{to}", "length_m": length_m, **keys}]}


def panel(**keys) -> dict:
    return {"panel": [{"rated_w": 100, **keys}]}


AFTERNOON = {"rated_w": 100, "out_between": ["12:00", "18:00"]}
COLD_NIGHT = air(-4, 20), span("2026-06-01T00:00:00", "2026-06-01T20:00:00")
AGM = pack(chemistry="agm", capacity_wh=3000)
AFLOAT = around("afloat")
MIAMI = {"weather": {"kind": "file", "file": "builtin:miami", "futures": 1}}
AT_MIAMI = {"latitude_deg": 25.8, "longitude_deg": -80.3}  # the file's own place
