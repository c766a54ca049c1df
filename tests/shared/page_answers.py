"""What the page's script answers, and what Python does on the same carried weathers."""

from __future__ import annotations

import json
from functools import cache
from typing import Any

import numpy as np
import page_script
import py_mini_racer
from script_questions import Question, asked

from energy import Plan
from energy.answers.check.check import Check, task_answers
from energy.answers.page.carried import Carried
from energy.answers.page.data import plan_id

START: Question = (None, None, {})
ANSWERED = """
const kits = new Map();
function carry(name, json) { return kits.set(name, decode(JSON.parse(json))).size; }
function answered(name, question) {
  const kit = kits.get(name);
  const answer = ask(kit, JSON.parse(question, typed));
  const { asked, ...said } = answer;
  const outcomes = answer.outcomes.map(({ setup, simulated, ...judged }) => judged);
  const words = whatDecides(answer);
  const simulated = answer.simulated.map(({ storeWh }) => storeWh);
  const checkpoints = checkpointsOf(kit, answer);
  const left_out = { kit: 0, cases: 0, progress: 0, bursts: 0 };
  const more = { outcomes, simulated, checkpoints, words };
  return JSON.stringify({ ...said, ...left_out, ...more }, plain);
}
function howMany(name, question, tool, fromS) {
  const asked = JSON.parse(question, typed);
  return JSON.stringify(howManyMore(kits.get(name), asked, JSON.parse(tool), fromS));
}
"""


@cache
def context() -> py_mini_racer.MiniRacer:
    """The script with what these tests ask of it."""
    return page_script.loaded(ANSWERED)


_CARRIED: dict[str, dict[str, Any]] = {}


def data_of(page: Carried) -> dict[str, Any]:
    """The data of a page, given to the script too when first asked for."""
    key = plan_id(page.plan)
    if key not in _CARRIED:
        _CARRIED[key] = page.data()
        context().call("carry", key, json.dumps(_CARRIED[key]))
    return _CARRIED[key]


def question_text(plan: Plan, tables: list[dict[str, Any]], question: Question, **more: Any) -> str:
    """A question as JSON."""
    text = json.dumps(asked(plan, tables, question) | {"sky": None} | more)
    return text.replace(": Infinity", ': "Infinity"')


def answer_of(
    page: Carried, question: Question = START, tables: list[dict[str, Any]] | None = None
) -> dict[str, Any]:
    """The script's answer, its checkpoints and its words; tables: tasks other than the plan's."""
    data = data_of(page)
    text = question_text(page.plan, data["tasks"] if tables is None else tables, question)
    return page_script.read(context().call("answered", data["id"], text))


def python_answer(page: Carried, question: Question = START) -> Check:
    """Python's answer on what the page carries."""
    now, percent, done = question
    result = page.budget(page.plan, now, percent, done)
    return Check(result, task_answers(result))


def how_many(
    page: Carried, tool: dict[str, Any], from_s: float, question: Question = START
) -> dict[str, Any]:
    """How many more of a tool the script says fit."""
    data = data_of(page)
    text = question_text(page.plan, data["tasks"], question)
    answer: dict[str, Any] = json.loads(
        context().call("howMany", data["id"], text, json.dumps(tool), from_s)
    )
    return answer


def masks(outcome: dict[str, Any], name: str) -> np.ndarray:
    """Which scenarios of an outcome hold."""
    return np.asarray(outcome[name], dtype=bool)
