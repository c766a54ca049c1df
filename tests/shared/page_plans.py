"""Invented plans for the page: the demos, frost, lead-acid, polar night, long ones, many tasks."""

from functools import cache

import pytest

from energy import Plan, budget
from energy.answers.page.carried import carried

DEMOS = ("cloudy-repair", "january-job", "two-night-trip")
HOSTILE = "</script><img src=x onerror=alert(1)><!-- <script> ' \" & {{ 7*7 }} -->"
SAW = {"name": "saw", "supply": "ac", "working_w": 400, "times": 12, "each_s": 60}
CLIMATE = {"kind": "climate", "temp_air_c": [6, 12], "futures": 200}
LAMP = {"name": "lamp", "supply": "dc12", "working_w": 10, "between": ["sunset", "sunrise"]}


def demo(name="cloudy-repair", **changes):
    return Plan.read(f"builtin:{name}").replace(**changes)


def _many_tasks():
    tasks = [
        LAMP | {"name": f"lamp {k}", "working_w": 1 + k / 10, "between": ["08:00", "22:00"]}
        for k in range(50)
    ]
    tasks += [SAW | {"name": f"saw {k}", "at": f"{8 + k:02d}:10"} for k in range(10)]
    return demo(task=tasks, run=[])


def _far_north(start, end):
    return demo(
        place={"latitude_deg": 72.0, "longitude_deg": 25.0, "timezone": "Europe/Oslo"},
        span={"start": start, "end": end},
        weather={"kind": "clear", "temp_air_c": -8},
        task=[LAMP],
        panel=[{"rated_w": 100, "tilt_deg": 60}],
    )


def hostile(words=HOSTILE):
    """A plan whose words would rather be a script."""
    tables = demo().source | {"title": words}
    tables["task"][0] |= {"name": words}
    return Plan.from_dict(tables, words)


def three_days():
    """Three days with twenty tasks, as much as one sheet of paper must hold."""
    tasks = [
        {"name": f"a task of some length, the number {k + 1}", "supply": "ac", "working_w": 40 + k}
        | {
            "times": 3 + k,
            "each_s": 40,
            "between": [f"{7 + k % 12:02d}:00", f"{8 + k % 12:02d}:30"],
        }
        for k in range(20)
    ]
    return demo(span={"start": "2026-09-14T07:00", "end": "2026-09-17T07:00"}, task=tasks, run=[])


def _from_september(end, **changes):
    return demo(span={"start": "2026-09-01T07:00", "end": end}, **changes)


PLANS = {
    **{name: lambda name=name: demo(name) for name in DEMOS},
    "frost": lambda: demo(
        weather={"kind": "sky", "sky": "broken", "temp_air_c": [-14, -6], "futures": 31},
        **{"pack.temperature": None, "pack.heated": False},
    ),
    "lead-acid": lambda: demo(**{"pack.chemistry": "agm"}),
    "climate": lambda: demo(weather=CLIMATE),
    "few weathers": lambda: demo(
        weather=CLIMATE | {"futures": 7}, **{"pack.health_spread_percent": 20}
    ),
    "one weather": lambda: demo(
        weather=CLIMATE | {"futures": 1}, **{"pack.health_spread_percent": 20}
    ),
    "no panels": lambda: demo(panel=[], run=[]),
    "polar night": lambda: _far_north("2026-12-20T08:00", "2026-12-21T20:00"),
    "polar day": lambda: _far_north("2026-06-20T08:00", "2026-06-21T20:00"),
    "eight days": lambda: _from_september("2026-09-09T07:00"),
    "a month": lambda: _from_september("2026-10-02T07:00", weather=CLIMATE),
    "60 tasks": _many_tasks,
}
NAMES = [pytest.param(n, marks=pytest.mark.oracle) if n == "a month" else n for n in PLANS]


@cache
def plan_of(name):
    return PLANS[name]()


@cache
def page_of(name):
    return carried(budget(plan_of(name)))
