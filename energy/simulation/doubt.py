"""Where the doubt about the lowest charge comes from: the weather, the loads or the kit."""

from dataclasses import replace

import numpy as np

from energy.model.simulate import simulate
from energy.simulation.result import Budget
from energy.simulation.success import lowest_point
from energy.weather.synthetic.synthetic import SCENARIOS

NO_SPREAD = 1e-5  # [percent squared]


def doubt(result: Budget) -> dict[str, float]:
    """Where the doubt about the lowest charge comes from: the shares (0 to 1) of the weather,
    the loads and the kit (the panels' condition, the pack's health).

    From more runs, each with all but one held at their means over the scenarios. Empty where
    nothing moves the lowest charge.
    """
    case = result.case.scenarios(slice(SCENARIOS))  # as many as tell of a spread
    scenarios = case.factor.shape[1]
    derate = result.derate[:scenarios]
    capacity_wh = np.full(scenarios, case.battery.capacity_wh.mean())
    own_sun = case.solar_w / np.where(derate > 0.0, derate, 1.0)  # none where nothing is given
    mean_sun = np.broadcast_to(own_sun.mean(axis=1, keepdims=True), case.solar_w.shape)
    calm = replace(
        case,
        battery=replace(case.battery, capacity_wh=capacity_wh),
        solar_w=mean_sun * derate.mean(),
        temp_pack=case.temp_pack.mean(axis=1, keepdims=True),
        factor=np.ones_like(case.factor),
    )
    only = {
        "weather": replace(calm, solar_w=own_sun * derate.mean(), temp_pack=case.temp_pack),
        "loads": replace(calm, factor=case.factor),
    }
    pack, panels = result.plan.pack, result.plan.panel
    if pack.health_spread_percent or any(p.condition_spread_percent for p in panels):
        only["kit"] = replace(calm, battery=case.battery, solar_w=mean_sun * derate)
    spread = {
        name: lowest_point(varied, simulate(varied, books=False))[1].var()
        for name, varied in only.items()
    }
    total = sum(spread.values())
    if total < NO_SPREAD:
        return {}
    return {name: float(variance / total) for name, variance in spread.items()}
