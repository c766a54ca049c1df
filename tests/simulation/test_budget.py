"""What is asked of a whole plan: verdict, chance, the middle weather, days of every length and
place, and a day under way. Expected values follow from arithmetic and the clock; scenarios are
invented.
"""

from datetime import datetime, timedelta

import numpy as np
import pandas as pd
import pvlib
import pytest

from energy.answers.check.check import check, task_answers
from energy.plan import Plan, PlanError
from energy.simulation.budget import Budget, budget, changed
from energy.simulation.doubt import doubt

ALPS = {"latitude_deg": 47.0, "longitude_deg": 9.0, "timezone": "Europe/Zurich"}
NORTH = {"latitude_deg": 70.0, "longitude_deg": 27.0, "timezone": "Europe/Helsinki"}
LAMP = {"name": "lamp", "working_w": 10}
LOSSLESS = {
    "capacity_wh": 1000,
    "temperature": 25,
    "idle_w": 0,
    "resistive_h": 0,
    "self_discharge_percent_month": 0,
    "dc12": {"rated_w": 500, "efficiency_percent": 100},
}


def plan(
    *tasks: dict,
    start: datetime = datetime(2026, 6, 10, 8),
    hours: float = 10,
    place: dict = ALPS,
    weather: dict | None = None,
    panel: list | None = None,
    **pack: object,
) -> Plan:
    """A plan of a lossless pack under a clear sky, without panels unless told otherwise."""
    return Plan.from_dict(
        {
            "place": {"elevation_m": 100, **place},
            "span": {"start": start, "end": start + timedelta(hours=hours)},
            "weather": weather or {"kind": "clear"},
            "panel": panel or [],
            "pack": {**LOSSLESS, **pack},
            "task": [{"spread_percent": 0, "supply": "dc12", **task} for task in tasks],
        }
    )


def verdict(*tasks: dict, **more: object) -> str:
    return budget(plan(*tasks, **more)).verdict


# --- verdicts ----------------------------------------------------------------------------------

OVERLOAD = {"name": "too much", "working_w": 501, "between": ["17:00", "17:10"]}


def test_an_overload_comes_before_a_flat_pack() -> None:
    assert verdict({**LAMP, "working_w": 200}, OVERLOAD) == "overloads"


def test_a_flat_pack_comes_before_the_reserve() -> None:
    assert verdict({**LAMP, "working_w": 101}) == "runs-flat"


def test_below_the_reserve_is_a_dip() -> None:
    assert verdict({**LAMP, "working_w": 86}) == "dips-into-reserve"


def test_just_at_the_reserve_stays_powered() -> None:
    assert verdict({**LAMP, "working_w": 85}) == "stays-powered"


def test_a_pack_flat_by_its_own_idle_runs_flat() -> None:
    last = {**LAMP, "between": ["08:00", "08:01"]}
    assert verdict(last, idle_w=5, capacity_wh=40) == "runs-flat"


def test_an_overload_stays_out_of_the_chance() -> None:
    assert budget(plan(LAMP, OVERLOAD)).chance.percent == 100.0


def test_an_overload_is_never_a_yes() -> None:
    assert not check(plan(LAMP, OVERLOAD)).yes


def test_a_task_left_wanting_is_told_from_when_the_pack_was_flat() -> None:
    # 1000 Wh at 200 W last from 8 to 13 o'clock
    (task,) = check(plan({**LAMP, "working_w": 200})).tasks
    assert task.why_not == "pack flat from 13:00"


def test_a_task_that_ends_in_time_has_nothing_to_explain() -> None:
    early = {"name": "early", "working_w": 20, "between": ["08:00", "09:00"]}
    tasks = check(plan(early, {**LAMP, "working_w": 200})).tasks
    assert [(t.why_not, t.chance_percent) for t in tasks] == [
        (None, 100.0),
        ("pack flat from 12:54", 0.0),
    ]


def test_what_lies_above_the_reserve_is_spare() -> None:
    lowest = budget(plan(LAMP)).lowest()
    assert (lowest.percent, lowest.spare_wh) == pytest.approx((90.0, 750.0))


