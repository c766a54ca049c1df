"""Days of many kits whose truth is known, and what is learned of each; no test lives here."""

from dataclasses import dataclass
from functools import cache

import meter_days as lived
import numpy as np
import pytest

from energy.answers.learn.fit import fit
from energy.answers.learn.observe import observe
from energy.answers.learn.posterior import EMPTY, figures_of

FIVE = ["08:00", "09:30", "11:00", "13:00", "16:50"]
BETWEEN_TOOLS = ["08:00", "09:00", "11:00", "12:30", "14:40"]
AFTERNOON = ["12:00", "13:00", "14:00", "15:00", "16:00"]
MANY = 100


def day_of(plan, rows, posterior=None, later=False, previous=None):
    posterior = posterior or EMPTY.with_figures(figures_of(plan))
    return posterior, observe(plan, rows, posterior, later=later, previous=previous)


COUNTED = {  # where the plan says twenty of each
    "11:00": {"tool": "angle-grinder-115", "count": 13},
    "12:30": {"tool": "drill-10", "count": 30},
}
STEADY = [
    {"name": "heater", "supply": "ac", "working_w": 120, "hours": 3, "at": "20:00"},
    {"name": "fan", "supply": "dc12", "working_w": 30, "hours": 4, "at": "20:00"},
]
EVENING = ["20:00", "21:00", "22:30", "23:30"]
ONE_TOOL = {"21:00": {"tool": "heater"}}
CHARGER = {"05:00": {"charger_w": 210.0}, "06:00": {"charger_w": 210.0}}
WATCHED = ["20:00", "23:00", "04:00", "05:00", "06:00"]


def evening():
    """Heater and fan from a pack alone, and a night after it."""
    span = {"start": "2026-05-20T20:00:00", "end": "2026-05-21T06:00:00"}
    pack = {"profile": "pack-1000", "start_percent": 75}
    return lived.plan_of(panel=[], span=span, task=STEADY, pack=pack)


@cache
def days():
    """By name: the plan, what was really done, the spreads of day and hours of its sky, a charger,
    and what was read of it."""
    sunny, folded, night = lived.plan_of(), lived.folded(), evening()
    counted = folded.replace(**{"task.1.times": 13, "task.2.times": 30})
    clear = sunny.replace(**{"weather.sky": 0})
    mixed, dark = (0.30, 0.25), (0.0, 0.0)
    return {
        "a sunny day with watts": (sunny, sunny, mixed, None, (FIVE, 0.20)),
        "the panel folded": (folded, folded, dark, None, (BETWEEN_TOOLS,)),
        "an afternoon called clear": (sunny, clear, (0.06, 0.0), None, (AFTERNOON, 0.06, 0)),
        "other counts than planned": (
            (folded, counted, dark, None, (BETWEEN_TOOLS, None, None, (), COUNTED))
        ),
        "a counter of solar watt-hours": (
            (sunny, sunny, mixed, None, (FIVE, None, None, ("solar_wh",)))
        ),
        "watts at the outlets": (night, night, dark, None, (EVENING, None, None, ("load_w",))),
        "the watts of one tool": (night, night, dark, None, (EVENING, None, None, (), ONE_TOOL)),
        "a known charger": (
            (night, night, dark, ("04:00", 210.0), (WATCHED, None, None, (), CHARGER))
        ),
    }


SELDOM = (
    "a sunny day with watts", "an afternoon called clear", "other counts than planned",
    "watts at the outlets",
    "a counter of solar watt-hours", "the watts of one tool", "a known charger",
)  # fmt: skip
WAYS = [  # the names of `days`, those seldom read as oracles
    pytest.param(name, marks=pytest.mark.oracle) if name in SELDOM else name for name in days()
]


@dataclass(frozen=True)
class Seen:
    """What one kit's day came to: key -> (error / sd, sd / sd before), and how low it was."""

    figures: dict
    contradicts: bool
    lowest_percent: float


@cache
def seen_on(name, kits):
    """The same day of many kits."""
    plan, really, sky_sd, charger, how = days()[name]
    truth = kits(plan, MANY, seed=21)
    life = lived.Lived(really, truth, lived.skies(plan, MANY, 22, *sky_sd), 23, charger)
    found, previous = [], None
    for scenario in range(MANY):
        before, day = day_of(plan, life.readings(scenario, *how), previous=previous)
        previous = previous or day.budget
        fitted = fit(before, [day])
        after, wrong = fitted.posterior, fitted.contradicts(before, len(day.observed))
        true = np.array([truth.of(key)[scenario] for key in before.keys])
        off, left = (true - after.mean) / after.sd, after.sd / before.sd
        figures = dict(zip(before.keys, zip(off, left, strict=True), strict=True))
        found.append(Seen(figures, wrong, float(life.lowest()[scenario])))
    return found


def seen_by_figure(name, kits=lived.truths):
    """The same by figure: key -> two rows, error / sd and sd / sd before, of all kits that did not
    run empty, which nobody lives through here."""
    found = [one for one in seen_on(name, kits) if one.lowest_percent > 1.0]
    return {key: np.array([one.figures[key] for one in found]).T for key in found[0].figures}


NIGHT = {
    "span": {"start": "2026-05-20T20:00:00", "end": "2026-05-21T06:00:00"},
    "task": [{"name": "lamp", "supply": "dc12", "working_w": 1, "minutes": 5}],
    "panel": [],
}
