"""Every choice that could serve more than the best so far is tried, depth first.

What cannot serve more, or is known to be too much, is left out with all that holds more of it.
"""

from collections.abc import Sequence

from energy.answers.choose.greedy import Greedy
from energy.answers.choose.items import Levels, with_level
from energy.answers.choose.judge import Choice


class Branch:
    """Tries everything that could serve more than the best choice of a greedy search, which it
    keeps there."""

    def __init__(self, greedy: Greedy):
        self.greedy, self.items, self.judge = greedy, greedy.items, greedy.judge
        self._alone: Levels = ()

    def run(self) -> bool:
        """Try all that could serve more, then once more what found no layout; whether no doubt is
        left."""
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
        return self.greedy.serves_more([*map(max, doubted, self._alone)])

    def _branch(self) -> None:
        """Try every choice that could serve more than the best so far, depth first."""
        items = self.items
        self._alone = tuple(self._most_alone(item) for item in range(len(items.pieces)))
        least = self.greedy.what_must()
        assert least is not None
        self._descend(least, 0, self._alone)

    def _most_alone(self, item: int) -> int:
        """How much of an item holds beside what must run and nothing else; of one that waits for
        another, all of it."""
        if any(k in self.items.after for k in self.items.tasks[item]):
            return self.greedy.most[item]
        least = self.greedy.what_must()
        assert least is not None
        return self.greedy.more_of(least, item).levels[item]

    def _descend(self, choice: Choice, item: int, most: Sequence[int]) -> None:
        """All choices that go on from one whose items before `item` are settled."""
        self.greedy.keep(choice)
        if item == len(most):
            return
        caps = self._caps(choice.levels, item, most)
        if not self._promising(choice.levels, caps[item], item, caps):
            return
        highest = self.greedy.more_of(choice, item, caps[item])
        self.greedy.keep(highest)
        for level in range(highest.levels[item], -1, -1):
            if not self._promising(choice.levels, level, item, caps):
                return
            grown = self.judge.holds(with_level(choice.levels, item, level), choice)
            if grown is not None:
                self._descend(grown, item + 1, most)

    def _promising(self, levels: Levels, level: int, item: int, caps: Levels) -> bool:
        """Whether so much of an item could still lead to more than the best so far."""
        return self.greedy.serves_more((*levels[:item], level, *caps[item + 1 :]))

    def _caps(self, levels: Levels, item: int, most: Sequence[int]) -> Levels:
        """The most of each item that is not known to be too much beside what is settled."""
        caps = list(levels)
        for n in range(item, len(most)):
            caps[n] = most[n]
            while caps[n] and self.judge.cannot(with_level(levels, n, caps[n])):
                caps[n] -= 1
        return tuple(caps)