def test_the_reserve_lies_above_what_the_cold_locks() -> None:
    # Usable share of such a pack at -20 C is 0.6 (common practice): 50 % is 10 % above empty.
    result = budget(plan({**LAMP, "working_w": 1e-6}, start_percent=50, temperature=-20))
    assert result.verdict == "dips-into-reserve"
    assert result.lowest().spare_wh == pytest.approx(-50.0, abs=1e-3)


@pytest.mark.parametrize(
    ("saw", "never"),
    [
        ({"working_w": 300, "start_w": 2500}, True),  # 2000 W of surge
        ({"working_w": 1100}, True),  # 1000 W rated
        ({"working_w": 900, "power_factor": 0.8}, True),  # 1125 VA
        ({"working_w": 300, "start_w": 1900}, False),
        ({"working_w": 900}, False),
    ],
)
def test_what_else_runs_is_not_blamed_for_a_tool_that_can_never_run(saw, never):
    inverter = {"rated_w": 1000, "surge_w": 2000, "efficiency_percent": 100}
    kettle = {"name": "kettle", "supply": "ac", "working_w": 700, "at": "10:00", "minutes": 30,
              "must": True}  # fmt: skip
    tool = {"name": "saw", "supply": "ac", "at": "10:10", "minutes": 5} | saw
    found = budget(plan(kettle, tool, inverter=inverter, discharge_max_w=4000))
    _, why = (task.why_not for task in task_answers(found))
    assert ("it can never run on this pack" in why) == never
    alone = budget(plan(tool, inverter=inverter, discharge_max_w=4000))
    assert bool(alone.overloads) == never


# --- many weathers -----------------------------------------------------------------------------


@pytest.fixture(scope="module", params=[10, 31])
def repair(request: pytest.FixtureRequest) -> Budget:
    return budget(Plan.read("builtin:cloudy-repair").replace(**{"weather.futures": request.param}))


def test_the_middle_weather_has_the_lower_median(repair: Budget) -> None:
    charge, cold_unavailable = repair.charge_percent, repair.cold_unavailable_percent
    above = np.minimum(charge[:-1] - cold_unavailable, charge[1:] - cold_unavailable).min(axis=0)
    median = np.percentile(above, 50.0, method="lower")
    lowest = repair.lowest()
    spare_percent = lowest.spare_wh / repair.capacity_wh[repair.middle] * 100.0
    assert spare_percent + repair.plan.pack.reserve_percent == pytest.approx(median)


def test_of_weathers_in_which_lead_acid_runs_flat_the_middle_one_lacks_the_median() -> None:
    """What an empty lead-acid pack still shows tells how fast it was emptied, not how bad it is."""
    heater = {**LAMP, "working_w": 150, "hours": 10, "between": ["08:00", "20:00"]}
    pack = {"capacity_wh": 300, "chemistry": "flooded", "discharge_max_w": 400}
    panel = [{"rated_w": 100, "aim": "flat"}]
    weather = {"kind": "sky", "sky": "broken", "futures": 41}
    result = budget(plan(heater, hours=60, panel=panel, weather=weather, **pack))
    unmet = result.unmet_wh.sum(axis=0)
    assert result.simulated.ran_short.all()
    assert np.ptp(unmet) > 50.0
    assert unmet[result.middle] == pytest.approx(np.median(unmet))


def test_a_future_succeeds_with_its_reserve_kept_and_nothing_unmet(repair: Budget) -> None:
    height = [repair.lowest(scenario).spare_wh >= -1e-6 for scenario in range(repair.success.size)]
    fed = repair.simulated.unmet_wh.sum(axis=0) <= 1e-9
    assert repair.success.tolist() == (np.array(height) & fed).tolist()


def test_the_chance_is_the_share_of_futures_that_succeed(repair: Budget) -> None:
    assert repair.chance.percent == pytest.approx(
        100.0 * repair.success.sum() / repair.success.size
    )


def test_the_must_tasks_are_judged_apart() -> None:
    must = {**LAMP, "must": True, "between": ["08:00", "09:00"]}
    chance = budget(plan(must, {"name": "heater", "working_w": 200})).chance
    assert (chance.percent, chance.must_percent) == (0.0, 100.0)


