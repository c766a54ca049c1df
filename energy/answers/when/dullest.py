"""What the hardest month of a year would need: the changes that make its worst start a yes."""

from dataclasses import dataclass
from typing import Any

from energy.answers.fix.fix import Fixes, fixes
from energy.answers.when.when import StartDay, When
from energy.plan.dates import starting
from energy.simulation.budget import budget


@dataclass(frozen=True)
class Dullest:
    """The worst start of the year, which lies in its hardest month, and the changes that make it a
    yes."""

    day: StartDay
    fixes: Fixes

    @property
    def month(self) -> str:
        """The hardest month, by its name."""
        return f"{self.day.start:%B}"

    def as_dict(self) -> dict[str, Any]:
        """The month as `--json` prints it."""
        return {
            "month": self.month,
            "start": self.day.start.isoformat(),
            "fixes": [fix.as_dict() for fix in self.fixes.found],
            "fixes_cut_short": self.fixes.cut_short,
        }


def dullest(answer: When) -> Dullest | None:
    """What the hardest month would need; None where all its starts are a yes, where nothing of the
    year could be judged, or where no whole year was asked.

    >>> from energy.answers.when.when import when
    >>> from energy.plan import Plan
    >>> dullest(when(Plan.read("builtin:cloudy-repair"))) is None
    True
    """
    judged = [day for day in answer.days if day.chance is not None]
    worst = min(judged, key=lambda day: day.rank)
    if not answer.whole_year or worst.yes:
        return None
    plan = answer.plan.replace(**starting(answer.plan, worst.start))
    return Dullest(worst, fixes(budget(plan)))
