"""The pass through time: the books close, scenarios do not see each other, and a pack that is
empty, full or frozen serves what the source allows. Energy balance is the check; scenarios are
invented.
"""

from datetime import date, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from energy.model.simulate import simulate
from energy.plan import Plan
from energy.simulation.budget import Budget, budget
from energy.simulation.result import LEDGER

PLACE = {"latitude_deg": 47.0, "longitude_deg": 9.0, "timezone": "Europe/Zurich"}
PLAIN = {
    "capacity_wh": 1000,
    "temperature": 25,
    "idle_w": 0,
    "self_discharge_percent_month": 0,
    "dc12": {"rated_w": 500, "efficiency_percent": 100},
}
SKIES = st.sampled_from(
    [
        {"kind": "clear", "futures": 2},
        {"kind": "sky", "sky": [5], "temp_air_c": [-6, 4], "futures": 3},
        {"kind": "file", "file": "builtin:greensboro", "futures": 4},
        {"kind": "file", "file": "builtin:sand-point", "futures": 2},
    ]
)
WATTS = st.floats(1.0, 300.0)


def plan(pack: dict, *tasks: dict, hours: float = 4, **tables: object) -> Plan:
    """A plan of a June morning from 8 o'clock under a clear sky, unless told otherwise."""
    start = datetime(2026, 6, 10, 8)
    return Plan.from_dict(
        {
            "place": {**PLACE, "elevation_m": 400},
            "span": {"start": start, "end": start + timedelta(hours=hours)},
            "weather": {"kind": "clear"},
            "pack": {**PLAIN, **pack},
            "task": [{"spread_percent": 0, "supply": "dc12", **task} for task in tasks],
            **tables,
        }
    )


@st.composite
def plans(draw: st.DrawFn) -> Plan:
    """Plans of one or two days with every kind of load, panel and chemistry."""
    begin = datetime.combine(
        draw(st.dates(date(2024, 1, 1), date(2027, 12, 30))), datetime.min.time()
    )
    begin += timedelta(minutes=draw(st.integers(0, 1400)))
    inverter = {
        "rated_w": 800,
        "on": draw(st.sampled_from(["with-tasks", "only-in-use", "always"])),
    }
    pack = {
        "chemistry": draw(st.sampled_from(["lfp", "nmc", "agm", "flooded"])),
        "capacity_wh": draw(st.floats(50.0, 3000.0)),
        "start_percent": draw(st.floats(0.0, 100.0)),
        "health_spread_percent": draw(st.sampled_from([0, 10])),
        "idle_w": draw(st.floats(0.0, 10.0)),
        "solar_input": {"max_w": draw(st.floats(20.0, 400.0))},
        "inverter": inverter,
    }
    tasks = [
        {"name": "lamp", "supply": "dc12", "working_w": draw(WATTS), "must": True},
        {"name": "phone", "supply": "usb", "working_w": 20, "between": ["20:00", "06:00"]},
        {
            "name": "saw",
            "supply": "ac",
            "kind": "intermittent",
            "working_w": draw(WATTS),
            "idle_w": 5,
            "duty_percent": 60,
            "times": draw(st.integers(1, 9)),
            "each_s": 50,
            "between": ["09:00", "sunset"] if draw(st.booleans()) else ["09:00", "15:00"],
        },
        {
            "name": "fridge",
            "supply": "ac",
            "kind": "cycling",
            "on_w": draw(WATTS),
            "duty_percent": 40,
            "period_min": 35,
        },
    ]
    panel = {
        "rated_w": draw(st.floats(10.0, 600.0)),
        "condition_spread_percent": 5,
        "aim": draw(st.sampled_from(["fixed", "flat", "follow"])),
        "out_between": ["07:10", "17:45"],
        "shade": [{"between": ["14:00", "16:00"], "keep_percent": 30}],
    }
    return Plan.from_dict(
        {
            "place": {"latitude_deg": draw(st.floats(-45, 45)), "longitude_deg": -75.0,
                      "timezone": "America/New_York", "horizon": [[90, 5]]},
            "span": {"start": begin, "end": begin + timedelta(hours=draw(st.integers(2, 40)))},
            "weather": draw(SKIES),
            "panel": [panel],
            "pack": pack,
            "charger": [{"name": "socket", "watts": draw(WATTS), "between": ["10:00", "13:20"]}],
            "task": tasks,
        }
    )  # fmt: skip


few = settings(max_examples=8, deadline=None)


