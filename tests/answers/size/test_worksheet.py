"""The sheet for sizing by hand against worked examples, and its steps against a pencil."""

import pytest
from plan_tables import plan

from energy.answers.size.worksheet import (
    CRITICAL_RATIO,
    ORDINARY_RATIO,
    Worksheet,
    array_w,
    at_the_battery_wh,
    battery_label_wh,
    storage_days,
    worksheet,
)
from energy.simulation.budget import budget

# Invented: a lamp at 12 V and a fan on the mains, three June days under a clear sky.
LAMP = {
    "name": "lamp",
    "supply": "dc12",
    "working_w": 9.5,
    "hours": 4,
    "between": ["18:00", "22:00"],
}
FAN = {"name": "fan", "supply": "ac", "working_w": 45, "hours": 2, "between": ["10:00", "12:00"]}
KIT = {
    "span": {"start": "2026-06-01T06:00:00", "end": "2026-06-03T23:00:00"},
    "weather": {"kind": "clear", "temp_air_c": 25},
    "panel": [{"rated_w": 100, "condition_percent": 80}],
    "pack": {
        "capacity_wh": 1000,
        "idle_w": 2,
        "inverter": {"rated_w": 300, "idle_w": 5, "efficiency_percent": 90, "on": "with-tasks"},
    },
    "task": [LAMP, FAN],
}


def sheet(**changes: object) -> Worksheet:
    return worksheet(budget(plan(**{**KIT, **changes})))


def value(found: Worksheet, what: str) -> float:
    return next(step.value for step in found.steps if step.what == what)


@pytest.mark.parametrize(("availability", "days"), [(95.0, 4.6), (99.0, 12.2)])
def test_days_of_storage_follow_the_published_fits(availability: float, days: float) -> None:
    # Masters, Renewable and Efficient Electric Power Systems, fits to SAND87-7023, at 3.1 sun
    # hours (from memory)
    assert storage_days(3.1, availability) == pytest.approx(days, abs=0.05)


def test_the_cabin_of_the_hand_book_needs_871_amp_hours() -> None:
    # Masters, the same, from memory: 3000 Wh on the mains, inverter 85 %, 24 V, 4.6 days, depth
    # 0.80, temperature factor 0.97: 3529 Wh or 147 Ah a day, 676 Ah kept, 871 Ah on the label
    daily_wh = at_the_battery_wh(3000.0, 85.0)
    assert daily_wh == pytest.approx(3529.0, rel=0.001)
    assert daily_wh / 24.0 == pytest.approx(147.0, rel=0.01)
    assert battery_label_wh(daily_wh, 4.6, 1.0, 1.0) / 24.0 == pytest.approx(676.0, rel=0.01)
    assert battery_label_wh(daily_wh, 4.6, 0.80, 0.97) / 24.0 == pytest.approx(871.0, rel=0.01)


def test_the_array_to_load_ratios_lie_in_the_handbook_ranges() -> None:
    # IEEE 1562, from memory: 1.1 to 1.2 for ordinary loads, 1.3 to 1.4 for critical ones
    assert 1.1 <= ORDINARY_RATIO <= 1.2
    assert 1.3 <= CRITICAL_RATIO <= 1.4


def test_the_array_makes_the_load_times_the_ratio_in_a_mean_day() -> None:
    watts = array_w(1000.0, 3.1, 1.2, 0.7)
    assert watts * 3.1 * 0.7 == pytest.approx(1.2 * 1000.0)


def test_the_daily_load_is_what_a_pencil_gives() -> None:
    # a day: 9.5 W x 4 h / 0.95 = 40 Wh, 45 W x 2 h / 0.90 = 100 Wh; idle over the 65 h of the
    # span: 2 W x 65 h = 130 Wh and the inverter's 5 W x 2 h x 3 = 30 Wh, by three
    assert value(sheet(), "daily load at the battery") == pytest.approx(40 + 100 + 160 / 3)


def test_other_charging_is_taken_off_the_load() -> None:
    socket = [{"watts": 30, "between": ["12:00", "13:00"]}]
    less = value(sheet(charger=socket), "daily load at the battery")
    assert less == pytest.approx(40 + 100 + 160 / 3 - 30)


