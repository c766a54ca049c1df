"""The best choice so far of a search, and how more is added to it or put in place of something.

Whether everything was tried is for `branch`, how far either goes for `search`.
"""

from collections.abc import Sequence

from energy.answers.choose.items import Items, Levels, with_level
from energy.answers.choose.judge import AT_ONCE, Choice, Judge

EXACT_ITEMS = 14  # up to so many items everything is tried
SPREAD = 5  # amounts that are tried side by side


class Greedy:
    """The best choice so far; `open` are the items that are looked at, those left out that could
    never run, `most` how much of each there may be, `exact` whether they are few enough to try
    everything."""

    def __init__(self, judge: Judge, items: Items, effort: int):
        self.judge, self.items, self.effort = judge, items, effort
        self.best: Choice | None = None
        self.look_at(len(items.priorities) - 1)

    def look_at(self, rank: int) -> None:
        """Look at the items of the first priorities alone, with what those wait for: those behind
        them neither cost them anything nor change how far the search for them goes."""
        items, numbers = self.items, range(len(self.items.pieces))
        tasks = {k for n in numbers if items.rank[n] <= rank for k in items.tasks[n]}
        tasks |= items.awaited(tasks)
        near = (n for n in numbers if items.rank[n] <= rank or items.tasks[n] & tasks)
        self.open = [n for n in near if items.able[n]]
        pairs = enumerate(zip(items.least, items.most, strict=True))
        self.most = tuple(most if n in self.open else least for n, (least, most) in pairs)
        self.exact = len(self.open) <= EXACT_ITEMS
        self.judge.beam = 3 if self.exact else min(self.effort, 3)

    def what_must(self) -> Choice | None:
        """What must run and what that waits for, in whatever layout holds; None where none does."""
        least = self.items.least
        return self.judge.holds(least) or self.judge.look_again(least)

    def orders(self) -> list[list[int]]:
        """Orders to take items in: by value for what they ask, by value, the small ones first."""
        items, numbers = self.items, self.open
        by_density = list(numbers)
        by_value = sorted(numbers, key=lambda n: (items.rank[n], -float(items.value[n]), n))
        by_need = sorted(numbers, key=lambda n: (items.rank[n], float(items.need_wh[n]), n))
        orders = [by_density, by_value, by_need]
        return orders if self.exact else orders[:1]

    def take(self, order: Sequence[int]) -> Choice:
        """Item by item as much as holds, those before settled: first as many whole ones at once as
        hold together, then each that is left."""
        choice = self.what_must()
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
        self.keep(choice)
        return self.fill(choice, order[taken:])

    def fill(self, choice: Choice, order: Sequence[int]) -> Choice:
        """The choice with as much more of some items, one after another, as holds; after one of
        which no more does, a little of several is tried at once, up to the first that holds."""
        left = [n for n in order if choice.levels[n] < self.most[n]]
        several = 1
        while left:
            tried, before = left[:several], choice
            more = [with_level(choice.levels, n, choice.levels[n] + 1) for n in tried]
            self.judge.holds_each(more, choice)
            while tried and choice is before:
                item = tried.pop(0)
                choice = self.more_of(choice, item)
            left = left[left.index(item) + 1 :]
            several = AT_ONCE if choice is before else 1
            self.keep(choice)
        return choice

    def _whole(self, chosen: Sequence[int]) -> Levels:
        """All of some items and no more than must be of the others."""
        pairs = enumerate(zip(self.items.least, self.most, strict=True))
        return tuple(most if n in chosen else least for n, (least, most) in pairs)

    def more_of(self, choice: Choice, item: int, most: int | None = None) -> Choice:
        """The choice with as much of an item (at most `most`) as holds beside the rest."""
        low, high = choice.levels[item], self.most[item] if most is None else most
        forbidden: set[int] = set()  # by limits or hands: other amounts may be free
        several = [high]
        while several:
            choices = [with_level(choice.levels, item, level) for level in several]
            for level, more in zip(several, self.judge.holds_each(choices, choice), strict=True):
                levels = with_level(choice.levels, item, level)
                if more is not None and level > low:
                    choice, low = more, level
                elif more is None and levels in self.judge.forbidden:
                    forbidden.add(level)
                elif more is None:
                    high = min(high, level - 1)
            several = _spread([n for n in range(low + 1, high + 1) if n not in forbidden])
        return choice

    def keep(self, choice: Choice) -> None:
        """Keep a choice that serves more than the best so far."""
        if self.serves_more(choice.levels):
            self.best = choice

    def serves_more(self, levels: Sequence[int]) -> bool:
        """Whether so much of each item would serve more than the best choice so far."""
        served = self.items.served
        return self.best is None or served(levels) > served(self.best.levels)

    def swap(self) -> None:
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
                choice = self.judge.holds(with_level(self.best.levels, out, 0), self.best)
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
                    choice = self.more_of(choice, item)
                choice = self.more_of(choice, out)
                self.keep(choice)
                if self.best is not before:
                    better = True
                    break


def _spread(numbers: Sequence[int]) -> list[int]:
    """Some of rising numbers, evenly, the first and the last among them."""
    if len(numbers) <= SPREAD:
        return list(numbers)
    return [numbers[(len(numbers) - 1) * k // (SPREAD - 1)] for k in range(SPREAD)]