def test_without_must_tasks_there_is_no_must_percent() -> None:
    assert budget(plan(LAMP)).chance.must_percent is None


@pytest.mark.parametrize("weather", [{"kind": "clear"}, {"kind": "sky", "sky": "broken"}], ids=str)
def test_a_stated_sky_has_no_range(weather: dict) -> None:
    chance = budget(plan(LAMP, weather=weather)).chance
    assert (chance.low, chance.high, chance.effective_sample_size) == (None, None, None)


def test_the_spread_of_a_task_has_mean_one_and_its_coefficient_of_variation() -> None:
    result = budget(
        plan({**LAMP, "spread_percent": 30}, weather={"kind": "clear", "futures": 4000})
    )
    factor = result.ledger_wh["delivered"] / 100.0
    assert factor.mean() == pytest.approx(1.0, abs=0.02)
    assert factor.std() / factor.mean() == pytest.approx(0.30, rel=0.06)


def test_a_single_future_draws_nothing() -> None:
    result = budget(plan({**LAMP, "spread_percent": 30}, weather={"kind": "clear", "futures": 1}))
    assert result.ledger_wh["delivered"][0] == pytest.approx(100.0)


# --- days --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("day", "hours"), [((2026, 3, 29), 23), ((2026, 10, 25), 25), ((2026, 6, 10), 24)]
)
def test_an_all_day_load_burns_as_many_hours_as_the_day_has(
    day: tuple[int, int, int], hours: int
) -> None:
    result = budget(plan(LAMP, start=datetime(*day), hours=24))
    assert (result.time_s[-1] - result.time_s[0]) / 3600 == hours
    assert result.asked_wh[0] == pytest.approx(10 * hours)


FLAT = [{"rated_w": 200, "aim": "flat"}]


def test_a_polar_night_has_no_sun() -> None:
    result = budget(plan(LAMP, start=datetime(2026, 12, 20), hours=48, place=NORTH, panel=FLAT))
    assert result.ledger_wh["sun_on_panel"][0] == 0.0


def test_a_polar_day_has_sun_at_midnight() -> None:
    start = datetime(2026, 6, 20, 12)
    result = budget(plan(LAMP, start=start, hours=24, place=NORTH, panel=FLAT, start_percent=50))
    midnight = datetime(2026, 6, 21, tzinfo=result.calendar.zone).timestamp()
    assert result.flows()["solar_w"][result.time_s.searchsorted(midnight)] > 0.1


@pytest.mark.parametrize(
    "place",
    [
        {"latitude_deg": 1.87, "longitude_deg": -157.4, "timezone": "Pacific/Kiritimati"},
        {"latitude_deg": 27.7, "longitude_deg": 85.32, "timezone": "Asia/Kathmandu"},
        {"latitude_deg": -17.8, "longitude_deg": 177.9, "timezone": "Pacific/Fiji"},
    ],
    ids=["beyond the date line", "45 minutes", "before the date line"],
)
def test_the_sun_peaks_at_solar_noon_of_the_plans_own_date(place: dict) -> None:
    result = budget(
        plan(LAMP, start=datetime(2026, 9, 1), hours=24, place=place, panel=FLAT, start_percent=0)
    )
    noon = pd.Timestamp("2026-09-01 12:00", tz=place["timezone"])
    day = noon.tz_convert("UTC").day_of_year
    late_min = 4 * place["longitude_deg"] + pvlib.solarposition.equation_of_time_spencer71(day)
    # noon by the sun is 12:00 UTC less the longitude; take the one nearest to the clock's noon
    solar_noon = noon.tz_convert("UTC").normalize() + pd.Timedelta(12 * 60 - late_min, "min")
    off_s = (solar_noon - noon).total_seconds()
    solar_noon -= pd.Timedelta(round(off_s / 86400.0), "D")
    sun = result.weather.light.sun.ghi
    lit = result.weather.light.lit
    middle = sun_middles(result, lit)
    peak_s = (middle * sun**8).sum() / (sun**8).sum()
    assert peak_s == pytest.approx(solar_noon.timestamp(), abs=300.0)


