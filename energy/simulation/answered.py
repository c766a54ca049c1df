"""What every answer that rests on a budget says directly; what it rests on is `result`."""

from typing import Protocol

from energy.simulation.result import Budget, Lowest
from energy.simulation.success import Chance


class RestsOnBudget(Protocol):
    """What rests on a budget."""

    @property
    def budget(self) -> Budget: ...


class Answered:
    """What every answer that rests on a `budget` says directly."""

    @property
    def yes(self: RestsOnBudget) -> bool:
        """Whether the chance reaches the goal and nothing overloads."""
        return self.budget.yes

    @property
    def answer(self: RestsOnBudget) -> str:
        """The answer in a word: yes, almost (nothing stops, but the reserve is used) or no."""
        return self.budget.answer

    @property
    def chance(self: RestsOnBudget) -> Chance:
        """In how many weathers the plan works."""
        return self.budget.chance

    @property
    def verdict(self: RestsOnBudget) -> str:
        """How the middle weather goes: stays-powered, dips-into-reserve, runs-flat, overloads."""
        return self.budget.verdict

    @property
    def lowest(self: RestsOnBudget) -> Lowest:
        """The lowest point of the middle weather."""
        return self.budget.lowest()
