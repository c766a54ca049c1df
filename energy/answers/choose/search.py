"""The search for a choice: priority by priority, each settled before the next is looked at.

A greedy choice comes first; then everything is tried that could serve more, as long as the passes
allowed last. What serves most at the first priority wins, whatever it costs the later ones.
"""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from energy.answers.choose.bound import Bound
from energy.answers.choose.branch import Branch
from energy.answers.choose.greedy import Greedy
from energy.answers.choose.items import Items, Levels, items_of, with_level
from energy.answers.choose.judge import Choice, Judge, OutOfWork, Progress
from energy.answers.choose.pieces import pieces, tables
from energy.answers.choose.rough import RoughJudge
from energy.simulation.budget import Budget
from energy.simulation.work import MOST_CELLS, SEARCHED, cells_of

EXACT_TRIES = 400  # for those beyond the greedy choice, at effort 1
GREEDY_TRIES = 3  # a piece, about
TRIES = 10, 0.2  # for larger plans: some, and more an item, beyond the greedy choice
IN_PLACE_TRIES = 16  # for improving on the greedy choice in which nothing moves
CLOSE = 1e-6


@dataclass(frozen=True)
class BestChoice:
    """What a search found: the choice, its budget, what it serves at each priority, whether it is
    proven best, and how much of what could fit may be missing at the first priority where some may
    [percent], with that priority; stopped: by the person, before its end."""

    choice: Choice
    budget: Budget
    served: tuple[float, ...]
    proven: bool
    gap_percent: float
    gap_priority: int | None
    stopped: bool


def greedy_cells(result: Budget) -> float:
    """About what a greedy choice of a budget's tasks costs, in cells of a budget."""
    return GREEDY_TRIES * len(pieces(result)) * _try_cells(result)


def _try_cells(result: Budget) -> float:
    return SEARCHED * cells_of(result.low_end)


def standing(result: Budget, **keys: Any) -> Budget:
    """The same budget of a plan in which nothing may move; keys: what else of the plan differs."""
    still = {f"task.{k + 1}.flexible": False for k in range(len(result.plan.task))}
    plan = result.plan.replace(**still, **keys)
    days = replace(result.days, plan=plan)
    return replace(
        result, days=days, bounds=tuple(replace(end, days=days) for end in result.bounds)
    )


