"""The page's sentences against Python's, in demos and in made-up plans where something fails."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from page_answers import answer_of, python_answer
from page_plans import CLIMATE, demo, page_of
from page_script import call
from script_answers import answers, calendar_kit
from script_questions import random_questions

from energy import budget
from energy.answers.check.words import verdict_words, what_decides
from energy.answers.page.carried import carried
from energy.model.demand import Burst
from energy.model.limits import Overload
from energy.model.timeline import Calendar
from energy.plan.words import and_list
from energy.show.moments import at_clock, clock, short_clock
from energy.simulation.overloads import why_refused

FLAG = " more cannot: --tasks"  # on the page the tasks stand below
FROST = {"kind": "sky", "sky": "overcast", "temp_air_c": [-30, -8], "futures": 31}
MIXED = {"kind": "sky", "sky": "broken", "temp_air_c": [-14, 4], "futures": 31}
ONE = {"kind": "sky", "sky": "overcast", "temp_air_c": [5, 9], "futures": 1}
SAW = {"name": "saw", "supply": "ac", "working_w": 400, "minutes": 30}
LAMP = {"name": "lamp", "supply": "dc12", "working_w": 5, "must": True}
COLD = {"pack.temperature": None, "pack.discharge_min_c": -10.5}
MADE_UP: dict[str, dict[str, Any]] = {
    "flat in some, too cold in others": {"weather": MIXED | {"temp_air_c": [-14, 8]}, **COLD,
                                         "pack.discharge_min_c": -12.0},
    "one weather, flat": {"weather": ONE, "pack.start_percent": 30},
    "one weather, into the reserve": {"weather": ONE, "pack.start_percent": 97},
    "one weather, powered": {"weather": ONE, "pack.capacity_wh": 4000},
    "one weather, too cold": {"weather": FROST | {"futures": 1}, **COLD},
    "too cold in all": {"weather": FROST, **COLD},
    "too cold in some": {"weather": MIXED, **COLD, "pack.discharge_min_c": -9.0},
    "a cold night without work": {"weather": MIXED, **COLD, "pack.idle_w": 0,
                                  "task": [LAMP | {"between": ["12:00", "14:00"]}]},
    "flat, and it must run": {"pack.start_percent": 45, "panel": [], "run": []},
    "a small pack": {"pack.capacity_wh": 780},
    "in a dull corner": {"weather": CLIMATE, "pack.capacity_wh": 760},
    "almost in a dull corner": {"weather": CLIMATE, "pack.start_percent": 90},
    "a start too high": {"task": [SAW | {"start_w": 2700, "start_s": 0.5}, LAMP]},
    "a start too long": {"task": [SAW | {"start_w": 1500, "start_s": 12.25}, LAMP]},
    "too much at once": {"task": [SAW | {"between": ["10:00", "12:00"]}, *(
        SAW | {"name": f"saw {k}", "at": "10:10"} for k in range(3))]},
    "more than the outlets give": {"task": [LAMP | {"working_w": 300}, SAW]},
    "more than USB gives": {"task": [LAMP | {"supply": "usb", "working_w": 250.5}]},
    "switched off": {"task": [SAW | {"between": ["10:00", "12:00"]}, LAMP],
                     "pack.inverter.on": [["07:00", "09:00"]]},
    "some of it": {"task": [SAW | {"minutes": None, "times": 8, "each_s": 600,
                                   "between": ["08:00", "16:00"]}],
                   "pack.inverter.on": [["07:00", "11:05"]]},
    "more than the pack gives": {"pack.discharge_max_w": 300.4, "task": [SAW, LAMP]},
    "overloads, and flat": {"task": [SAW | {"working_w": 5000}, LAMP | {"working_w": 90}]},
}  # fmt: skip


@cache
def made_up(name):
    return carried(budget(demo(**MADE_UP[name])))


@cache
def answers_of(name):
    """Three random questions about a made-up plan, each with what the script answers."""
    page = made_up(name)
    questions = random_questions(np.random.default_rng(11), page.plan, 3)
    return [(question, answer_of(page, question)) for question in questions]


def assert_same_words(page, question, mine=None):
    mine, check = mine or answer_of(page, question), python_answer(page, question)
    assert mine["words"] == what_decides(check).replace(FLAG, " more cannot")
    assert [task["whyNot"] for task in mine["tasks"]] == [task.why_not for task in check.tasks]


@pytest.mark.parametrize("name", MADE_UP)
def test_what_decides_is_said_as_in_python(name):
    for question, mine in answers_of(name):
        assert_same_words(made_up(name), question, mine)


@pytest.mark.parametrize("percent", [40.0, 55.0, 80.0])  # 5, 18 and all 31 stop by the cold
def test_cold_is_named_where_it_stops_more_weathers_than_an_empty_pack(percent):
    noon = datetime(2026, 9, 14, 12)
    assert_same_words(made_up("flat in some, too cold in others"), (noon, percent, {}))


@pytest.mark.parametrize("name", ["cloudy-repair", "two-night-trip", "january-job", "climate"])
def test_the_demos_are_worded_as_in_python(name):
    page = page_of(name)
    for question in random_questions(np.random.default_rng(12), page.plan, 6):
        assert_same_words(page, question)


SAID = (
    "It runs flat", "but it uses the reserve", "It stays powered", "It gets too cold", "Works in",
    "Something stops", "more use the reserve", "Mostly", "(too cold to give)", "Must-run",
    "Nothing stops in any", "in a dull corner", "cannot run", "cannot always run", "more cannot",
    "and the pack runs flat", "the pack gets too cold", " fail; the goal allows",
)  # fmt: skip


def test_every_sentence_is_among_those_compared():
    said = [mine["words"] for name in MADE_UP for _, mine in answers_of(name)]
    assert [part for part in SAID if not any(part in words for words in said)] == []


LIMITS = ("no-inverter", "inverter-off", "inverter", "surge", "surge-time", "discharge", "battery",
          "dc12", "usb")  # fmt: skip
WATTS = st.one_of(
    st.floats(0.0, 5000.0),
    st.integers(0, 40_000).map(lambda n: n / 8.0),
    st.sampled_from([2000.0, 2000.04, 2000.5, 2001.5, 1e6, 1.23456e7]),
)


@given(
    limit=st.sampled_from(LIMITS),
    supply=st.sampled_from(["ac", "dc12", "usb"]),
    start_w=WATTS,
    numbers=st.tuples(WATTS, WATTS),
    counts=st.tuples(st.integers(1, 3), st.integers(0, 2)),
    others=st.sampled_from(["", '"saw" and 2 more']),
)
def test_why_a_task_is_refused_is_said_as_in_python(
    limit, supply, start_w, numbers, counts, others
):
    turned_away, more = counts
    refused = [Overload(Burst(0, 0, ()), limit, *numbers, 0.0)] * turned_away
    theirs = [{"limit": limit, "asked": numbers[0], "allowed": numbers[1]}] * turned_away
    expected = why_refused(supply, start_w, refused, turned_away + more, others)
    assert call("whyRefused", supply, start_w, theirs, turned_away + more, others) == expected


@given(WATTS, st.integers(0, 2))
def test_numbers_are_rounded_as_in_python(value, digits):
    assert call("fixed", value, digits) == f"{value:.{digits}f}"


@pytest.mark.parametrize("days", [0, 1, 6, 7, 40])
def test_moments_are_said_as_in_python(days):
    first = date(2026, 10, 20)
    span = Calendar(first, first + timedelta(days), ZoneInfo("Europe/Oslo"), 60.0, 10.0)
    kit = calendar_kit(span)
    start_s = span.at(("clock", 0.0), first)
    moments = np.random.default_rng(2).uniform(start_s, start_s + 86400.0 * (days + 1), 50)
    # The EU's summer time ends on the last Sunday of October at 01:00 UTC (directive 2000/84/EC).
    if (back_s := datetime(2026, 10, 25, 1, tzinfo=UTC).timestamp()) < moments.max():
        edges = [back_s + 60.0 * m for m in (-61, -60, -30, -1, 0, 30, 59, 60)]
        moments = np.append(moments, edges)
    for name, expected in (
        ("clockText", clock),
        ("atClock", at_clock),
        ("shortClock", short_clock),
    ):
        theirs = answers(name, kit, [[float(t)] for t in moments])
        assert theirs == [expected(span, float(t)) for t in moments]


def test_small_words_are_said_as_in_python():
    for verdict in ("stays-powered", "dips-into-reserve", "runs-flat", "overloads"):
        for cold in (False, True):
            assert call("verdictWords", verdict, cold) == verdict_words(verdict, cold)
    for words in ([], ["a"], ["a", "b"], ["a", "b", "c"]):
        assert call("andList", words) == and_list(words)
