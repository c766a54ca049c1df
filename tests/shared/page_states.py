"""The page's states in an embedded V8, beside the plans that they stand for; no test lives here."""

from __future__ import annotations

import json
from datetime import datetime
from functools import cache
from typing import Any

import page_script
import script_answers
from page_plans import page_of

from energy.answers.page.data import as_written, limits_data, offsets
from energy.model.timeline import to_utc
from energy.plan import Plan
from energy.plan.task import Task
from energy.simulation.case import calendar_of, span_of
from energy.simulation.demand import limits_of

BEGIN = """
let kit, kept;
function begin(text) {
  kit = decode(JSON.parse(text));
  kept = newHistory();
  return null;
}
function take(action) {
  const after = afterAction(kit, kept, JSON.parse(action));
  kept = after.history;
  return after.problem;
}
function answerNow() {
  const { answer, success, powered, count, charge, edges } = ask(kit, askedOf(kit, kept.state));
  const { middle, dull } = charge;
  return JSON.stringify({ answer, success, powered, count, middle, dull, edges }, plain);
}
function askedNow() { return JSON.stringify(askedOf(kit, kept.state), plain); }
function plannedNow(name, atS) {
  const refused = turnedAwayOf(kit, askedOf(kit, kept.state).tasks);
  return JSON.stringify(plannedOf(kit, piecesOf(kit, kept.state), name, atS, refused));
}
const tomlNow = () => planToml(tablesOf(kit, kept.state));
const csvNow = () => readingsCsv(kit, kept.state);
function loadNow(text) {
  const { history, problem } = load(kit, text);
  if (history) kept = history;
  return problem;
}
"""


@cache
def context():
    return page_script.loaded(BEGIN)


@cache
def tools() -> dict[str, Any]:
    """The tools that a page carries."""
    data = page_of("cloudy-repair").data()
    return {"usual": data["usual"], "tools": data["tools"]}


def small_data(plan: Plan) -> dict[str, Any]:
    """What a state needs of the page's data: no weather."""
    calendar, span = calendar_of(plan), span_of(plan)
    return {
        "version": 1,
        "id": "a",
        "title": plan.title,
        "plan": as_written(plan),
        "zone": {"name": calendar.zone.key, "offsets": offsets(calendar, span)},
        "span": list(span),
        "dates": script_answers.dates(calendar),
        "tasks": [script_answers.task_table(task) for task in plan.task],
        **tools(),
        "spare": ["", "", "", ""],
        "cells": list(span),
        "lit": [],
        "weathers": [],
        "chargers": [],
        "idle_w": 0.0,
        "limits": limits_data(limits_of(plan, calendar)),
        "skies": {name: [1.0] for name in ("clear", "few", "broken", "overcast")},
    }


class Page:
    """The state of one plan's page: acts, and what comes of it. One at a time."""

    def __init__(self, plan: Plan, data: dict[str, Any] | None = None):
        self.plan = plan
        context().call("begin", json.dumps(data or small_data(plan)))

    def act(self, kind: str, at: datetime | None = None, **keys: Any) -> str | None:
        """Do something at a time on the plan's clock; the line that says why it cannot be."""
        time_s = to_utc(at or self.plan.span.start, calendar_of(self.plan).zone)
        return context().call("take", json.dumps(keys | {"kind": kind, "atS": time_s}))

    def undo(self) -> None:
        context().eval("kept = undo(kept); null")

    @property
    def state(self) -> dict[str, Any]:
        return json.loads(context().eval("JSON.stringify(kept.state)"))

    @property
    def asked(self) -> dict[str, Any]:
        """What the engine is asked."""
        return json.loads(context().call("askedNow"))

    @property
    def answer(self) -> dict[str, Any]:
        """What the engine says."""
        return page_script.read(context().call("answerNow"))

    def planned(self, name: str, at: datetime) -> dict[str, float]:
        """How much of a task is planned, and done by the clock at a time."""
        time_s = to_utc(at, calendar_of(self.plan).zone)
        return json.loads(context().call("plannedNow", name, time_s))

    @property
    def toml(self) -> str:
        """The plan as changed."""
        return context().call("tomlNow")

    @property
    def csv(self) -> str:
        """The readings for the evening."""
        return context().call("csvNow")

    @property
    def text(self) -> str:
        """The state as text."""
        return context().eval("dump(kit, kept)")

    def load(self, text: str) -> str | None:
        """Take up a state from its text; the line that says why not."""
        return context().call("loadNow", text)


def same_tasks(asked: dict[str, Any], plan: Plan) -> bool:
    """Whether what the engine is asked is what the plan holds, figure by figure."""
    return [_figures(task) for task in asked["tasks"]] == [
        _figures(json.loads(json.dumps(script_answers.task_table(task)))) for task in plan.task
    ]


# What decides nothing: a task's heading, and keys whose sense is in others.
NO_FIGURES = ("group", "source", "value", "spare", "each_min")


def _figures(task: dict[str, Any] | Task) -> dict[str, Any]:
    return {key: value for key, value in dict(task).items() if key not in NO_FIGURES}