class Search:
    """One search over a plan whose budget is known. `effort` 1 is usual, each more trebles it."""

    def __init__(self, result: Budget, slot_s: float, effort: int, progress: Progress | None):
        self.result, self.every, self.effort = result, pieces(result), effort
        self.items: Items = items_of(result, self.every)
        self.judge = Judge(result, self.every, self.items, slot_s, effort, progress)
        self.greedy = Greedy(self.judge, self.items, effort)
        self.slot_s = slot_s
        self._stands: dict[bool, Levels | None] = {}  # by whether all scenarios are looked at

    @property
    def _allowed(self) -> int:
        """How many tries beyond the greedy choice."""
        some, more = TRIES
        tries = EXACT_TRIES if self.greedy.exact else int(some + more * len(self.greedy.open))
        affordable = int(MOST_CELLS / _try_cells(self.result))
        return int(min(tries, affordable) * 3 ** (self.effort - 1))

    def run(self) -> BestChoice | None:
        """The best choice that holds, None where nothing does, or not even what must run."""
        while True:
            best, proven, stopped = self._found()
            if best is None or not self.tables(best):
                return None
            budget = self.judge.written(best)
            if budget.yes or stopped or self.judge.everywhere:
                return self._written(best, budget, proven, stopped)
            self.judge.look_everywhere()

    def _found(self) -> tuple[Choice | None, int, bool]:
        """The best choice that the judge knows, for how many of the first priorities everything was
        tried, and whether the person ended it."""
        proven, greedy = 0, self.greedy
        greedy.best = None
        try:
            greedy.best = greedy.what_must()
            if greedy.best is None:
                return None, 0, False
            for rank in range(len(self.items.priorities)):
                proven += self._settle(rank) and proven == rank
        except KeyboardInterrupt:
            if greedy.best is None:
                raise
            return greedy.best, proven, True
        return greedy.best, proven, False

    def _settle(self, rank: int) -> bool:
        """Find the best choice of the items of a priority and before; whether everything was
        tried. Whatever still holds when the tries are used up is added, however many more that
        takes."""
        greedy, judge = self.greedy, self.judge
        settled = greedy.best
        assert settled is not None
        greedy.look_at(rank)
        through = False
        try:
            for order in greedy.orders():
                greedy.keep(greedy.fill(settled, order) if rank else greedy.take(order))
            judge.allowed = judge.tries + self._allowed
            through = self._improve()
        except OutOfWork:
            judge.allowed = np.inf
            judge.forget_doubts()
            greedy.fill(greedy.best or settled, greedy.open)
        judge.allowed = np.inf
        if not through:
            self._not_less_than_in_place()
        return through

    def _not_less_than_in_place(self) -> None:
        """Go on from the choice with nothing moved, where that serves more."""
        greedy, stands = self.greedy, self._in_place
        levels = tuple(map(min, stands, greedy.most)) if stands else None
        if levels and greedy.serves_more(levels) and (choice := self.judge.in_place(levels)):
            greedy.keep(choice)
            greedy.fill(choice, greedy.open)

    @property
    def _in_place(self) -> Levels | None:
        """How much of each item runs where nothing is moved; None where not even what must run."""
        everywhere = self.judge.everywhere
        if everywhere not in self._stands:
            search = Search(standing(self.result), self.slot_s, self.effort, None)
            if everywhere:
                search.judge.look_everywhere()
            choice = search.maximal(IN_PLACE_TRIES)
            self._stands[everywhere] = None if choice is None else self._scaled(search, choice)
        return self._stands[everywhere]

    def _scaled(self, search: "Search", choice: Choice) -> Levels:
        """The levels of another search's choice here: a window that the span cuts has one part
        where nothing moves."""
        of_each = zip(choice.levels, search.items.most, self.items.most, strict=True)
        return tuple(level * here // there for level, there, here in of_each)

    def _improve(self) -> bool:
        """Improve the best choice; whether everything was tried. Raises OutOfWork."""
        if self.greedy.exact:
            return Branch(self.greedy).run()
        self.greedy.swap()
        return False

    @property
    def must_run(self) -> set[int]:
        """The tasks that must run, with what those wait for."""
        always = {self.every[i].task for i in self.items.always}
        needed = zip(self.items.tasks, self.items.least, strict=True)
        return always | {k for tasks, least in needed if least for k in tasks}

    def maximal(self, tries: int) -> Choice | None:
        """A choice to which no more of anything can be added: greedy, and improved in so many
        tries; None where not even what must run holds. It is sought roughly, and settled by the
        simulation."""
        choice = self._roughly(tries) if self.result.case.battery.lithium else self._improved(tries)
        greedy = self.greedy
        greedy.best = greedy.what_must() if choice is None else self._settled(choice)
        return None if greedy.best is None else greedy.fill(greedy.best, greedy.open)

    def _roughly(self, tries: int) -> Choice | None:
        """As `_improved`, judged roughly, once a first choice has shown how far off that is."""
        given = self.result, self.every, self.items, self.slot_s, self.effort, None
        rough = self.greedy.judge = RoughJudge(*given)
        if (choice := self._improved(0)) is not None:
            rough.learn(choice.levels, self.judge)
            if (choice := self._settled(choice)) is not None:
                choice = self._improved(tries, choice)
        self.greedy.judge = self.judge
        return choice

    def _improved(self, tries: int, choice: Choice | None = None) -> Choice | None:
        """A choice that holds (left out: a greedy one), improved in so many tries; None where not
        even what must run holds."""
        greedy, judge = self.greedy, self.greedy.judge
        greedy.best = choice or greedy.what_must()
        if greedy.best is None:
            return None
        judge.allowed = np.inf
        greedy.fill(choice, greedy.open) if choice else greedy.take(greedy.orders()[0])
        judge.allowed = judge.tries + tries
        with suppress(OutOfWork):
            self._improve()
        judge.allowed = np.inf
        return greedy.fill(greedy.best, greedy.open)

    def _settled(self, choice: Choice) -> Choice | None:
        """A choice less what it has too much; None where not even what must run holds."""
        while self.greedy.judge.holds(choice.levels) is None:
            if choice.levels == self.items.least:
                return None
            choice = self.a_little_less(choice)
        return choice

    @property
    def all_in_order(self) -> bool:
        """Whether the plan as it is runs everything after what that waits for."""
        every = tuple(() for _ in self.every)
        return self.judge.comes_after(self.items.most, every)

    def served_by_priority(self, served: Sequence[float]) -> dict[str, float]:
        """What is served, by the plan's priorities; what must run counts as all of it."""
        by_priority = dict(zip(map(str, self.items.priorities), served, strict=True))
        for i in self.items.always:
            task = self.result.plan.task[self.every[i].task]
            key = str(task.priority)
            by_priority[key] = by_priority.get(key, 0.0) + task.value * self.every[i].share
        return dict(sorted(by_priority.items(), key=lambda pair: int(pair[0])))

    def tables(self, choice: Choice) -> list[dict[str, Any]]:
        """The plan's [[task]] tables for a choice."""
        levels = self.judge.piece_levels(choice.levels)
        return tables(self.result, self.every, levels, choice.blocks)

    def _written(
        self, best: Choice, budget: Budget, proven: int, stopped: bool
    ) -> BestChoice | None:
        """The best choice, or as much of it as holds in all scenarios in its plan as it is written
        down, with that budget; proven: for how many of the first priorities everything was
        tried."""
        while not budget.yes:
            proven = 0
            if best.levels == self.items.least:
                return None
            best = self.a_little_less(best)
            if not self.tables(best):
                return None
            budget = self.judge.written(best)
        served = self.items.served(best.levels)
        gap, priority = self._gap(served, proven)
        return BestChoice(best, budget, served, priority is None, gap, priority, stopped)

    def a_little_less(self, choice: Choice) -> Choice:
        """A choice less a part of the last of its items."""
        least = self.items.least
        last = max(item for item, level in enumerate(choice.levels) if level > least[item])
        less = with_level(choice.levels, last, choice.levels[last] - 1)
        if (smaller := self.greedy.judge.holds(less, choice)) is not None:
            return smaller
        blocks = list(choice.blocks)
        for i in self.items.pieces[last]:
            blocks[i] = ()
        return Choice(with_level(choice.levels, last, least[last]), tuple(blocks))

    def _gap(self, served: Sequence[float], proven: int) -> tuple[float, int | None]:
        """How much of what the bound allows is missing [percent], at the first priority that is not
        proven and where some is, and that priority."""
        bound = None
        for rank, value in list(enumerate(served))[proven:]:
            mine = [k for k, r in enumerate(self.items.rank) if r == rank]
            most = float(self.items.value[mine].sum())
            if value < most - CLOSE:
                bound = bound or Bound(self.result.low_end, self.every, self.items, self.slot_s)
                most = min(most, bound.most(served[:rank]))
                if value < most - CLOSE:
                    return 100.0 * (most - value) / most, self.items.priorities[rank]
        return 0.0, None
