"""What a caution says, which task or cable it names, on which rule it rests, and when frost counts.

Common practice, no source, unless a line names one. The plans are invented.
"""

import time
from datetime import date, datetime
from functools import partial

import numpy as np
import pytest
from caution_plans import (
    AFLOAT,
    AGM,
    COLD_NIGHT,
    MIAMI,
    PANEL,
    PHONE,
    air,
    around,
    found,
    lead,
    light,
    pack,
    panel,
    run,
    task,
    with_changes,
)
from told import at_a_glance, unfolded

from energy.answers.aim import words as aim_words
from energy.answers.aim.aim import aim
from energy.answers.caution.cautions import CLOSING, cautions
from energy.answers.caution.trust import frost_possible
from energy.answers.caution.words import (
    CLOSING_SHORT,
    LABEL_WORDS,
    care_part,
    warning,
    warning_part,
)
from energy.answers.check.check import check
from energy.answers.check.rest import rest_of
from energy.answers.check.words import sheet
from energy.answers.choose import words as choose_words
from energy.answers.choose.choose import choose
from energy.answers.choose.how_many import how_many
from energy.answers.page import words as page_words
from energy.answers.page.page import page
from energy.answers.size import words as size_words
from energy.answers.size.size import size
from energy.answers.when import words as when_words
from energy.answers.when.when import when
from energy.answers.wire.wire import wire
from energy.plan import PlanError
from energy.show.layout import LINES
from energy.simulation.budget import budget
from energy.weather.fetched.cache import About, Forecast, save_forecast


def test_a_caution_names_the_task_the_outlet_and_the_place():
    assert found(task(), around("wet"))["mains-in-the-wet"].about == 'task "cut" (ac, wet)'


def test_only_the_first_three_of_many_tasks_are_named():
    many = task(*({"name": f"cut {k}", "rotating": True} for k in range(5)))
    about = found(many)["rotating-tools"].about
    assert about == 'task "cut 0", task "cut 1", task "cut 2" and 2 more'


def test_someone_alone_with_a_rotating_tool_is_told_to_agree_on_a_call():
    alone = found(task(rotating=True), around("alone"))["alone-with-tools"]
    assert "agree" in alone.text
    assert alone.about == 'task "cut" (alone)'


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


def test_where_a_mains_tool_is_used_is_asked_for_once_and_only_where_nobody_said_it():
    silent = found(task({"hand_held": True}, {"name": "saw", "sparks": True}))
    texts = " ".join(caution.text for caution in silent.values())
    assert texts.count("say where: around = [") == 1
    assert "say where" in silent["mains-in-the-wet"].text
    for said in (around(), around("enclosed"), around("wet")):
        assert "say where" not in found(task(hand_held=True), said)["mains-in-the-wet"].text
    assert not any("say where" in caution.text for caution in found(task()).values())


def test_indoors_only_tools_held_by_hand_or_used_with_sparks_or_water_are_named():
    both = task({"name": "lamp"}, {"name": "saw", "hand_held": True})
    assert found(both)["mains-in-the-wet"].about == 'task "saw" (ac)'
    assert '"lamp"' in found(both, around("outdoors"))["mains-in-the-wet"].about


