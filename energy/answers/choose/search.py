"""The search for a choice: priority by priority, each settled before the next is looked at.

A greedy choice comes first; then everything is tried that could serve more, as long as the passes
allowed last. What serves most at the first priority wins, whatever it costs the later ones.
"""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

import numpy as np

from energy.answers.choose.bound import Bound
from energy.answers.choose.items import Items, items_of
from energy.answers.choose.judge import AT_ONCE, Choice, Judge, Levels, OutOfWork, Progress
from energy.answers.choose.pieces import pieces, tables
from energy.answers.choose.rough import RoughJudge
from energy.simulation.budget import Budget
from energy.simulation.work import MOST_CELLS, SEARCHED, cells_of

EXACT_ITEMS = 14  # up to so many items everything is tried
EXACT_TRIES = 400  # for those beyond the greedy choice, at effort 1
GREEDY_TRIES = 3  # a piece, about
TRIES = 10, 0.2  # for larger plans: some, and more an item, beyond the greedy choice
SPREAD = 5  # amounts that are tried side by side
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


class Search:
    """One search over a plan whose budget is known. `effort` 1 is usual, each more trebles it."""

    def __init__(self, result: Budget, slot_s: float, effort: int, progress: Progress | None):
        self.result, self.every, self.effort = result, pieces(result), effort
        self.items: Items = items_of(result, self.every)
        self.judge = Judge(result, self.every, self.items, slot_s, effort, progress)
        self.slot_s = slot_s
        self.best: Choice | None = None
        self._alone: Levels = ()
        self._open(len(self.items.priorities) - 1)

    def _open(self, rank: int) -> None:
        """Look at the items of the first priorities alone, with what those wait for: those behind
        them neither cost them anything nor change how far the search for them goes."""
        items, numbers = self.items, range(len(self.items.pieces))
        tasks = {k for n in numbers if items.rank[n] <= rank for k in items.tasks[n]}
        tasks |= items.awaited(tasks)
        self.open = [n for n in numbers if items.rank[n] <= rank or items.tasks[n] & tasks]
        pairs = enumerate(zip(items.least, items.most, strict=True))
        self.most = tuple(most if n in self.open else least for n, (least, most) in pairs)
        self.exact = sum(items.able[n] for n in self.open) <= EXACT_ITEMS
        self.judge.beam = 3 if self.exact else min(self.effort, 3)

    @property
    def _allowed(self) -> int:
        """How many tries beyond the greedy choice."""
        some, more = TRIES
        tries = EXACT_TRIES if self.exact else int(some + more * len(self.open))
        affordable = int(MOST_CELLS / _try_cells(self.result))
        return int(min(tries, affordable) * 3 ** (self.effort - 1))

    def run(self) -> BestChoice | None:
        """The best choice that holds, None where nothing does, or not even what must run."""
        proven, stopped = 0, False
        try:
            self.best = self._what_must()
            if self.best is None:
                return None
            for rank in range(len(self.items.priorities)):
                proven += self._settle(rank) and proven == rank
        except KeyboardInterrupt:
            if self.best is None:
                raise
            stopped = True
        nothing = self.best is None or not self.tables(self.best)
        return None if nothing else self._written(proven, stopped)

    def _settle(self, rank: int) -> bool:
        """Find the best choice of the open items, those of a priority and before; whether
        everything was tried."""
        assert self.best is not None
        self._open(rank)
        through = False
        self.judge.allowed = np.inf
        try:
            settled = self.best
            for order in self._orders():
                self._keep(self._fill(settled, order) if rank else self._greedy(order))
            self.judge.allowed = self.judge.tries + self._allowed
            if self.exact:
                through = self._everything()
            else:
                self._swap()
        except OutOfWork:
            self._top_up()
        self.judge.allowed = np.inf
        return through

    def _top_up(self) -> None:
        """Add whatever still holds to the best choice, however many tries it takes."""
        assert self.best is not None
        self.judge.allowed = np.inf
        self.judge.forget_doubts()
        self._fill(self.best, self.open)

    @property
    def must_run(self) -> set[int]:
        """The tasks that must run, with what those wait for."""
        always = {self.every[i].task for i in self.items.always}
        needed = zip(self.items.tasks, self.items.least, strict=True)
        return always | {k for tasks, least in needed if least for k in tasks}

    def _what_must(self) -> Choice | None:
        """What must run and what that waits for, in whatever layout holds; None where none does."""
        least = self.items.least
        return self.judge.holds(least) or self.judge.look_again(least)

    def maximal(self, tries: int) -> Choice | None:
        """A choice to which no more of anything can be added: greedy, and improved in so many
        tries; None where not even what must run holds. It is sought roughly, and settled by the
        simulation."""
        choice = self._roughly(tries) if self.result.case.battery.lithium else self._improved(tries)
        self.best = self._what_must() if choice is None else self._settled(choice)
        return None if self.best is None else self._fill(self.best, self.open)

    def _roughly(self, tries: int) -> Choice | None:
        """As `_improved`, judged roughly, once a first choice has shown how far off that is."""
        in_full = self.judge
        given = self.result, self.every, self.items, self.slot_s, self.effort, None
        rough = self.judge = RoughJudge(*given)
        if (choice := self._improved(0)) is not None:
            rough.learn(choice.levels, in_full)
            if (choice := self._settled(choice)) is not None:
                choice = self._improved(tries, choice)
        self.judge = in_full
        return choice

    def _improved(self, tries: int, choice: Choice | None = None) -> Choice | None:
        """A choice that holds (left out: a greedy one), improved in so many tries; None where not
        even what must run holds."""
        self.best = choice or self._what_must()
        if self.best is None:
            return None
        self.judge.allowed = np.inf
        self._fill(choice, self.open) if choice else self._keep(self._greedy(self._orders()[0]))
        self.judge.allowed = self.judge.tries + tries
        with suppress(OutOfWork):
            self._everything() if self.exact else self._swap()
        self.judge.allowed = np.inf
        return self._fill(self.best, self.open)

    def _settled(self, choice: Choice) -> Choice | None:
        """A choice less what it has too much; None where not even what must run holds."""
        while self.judge.holds(choice.levels) is None:
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

    def _written(self, proven: int, stopped: bool) -> BestChoice | None:
        """The best choice whose plan, as it is written down, holds in all scenarios; proven: for
        how many of the first priorities everything was tried."""
        assert self.best is not None
        budget = self.judge.written(self.best)
        while not budget.yes:
            proven = 0
            if self.best.levels == self.items.least:
                return None
            self.best = self.a_little_less(self.best)
            if not self.tables(self.best):
                return None
            budget = self.judge.written(self.best)
        served = self.items.served(self.best.levels)
        gap, priority = self._gap(served, proven)
        return BestChoice(self.best, budget, served, priority is None, gap, priority, stopped)

    def a_little_less(self, choice: Choice) -> Choice:
        """A choice less a part of the last of its items."""
        least = self.items.least
        last = max(item for item, level in enumerate(choice.levels) if level > least[item])
        smaller = self.judge.holds(_with(choice.levels, last, choice.levels[last] - 1), choice)
        if smaller is not None:
            return smaller
        blocks = list(choice.blocks)
        for i in self.items.pieces[last]:
            blocks[i] = ()
        return Choice(_with(choice.levels, last, least[last]), tuple(blocks))

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

    # --- greedy ---------------------------------------------------------------------------------

    def _orders(self) -> list[list[int]]:
        """Orders to take items in: by value for what they ask, by value, the small ones first."""
        items, numbers = self.items, self.open
        by_density = list(numbers)
        by_value = sorted(numbers, key=lambda n: (items.rank[n], -float(items.value[n]), n))
        by_need = sorted(numbers, key=lambda n: (items.rank[n], float(items.need_wh[n]), n))
        orders = [by_density, by_value, by_need]
        return orders if self.exact else orders[:1]

    def _greedy(self, order: Sequence[int]) -> Choice:
        """Item by item as much as holds, those before settled: first as many whole ones at once as
        hold together, then each that is left."""
        assert self.best is not None
        choice = self._what_must()
        assert choice is not None
        taken, most = 0, len(order)
        while taken < most:
            several = _spread(range(taken + 1, most + 1))
            prefixes = [self._whole(order[:n]) for n in several]
            holding = self.judge.holds_each(prefixes, choice)
            most_here = most
            for number, more in zip(several, holding, strict=True):
                if more is None:
                    most_here = min(most_here, number - 1)
                elif number > taken and number <= most_here:
                    choice, taken = more, number
            most = most_here
        self._keep(choice)
        return self._fill(choice, order[taken:])

    def _fill(self, choice: Choice, order: Sequence[int]) -> Choice:
        """The choice with as much more of some items, one after another, as holds; a little more
        of several is tried at once, up to the first of which more holds."""
        left = [n for n in order if choice.levels[n] < self.most[n]]
        while left:
            tried, before = left[:AT_ONCE], choice
            more = [_with(choice.levels, n, choice.levels[n] + 1) for n in tried]
            self.judge.holds_each(more, choice)
            while tried and choice is before:
                item = tried.pop(0)
                choice = self._more_of(choice, item)
            left = left[left.index(item) + 1 :]
            self._keep(choice)
        return choice

    def _whole(self, chosen: Sequence[int]) -> Levels:
        """All of some items and no more than must be of the others."""
        pairs = enumerate(zip(self.items.least, self.most, strict=True))
        return tuple(most if n in chosen else least for n, (least, most) in pairs)

    def _more_of(self, choice: Choice, item: int, most: int | None = None) -> Choice:
        """The choice with as much of an item (at most `most`) as holds beside the rest."""
        low, high = choice.levels[item], self.most[item] if most is None else most
        forbidden: set[int] = set()  # by limits or hands: other amounts may be free
        several = [high]
        while several:
            choices = [_with(choice.levels, item, level) for level in several]
            for level, more in zip(several, self.judge.holds_each(choices, choice), strict=True):
                levels = _with(choice.levels, item, level)
                if more is not None and level > low:
                    choice, low = more, level
                elif more is None and levels in self.judge.forbidden:
                    forbidden.add(level)
                elif more is None:
                    high = min(high, level - 1)
            several = _spread([n for n in range(low + 1, high + 1) if n not in forbidden])
        return choice

    def _keep(self, choice: Choice) -> None:
        """Keep a choice that serves more than the best so far."""
        if self.best is None or self.items.served(choice.levels) > self.items.served(
            self.best.levels
        ):
            self.best = choice

    def _swap(self) -> None:
        """Priority by priority, give up one item for others of its priority where that serves
        more, until none does."""
        numbers = self.open
        better = True
        while better:
            better = False
            assert self.best is not None
            for out in numbers:
                if not self.best.levels[out]:
                    continue
                choice = self.judge.holds(_with(self.best.levels, out, 0), self.best)
                if choice is None:
                    continue
                before = self.best
                wanting = [
                    n
                    for n in numbers
                    if n != out
                    and choice.levels[n] < self.most[n]
                    and self.items.rank[n] <= self.items.rank[out]
                ]
                for item in wanting:
                    choice = self._more_of(choice, item)
                choice = self._more_of(choice, out)
                self._keep(choice)
                if self.best is not before:
                    better = True
                    break

    # --- everything -----------------------------------------------------------------------------

    def _everything(self) -> bool:
        """Try all that could serve more, then once more what found no layout; whether no doubt is
        left."""
        assert self.best is not None
        while True:
            self._branch()
            doubted = sorted(
                (levels for levels in self.judge.doubts if self._matters(levels)),
                key=lambda levels: (sum(levels), levels),
            )
            better = [
                choice for choice in map(self.judge.look_again, doubted) if choice is not None
            ]
            if not better:
                return not any(self._matters(levels) for levels in self.judge.doubts)
            self.judge.forget_doubts()

    def _matters(self, doubted: Levels) -> bool:
        """Whether a doubted choice with all that could be added would serve more than the best."""
        assert self.best is not None
        most = [max(own, self._alone[n]) for n, own in enumerate(doubted)]
        return self.items.served(most) > self.items.served(self.best.levels)

    def _branch(self) -> None:
        """Try every choice that could serve more than the best so far, depth first."""
        items = self.items
        self._alone = tuple(self._most_alone(item) for item in range(len(items.pieces)))
        least = self._what_must()
        assert least is not None
        self._descend(least, 0, self._alone)

    def _most_alone(self, item: int) -> int:
        """How much of an item holds beside what must run and nothing else; of one that waits for
        another, all of it."""
        if any(k in self.items.after for k in self.items.tasks[item]):
            return self.most[item]
        least = self._what_must()
        assert least is not None
        return self._more_of(least, item).levels[item]

    def _descend(self, choice: Choice, item: int, most: Sequence[int]) -> None:
        """All choices that go on from one whose items before `item` are settled."""
        assert self.best is not None
        self._keep(choice)
        if item == len(most):
            return
        caps = self._caps(choice.levels, item, most)
        if not self._promising(choice.levels, caps[item], item, caps):
            return
        highest = self._more_of(choice, item, caps[item])
        self._keep(highest)
        for level in range(highest.levels[item], -1, -1):
            if not self._promising(choice.levels, level, item, caps):
                return
            grown = self.judge.holds(_with(choice.levels, item, level), choice)
            if grown is not None:
                self._descend(grown, item + 1, most)

    def _promising(self, levels: Levels, level: int, item: int, caps: Levels) -> bool:
        """Whether so much of an item could still lead to more than the best so far."""
        assert self.best is not None
        hopeful = (*levels[:item], level, *caps[item + 1 :])
        return self.items.served(hopeful) > self.items.served(self.best.levels)

    def _caps(self, levels: Levels, item: int, most: Sequence[int]) -> Levels:
        """The most of each item that is not known to be too much beside what is settled."""
        caps = list(levels)
        for n in range(item, len(most)):
            caps[n] = most[n]
            while caps[n] and self._known_too_much(levels, n, caps[n]):
                caps[n] -= 1
        return tuple(caps)

    def _known_too_much(self, levels: Levels, item: int, level: int) -> bool:
        return self.judge.cannot(_with(levels, item, level))


def _spread(numbers: Sequence[int]) -> list[int]:
    """Some of rising numbers, evenly, the first and the last among them."""
    if len(numbers) <= SPREAD:
        return list(numbers)
    return [numbers[(len(numbers) - 1) * k // (SPREAD - 1)] for k in range(SPREAD)]


def _with(levels: Levels, item: int, level: int) -> Levels:
    return (*levels[:item], level, *levels[item + 1 :])