def sun_middles(result: Budget, lit: np.ndarray) -> np.ndarray:
    """Middles of the lit cells [UTC s], on the grid of 5 minutes from an hour before the span."""
    first = np.floor(result.time_s[0] / 3600.0) * 3600.0 - 3600.0
    return first + 300.0 * (lit + 0.5)


@pytest.mark.parametrize(
    ("start", "hours"),
    [(datetime(2026, 12, 31, 6), 30), (datetime(2028, 2, 29), 24), (datetime(2028, 2, 28, 20), 36)],
    ids=["year's end", "29 February", "across 29 February"],
)
def test_a_typical_year_serves_any_date(start: datetime, hours: float) -> None:
    weather = {"kind": "file", "file": "builtin:greensboro"}
    place = {"latitude_deg": 36.1, "longitude_deg": -79.95, "timezone": "America/New_York"}
    result = budget(plan(LAMP, start=start, hours=hours, place=place, weather=weather, panel=FLAT))
    assert result.chance.scenarios == 31
    assert result.asked_wh[0] == pytest.approx(10 * hours)
    assert (result.ledger_wh["sun_on_panel"] > 20.0).all()


# --- a day under way ---------------------------------------------------------------------------

NOON = datetime(2026, 6, 10, 12)


def test_a_day_under_way_starts_from_the_measured_charge() -> None:
    result = budget(plan(LAMP), NOON, 46.0)
    assert result.charge_percent[0, 0] == pytest.approx(46.0)
    assert result.local(float(result.time_s[0])).strftime("%H:%M") == "12:00"


def test_a_day_under_way_drops_what_is_done() -> None:
    done = {"name": "done", "working_w": 50, "between": ["09:00", "11:00"]}
    result = budget(plan(LAMP, done), NOON, 46.0)
    assert result.asked_wh.tolist() == pytest.approx([60.0, 0.0])


def test_a_day_under_way_compares_with_what_was_expected() -> None:
    answer = check(plan(LAMP), now=NOON, battery_percent=46.0)
    assert answer.now is not None
    assert answer.now.expected_percent == pytest.approx(96.0)


@pytest.mark.parametrize(
    ("now", "percent"),
    [(datetime(2026, 6, 9), 50.0), (datetime(2026, 6, 10, 18), 50.0), (NOON, 101.0), (NOON, None)],
    ids=["before", "at its end", "over 100", "without a charge"],
)
def test_a_wrong_reading_of_a_day_under_way_is_a_plan_error(
    now: datetime, percent: float | None
) -> None:
    with pytest.raises(PlanError):
        check(plan(LAMP), now=now, battery_percent=percent)


def test_certain_loads_leave_all_the_doubt_to_the_weather() -> None:
    found = budget(Plan.read("builtin:cloudy-repair"))
    certain = found.plan.replace(
        **{f"task.{n}.spread_percent": 0 for n in range(1, len(found.plan.task) + 1)}
    )
    assert 0.5 < doubt(found)["weather"] < 1.0
    assert doubt(budget(certain))["weather"] == pytest.approx(1.0, abs=1e-9)


def test_panels_that_give_nothing_leave_all_the_doubt_to_the_loads() -> None:
    dead = {"panel": [{"rated_w": 100, "condition_percent": 0}], "pack.temperature": 15}
    plan = Plan.read("builtin:cloudy-repair").replace(**dead)
    assert doubt(budget(plan))["loads"] == pytest.approx(1.0, abs=1e-9)


def test_without_panels_all_the_doubt_is_the_loads() -> None:
    plan = Plan.read("builtin:cloudy-repair").replace(**{"panel": None, "pack.temperature": 15})
    assert doubt(budget(plan))["loads"] == pytest.approx(1.0, abs=1e-9)


def test_one_weather_leaves_no_doubt_to_share() -> None:
    plan = Plan.read("builtin:cloudy-repair").replace(weather={"kind": "clear"})
    assert doubt(budget(plan)) == {}


