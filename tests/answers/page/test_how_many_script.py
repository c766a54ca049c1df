"""How many more fit: what the page counts is tried in Python's own simulation, and one more is not
always there to be had. All plans are invented."""

from __future__ import annotations

from datetime import datetime, timedelta
from functools import cache

import pytest
from page_answers import data_of, how_many
from page_plans import LAMP, SAW, demo
from page_script import call, loaded

from energy import Plan, budget
from energy.answers.page.carried import carried
from energy.model.timeline import to_utc
from energy.simulation.case import calendar_of
from energy.simulation.random_factors import lognormal

UP_TO = """
const upTo = (limit, most) => largest((tried) => tried <= limit, most);
globalThis.upTo = upTo;
"""
NINE = datetime(2026, 9, 14, 9, 0)
CLEAR = {"kind": "clear", "temp_air_c": 20}
DARK = {"panel": [], "run": [], "weather": CLEAR, "pack.temperature": 20}
KETTLE = {"name": "kettle", "supply": "ac", "working_w": 900, "spread_percent": 0}
FIGURES = (
    "supply",
    "kind",
    "working_w",
    "power_w",
    "energy_wh",
    "taper_from_percent",
    "each_s",
    "idle_w",
    "duty_percent",
    "start_w",
    "start_s",
    "power_factor",
    "spread_percent",
)
PLANS = {
    "demo": demo(**{"pack.capacity_wh": 1150}),
    "easy": demo(**{"pack.capacity_wh": 3000}),
    "short": demo(**{"pack.capacity_wh": 500}),
    "dark": demo(**DARK, task=[LAMP, SAW | {"between": ["10:00", "12:00"]}]),
    "beside a saw": demo(
        **DARK, **{"pack.inverter.rated_w": 1000},
        task=[{"name": "saw", "supply": "ac", "working_w": 400, "minutes": 60, "at": "09:00"}],
    ),
}  # fmt: skip


@cache
def page_of(name):
    return carried(budget(PLANS[name]))


def tool_of(name, tool):
    data = data_of(page_of(name))
    (unusual,) = (t for t in data["tools"] if t["tool"] == tool)
    found = data["usual"] | unusual
    return found | {"name": tool, "lead_loss": 0.0}


def task_of(name, task):
    (found,) = (t for t in data_of(page_of(name))["tasks"] if t["name"] == task)
    return found


def plain_tool(**figures):
    """The figures of a tool that is written down here."""
    plan = Plan.from_dict(demo().source | {"task": [figures]})
    return plan.task[0].model_dump(by_alias=True, mode="json") | {"lead_loss": 0.0}


def from_s(name, at=NINE):
    return to_utc(at, calendar_of(PLANS[name]).zone)


def with_more(name, tool, unit, count, begins="09:00", ends="20:12"):
    """Python's budget of the plan with so many more, laid over the same window."""
    page, plan = page_of(name), PLANS[name]
    keys = {*FIGURES} - {key for key in FIGURES if tool[key] is None}
    table = {key: tool[key] for key in sorted(keys)} | {
        "name": "more", unit: count, "between": [begins, ends], "days": [1], "priority": 1000,
    }  # fmt: skip
    factor = lognormal(page.spare[0], tool["spread_percent"])
    changed = plan.replace(task=[*plan.source["task"], table])
    return page.budget(changed, factors={"more": factor})


def last_light(name):
    calendar = calendar_of(PLANS[name])
    return f"{calendar.moment(calendar.sun_times(NINE.date())[1]):%H:%M}"


@pytest.mark.parametrize("tool", ["kettle-small", "led-work-light", "phone", "tool-pack-18v-4ah"])
def test_what_is_said_to_fit_fits_in_python_and_one_more_does_not(tool):
    figures, ends = tool_of("demo", tool), last_light("demo")
    more = how_many(page_of("demo"), figures, from_s("demo"))
    assert more["why"] is None
    assert more["count"] > 0
    step = 5 if more["unit"] == "minutes" else 1
    fits = with_more("demo", figures, more["unit"], more["count"], ends=ends)
    assert fits.reaches_goal
    assert not fits.overloads
    one_more = with_more("demo", figures, more["unit"], more["count"] + step, ends=ends)
    assert not one_more.reaches_goal