@given(plans())
@few
def test_the_ledger_closes_in_every_scenario(plan: Plan) -> None:
    books = budget(plan).ledger_wh
    came = books["sun_on_panel"] + books["other_charging"]
    went = sum(
        books[name] for name in LEDGER if name not in ("sun_on_panel", "other_charging", "unmet")
    )
    throughput = came + books["delivered"] + np.abs(books["stored_change"]) + books["idle"]
    assert (np.abs(came - went) <= 1e-9 * np.maximum(throughput, 1.0)).all()


@given(plans())
@few
def test_what_is_asked_is_delivered_or_unmet(plan: Plan) -> None:
    result = budget(plan)
    asked = (result.asked_wh[:, None] * result.case.factor).sum(axis=0)
    assert result.ledger_wh["delivered"] + result.ledger_wh["unmet"] == pytest.approx(
        asked, rel=1e-9
    )


@given(plans())
@few
def test_no_entry_of_the_ledger_is_negative(plan: Plan) -> None:
    books = budget(plan).ledger_wh
    throughput = books["sun_on_panel"] + books["delivered"] + books["other_charging"] + 1.0
    lowest = {name: (books[name] / throughput).min() for name in LEDGER if name != "stored_change"}
    assert min(lowest.values()) >= -1e-9, lowest


@given(plans())
@few
def test_the_charge_stays_between_empty_and_full(plan: Plan) -> None:
    charge = budget(plan).charge_percent
    assert charge.min() >= -1e-9
    assert charge.max() <= 100.0 + 1e-9


@given(plans(), st.integers(0, 3))
@few
def test_a_scenario_alone_goes_as_it_went_among_many(plan: Plan, scenario: int) -> None:
    result = budget(plan)
    scenario %= result.success.size
    alone = simulate(result.case.scenarios(slice(scenario, scenario + 1)))
    assert alone.store_wh[:, 0] == pytest.approx(
        result.simulated.store_wh[:, scenario], rel=1e-12, abs=1e-12
    )
    for name, entry in alone.ledger_wh.items():
        assert entry[0] == pytest.approx(result.ledger_wh[name][scenario], rel=1e-12, abs=1e-10)


@st.composite
def lithium_plans(draw: st.DrawFn) -> Plan:
    """Lithium in a warm place; the loads are small enough that no limit decides."""
    pack = {
        "chemistry": draw(st.sampled_from(["lfp", "nmc"])),
        "capacity_wh": draw(st.floats(200.0, 2000.0)),
        "start_percent": draw(st.floats(5.0, 100.0)),
        "idle_w": 3,
        "discharge_max_w": 500,
    }
    lamp = {"name": "lamp", "working_w": draw(st.floats(1.0, 45.0))}
    pump = {"name": "pump", "working_w": 60, "between": ["19:00", "22:00"], "priority": 3}
    panel = {"rated_w": draw(st.floats(10.0, 400.0))}
    sky = {"kind": "sky", "sky": [draw(st.integers(0, 8))]}
    return plan(pack, lamp, pump, hours=draw(st.integers(4, 48)), panel=[panel], weather=sky)


@given(lithium_plans(), st.floats(1.01, 4.0))
@few
def test_more_panel_never_lowers_the_lowest_charge(plan: Plan, times: float) -> None:
    more = plan.replace(**{"panel.1.rated_w": plan.panel[0].rated_w * times})
    assert budget(more).lowest().percent >= budget(plan).lowest().percent - 1e-7


@given(lithium_plans(), st.floats(1.01, 4.0))
@few
def test_more_capacity_never_lowers_the_lowest_charge(plan: Plan, times: float) -> None:
    more = plan.replace(**{"pack.capacity_wh": plan.pack.capacity_wh * times})
    assert budget(more).lowest().percent >= budget(plan).lowest().percent - 1e-7


# --- an empty pack -----------------------------------------------------------------------------

FIRST = {"name": "first", "working_w": 40, "priority": 1}
SECOND = {"name": "second", "working_w": 40, "priority": 2}
SOCKET = {"name": "socket", "watts": 60}
EMPTY = {"start_percent": 0}


def test_an_empty_pack_serves_by_rank_and_the_last_in_part() -> None:
    result = budget(plan(EMPTY, SECOND, FIRST, charger=[SOCKET]))
    assert result.unmet_wh[:, 0] == pytest.approx([4 * 20.0, 0.0])


def test_an_empty_pack_pays_its_own_idle_first() -> None:
    result = budget(plan({**EMPTY, "idle_w": 10}, SECOND, FIRST, charger=[SOCKET]))
    assert result.unmet_wh[:, 0] == pytest.approx([4 * 30.0, 0.0])


def test_a_must_task_is_lost_too_when_nothing_comes_in() -> None:
    result = budget(plan(EMPTY, {**FIRST, "must": True}))
    assert result.unmet_wh[0, 0] == pytest.approx(160.0)


