"""Each caution: plans that raise it, and others, as near as can be, that must not.

What raises a caution is common practice, no source, unless a line names one. The quiet plan is
invented.
"""

import copy
import re
from datetime import date

import pytest

from energy.answers.cautions import CLOSING, cautions, frost_possible
from energy.budget import budget
from energy.plan import Plan
from energy.plan.profiles import plans

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
MOST_SERIOUS_FIRST = [  # life, then gear, then trust
    "carbon-monoxide-enclosed",
    "mains-in-the-wet",
    "carbon-monoxide",
    "medical-load",
    "sparks-near-fuel",
    "hydrogen",
    "sparks-near-lead-acid",
    "lifeline-near-reserve",
    "rotating-tools",
    "charging-below-freezing",
    "hot-pack",
    "sparks",
    "live-panel",
    "frost-not-judged",
    "surge-when-low",
    "surge-near-limit",
    "pack-follows-air",
    "weather-from-afar",
    "not-a-promise",
]


def with_changes(*changes: dict) -> Plan:
    """The quiet plan with keys of its tables set, or dropped where a change says None."""
    tables = copy.deepcopy(QUIET)
    for change in changes:
        for key, value in change.items():
            merged = {**tables.get(key, {}), **value} if isinstance(value, dict) else value
            if isinstance(merged, dict):
                merged = {k: v for k, v in merged.items() if v is not None}
            tables[key] = merged
    return Plan.from_dict(tables)


def found(*changes: dict) -> dict:
    return {caution.id: caution for caution in cautions(budget(with_changes(*changes)))}


def task(*tasks: dict, **keys) -> dict:
    cut = {"name": "cut", "supply": "ac", "working_w": 500, "times": 2, "each_s": 30}
    cut["between"] = ["10:00", "12:00"]
    return {"task": [{**cut, **one, **keys} for one in tasks or [{}]]}


def around(*words: str) -> dict:
    return {"place": {"around": list(words)}}


def pack(**keys) -> dict:
    return {"pack": keys}


def air(low: float, high: float) -> dict:
    return {"weather": {"temp_air_c": [low, high]}, "pack": {"temperature": "outside"}}


def charger(name: str, **keys) -> dict:
    return {"charger": [{"name": name, "watts": 100, **keys}]}


def span(start: str, end: str) -> dict:
    return {"span": {"start": start, "end": end}}


def no_air(latitude_deg: float, start: str) -> list[dict]:
    place = {"place": {"latitude_deg": latitude_deg}, "weather": {"temp_air_c": None}}
    return [PANEL, place, pack(temperature="outside"), span(start, start.replace("T08", "T20"))]


PANEL = {"panel": [{"rated_w": 100}]}
AFTERNOON = {"rated_w": 100, "out_between": ["12:00", "18:00"]}
COLD_NIGHT = air(-4, 20), span("2026-06-01T00:00:00", "2026-06-01T20:00:00")
AGM = pack(chemistry="agm", capacity_wh=3000)
AFLOAT = around("afloat")
LIGHT = {"name": "anchor light", "supply": "dc12", "working_w": 50, "must": True}
MIAMI = {"weather": {"kind": "file", "file": "builtin:miami", "futures": 1}}
AT_MIAMI = {"latitude_deg": 25.8, "longitude_deg": -80.3}  # the file's own place


def light(**keys) -> dict:
    """12 h of 50 W / 0.95 and 12 h of the pack's 3 W: 668 of 1000 Wh."""
    return {"task": [{**LIGHT, **keys}]}


