"""Whatever a plan file holds, reading it gives a plan or lines of text: never anything else.

Random tables, a good plan with random values in it, random text, and random changes.
"""

from __future__ import annotations

import copy
import math
import tomllib
from datetime import UTC, date, datetime, time, timedelta
from time import process_time
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from energy.plan import Plan, PlanError, write_changes
from energy.plan.profiles import sorted_into_kinds
from energy.plan.schema import Tables

settings.register_profile(
    "plan", deadline=None, suppress_health_check=list(HealthCheck), derandomize=True
)
quick = settings(settings.get_profile("plan"), max_examples=80)

GOOD: dict[str, Any] = {
    "title": "a good plan",
    "place": {
        "latitude_deg": 47.0,
        "longitude_deg": 9.0,
        "timezone": "Europe/Zurich",
        "elevation_m": 400,
        "albedo": 0.2,
        "horizon": [[90, 6], [180, 12]],
        "around": ["outdoors"],
    },
    "span": {"start": datetime(2026, 6, 1, 7), "end": datetime(2026, 6, 3, 8)},
    "weather": {"kind": "sky", "sky": [6, 8], "temp_air_c": [4, 12], "futures": 20},
    "panel": [
        {
            "rated_w": 200,
            "facing": "S",
            "aim": "re-aimed",
            "re_aim_at": ["09:00"],
            "out_between": ["08:00", "18:00"],
            "shade": [{"between": ["15:00", "18:00"], "keep_percent": 40}],
        }
    ],
    "pack": {
        "capacity_ah": 100,
        "nominal_v": 12,
        "temperature": 8,
        "inverter": {"rated_w": 1000, "on": [["07:00", "18:00"]]},
        "dc12": {"rated_w": 120},
        "solar_input": {"kind": "pwm", "max_w": 300},
    },
    "charger": [{"name": "socket", "watts": 100, "between": ["17:00", "18:30"], "days": [1]}],
    "task": [
        {"name": "saw", "supply": "ac", "working_w": 700, "times": 12, "each_s": 45}
        | {"pause_s": 90, "after": "radio", "with": "cooler"},
        {"name": "radio", "supply": "usb", "working_w": 7, "hours": 3, "at": "sunset+30min"},
        {
            "name": "cooler",
            "supply": "dc12",
            "kind": "cycling",
            "on_w": 50,
            "duty_percent": 30,
            "period_min": 20,
        },
        {"name": "phone", "supply": "usb", "kind": "charging", "energy_wh": 20, "power_w": 10},
    ],
    "goal": {"chance_percent": 90},
    "size": {"panel_w": [100, 800], "battery_wh": [300, 4000]},
    "run": [{"from": "panel", "to": "pack", "length_m": 5}],
}

ODD_NUMBERS: list[Any] = [0, -1, 1, 2, 91, -5, 400, 1e-300, 1e300, 10**30, -(10**400), 10**4000]
ODD_NUMBERS += [math.nan, math.inf, -math.inf, -0.0, 5e-324, 2**63, 2**64, True, False]
ODD_TEXTS = ["", "a", "all-day", "sunset", "sunrise-720min", "24:00", "00:00", "25:61", "S", "lfp"]
ODD_TEXTS += ["Mars/Olympus", "../etc", "Europe", "builtin:x", "\0", "\x1b[2J", "\n\r", "\ud800"]
ODD_TEXTS += ["²", "9" * 5000, "task:saw", "pwm", "trace", "charging", "monthly", "file", "snow"]
ODD_TIMES: list[Any] = [date(2026, 6, 1), time(9), time(23, 59, 59, 999_999), datetime.min]
ODD_TIMES += [datetime.max, datetime(2026, 6, 1, 7), datetime(2027, 1, 1, tzinfo=UTC)]
ODD_TIMES += [datetime(2026, 6, 3, 8) + timedelta(microseconds=1), datetime(2026, 6, 1, 6)]

scalars = st.one_of(
    st.sampled_from([*ODD_NUMBERS, *ODD_TEXTS, *ODD_TIMES, None]),
    st.integers(),
    st.floats(),
    st.text(max_size=20),
    st.booleans(),
    st.datetimes(),
    st.times(),
)


def names_of(tables: Any) -> set[str]:
    """Every key of some tables, however deep."""
    if isinstance(tables, dict):
        return set(tables).union(*(names_of(value) for value in tables.values()))
    return (
        set().union(*(names_of(value) for value in tables)) if isinstance(tables, list) else set()
    )


KEYS = sorted(names_of(GOOD) | set(Tables.model_fields) | {"tool", "profile", "trace", "minutes"})
keys = st.one_of(st.sampled_from(KEYS), st.text(max_size=8))
values = st.recursive(
    scalars,
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(keys, inner, max_size=4)),
    max_leaves=12,
)


def places_in(tables: Any) -> list[tuple[Any, Any]]:
    """Every spot of some tables where a value stands: (container, key or number)."""
    items = tables.items() if isinstance(tables, dict) else enumerate(tables)
    spots = []
    for key, value in list(items):
        spots.append((tables, key))
        if isinstance(value, dict | list):
            spots += places_in(value)
    return spots


def outcome(ask: Any) -> Any:
    """What is asked for, or the lines that say why there is none; anything else fails."""
    lines: list[str] = []
    try:
        return ask()
    except PlanError as error:
        lines = error.problems
    assert lines
    for line in lines:
        assert line.strip()
        assert line.isprintable()  # so it is one line, shows no control character, can be encoded
    return lines


