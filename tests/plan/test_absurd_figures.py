"""Every figure of a plan at absurd values: a line that refuses it, or an answer in finite figures.

No library may warn on the way. The values are no one's: they only must not break anything.
"""

import copy
import json
import typing
import warnings

import pytest
from plan_tables import CHARGER, COOLER, FOLDER, LAMP, SAW, tables

from energy.answers.check.check import check
from energy.plan import Plan, PlanError
from energy.plan.kit import Charger, Inverter, Pack, Panel
from energy.plan.schema import Cable, Goal, Place, Weather
from energy.plan.task import Task

FIGURES = (1e-300, 1e-3, 99.999, 1e5, 1e300, -1.0, 0.0)
PANEL = FOLDER | {"tilt_deg": 30, "facing": "S"}
INVERTER = {"rated_w": 1000, "surge_w": 2000}
WHOLE = tables(
    span={"start": "2026-06-01T08:00:00", "end": "2026-06-01T20:00:00"},
    panel=[PANEL],
    pack={"capacity_wh": 1000, "nominal_v": 12.8, "inverter": INVERTER, "dc12": {"rated_w": 120}},
    charger=[{"watts": 100, "between": ["17:00", "18:30"]}],
    weather={"kind": "clear", "temp_air_c": 12},
    goal={"chance_percent": 90},
    task=[LAMP, SAW | {"times": 4, "each_s": 60}, COOLER, CHARGER],
    run=[{"from": "panel", "to": "pack", "length_m": 5, "mm2": 4}],
)
PLACES = {
    "place": Place, "weather": Weather, "goal": Goal, "pack": Pack, "pack.inverter": Inverter,
    "panel.0": Panel, "charger.0": Charger, "run.0": Cable,
    "task.0": Task, "task.1": Task, "task.2": Task, "task.3": Task,
}  # fmt: skip


def takes_number(annotation):
    if annotation in (int, float):
        return True
    return any(takes_number(inner) for inner in typing.get_args(annotation) if inner is not tuple)


KEYS = [
    (place, field.alias or key)
    for place, model in PLACES.items()
    for key, field in model.model_fields.items()
    if takes_number(field.annotation)
]


def with_figure(place, key, figure):
    whole = copy.deepcopy(WHOLE)
    at = whole
    for part in place.split("."):
        at = at[int(part)] if isinstance(at, list) else at.setdefault(part, {})
    at[key] = figure
    if place == "pack" and key == "capacity_ah":
        del at["capacity_wh"]
    return whole


def is_like_others(place, key):
    """Whether a task's table lacks a key that every task may have: one task stands for all."""
    group, _, number = place.partition(".")
    return group == "task" and number != "0" and key not in WHOLE["task"][int(number)]


@pytest.mark.parametrize(
    ("place", "key"),
    [pytest.param(*of, marks=[pytest.mark.oracle] * is_like_others(*of)) for of in KEYS],
    ids=lambda word: word,
)
def test_a_figure_is_refused_or_answered(place, key):
    for figure in FIGURES:
        with warnings.catch_warnings():
            warnings.simplefilter("error", RuntimeWarning)  # a figure that overflows or is none
            try:
                answer = check(Plan.from_dict(with_figure(place, key, figure)))
            except PlanError:
                continue
            json.dumps(answer.as_dict(), allow_nan=False)


def test_all_tables_of_figures_are_tried():
    assert len(KEYS) > 120