def test_minutes_that_fit_are_the_energy_over_the_watts():
    # By hand: a pack without sun; what the lowest point spares in DC Wh, less the inverter's idle,
    # over the kettle's input watts. Counted in steps of five minutes, so at most that far below.
    page = page_of("dark")
    more = how_many(page, plain_tool(**KETTLE), from_s("dark"))
    spare_wh = page.budget(page.plan).lowest().spare_wh
    least_w, most_w = 900.0 / 0.95, 900.0 / 0.75  # through any inverter and battery
    assert more["unit"] == "minutes"
    assert 60.0 * spare_wh / most_w - 5.0 <= more["count"] <= 60.0 * spare_wh / least_w
    assert more["count"] % 5 == 0


def test_a_plan_that_misses_its_goal_has_room_for_nothing():
    more = how_many(page_of("short"), plain_tool(**KETTLE), from_s("short"))
    assert more == {"count": 0, "unit": "minutes", "why": "the plan itself misses its goal"}


def test_a_limit_that_forbids_even_one_is_named():
    grinder = plain_tool(**KETTLE | {"start_w": 9000, "times": 1, "each_s": 60})
    more = how_many(page_of("easy"), grinder, from_s("easy"))
    assert more == {
        "count": 0,
        "unit": "times",
        "why": "starts at 9000 W, the inverter surges to 2000 W: it can never run on this pack",
    }


def test_one_that_would_take_the_reserve_is_said_so():
    drain = plain_tool(**KETTLE | {"supply": "dc12", "working_w": 100, "times": 1,
                                   "each_min": 660})  # fmt: skip
    more = how_many(page_of("dark"), drain, from_s("dark", NINE.replace(hour=8)))
    assert (more["count"], more["why"]) == (0, "with it the plan misses its goal")


def test_what_has_a_window_of_its_own_is_counted_in_it():
    # All 16 are done; ten minutes are left of their window, a minute each, on a large pack.
    bolts, late = task_of("easy", "cut the rusted bolts"), datetime(2026, 9, 14, 11, 50)
    done = {bolts["name"]: "all"}
    more = how_many(page_of("easy"), bolts, from_s("easy", late), (late, 100.0, done))
    assert more == {"count": 10, "unit": "times", "why": None}


def test_more_of_what_is_planned_finds_the_gaps_between():
    # By hand: 16 cuts of a minute lie evenly in 150 minutes, so 8.375 minutes between any two and
    # half of that at both ends: 15 times 8 and twice 4.
    bolts = task_of("easy", "cut the rusted bolts")
    more = how_many(page_of("easy"), bolts, from_s("easy"))
    assert more == {"count": 15 * 8 + 2 * 4, "unit": "times", "why": None}


def test_once_its_window_is_over_the_daylight_counts_then_the_night():
    tea = task_of("easy", "tea")  # between 12:00 and 13:00
    afternoon = how_many(page_of("easy"), tea, from_s("easy", datetime(2026, 9, 14, 19, 0)))
    night = how_many(page_of("easy"), tea, from_s("easy", datetime(2026, 9, 14, 23, 30)))
    assert afternoon["count"] >= night["count"] > 0
    assert night["count"] <= 30 / 5
    last = datetime(2026, 9, 14, 23, 57)
    assert how_many(page_of("easy"), tea, from_s("easy", last))["why"] == (
        "no time is left for it today"
    )


def test_it_waits_for_what_the_limits_do_not_let_run_beside_it():
    # 400 W of saw until 10:00, 900 W more than the inverter's 1000 VA.
    more = how_many(page_of("beside a saw"), plain_tool(**KETTLE), from_s("beside a saw"))
    assert more["why"] is None
    assert more["count"] > 0
    alone = with_more("beside a saw", plain_tool(**KETTLE), "minutes", more["count"])
    later = with_more("beside a saw", plain_tool(**KETTLE), "minutes", more["count"], "10:00")
    assert alone.overloads
    assert not later.overloads
    assert later.reaches_goal


def test_amounts_done_and_the_charge_read_count():
    page, phone = page_of("demo"), tool_of("demo", "phone")
    noon = NINE + timedelta(hours=3)
    low = how_many(page, phone, from_s("demo", noon), (noon, 70.0, {}))
    high = how_many(page, phone, from_s("demo", noon), (noon, 100.0, {}))
    assert high["count"] > low["count"]


@pytest.mark.parametrize("most", [1, 2, 3, 7, 100])
def test_the_largest_number_that_does_is_found(most):
    context = loaded(UP_TO)
    for limit in {1, max(most // 2, 1), most, most + 5}:
        assert call("upTo", limit, most, context=context) == min(limit, most)
