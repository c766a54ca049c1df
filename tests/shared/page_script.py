"""The page's script in an embedded V8: loaded, given cases of Python's simulation, asked."""

from __future__ import annotations

import atexit
import json
from functools import cache
from typing import Any

import numpy as np
import py_mini_racer
from checkout import ROOT

from energy.answers.page.page import SCRIPTS
from energy.model import Array
from energy.model.battery import USABLE, Battery
from energy.model.case import Case

SCRIPT = ROOT / "energy" / "answers" / "page" / "script"
WITH_DOCUMENT = ("view",)

# What JSON cannot hold or JavaScript wants typed, and back.
BRIDGE = """
const ARRAYS = { Float64Array, Int32Array, Uint8Array };
function typed(key, value) {
  if (value === "Infinity") return Infinity;
  if (value && value.pairs) return Object.fromEntries(value.pairs);
  return value && value.array ? ARRAYS[value.array].from(value.values.map(Number)) : value;
}
function plain(key, value) {
  if (typeof value === "number" && !isFinite(value)) return String(value);
  return ArrayBuffer.isView(value) ? Array.from(value) : value;
}
function called(name, json) {
  return JSON.stringify(globalThis[name](...JSON.parse(json, typed)), plain);
}
"""


def loaded(extra: str = "") -> py_mini_racer.MiniRacer:
    """A new context with all of the script that needs no document, and what a test adds."""
    files = [SCRIPT / f"{name}.js" for name in SCRIPTS if name not in WITH_DOCUMENT]
    script = "\n".join(file.read_text(encoding="utf-8") for file in files if file.exists())
    context = py_mini_racer.MiniRacer()
    atexit.register(context.close)  # a context left open can keep the interpreter from ending
    context.eval("\n".join((script, BRIDGE, extra)))
    return context


@cache
def shared() -> py_mini_racer.MiniRacer:
    """A context for tests that leave nothing behind."""
    return loaded()


def call(name: str, *arguments: Any, context: py_mini_racer.MiniRacer | None = None) -> Any:
    """Call a function of the script; arrays come back as lists, infinity as a number."""
    text = json.dumps(_without_escaped_keys(arguments), default=_for_json)
    answer = (context or shared()).call("called", name, text)
    return read(answer)


def _without_escaped_keys(value: Any) -> Any:
    """Tables with a key that JSON escapes go over as pairs: V8 14.4, which the package holds, reads
    such a key of one letter as the one before it (Chromium 156 does not)."""
    if isinstance(value, list | tuple):
        return [_without_escaped_keys(item) for item in value]
    if not isinstance(value, dict):
        return value
    items = [(key, _without_escaped_keys(item)) for key, item in value.items()]
    escaped = any(json.dumps(key) != f'"{key}"' for key in value)
    return {"pairs": items} if escaped else dict(items)


def _for_json(value: Any) -> Any:
    """Arrays go over with their type; -1 and up are whole numbers, floats all others."""
    if isinstance(value, np.ndarray):
        kinds = {"f": "Float64Array", "i": "Int32Array", "b": "Uint8Array", "u": "Uint8Array"}
        values = [str(v) if not np.isfinite(v) else v for v in value.ravel().tolist()]
        return {"array": kinds[value.dtype.kind], "values": values}
    if isinstance(value, np.generic):
        return value.item()
    raise TypeError(f"{type(value)} does not go into JSON")


def read(text: str) -> Any:
    """What the script wrote as JSON, with infinity and what is no number as Python has them."""
    for word in ("Infinity", "-Infinity", "NaN"):
        text = text.replace(f'"{word}"', word)
    return json.loads(text)


def script_battery(battery: Battery) -> dict[str, Any]:
    """A battery as the page's data hold it; its charging limit is one for all scenarios."""
    own = (
        "chemistry",
        "lithium",
        "start_share",
        "resistive_h",
        "coulombic",
        "taper_from",
        "self_discharge_per_h",
        "heated",
        "kinetic_c",
        "kinetic_k_per_h",
        "discharge_min_c",
    )
    (charge_max_w,) = set(battery.charge_max_w.tolist())
    at, usable = USABLE[battery.chemistry]
    figures = {name: getattr(battery, name) for name in own}
    return figures | {"charge_max_w": charge_max_w, "usable": [at, usable]}


def script_case(case: Case) -> dict[str, Any]:
    """A case of Python's simulation as the script's simulate() takes it."""
    curve = case.inverter
    return {
        "edges": floats(case.edges),
        "count": case.factor.shape[1],
        "capacityWh": floats(case.battery.capacity_wh),
        "battery": script_battery(case.battery),
        "sunRow": case.solar_row.astype(np.int32),
        "sunW": floats(case.solar_w),
        "controllerEfficiency": case.controller_efficiency,
        "chargerW": floats(case.charger_w),
        "tempRow": case.temp_row.astype(np.int32),
        "temp": floats(case.temp_pack),
        "tempColumns": case.temp_pack.shape[1],
        "idleW": case.idle_w,
        "inverter": None if curve is None else dict(vars(curve)),
        "inverterOn": case.inverter_on.astype(np.uint8),
        "outletEfficiency": case.outlet_efficiency,
        "loads": [
            {
                "task": load.task,
                "supply": load.supply,
                "rows": load.rows.astype(np.int32),
                "watts": floats(load.watts),
                "leadLoss": load.lead_loss,
            }
            for load in case.loads
        ],
        "factor": [floats(row) for row in case.factor],
    }


def floats(values: Array) -> Array:
    return np.asarray(values, dtype=float)