def test_the_good_plan_is_good():
    assert isinstance(outcome(lambda: Plan.from_dict(GOOD)), Plan)


@settings(quick, max_examples=40)
@given(st.dictionaries(keys, values, max_size=10))
def test_random_tables(tables):
    outcome(lambda: Plan.from_dict(tables))


@quick
@given(st.data())
def test_a_good_plan_with_random_values_in_it(data):
    try_random_values(data)


@pytest.mark.oracle
@settings(quick, max_examples=1200)
@given(st.data())
def test_a_good_plan_with_random_values_in_it_in_many_ways(data):
    try_random_values(data)


def try_random_values(data):
    tables = copy.deepcopy(GOOD)
    for _ in range(data.draw(st.integers(1, 3))):
        container, key = data.draw(st.sampled_from(places_in(tables)))
        container[key] = data.draw(values)
    found = outcome(lambda: Plan.from_dict(tables))
    if isinstance(found, Plan):
        assert all(math.isfinite(task.spread_percent) for task in found.task)
        assert found.span.start < found.span.end


@quick
@given(st.data())
def test_a_good_plan_with_random_keys_in_it(data):
    tables = copy.deepcopy(GOOD)
    inside = [tables, *(c[k] for c, k in places_in(tables) if isinstance(c[k], dict))]
    data.draw(st.sampled_from(inside))[data.draw(keys)] = data.draw(values)
    outcome(lambda: Plan.from_dict(tables))


@quick
@given(st.data())
def test_a_good_plan_with_something_missing(data):
    tables = copy.deepcopy(GOOD)
    container, key = data.draw(st.sampled_from(places_in(tables)))
    del container[key]
    outcome(lambda: Plan.from_dict(tables))


CHANGES = ["task", "panel", "pack", "run", "1", "2", "9", "0", "²", "inverter", "on", "shade", ""]
dotted = st.lists(st.one_of(st.sampled_from(CHANGES), keys), min_size=1, max_size=4).map(".".join)


@quick
@given(st.dictionaries(dotted, values, min_size=1, max_size=4))
def test_random_changes(changes):
    plan = Plan.from_dict(GOOD)
    outcome(lambda: plan.replace(**changes))
    assert plan.source == GOOD


LINES = [
    "[pack]",
    "[pack.inverter]",
    "[[task]]",
    "[[panel]]",
    "pack.usb.rated_w = 3",
    "rated_w = 5  # why",
    "x = { a = 1, b = [1, 2] }",
    "capacity_wh = 5",
    'between = ["a", "b"]',
    "[",
    "= 3",
    "",
    "# only a comment",
]


@quick
@given(
    st.lists(st.sampled_from(LINES), max_size=8).map("\n".join),
    st.dictionaries(dotted, values, min_size=1, max_size=2),
)
def test_random_changes_to_random_text(text, changes):
    written = outcome(lambda: write_changes(text, changes))
    if isinstance(written, str):
        tomllib.loads(written)


@quick
@given(st.binary(max_size=60) | st.lists(st.sampled_from(LINES), max_size=8).map("\n".join))
def test_random_files(tmp_path_factory, content):
    file = tmp_path_factory.getbasetemp() / "random.toml"
    file.write_bytes(content if isinstance(content, bytes) else content.encode())
    outcome(lambda: Plan.read(file))


@quick
@given(st.binary(max_size=60) | st.lists(st.text('0123456789.,-einfa\n"', max_size=9)))
def test_random_traces(tmp_path_factory, content):
    folder = tmp_path_factory.getbasetemp()
    data = content if isinstance(content, bytes) else "\n".join(content).encode()
    (folder / "random.csv").write_bytes(data)
    task = {"name": "x", "supply": "ac", "kind": "trace", "trace": "random.csv"}
    outcome(lambda: Plan.from_dict({**GOOD, "task": [task]}, folder=folder))


@quick
@given(st.dictionaries(st.sampled_from(["tools", "packs", "panels", "mine"]), values, max_size=4))
def test_random_profiles(tables):
    found = outcome(lambda: sorted_into_kinds(tables))
    assert isinstance(found, list) or set(found) == {"tools", "packs", "panels", "learned"}


HUGE = {
    "tools": lambda n: {"task": [{"tool": "angle-grindr-125"}] * (n // 16)},
    "tasks": lambda n: {"task": GOOD["task"] * (n // 50)},
    "panels": lambda n: {"panel": [{"rated_w": -1, "tilt_deg": 91}] * n},
    "horizon": lambda n: {"place": {**GOOD["place"], "horizon": [[0, 91]] * n}},
    "profiles": lambda n: {"profiles": ["none.toml"] * n},
    "days": lambda n: {"charger": [{"watts": 1, "days": list(range(n))}]},
    "keys": lambda n: {f"key_{number}": 1 for number in range(n)},
    "long": lambda n: {"k" * (10 * n): 1, "title": "t" * (10 * n)},
}


@pytest.mark.parametrize("what", HUGE)
def test_huge_tables_take_no_more_than_in_proportion(what):
    # four times as much in the square of the time would take sixteen times as long
    def seconds(n: int) -> float:
        begun = process_time()
        outcome(lambda: Plan.from_dict({**GOOD, **HUGE[what](n)}))
        return process_time() - begun

    seconds(100)
    assert seconds(8_000) < 9.0 * max(seconds(2_000), 0.1)  # a tenth: below lies noise