def test_a_plain_controller_holds_the_panels_at_the_batterys_volts() -> None:
    # 12 of a panel's 18 V: two thirds of its watts (Ohm's law; common practice, no source)
    pack = {"capacity_wh": 1000, "nominal_v": 12, "temperature": 20}
    found = {kind: sheet(pack={**pack, "solar_input": {"kind": kind}}) for kind in ("mppt", "pwm")}
    share = value(found["pwm"], "panel to battery") / value(found["mppt"], "panel to battery")
    assert share == pytest.approx(12.0 / 18.0)
    assert found["pwm"].panel_w == pytest.approx(found["mppt"].panel_w / share)


def test_a_sheet_without_sun_or_load_gives_no_panel_and_says_why() -> None:
    charger = [{"name": "shore", "watts": 400}]
    rich = sheet(charger=charger)
    assert (rich.panel_w, rich.battery_wh) == (0.0, 0.0)
    assert "brings more than is asked" in rich.steps[0].how
    night = sheet(panel=[{"rated_w": 100, "out_between": ["00:00", "00:30"]}])
    assert night.panel_w == 0.0
    assert "no sun to live on" in night.steps[-1].how
    assert "where it ends" in night.steps[2].how


def test_a_short_job_stores_no_more_than_its_own_days() -> None:
    assert value(sheet(), "storage") == min(
        3.0, storage_days(value(sheet(), "peak sun hours"), 95.0)
    )
    day = {"start": "2026-06-01T06:00:00", "end": "2026-06-01T23:00:00"}
    assert value(sheet(span=day), "storage") == 1.0


def test_two_nights_and_one_noon_are_two_days() -> None:
    nights = {"start": "2026-06-01T16:00:00", "end": "2026-06-03T10:00:00"}
    assert value(sheet(span=nights), "storage") <= 2.0
    lamp = 9.5 * 4 * 2 / 0.95 / 2
    fan = 45 * 2 / 0.90 / 2  # only the second morning from 10 to 12 lies inside
    idle = (2 * 42 + 5 * 2) / 2
    assert value(sheet(span=nights), "daily load at the battery") == pytest.approx(
        lamp + fan + idle
    )


def test_the_battery_is_its_steps_multiplied_out() -> None:
    found = sheet(pack={**KIT["pack"], "reserve_percent": 20, "health_percent": 80})  # type: ignore[dict-item]
    expected = value(found, "daily load at the battery") * value(found, "storage")
    assert value(found, "depth of discharge") == pytest.approx(0.8)
    assert found.battery_wh == pytest.approx(expected / 0.8 / 1.0 / 0.8)


def test_the_cold_factor_of_lead_acid_is_that_of_the_standard() -> None:
    # IEEE 485, from memory: 1.30 times the cell at 40 F
    cold = {**KIT["pack"], "chemistry": "agm", "temperature": (40.0 - 32.0) / 1.8}  # type: ignore[dict-item]
    assert value(sheet(pack=cold), "temperature factor") == pytest.approx(1.0 / 1.30, abs=0.005)


def test_a_goal_of_99_is_sized_as_critical() -> None:
    sure = sheet(goal={"chance_percent": 99})
    assert value(sure, "array-to-load ratio") == CRITICAL_RATIO
    assert sure.panel_w / sheet().panel_w == pytest.approx(CRITICAL_RATIO / ORDINARY_RATIO)


def test_the_panel_covers_the_losses_on_the_way_to_the_battery() -> None:
    # condition 80 %, controller 97 %, charging 99 % (the plan's defaults)
    found = sheet()
    made = found.panel_w * value(found, "peak sun hours") * 0.80 * 0.97 * 0.99
    assert made == pytest.approx(1.15 * value(found, "daily load at the battery"))


def test_the_sheet_says_in_one_sentence_why_the_simulation_differs() -> None:
    why = sheet().why
    assert why.endswith(".")
    assert why.count(". ") == 0
    assert "3 days" in why


def test_the_json_holds_panel_battery_and_steps() -> None:
    found = sheet().as_dict()
    assert set(found) == {"panel_w", "battery_wh", "steps"}
    assert [step["what"] for step in found["steps"]][-1] == "panel"