@pytest.mark.parametrize(
    ("caution", "changes", "words"),
    [
        ("battery-short-circuit", AGM, ["rings", "tools", "posts", "fuse"]),
        ("acid", pack(chemistry="flooded"), ["goggles", "eyes", "skin", "water", "soda"]),
        (
            "damaged-lithium",
            around("outdoors"),
            ["swollen", "wet", "dropped", "hot", "outdoors", "charge"],
        ),
        ("hot-tools", task(hot=True), ["burn", "alone"]),
        ("dust", task(dust=True), ["silica", "wood", "metal", "extraction", "mask"]),
        ("welding-arc", task(name="weld"), ["eyes", "skin", "fumes", "watch for fire"]),
        ("wind-on-panel", PANEL, ["wind", "flat"]),
        ("extreme-heat", air(30, 47), ["water", "shade"]),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_a_caution_says_what_to_do(caution, changes, words):
    text = found(changes)[caution].text.lower()
    assert [word for word in words if word not in text] == []


@pytest.mark.parametrize(
    ("tool", "name", "raises", "not_raises"),
    [
        ("angle-grinder-125", "bolts", "sparks", "medical-load"),
        ("plastic-welder", "weld the tank", "hot-tools", "sparks"),
        ("fridge-12v", "insulin fridge", "medical-load", "sparks"),
        (None, "grind the bolts", "sparks", "medical-load"),
    ],
)
def test_what_is_under_way_keeps_the_risks_of_its_tool(tool, name, raises, not_raises):
    watts = {"tool": tool} if tool else {"supply": "ac", "working_w": 500}
    grind = {**watts, "name": name, "times": 1, "each_min": 60, "at": "10:00"}
    plan = with_changes({"task": [grind]})
    rest = plan.replace(**rest_of(plan, datetime(2026, 6, 1, 10, 30), 80.0))
    raised = {caution.id for caution in cautions(budget(rest))}
    assert raises in raised
    assert not_raises not in raised


def test_a_plan_without_a_risk_gets_no_more_than_the_closing_line():
    warned = cautions(budget(with_changes()))
    for every, closing in ((True, CLOSING), (False, f"{LABEL_WORDS} {CLOSING_SHORT}")):
        care = care_part(warned, 100, every=every)
        assert unfolded("\n".join(line.plain for line in care.lines)) == closing


def test_a_load_that_hangs_is_warned_of_where_something_lifts_and_not_for_a_heavy_pack():
    assert "under" in found(task(lifts=True))["heavy-lift"].text
    assert "under" not in found(pack(kg=40))["heavy-lift"].text
    both = found(task(lifts=True), pack(kg=40))["heavy-lift"]
    assert both.about == '[pack], 40 kg, task "cut"'
    assert "ISO 11228-1" in both.rule  # 25 kg, from memory


def test_the_hottest_weather_of_all_decides_about_heat():
    # The typical year of Miami stays below 38 C in every June: a fact of the file.
    assert "extreme-heat" not in found(MIAMI, {"weather": {"futures": 31}})
    assert found(air(30, 47))["extreme-heat"].about == "[weather] up to 47.0 degrees C"


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


def test_a_closed_space_lets_hydrogen_gather():
    open_air, enclosed = (found(PANEL, AGM, around(*w)) for w in ((), ("enclosed",)))
    assert "gathers" not in open_air["hydrogen"].text
    assert "gathers" in enclosed["hydrogen"].text


def test_the_collision_rule_for_boats_at_anchor_stands_behind_a_dark_boat_and_a_lone_light():
    # COLREGS rule 30 (from memory): lights of vessels at anchor.
    assert "COLREGS" in found(AFLOAT)["dark-boat"].rule
    assert "30" in found(AFLOAT)["dark-boat"].rule
    assert "30" in found(AFLOAT, light())["second-light"].rule


def test_ignition_protection_is_a_rule_of_boats_alone():
    # ISO 8846 (from memory): small craft, protection against ignition of flammable gases.
    assert "ISO 8846" in found(AFLOAT, around("fuel", "afloat"))["fuel-vapour"].rule
    assert found(around("fuel"))["fuel-vapour"].rule == ""


def test_a_cable_is_named_by_its_number_and_ends():
    thin = found(run(mm2=1, amps=12.1))["cable-too-thin"]
    assert thin.about == 'run 1 "pack" to "winch"'


def test_a_string_that_is_too_cold_is_said_in_volts():
    # 25 V x 1.10 at 0 C: NFPA 70 table 690.7(A), from memory.
    freezing = {"place": {"lowest_c": 0}}
    cold = found(panel(v_oc=25), pack(solar_input={"max_v": 26}), freezing)
    assert "reach 28 V" in cold["cold-string-voltage"].text
    assert "bears 26 V" in cold["cold-string-voltage"].text


def test_a_cold_that_nobody_knows_is_not_told_as_a_fact():
    # 25 V x 1.25 at -40 C: NFPA 70 table 690.7(A), from memory.
    text = found(panel(v_oc=25), pack(solar_input={"max_v": 26}), air(20, 20))
    text = text["cold-string-voltage"].text
    assert "would reach 31 V, and nobody has said how cold it gets here" in text
    assert "lowest_c" in text
    assert "in series" not in text  # there is one panel


def test_a_panel_that_works_above_the_input_needs_no_open_circuit_volts_to_be_warned_of():
    # v_oc lies above v_mp (a fact of the trade).
    high = found(panel(v_mp=30), pack(solar_input={"max_v": 29}), {"place": {"lowest_c": 25}})
    assert "reach at least 30 V" in high["cold-string-voltage"].text


RUNS = [
    run(mm2=mm2, amps=amps, length_m=length)
    for mm2 in (1, 3.31, 10, None)
    for amps in (5, 16.5, 40)
    for length in (1, 6, 10)
]
RUNS += [lead(40) | task(working_w=watts) for watts in (200, 2500)]


@pytest.mark.parametrize("changes", RUNS, ids=str)
def test_cautions_and_the_wiring_answer_agree_on_a_cable(changes):
    plan = with_changes(changes)
    one = wire(plan).runs[0]
    raised = {caution.id for caution in cautions(budget(plan))}
    assert ("cable-too-thin" in raised) == one.too_thin
    assert ("cable-too-long" in raised) == one.drops_too_much


def forecast_of(hours_ago, now_s):
    """A forecast of three dull days at the quiet plan's place, begun at midnight, held."""
    start_s = np.floor(now_s / 86400.0) * 86400.0 + 3600.0 * np.arange(72)
    values = np.full((72, 2), 20.0)
    fetched_s = now_s - 3600.0 * hours_ago
    found = Forecast("invented", 10.0, 0.0, 0.0, fetched_s, start_s, values, values, values / 10.0)
    save_forecast(found, About("invented", "", 10.0, 0.0, 0.0, fetched_s, "", ""))


@pytest.mark.parametrize(("hours_ago", "old"), [(0, False), (23, False), (25, True), (200, True)])
def test_a_forecast_is_old_when_it_was_fetched_more_than_a_day_ago(
    hours_ago, old, tmp_path, monkeypatch
):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    now_s = time.time()
    forecast_of(hours_ago, now_s)
    day = date.fromtimestamp(np.floor(now_s / 86400.0) * 86400.0 + 86400.0 + 43200.0)
    span = {"start": f"{day}T08:00:00", "end": f"{day}T20:00:00"}
    weather = {"kind": "forecast", "temp_air_c": None}
    warned = cautions(budget(with_changes({"span": span, "weather": weather})))
    assert ("forecast-old" in {caution.id for caution in warned}) == old


def test_weather_without_a_forecast_has_no_age():
    assert "forecast-old" not in found(MIAMI)


# 43 V open at an input that bears 30 V, and more of them in frost; by its energy a yes.
TOO_MANY_VOLTS = (
    panel(rated_w=400, v_mp=36, v_oc=43, i_sc=11.8),
    {"place": {"lowest_c": 0}},
    pack(solar_input={"max_v": 30, "max_a": 20}),
)
TOO_MANY_AMPS = panel(i_sc=9), pack(solar_input={"max_a": 8})
MAY_BE_TOO_MANY = panel(v_mp=27, v_oc=29), pack(solar_input={"max_v": 30})
UNSUITED = "Take care The panels' strings do not suit the solar input"
DESTROYS = f"{UNSUITED} and can destroy it: do not connect them"
ANSWERS = {
    "check": lambda plan: partial(sheet, check(plan)),
    "choose": lambda plan: partial(choose_words.sheet, choose(plan)),
    "how many": lambda plan: partial(choose_words.how_many_sheet, how_many(plan, "phone")),
    "when": lambda plan: partial(when_words.sheet, when(plan, end=plan.span.start.date())),
    "size": lambda plan: partial(size_words.sheet, size(plan)),
    "page": lambda plan: partial(page_words.sheet, page(plan), demo=False),
    "aim": lambda plan: partial(aim_words.sheet, aim(plan)),
}


@pytest.mark.parametrize("answer", ANSWERS)
def test_panels_that_can_destroy_the_input_stand_right_under_every_answer(answer):
    plan = with_changes(*TOO_MANY_VOLTS)
    blocks = at_a_glance(ANSWERS[answer](plan)).split("\n\n")
    told_at = 1 if answer == "how many" else 2
    assert unfolded(blocks[told_at]).startswith(DESTROYS)
    assert wire(plan).verdict is False


@pytest.mark.parametrize("answer", ANSWERS)
def test_a_task_of_which_nothing_is_counted_stands_right_under_every_answer(answer):
    """Four hours without a window begin at midnight, before the span's first and only morning."""
    saw = light(name="saw", supply="ac", working_w=700, hours=4)
    plan = with_changes(PANEL, {"task": [PHONE, *saw["task"]]})
    blocks = at_a_glance(ANSWERS[answer](plan)).split("\n\n")
    told_at = 1 if answer == "how many" else 2
    assert unfolded(blocks[told_at]) == (
        'Take care Nothing of "saw" lies inside the span, nothing of it is counted: with neither'
        " between nor at it begins at midnight."
    )


def test_what_is_left_out_or_over_is_not_called_uncounted():
    heater = light(name="heater", must=False, between=["10:00", "17:00"])
    plan = with_changes({"task": [PHONE | {"at": "09:00"}, *heater["task"]]}, pack(capacity_wh=200))
    (left,) = choose(plan).left_out
    assert left.task == "heater"
    assert warning(choose(plan).budget) == ""
    later = plan.span.start.replace(hour=17, minute=30)
    assert warning(check(plan, now=later, battery_percent=80).budget) == ""


def test_a_yes_with_panels_that_can_destroy_the_input_stays_a_yes_in_24_lines():
    answer = check(with_changes(*TOO_MANY_VOLTS))
    assert answer.yes
    text = at_a_glance(partial(sheet, answer))
    assert text.splitlines()[2].startswith("YES")
    assert len(text.splitlines()) <= LINES


@pytest.mark.parametrize(
    ("tables", "words"),
    [
        (TOO_MANY_VOLTS, DESTROYS),
        (TOO_MANY_AMPS, f"{UNSUITED}: ask energy wire first."),
        (MAY_BE_TOO_MANY, ""),  # nobody has said how cold it gets
        ((PANEL,), ""),
        ((), ""),
    ],
)
def test_only_panels_sure_to_be_wrong_are_told_under_the_answer(tables, words):
    part = warning_part(budget(with_changes(*tables)), 1000)
    assert "".join(map(str, part.lines)).startswith(words)
    assert bool(part.lines) == bool(words)


def test_a_string_that_is_too_much_for_the_input_is_said_under_the_verdict():
    four = panel(count=4, v_oc=22), {"place": {"lowest_c": -40}}
    plan = with_changes(*four, pack(solar_input={"max_v": 60, "connection": "series"}))
    answer = check(plan)
    assert DESTROYS in unfolded(at_a_glance(partial(sheet, answer)))
    assert wire(plan).verdict is False


def test_a_record_low_that_lost_its_sign_is_refused():
    with pytest.raises(PlanError, match="lowest_c must be at most 25"):
        with_changes({"place": {"lowest_c": 40}})


def test_what_is_charged_in_frost_is_told_beside_the_pack():
    charged = {"task": [{**PHONE, "at": "05:00"}, {**PHONE, "name": "laptop", "at": "14:00"}]}
    told = found(charged, PANEL, *COLD_NIGHT)["charging-below-freezing"]
    assert told.about == (
        "[pack] down to -4.0 degrees C while sun or charger would charge it,"
        ' task "phone" in air down to -4.0 degrees C'
    )
    assert "the pack takes nothing" in told.text
    assert "charge them where it is warm" in told.text
    alone = found(charged, AGM, PANEL, *COLD_NIGHT)["charging-below-freezing"]
    assert alone.about == 'task "phone" in air down to -4.0 degrees C'
    assert "the pack takes nothing" not in alone.text


def test_tools_charged_in_frost_beside_a_warm_pack_are_what_the_caution_begins_with():
    outdoors = {"task": [PHONE]}, air(-8, -1), around("outdoors")
    told = found(*outdoors, PANEL, pack(temperature=15))["charging-below-freezing"]
    assert told.text.startswith("Batteries of tools and phones, mostly lithium, must not be")
    assert "[pack]" not in told.about
