"""Random moments, charges and amounts done of a plan, as Python and as the page take them."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import numpy as np
from script_plans import Random, chosen

from energy import Plan
from energy.model.timeline import to_utc
from energy.simulation.case import calendar_of

Question = tuple[datetime | None, float | None, dict[str, float | str]]


def random_now(random: Random, plan: Plan) -> datetime:
    """A whole minute inside the span."""
    minutes = (plan.span.end - plan.span.start).total_seconds() / 60.0
    return plan.span.start + timedelta(minutes=int(random.integers(1, minutes - 1)))


def random_done(random: Random, plan: Plan) -> dict[str, float | str]:
    """Of about half of the names none, all, some, or more than was planned."""
    done: dict[str, float | str] = {}
    for name in dict.fromkeys(task.name for task in plan.task):
        units = {task.unit for task in plan.task if task.name == name}
        if random.random() < 0.5:
            continue
        said = ["none", "all"]
        if len(units) == 1:
            most = {"minutes": 90, "hours": 3}.get(next(iter(units)), 12)
            said += [int(random.integers(1, most)), int(random.integers(1, most)), 5000]
        done[name] = chosen(random, said)
    return done


def random_questions(random: Random, plan: Plan, count: int) -> list[Question]:
    """From the plan's start, and so many from later moments, with and without amounts done."""
    later = [
        (random_now(random, plan), float(random.integers(101)), random_done(random, plan))
        for _ in range(count)
    ]
    return [(None, None, {}), *((now, at, done if k % 2 else {}) for k, (now, at, done) in
                                enumerate(later))]  # fmt: skip


def asked(plan: Plan, tables: list[dict[str, Any]], question: Question) -> dict[str, Any]:
    """A question as the page takes it."""
    words, (now, percent, done) = {"all": np.inf, "none": 0.0}, question
    return {
        "tasks": tables,
        "nowS": None if now is None else to_utc(now, calendar_of(plan).zone),
        "percent": percent,
        "done": {name: words.get(said, said) for name, said in done.items()},
    }
