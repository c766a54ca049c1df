"""Every key of a plan is told: what it is, its default, its unit, what is allowed."""

import pytest

from energy.plan.keys import Key, keys
from energy.plan.schema import Tables

KEYS = {key.name: key for key in keys()}


@pytest.mark.parametrize("key", KEYS.values(), ids=KEYS)
def test_every_key_is_told(key: Key):
    assert key.says.strip(". "), key.name
    assert key.default or key.required, key.name
    assert "None" not in key.default
    assert key.allowed, key.name
    assert len(key.says) < 300


def test_every_table_and_every_key_in_it_is_there():
    assert {name.split(".")[0] for name in KEYS} == set(Tables.model_fields)
    for name in (
        "title", "place.latitude_deg", "pack.inverter.surge_w", "panel.shade.keep_percent",
        "task.with", "task.times", "run.from", "size.candidates", "goal.one_at_a_time",
    ):  # fmt: skip
        assert name in KEYS


@pytest.mark.parametrize(
    ("name", "default", "unit", "allowed"),
    [
        ("pack.start_percent", "100", "%", "0 to 100"),
        ("pack.capacity_wh", "", "Wh", "1 to 10000000"),
        ("pack.inverter.surge_w", "2 x rated_w", "W", "more than 0, at most 10000000"),
        ("panel.count", "1", "", "1 to 1000, whole"),
        ("panel.aim", '"fixed"', "", "fixed, flat, re-aimed, follow, swinging"),
        ("task.must", "false", "", "true or false"),
        ("task.between", "all day", "", 'two times, or "all-day"'),
        ("task.at", "between counts", "", "a time"),
        ("task.each_s", "a trace from end to end", "s", "more than 0, at most 10000000"),
        ("weather.sun_hours", "none", "kWh/m2 a day", "12 of 0 to 12"),
        ("weather.wind_speed_m_s", "1.6", "m/s", "0 to 60"),
        ("panel.temp_coefficient_percent_per_c", "-0.35", "% per °C", "-2 to 0.5"),
        ("place.latitude_deg", "", "°", "-90 to 90"),
        ("place.horizon", "[]", "", "a list"),
        ("weather.seed", "0", "", "0 or more, whole"),
        ("title", '""', "", "text"),
    ],
)
def test_default_unit_and_range_are_the_schemas(name, default, unit, allowed):
    key = KEYS[name]
    assert (key.default, key.unit, key.allowed) == (default, unit, allowed)
