"""What the page's script answers, and what Python does on the same carried weathers."""

from __future__ import annotations

import json
from functools import cache
from typing import Any

import numpy as np
import page_script
import py_mini_racer
from page_asked import Question, asked
from page_plans import page_of

from energy import Plan
from energy.answers.check.check import Check, task_answers
from energy.answers.page.carried import Carried

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
  const rest = { kit: 0, cases: 0, progress: 0, bursts: 0, outcomes, simulated, checkpoints, words };
  return JSON.stringify({ ...said, ...rest }, plain);
}
function howMany(name, question, tool, fromS) {
  return JSON.stringify(howManyMore(kits.get(name), JSON.parse(question, typed), tool, fromS));
}
"""


@cache
def context() -> py_mini_racer.MiniRacer:
    """The script with what these tests ask of it."""
    return page_script.loaded(ANSWERED)


@cache
def data_of(name: str) -> dict[str, Any]:
    """The data of a page, given to the script too."""
    data = page_of(name).data()
    context().call("carry", name, json.dumps(data))
    return data


def question_text(plan: Plan, tables: list[dict[str, Any]], question: Question, **more: Any) -> str:
    """A question as JSON."""
    text = json.dumps(asked(plan, tables, question) | {"sky": None} | more)
    return text.replace(": Infinity", ': "Infinity"')


def answer_of(
    name: str, question: Question = (None, None, {}), tables: list[dict[str, Any]] | None = None
) -> dict[str, Any]:
    """The script's answer, its checkpoints and its words."""
    tables = data_of(name)["tasks"] if tables is None else tables
    text = question_text(page_of(name).plan, tables, question)
    return page_script.numbers(json.loads(context().call("answered", name, text)))


def python_answer(page: Carried, question: Question = (None, None, {})) -> Check:
    """Python's answer on what the page carries."""
    now, percent, done = question
    result = page.budget(page.plan, now, percent, done)
    return Check(result, task_answers(result))


def how_many(
    name: str, tool: dict[str, Any], from_s: float, question: Question = (None, None, {})
) -> dict[str, Any]:
    """How many more of a tool the script says fit."""
    text = question_text(page_of(name).plan, data_of(name)["tasks"], question)
    answer: dict[str, Any] = json.loads(context().call("howMany", name, text, tool, from_s))
    return answer


def masks(outcome: dict[str, Any], name: str) -> np.ndarray:
    """Which scenarios of an outcome hold."""
    return np.asarray(outcome[name], dtype=bool)
