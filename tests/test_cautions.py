"""Each caution: a plan that raises it, and one, as near as can be, that must not."""

import copy

import pytest

from energy.answers.cautions import CLOSING, cautions
from energy.budget import budget
from energy.plan import Plan

QUIET = {
    "place": {
        "latitude_deg": 10.0,
        "longitude_deg": 0.0,
        "timezone": "UTC",
        "elevation_m": 0,
    },
    "span": {"start": "2026-06-01T08:00:00", "end": "2026-06-01T20:00:00"},
    "weather": {"kind": "clear", "temp_air_c": 20},
    "pack": {"capacity_wh": 1000, "temperature": 20, "inverter": {"rated_w": 1000}},
    "task": [{"name": "lamp", "supply": "dc12", "working_w": 5, "hours": 2}],
}
PANEL = {"panel": [{"rated_w": 100}]}
CUT = {"name": "cut", "supply": "ac", "working_w": 500, "times": 2, "each_s": 30}
CUT |= {"between": ["10:00", "12:00"]}


def with_changes(*changes: dict) -> Plan:
    tables = copy.deepcopy(QUIET)
    for change in changes:
        for key, value in change.items():
            if isinstance(value, dict):
                tables[key] = {**tables.get(key, {}), **value}
            else:
                tables[key] = value
    return Plan.from_dict(tables)


def raised(plan: Plan) -> list[str]:
    return [caution.id for caution in cautions(budget(plan))]


def task(**keys) -> dict:
    return {"task": [{**CUT, **keys}]}


def around(*words: str) -> dict:
    return {"place": {"around": list(words)}}


def air(low: float, high: float) -> dict:
    return {"weather": {"temp_air_c": [low, high]}, "pack": {"temperature": "outside"}}


LIGHT = {"name": "anchor light", "supply": "dc12", "working_w": 50, "must": True}
CASES = {
    "mains-outdoors": ([task(), around("wet")], [task()]),
    "carbon-monoxide": (
        [{"charger": [{"name": "small generator", "watts": 100}]}],
        [{"charger": [{"name": "mains", "watts": 100}]}],
    ),
    "medical-load": ([task(medical=True)], [task()]),
    "hydrogen": (
        [PANEL, {"pack": {"chemistry": "agm", "capacity_wh": 3000}}],
        [PANEL],
    ),
    "sparks": ([task(sparks=True)], [task()]),
    "lifeline-near-reserve": (
        [{"task": [LIGHT]}, around("afloat"), {"pack": {"start_percent": 80}}],
        [{"task": [{**LIGHT, "working_w": 5}]}, around("afloat")],
    ),
    "rotating-tools": ([task(rotating=True)], [task()]),
    "charging-below-freezing": (
        [PANEL, {"pack": {"temperature": -4}}],
        [PANEL, {"pack": {"temperature": -4, "heated": True}}],
    ),
    "hot-pack": ([{"pack": {"temperature": 50}}], [{"pack": {"temperature": 40}}]),
    "live-panel": ([PANEL], []),
    "frost-not-judged": (
        [
            PANEL,
            {"place": {"latitude_deg": 55.0}, "pack": {"temperature": "outside"}},
            {"weather": {"temp_air_c": None}},
            {"span": {"start": "2026-11-01T08:00:00", "end": "2026-11-01T20:00:00"}},
        ],
        [
            PANEL,
            {"place": {"latitude_deg": 55.0}, "pack": {"temperature": "outside"}},
            {"span": {"start": "2026-11-01T08:00:00", "end": "2026-11-01T20:00:00"}},
        ],
    ),
    "surge-when-low": (
        [task(start_w=1500), {"pack": {"start_percent": 6}}],
        [task(start_w=1500)],
    ),
    "surge-near-limit": ([task(start_w=1900)], [task(start_w=1500)]),
    "pack-follows-air": ([air(2, 20)], [air(12, 20)]),
    "weather-from-afar": (
        [{"weather": {"kind": "file", "file": "builtin:miami", "temp_air_c": 20}}],
        [
            {"weather": {"kind": "file", "file": "builtin:miami", "temp_air_c": 20}},
            {"place": {"latitude_deg": 25.8, "longitude_deg": -80.3}},
        ],
    ),
    "not-a-promise": ([{"weather": {"futures": 5}}], []),
}


def drop_nothing(changes: list[dict]) -> Plan:
    plan = [copy.deepcopy(change) for change in changes]
    for change in plan:
        if change.get("weather", {}).get("temp_air_c", 0) is None:
            tables = copy.deepcopy(QUIET)
            del tables["weather"]["temp_air_c"]
            rest = [c for c in plan if c is not change]
            for key, value in (item for c in rest for item in c.items()):
                tables[key] = {**tables.get(key, {}), **value} if isinstance(value, dict) else value
            return Plan.from_dict(tables)
    return with_changes(*plan)


@pytest.mark.parametrize("caution", CASES)
def test_a_caution_is_raised_by_what_is_in_the_plan(caution):
    assert caution in raised(drop_nothing(CASES[caution][0]))


@pytest.mark.parametrize("caution", CASES)
def test_a_caution_is_not_shown_where_it_does_not_apply(caution):
    assert caution not in raised(drop_nothing(CASES[caution][1]))


def test_a_quiet_plan_raises_nothing():
    assert raised(with_changes()) == []


def test_an_engine_in_an_enclosed_place_is_said_more_sternly():
    charger = {"charger": [{"name": "generator", "watts": 100}]}
    (found,) = cautions(budget(with_changes(charger, around("enclosed"))))
    assert "enclosed" in found.text


def test_fuel_makes_sparks_more_than_a_mild_caution():
    found = cautions(budget(with_changes(task(sparks=True), around("fuel"))))
    assert any("fuel" in c.text for c in found)


def test_danger_to_life_comes_before_trust():
    found = raised(with_changes(task(rotating=True), PANEL, around("wet")))
    assert found.index("mains-outdoors") < found.index("rotating-tools") < found.index("live-panel")


def test_every_case_covers_every_caution():
    from energy.answers import cautions as room

    assert len(room._BY_DANGER) == len(CASES)


def test_the_closing_line_defers_to_codes_and_licensed_practice():
    assert "codes" in CLOSING
    assert "licensed" in CLOSING