RAISED = [
    ("mains-in-the-wet", task(), around("outdoors")),
    ("mains-in-the-wet", task(), around("wet")),
    ("mains-in-the-wet", task(), AFLOAT),
    ("carbon-monoxide", charger("Small GENERATOR, borrowed")),
    ("carbon-monoxide", charger("12_V socket of the car")),
    ("carbon-monoxide", charger("engine alternator, motoring in")),
    ("carbon-monoxide", charger("second-hand generator")),
    ("carbon-monoxide", charger("wind generator, else a diesel generator")),
    ("carbon-monoxide-enclosed", charger("generator"), around("enclosed")),
    ("medical-load", task(medical=True)),
    ("hydrogen", PANEL, AGM),
    ("hydrogen", charger("mains"), pack(chemistry="flooded", capacity_wh=3000)),
    ("sparks-near-fuel", task(sparks=True), around("fuel")),
    ("sparks-near-fuel", task(sparks=True), around("fuel"), AGM),
    ("sparks-near-lead-acid", task(sparks=True), AGM),
    ("sparks-near-lead-acid", task(sparks=True), around("fuel"), AGM),
    ("sparks", task(sparks=True)),
    ("lifeline-near-reserve", light(), AFLOAT, pack(start_percent=90)),
    ("lifeline-near-reserve", light(name="bilge_pumps"), AFLOAT, pack(start_percent=90)),
    ("lifeline-near-reserve", light(name="VHF"), AFLOAT, pack(start_percent=90)),
    (
        "lifeline-near-reserve",
        light(name="night", group="lighting"),
        AFLOAT,
        pack(start_percent=90),
    ),
    ("lifeline-near-reserve", light(working_w=130), AFLOAT),  # over the 12 V outlet's 120 W
    ("rotating-tools", task(rotating=True)),
    ("charging-below-freezing", PANEL, pack(temperature=-4)),
    ("charging-below-freezing", charger("mains"), pack(temperature=-4)),
    ("charging-below-freezing", PANEL, air(-8, -1)),
    ("charging-below-freezing", PANEL, *COLD_NIGHT),
    ("hot-pack", pack(temperature=46)),
    ("live-panel", PANEL),
    ("frost-not-judged", *no_air(55.0, "2026-11-01T08:00:00")),
    ("frost-not-judged", *no_air(-44.0, "2026-06-01T08:00:00")),
    ("frost-not-judged", *no_air(43.7, "2026-05-05T08:00:00")),
    ("frost-not-judged", *no_air(55.0, "2026-11-01T08:00:00"), AGM),
    ("frost-not-judged", *no_air(55.0, "2026-11-01T08:00:00"), {"panel": []}),
    ("surge-when-low", task(start_w=1500), pack(start_percent=7, temperature=25)),
    ("surge-when-low", task(supply="dc12", working_w=60, start_w=90), pack(start_percent=7)),
    ("surge-when-low", task(start_w=1500), pack(start_percent=27, temperature=-10)),  # 20 locked
    ("surge-near-limit", task(start_w=1650)),
    ("surge-near-limit", task(start_w=2000)),
    ("surge-near-limit", task({"name": "saw"}, {"name": "sander", "working_w": 200}, start_w=900)),
    ("pack-follows-air", air(2, 20)),
    ("pack-follows-air", air(20, 38)),
    ("weather-from-afar", MIAMI),
    ("weather-from-afar", MIAMI, {"place": {**AT_MIAMI, "elevation_m": 400}}),
    ("not-a-promise", MIAMI, {"weather": {"futures": 5}}),
    ("not-a-promise", PANEL),
    ("not-a-promise", PANEL, {"weather": {"kind": "sky", "sky": "overcast", "futures": 20}}),
    ("not-a-promise", PANEL, MIAMI),
]
NOT_RAISED = [
    ("mains-in-the-wet", task()),
    ("mains-in-the-wet", around("wet", "outdoors", "afloat")),
    ("mains-in-the-wet", task(), around("fuel", "enclosed", "alone")),
    ("carbon-monoxide", charger("mains before leaving")),
    ("carbon-monoxide", charger("charging card on a cart")),
    ("carbon-monoxide", charger("wind generator")),
    ("carbon-monoxide", charger("hand-cranked generator")),
    ("carbon-monoxide", charger("electric car")),
    ("carbon-monoxide", charger("generator"), around("enclosed")),
    ("carbon-monoxide-enclosed", charger("generator"), around("outdoors")),
    ("carbon-monoxide-enclosed", around("enclosed")),
    ("medical-load", task()),
    ("hydrogen", PANEL),
    ("hydrogen", AGM),
    ("sparks-near-fuel", task(sparks=True)),
    ("sparks-near-fuel", task(), around("fuel")),
    ("sparks-near-lead-acid", task(sparks=True)),
    ("sparks-near-lead-acid", task(), AGM),
    ("sparks", task()),
    ("sparks", task(sparks=True), around("fuel")),
    ("sparks", task(sparks=True), AGM),
    ("lifeline-near-reserve", light(), pack(start_percent=90)),
    ("lifeline-near-reserve", light(), AFLOAT),  # leaves 33 %, reserve and 18 points
    ("lifeline-near-reserve", light(must=False), AFLOAT, pack(start_percent=90)),
    ("lifeline-near-reserve", light(name="clamp"), AFLOAT, pack(start_percent=90)),
    ("rotating-tools", task()),
    ("charging-below-freezing", PANEL, pack(temperature=-4, heated=True)),
    ("charging-below-freezing", PANEL, pack(temperature=0)),
    ("charging-below-freezing", PANEL, AGM, pack(temperature=-4)),
    ("charging-below-freezing", pack(temperature=-4)),
    ("charging-below-freezing", charger("mains", between=["12:00", "15:00"]), *COLD_NIGHT),
    ("charging-below-freezing", {"panel": [AFTERNOON]}, *COLD_NIGHT),
    ("hot-pack", pack(temperature=45)),
    ("hot-pack", AGM, pack(temperature=50)),
    ("live-panel",),
    ("frost-not-judged", *no_air(55.0, "2026-07-01T08:00:00")),
    ("frost-not-judged", *no_air(55.0, "2026-11-01T08:00:00"), pack(temperature=8)),
    ("frost-not-judged", *no_air(55.0, "2026-11-01T08:00:00"), {"weather": {"temp_air_c": 3}}),
    ("surge-when-low", task(start_w=1500), pack(start_percent=27, temperature=25)),
    ("surge-when-low", task(), pack(start_percent=7)),
    ("surge-when-low", task(start_w=2500), pack(start_percent=7)),  # refused: it never starts
    ("surge-near-limit", task(start_w=1550)),
    ("surge-near-limit", task(start_w=2050)),
    ("surge-near-limit", task(working_w=950), pack(inverter={"rated_w": 1000, "surge_w": 1000})),
    ("surge-near-limit", task({}, {"between": ["12:00", "13:00"]}, start_w=900)),
    ("surge-near-limit", task(supply="dc12", working_w=60, start_w=1900)),
    ("surge-near-limit", task(start_w=1900, between=["21:00", "22:00"])),  # after the span
    ("pack-follows-air", air(5, 35)),
    ("pack-follows-air", air(2, 20), pack(temperature=2)),
    ("weather-from-afar", MIAMI, {"place": AT_MIAMI}),
    ("weather-from-afar", MIAMI, {"place": {**AT_MIAMI, "elevation_m": 290}}),
    ("not-a-promise",),
]