def test_what_cannot_pay_the_inverters_idle_serves_no_mains_task() -> None:
    pack = {**EMPTY, "inverter": {"rated_w": 1000, "idle_w": 20}}
    saw = {"name": "saw", "supply": "ac", "working_w": 100}
    result = budget(plan(pack, saw, charger=[{"name": "socket", "watts": 19}]))
    assert result.ledger_wh["delivered"][0] == 0.0


def test_the_sun_serves_an_empty_pack_as_far_as_it_goes() -> None:
    result = budget(plan(EMPTY, {**FIRST, "working_w": 400}, panel=[{"rated_w": 200}]))
    flows = result.flows()
    assert 0.0 < flows["solar_w"].max() < 400.0
    assert flows["delivered_w"] == pytest.approx(flows["solar_w"])


def test_a_pack_runs_flat_at_the_exact_moment() -> None:
    # 100 Wh at 80 W last 75 minutes
    result = budget(plan({"capacity_wh": 100, "resistive_h": 0}, {"name": "lamp", "working_w": 80}))
    assert result.simulated.first_unmet_s[0, 0] - result.time_s[0] == pytest.approx(75 * 60)


# --- a full and a charging pack ----------------------------------------------------------------

LAMP = {"name": "lamp", "working_w": 40}


def test_a_charger_gives_a_full_pack_only_what_the_load_asks() -> None:
    result = budget(plan({}, LAMP, charger=[{"name": "socket", "watts": 100}]))
    assert result.ledger_wh["other_charging"][0] == pytest.approx(160.0)
    assert result.ledger_wh["stored_change"][0] == pytest.approx(0.0, abs=1e-9)


def test_a_charger_gives_way_to_the_sun() -> None:
    sources = {"panel": [{"rated_w": 400}], "charger": [{"name": "socket", "watts": 100}]}
    result = budget(plan({}, LAMP, **sources))
    flows = result.flows()
    spilling = flows["spilled_w"] > 1e-9
    assert spilling.any()
    assert np.abs(flows["charger_w"][spilling]).max() == pytest.approx(0.0, abs=1e-9)


def test_a_full_pack_spills_the_surplus() -> None:
    result = budget(plan({}, LAMP, panel=[{"rated_w": 400}]))
    books = result.ledger_wh
    used = 160.0 / 0.97  # the controller's efficiency
    usable = books["sun_on_panel"][0] - books["panel_losses"][0]
    assert books["spilled"][0] == pytest.approx(usable - used, rel=1e-6)


def test_all_sources_together_keep_the_charge_limit() -> None:
    pack = {"start_percent": 10, "charge_max_w": 120}
    sources = {"panel": [{"rated_w": 200}], "charger": [{"name": "socket", "watts": 110}]}
    flows = budget(plan(pack, LAMP, hours=2, **sources)).flows()
    to_battery = flows["solar_w"] + flows["charger_w"] - 40.0
    assert to_battery.max() == pytest.approx(120.0, rel=1e-9)


# --- cold --------------------------------------------------------------------------------------

COLD = {"temperature": -5, "start_percent": 50}


def gained(pack: dict, *tasks: dict) -> float:
    result = budget(
        plan(pack, *(tasks or ({**LAMP, "between": ["11:58", "11:59"]},)), charger=[SOCKET])
    )
    return float(result.ledger_wh["stored_change"][0])


@pytest.mark.parametrize("chemistry", ["lfp", "nmc"])
def test_lithium_takes_no_charge_below_freezing(chemistry: str) -> None:
    assert gained({**COLD, "chemistry": chemistry}) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    "warm", [{"heated": True}, {"temperature": 0}, {"chemistry": "agm"}], ids=str
)
def test_a_pack_that_may_charge_in_the_cold_does(warm: dict) -> None:
    assert gained({**COLD, **warm}) > 100.0


def test_a_frozen_pack_still_passes_the_source_on_to_the_load() -> None:
    result = budget(plan(COLD, LAMP, charger=[SOCKET]))
    assert result.ledger_wh["other_charging"][0] == pytest.approx(160.0)
    assert result.ledger_wh["stored_change"][0] == pytest.approx(0.0, abs=1e-9)


def scenarios(result: Budget, count: int) -> np.ndarray:
    return result.charge_percent[:, :count]


def test_the_first_futures_do_not_depend_on_how_many_there_are() -> None:
    spread = Plan.read("builtin:cloudy-repair").replace(
        **{"pack.health_spread_percent": 5, "panel.1.condition_spread_percent": 8}
    )
    few, many = (budget(spread.replace(**{"weather.futures": n})) for n in (10, 31))
    assert scenarios(few, 10) == pytest.approx(scenarios(many, 10), rel=1e-12)
