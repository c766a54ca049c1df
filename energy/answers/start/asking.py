"""Questions put to a person: who puts them, and how an answer that must be one of some is read."""

from collections.abc import Callable, Iterable
from typing import Any

from energy.plan import PlanError
from energy.plan.words import meant, shown

# ask(question, default, reading) returns reading(answer). A reading raises PlanError for an answer
# that cannot be; then whoever asks may ask again.
Ask = Callable[[str, str, Callable[[str], Any]], Any]


def one_of(options: Iterable[str], answer: str) -> str:
    """The answer, if it is one of the options. Raises PlanError with the nearest of them.

    >>> one_of(["yes", "no"], " no ")
    'no'
    """
    options, answer = list(options), answer.strip()
    if answer not in options:
        raise PlanError([f"there is no {shown(answer)}{meant(answer, options)}"])
    return answer
