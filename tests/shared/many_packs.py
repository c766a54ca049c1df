"""An invented case of many segments for many packs at once; no test lives here."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from energy.model import Array
from energy.model.battery import Battery
from energy.model.case import Case, Load
from energy.model.electronics import inverter_curve


def random_case(seed: int, changes: dict[str, Any]) -> Case:
    """Invented: 3 weathers, 240 segments of a minute to an hour, frost, five tasks, a charger."""
    rng = np.random.default_rng(seed)
    count, weathers = 240, 3
    seconds = rng.choice([60.0, 300.0, 900.0, 3600.0], count)
    sun = np.maximum(np.sin(np.arange(count) / 12.0), 0.0)[:, None] * rng.uniform(0.0, 400.0, 3)
    lit = sun[:, 0] > 0.0
    battery = Battery("lfp", np.ones(3), np.ones(3), 1.0, 0.06, 0.99, 0.9, 3e-5)
    on = rng.random(count) < 0.5
    loads = []
    for task, supply in enumerate(("usb", "ac", "dc12", "ac", "ac")):
        rows = (
            np.flatnonzero(on & (rng.random(count) < 0.6)) if supply == "ac" else np.arange(count)
        )
        watts = rng.uniform(0.0, 60.0, rows.size)
        loads.append(Load(task, supply, rows, watts, lead_loss=0.04 * (task == 3)))
    return Case(
        edges=np.concatenate([[0.0], np.cumsum(seconds)]),
        battery=replace(battery, **changes),
        solar_w=sun[lit],
        solar_row=np.where(lit, np.cumsum(lit) - 1, -1),
        controller_efficiency=0.97,
        charger_w=np.where(np.arange(count) % 60 < 4, 90.0, 0.0),
        temp_pack=12.0 * np.sin(np.arange(count) / 30.0)[:, None] + rng.uniform(-8.0, 12.0, 3),
        temp_row=np.arange(count),
        idle_w=float(rng.choice([0.0, 3.0])),
        inverter=inverter_curve(600.0, 8.0, 90.0),
        inverter_on=on.astype(float),
        outlet_efficiency={"dc12": 0.95, "usb": 0.9},
        loads=loads,
        factor=rng.uniform(0.8, 1.2, (5, weathers)),
    )


def by_scenarios(case: Case, battery: Battery, share: Array, limit_w: float) -> Case:
    """The case with each design in each weather as a scenario of its own, weather by weather."""
    weather = np.repeat(np.arange(3), share.size)
    sun = np.minimum(case.solar_w[:, weather] * np.tile(share, 3), limit_w)
    return replace(
        case,
        battery=battery,
        solar_w=sun,
        temp_pack=case.temp_pack[:, weather],
        factor=case.factor[:, weather],
    )