def test_a_kit_of_unknown_condition_is_neither_weather_nor_loads() -> None:
    plan = Plan.read("builtin:cloudy-repair").replace(
        **{
            "weather": {"kind": "clear", "futures": 50},
            "panel.1.condition_spread_percent": 30,
            "pack.solar_input.max_a": 30,  # so that it takes all in the best condition too
        }
    )
    shares = doubt(budget(plan))
    assert shares["weather"] == pytest.approx(0.0, abs=1e-9)
    assert shares["kit"] > 0.0


@pytest.mark.parametrize("futures", [1, 10, 200, 1000])
@pytest.mark.parametrize("panels", [[], [{"rated_w": 60}]])
def test_the_chance_lies_within_its_range(futures: int, panels: list) -> None:
    plan = Plan.from_dict(
        {
            "place": {"latitude_deg": 46.5, "longitude_deg": 8.0, "elevation_m": 500},
            "span": {"start": "2026-05-14T08:00", "end": "2026-05-15T08:00"},
            "weather": {"futures": futures},
            "panel": panels,
            "pack": {"capacity_wh": 700},
            "task": [{"name": "pump", "supply": "dc12", "working_w": 80, "hours": 6}],
        }
    )
    found = budget(plan)
    assert found.chance.low <= found.chance.percent <= found.chance.high
    assert found.yes == (found.chance.low >= 90.0)


# --- what a change leaves alone is taken over -----------------------------------------------------

PANELS = [
    {"rated_w": 100, "tilt_deg": 40, "condition_spread_percent": 10, "v_mp": 18},
    {
        "rated_w": 60,
        "count": 2,
        "aim": "flat",
        "shade": [{"between": ["14:00", "16:00"], "keep_percent": 30}],
        "v_mp": 18,
    },
]
OTHERS: dict[str, dict] = {
    "a larger panel": {"panel.1.rated_w": 170},
    "more of a kind": {"panel.2.count": 3},
    "a dirty one": {"panel.1.condition_percent": 60},
    "one turned away": {"panel.1.tilt_deg": 80, "panel.1.facing": "NW"},
    "less shade": {"panel.2.shade": [{"between": ["14:00", "16:00"], "keep_percent": 90}]},
    "one folded early": {"panel.1.out_between": ["sunrise", "12:00"]},
    "one re-aimed": {"panel.1.aim": "re-aimed", "panel.1.re_aim_at": ["09:00", "13:00"]},
    "one laid down": {"panel.1.airflow": "laid-down"},
    "other cells": {"panel.1.temp_coefficient_percent_per_c": -0.5},
    "both alike": {"panel.2.aim": "fixed", "panel.2.tilt_deg": 40, "panel.2.shade": []},
    "one gone": {"panel.2": None},
    "a limit": {"pack.solar_input.max_w": 90},
    "a simple controller": {"pack.solar_input.kind": "pwm", "pack.nominal_v": 12.8},
    "a thin cable": {"run": [{"from": "panel", "to": "pack", "length_m": 12, "mm2": 1.5}]},
    "a larger pack": {"pack.capacity_wh": 3000, "pack.resistive_h": 0.06},
    "a pack that gives more": {"pack.discharge_max_w": 4000},
    "a pack that gives too little": {"pack.discharge_max_w": 40},
    "a stronger outlet": {"pack.dc12.rated_w": 600},
}


@pytest.mark.parametrize("kind", ["mppt", "pwm"])
def test_a_changed_plan_is_what_it_is_alone(kind: str) -> None:
    """One change after another, so that each may take over what those before it left."""
    weather = {"kind": "file", "file": "builtin:greensboro", "futures": 3}
    place = {"latitude_deg": 36.1, "longitude_deg": -79.9, "timezone": "America/New_York"}
    before = plan({**LAMP, "working_w": 50}, place=place, weather=weather, panel=PANELS, hours=24,
                  nominal_v=12.8, solar_input={"kind": kind})  # fmt: skip
    result = budget(before)
    for name, change in [*OTHERS.items(), *OTHERS.items()]:
        found, alone = changed(result, change), budget(before.replace(**change))
        assert found.charge_percent == pytest.approx(alone.charge_percent, abs=1e-9), name
        for entry, wh in alone.ledger_wh.items():
            assert found.ledger_wh[entry] == pytest.approx(wh, abs=1e-6), (name, entry)
        assert found.overloads == alone.overloads, name


