"""Invented plans for the page: the demos, frost, lead-acid, polar night, a month, many tasks."""

from functools import cache

from energy import Plan, budget
from energy.answers.page.carried import carried

DEMOS = ("cloudy-repair", "january-job", "two-night-trip")
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


PLANS = {
    **{name: lambda name=name: demo(name) for name in DEMOS},
    "frost": lambda: demo(
        weather={"kind": "sky", "sky": "broken", "temp_air_c": [-14, -6], "futures": 31},
        **{"pack.temperature": None, "pack.heated": False},
    ),
    "lead-acid": lambda: demo(**{"pack.chemistry": "agm"}),
    "climate": lambda: demo(weather=CLIMATE),
    "no panels": lambda: demo(panel=[], run=[]),
    "polar night": lambda: _far_north("2026-12-20T08:00", "2026-12-21T20:00"),
    "polar day": lambda: _far_north("2026-06-20T08:00", "2026-06-21T20:00"),
    "a month": lambda: demo(
        span={"start": "2026-09-01T07:00", "end": "2026-10-02T07:00"}, weather=CLIMATE
    ),
    "60 tasks": _many_tasks,
}


@cache
def plan_of(name):
    return PLANS[name]()


@cache
def page_of(name):
    return carried(budget(plan_of(name)))