@pytest.mark.parametrize("case", RAISED, ids=lambda case: case[0])
def test_a_caution_is_raised_by_what_is_in_the_plan(case):
    assert case[0] in found(*case[1:])


@pytest.mark.parametrize("case", NOT_RAISED, ids=lambda case: case[0])
def test_a_caution_is_not_shown_where_it_does_not_apply(case):
    assert case[0] not in found(*case[1:])


def test_every_caution_has_a_plan_that_raises_it_and_one_that_does_not():
    assert {case[0] for case in RAISED} == {case[0] for case in NOT_RAISED}
    assert {case[0] for case in RAISED} == set(MOST_SERIOUS_FIRST)


def test_danger_to_life_comes_before_gear_and_gear_before_trust():
    every = [task({"start_w": 1900, "sparks": True, "rotating": True, "medical": True}), PANEL]
    every += [charger("generator"), around("outdoors", "fuel"), AGM, air(2, 20)]
    shown = list(found(*every))
    assert len(shown) == 11
    assert shown == sorted(shown, key=MOST_SERIOUS_FIRST.index)


def test_a_quiet_plan_raises_nothing():
    assert found() == {}


@pytest.mark.parametrize("case", RAISED, ids=lambda case: case[0])
def test_a_caution_is_at_most_two_sentences_and_says_what_raised_it(case):
    caution = found(*case[1:])[case[0]]
    assert 1 <= len(re.findall(r"[.](?: |$)", caution.text)) <= 2
    assert caution.text.endswith(".")
    assert "\n" not in caution.text
    assert caution.about


