"""One plan's row among many: what is common to all answers, or why there is none.

Workers send rows back and nothing else: an answer with its budget would cost more to send than to
work out again.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import Any

from energy.answers.caution.words import warning as warning_of
from energy.plan import Plan, PlanError
from energy.plan.words import LONGEST_LINE, one_line
from energy.simulation.budget import Budget
from energy.simulation.overloads import why_turned_away

PROBLEM = "problem"
LONGEST_NAME, LONGEST_ANSWER = 200, 40
KINDS = ("yes", "almost", "no", PROBLEM)
WORST_FIRST = (PROBLEM, "warning", "no", "almost", "", "yes")

Question = Callable[[Plan], Any]


@dataclass(frozen=True)
class Row:
    """What a plan is told: where it is [degrees], the answer, the chance with its low and high end
    and the lowest charge of the middling weather [percent], or the error in one line; warning: what
    must not be overlooked, such as a kit that must not be connected there as it is; why: what turns
    a task away, of a no whose chance is that of the rest.

    What an answer does not say is None, and its `answer` empty.
    """

    name: str
    latitude: float | None = None
    longitude: float | None = None
    answer: str = ""
    chance: float | None = None
    low: float | None = None
    high: float | None = None
    lowest: float | None = None
    error: str | None = None
    warning: str | None = None
    why: str | None = None

    @property
    def kind(self) -> str:
        """The answer, or that there is a problem instead.

        >>> Row("hut", answer="yes").kind, Row("hut", error="no such place").kind
        ('yes', 'problem')
        """
        return self.answer if self.error is None else PROBLEM

    @property
    def badness(self) -> tuple[int, float, float]:
        """What sorts rows from the worst to the best: problems, then what has a warning, then by
        answer, chance, charge."""
        kind = self.kind if self.kind in WORST_FIRST else ""
        kind = "warning" if self.warning else kind
        chance, lowest = (100.0 if x is None else x for x in (self.chance, self.lowest))
        return WORST_FIRST.index(kind), chance, lowest


COLUMNS = tuple(field.name for field in fields(Row))


def row_of(question: Question, name: str, plan: Plan) -> Row:
    """Ask a plan and keep what is common to all answers; what goes wrong is the row's error.

    >>> from energy.answers.check.check import check
    >>> row = row_of(check, "hut", Plan.read("builtin:cloudy-repair"))
    >>> row.answer, row.chance
    ('almost', 87.1)
    """
    place = plan.place
    row = Row(name, place.latitude_deg, place.longitude_deg)
    try:
        return replace(row, **_common(question(plan)))
    except PlanError as error:
        what = "; ".join(error.problems)
    except Exception as error:  # a fault costs its own row and no other
        what = f"a fault of the tool: {type(error).__name__}: {error}"
    return replace(row, error=one_line(what, LONGEST_LINE))


def _common(answer: Any) -> dict[str, Any]:
    """What an answer says of answer, chance and lowest charge, directly or through the budget that
    it rests on; yes or no where it says nothing between."""
    result = getattr(answer, "budget", None)
    chance = getattr(answer, "chance", getattr(result, "chance", None))
    lowest = getattr(answer, "lowest", None)
    if lowest is None and result is not None:
        lowest = result.lowest()
    warning = warning_of(result) if isinstance(result, Budget) else ""
    word = getattr(answer, "answer", None)
    if word is None and hasattr(answer, "yes"):
        word = "yes" if answer.yes else "no"
    percents = {
        "chance": None if chance is None else chance.percent,
        "low": None if chance is None else chance.low,
        "high": None if chance is None else chance.high,
        "lowest": None if lowest is None else lowest.percent,
    }
    rounded = {key: None if x is None else round(float(x), 1) for key, x in percents.items()}
    said = one_line(str(word or ""), LONGEST_ANSWER)
    why = ""
    if said == "no" and isinstance(result, Budget) and result.overloads:
        why = one_line(why_turned_away(result), LONGEST_LINE)
    return {"answer": said, "warning": warning or None, "why": why or None, **rounded}
