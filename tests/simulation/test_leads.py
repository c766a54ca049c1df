"""What a tool's lead costs in the simulation: by hand, in the books, also in a flat pack."""

import numpy as np
import pytest
from plan_tables import LAMP, SAW, plan

from energy.answers.wire.wire import wire
from energy.simulation.budget import budget, changed

INVERTER = {"rated_w": 2000, "idle_w": 10}
LEAD = {"from": "pack", "to": "task:lamp", "length_m": 20, "mm2": 1}
BRIGHT = {**LAMP, "working_w": 60, "spread_percent": 0}
SAWING = {**SAW, "at": "08:00", "minutes": 9, "spread_percent": 0}


def dark(run=(), task=(BRIGHT,), **pack):
    """A pack alone, twelve hours, nothing drawn by chance."""
    pack = {"capacity_wh": 2000, "nominal_v": 12.8, "inverter": INVERTER, **pack}
    span = {"start": "2026-06-01T07:00:00", "end": "2026-06-01T19:00:00"}
    weather = {"kind": "clear", "temp_air_c": 15}
    return plan(pack=pack, span=span, weather=weather, task=list(task), run=list(run))


def books(b):
    return {name: float(entry[0]) for name, entry in b.ledger_wh.items()}


def test_a_lead_costs_current_squared_times_resistance():
    # 60 W at 12.8 V; IEC 60228: 2 x 20 m of 1 mm2 at 19.5 ohm/km, 60 C; 95 % at the outlet.
    bare, led = books(budget(dark())), books(budget(dark([LEAD])))
    ohm = 0.040 * 19.5 * (1.0 + 0.00393 * 40.0)
    lost_wh = 12.0 * (60.0 / 12.8) ** 2 * ohm
    more = led["conversion_loss"] - bare["conversion_loss"]
    assert more == pytest.approx(lost_wh / 0.95)
    assert led["delivered"] == pytest.approx(bare["delivered"])


def test_the_loss_simulated_is_the_loss_shown():
    lost_wh = 12.0 * wire(dark([LEAD])).runs[0].loss_w
    bare, led = books(budget(dark())), books(budget(dark([LEAD])))
    assert led["conversion_loss"] - bare["conversion_loss"] == pytest.approx(lost_wh / 0.95)


def test_a_mains_lead_counts_the_power_factor():
    saw = {**SAW, "duty_percent": 100, "power_factor": 0.8, "spread_percent": 0}
    saw |= {"at": "09:00", "minutes": 60}
    lead = {"from": "pack", "to": "task:saw", "length_m": 50, "mm2": 1.5}
    led = budget(dark([lead], [saw]))
    ohm = 0.100 * 13.3 * (1.0 + 0.00393 * 40.0)
    at_outlet = 800.0 + (800.0 / 0.8 / 230.0) ** 2 * ohm
    assert led.case.inverter is not None
    from_bus = float(led.case.inverter.input_w(np.array(at_outlet))) - 10.0
    assert books(led)["conversion_loss"] == pytest.approx(from_bus - 800.0)


@pytest.mark.parametrize("capacity_wh", [200, 2000])
@pytest.mark.parametrize(
    "task", [[BRIGHT], [BRIGHT, {**SAW, "at": "08:00", "minutes": 9, "spread_percent": 0}]]
)
def test_the_ledger_closes_with_leads_also_in_a_flat_pack(capacity_wh, task):
    leads = [LEAD, {**LEAD, "to": "task:saw"}][: len(task)]
    result = budget(dark(leads, task, capacity_wh=capacity_wh))
    kept = books(result)
    asked = float(result.asked_wh.sum())
    assert kept["delivered"] + kept["unmet"] == pytest.approx(asked, rel=1e-9)
    lost = ("charge_loss", "discharge_loss", "idle", "conversion_loss", "delivered")
    assert sum(kept[name] for name in lost) == pytest.approx(-kept["stored_change"], rel=1e-9)


def test_a_thinner_lead_empties_the_pack_sooner():
    ends = [budget(dark([{**LEAD, "mm2": mm2}])).charge_percent[-1, 0] for mm2 in (1, 2.5, 10)]
    assert ends[0] < ends[1] < ends[2] < budget(dark()).charge_percent[-1, 0]


def test_a_changed_cable_is_worked_out_anew():
    panel = [{"rated_w": 200}]
    run = [{"from": "panel", "to": "pack", "length_m": 9, "mm2": 10}]
    known = budget(dark(start_percent=30).replace(panel=panel, run=run))
    thin = changed(known, {"run.1.mm2": 1})
    assert thin.charge_percent[-1, 0] < known.charge_percent[-1, 0] - 0.1