def test_a_caution_names_the_task_the_outlet_and_the_place():
    assert found(task(), around("wet"))["mains-in-the-wet"].about == 'task "cut" (ac, wet)'


def test_only_the_first_three_of_many_tasks_are_named():
    many = task(*({"name": f"cut {k}", "rotating": True} for k in range(5)))
    about = found(many)["rotating-tools"].about
    assert about == 'task "cut 0", task "cut 1", task "cut 2" and 2 more'


def test_someone_alone_with_a_rotating_tool_is_told_to_agree_on_a_call():
    with_others, alone = (found(task(rotating=True), around(*w)) for w in ((), ("alone",)))
    assert "alone" not in with_others["rotating-tools"].text
    assert "alone" in alone["rotating-tools"].text


def test_one_stated_sky_is_not_called_a_chance_and_many_weathers_are():
    one = found(PANEL, {"weather": {"kind": "sky", "sky": "broken", "futures": 20}})
    many = found(PANEL, MIAMI, {"weather": {"futures": 20}})
    assert one["not-a-promise"].text.startswith("One sky")
    assert many["not-a-promise"].text.startswith("A chance")


def test_a_start_beside_a_running_tool_names_the_tool_that_starts():
    heater = {"name": "heater", "hours": 2}
    base = {"supply": "ac", "working_w": 400, "between": ["10:00", "12:00"]}
    saw = {"name": "saw", "times": 2, "each_s": 30, "start_w": 1300}
    together = {"task": [{**base, **heater}, {**base, **saw}]}  # 400 + 1300 of 2000 W
    assert found(together)["surge-near-limit"].about == 'task "saw"'
    assert "surge-near-limit" not in found({"task": [{**base, **saw}]})


def test_mains_outdoors_rest_on_the_30_ma_rule():
    # IEC 60364-4-41, 411.3.3 (from memory): 30 mA for mobile equipment used outdoors.
    caution = found(task(), around("outdoors"))["mains-in-the-wet"]
    assert "30 mA" in caution.text
    assert "IEC 60364" in caution.rule


def test_the_collision_rules_are_named_for_lights_and_not_for_pumps():
    # COLREGS rule 20 (b): lights from sunset to sunrise; rule 22: their range (from memory).
    near = AFLOAT, pack(start_percent=90)
    assert "COLREGS" in found(light(), *near)["lifeline-near-reserve"].rule
    assert found(light(name="bilge pump"), *near)["lifeline-near-reserve"].rule == ""


@pytest.mark.parametrize(
    ("latitude_deg", "elevation_m", "month", "freezes"),
    [  # what the climate of such places is known for: common knowledge, no source
        (1.3, 15, 1, False),  # Singapore
        (-1.3, 1795, 7, False),  # Nairobi
        (-16.5, 3640, 6, True),  # La Paz
        (25.8, 2, 7, False),  # Miami in July
        (-33.9, 20, 1, False),  # Sydney in January
        (-26.2, 1750, 7, True),  # Johannesburg in July
        (41.9, 20, 1, True),  # Rome in January
        (41.9, 20, 5, False),  # Rome in May
        (59.9, 20, 5, True),  # Oslo in May
        (51.5, 10, 7, False),  # London in July
        (-54.8, 20, 10, True),  # Ushuaia in October, its spring
        (78.2, 10, 7, True),  # Svalbard in July
    ],
)
def test_frost_is_possible_where_such_places_are_known_for_it(
    latitude_deg, elevation_m, month, freezes
):
    assert frost_possible(latitude_deg, elevation_m, date(2026, month, 15)) is freezes


@pytest.mark.parametrize("name", plans())
def test_the_cautions_of_an_example_keep_their_order(name):
    shown = [caution.id for caution in cautions(budget(Plan.read(f"builtin:{name}")))]
    assert shown
    assert shown == sorted(shown, key=MOST_SERIOUS_FIRST.index)


def test_the_closing_line_defers_in_one_sentence():
    assert CLOSING.count(".") == 1
    assert {"codes", "instructions", "licensed"} <= set(re.findall(r"\w+", CLOSING))