def test_what_a_pwm_input_loses_is_what_an_mppt_input_takes_more() -> None:
    swinging = {"rated_w": 100, "aim": "swinging", "tilt_deg": 60}
    panels = [{"rated_w": 110, "count": 2, "tilt_deg": 40, "condition_percent": 90}, swinging]
    each = {
        kind: budget(
            plan(
                {**LAMP, "working_w": 50}, panel=panels, nominal_v=12.8, solar_input={"kind": kind}
            )
        )
        for kind in ("pwm", "mppt")
    }
    more = each["pwm"].ledger_wh["panel_losses"] - each["mppt"].ledger_wh["panel_losses"]
    assert (more > 100.0).all()
    assert each["pwm"].solar.pwm_loss_wh == pytest.approx(more)
    assert (each["mppt"].solar.pwm_loss_wh == 0.0).all()


def test_a_pack_that_gives_more_runs_what_was_turned_away() -> None:
    weak = budget(plan({**LAMP, "working_w": 50}, discharge_max_w=40))
    assert weak.overloads
    for more_w in (45, 4000):
        found, alone = (
            changed(weak, {"pack.discharge_max_w": more_w}),
            budget(weak.plan.replace(**{"pack.discharge_max_w": more_w})),
        )
        assert found.overloads == alone.overloads
        assert np.array_equal(found.charge_percent, alone.charge_percent)


# --- the pack's own draw -------------------------------------------------------------------------

ASSUMED = "idle_w of the pack is not given: the usual 3 W is taken,"


@pytest.mark.parametrize(
    ("hours", "pack", "said"),
    [
        (40, {}, [f"{ASSUMED} 120 Wh in 40 h, 12 % of the pack"]),
        (40, {"chemistry": "nmc", "health_percent": 50}, [f"{ASSUMED} 120 Wh in 40 h, 24 % of"
                                                          " the pack"]),
        (33, {}, []),  # 99 Wh of 1000
        (40, {"idle_w": 3}, []),
        (40, {"idle_w": None, "chemistry": "agm"}, []),
        (40, {"profile": "pack-1000"}, []),  # the profile states it
    ],
    ids=["long", "worn", "short", "stated", "lead-acid", "profile"],
)  # fmt: skip
def test_what_the_packs_own_draw_is_taken_for_is_said_where_it_matters(hours, pack, said):
    """From a tenth of the pack on; 3 W are common practice, no source."""
    given = {key: value for key, value in ({"idle_w": None} | pack).items() if value is not None}
    lamp = {**LAMP, "supply": "dc12", "hours": 1, "between": ["08:00", "10:00"]}
    asked = plan(lamp, hours=hours)
    tables = asked.source | {"pack": {"capacity_wh": 1000, **given}}
    notes = budget(Plan.from_dict(tables)).notes
    assert [note for note in notes if "idle_w" in note] == said


def test_of_a_day_under_way_the_packs_own_draw_is_that_of_the_rest():
    long = plan(LAMP | {"hours": 1, "between": ["08:00", "10:00"]}, hours=60)
    own = Plan.from_dict(long.source | {"pack": {"capacity_wh": 1000}})
    rest = budget(own, datetime(2026, 6, 11, 8), 90.0)
    assert f"{ASSUMED} 108 Wh in 36 h, 11 % of the pack" in rest.notes


# --- which scenario is how bad -------------------------------------------------------------------


def test_the_worst_scenarios_come_first_and_equals_in_their_order():
    """Against a plain sort of the lowest charge in all of time; what the cold holds back is none
    at 25 degrees C."""
    drawn = [LAMP | {"spread_percent": 40, "hours": 6}]
    result = budget(plan(*drawn, weather={"kind": "clear", "futures": 20}))
    lowest = result.charge_percent.min(axis=0).round(6).tolist()
    assert result.worst_first.tolist() == sorted(range(20), key=lambda k: (lowest[k], k))
    equal = budget(plan(LAMP, weather={"kind": "clear", "futures": 5}))
    assert equal.worst_first.tolist() == [0, 1, 2, 3, 4]
