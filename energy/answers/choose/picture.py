"""A choice of tasks as a picture: that of its budget, with what was left out as empty bars."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from energy.answers.check.panels import task_rows
from energy.answers.check.picture import draw
from energy.answers.choose.choose import Choose
from energy.answers.choose.words import headline

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from energy.answers.caution.cautions import Caution


def chosen(answer: Choose, cautions: Sequence["Caution"] = ()) -> "Figure":
    """The picture of a choice; where nothing fits, of what does not even alone. cautions: what to
    take care of.

    >>> from energy.answers.choose.choose import choose
    >>> from energy.plan import Plan
    >>> len(chosen(choose(Plan.read("builtin:cloudy-repair"))).axes)
    3
    """
    rows = task_rows(answer.budget, answer.planned)
    return draw(answer.budget, finding(answer), rows, cautions)


def finding(answer: Choose) -> str:
    """The answer, in the words of the terminal."""
    return ": ".join(headline(answer)).removesuffix(".")
