"""Does a choice hold? The simulation says so, and what it said of smaller and larger choices saves
asking it again.

Doing more never helps the charge: a scenario that fails with some work fails with more of it, and
one that bears all of it bears a part. Work is counted in choices tried, never timed.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from operator import le

import numpy as np

from energy.answers.choose.batch import Batch
from energy.answers.choose.coarse import Coarse
from energy.answers.choose.items import Items, Levels
from energy.answers.choose.pieces import Blocks, Piece, tables
from energy.answers.choose.placing import Places
from energy.model import Index, Mask
from energy.model.demand import Burst
from energy.plan import Plan
from energy.simulation.budget import Budget, changed
from energy.simulation.bursts import done_by

MOST_LAYOUTS = 300  # of a doubted choice are all looked at, at effort 1
AT_ONCE = 12  # choices in one pass
COLUMNS = 64  # choices x scenarios, in one pass, that cost hardly more than a few
AHEAD = 50  # shown as still to come while nobody knows how many will
MORE_SCENARIOS = 6  # beyond twice those that may fail: enough to see most failures

Layout = tuple[Blocks, ...]
Progress = Callable[[int, int], None]  # choices tried, of how many that may be


class OutOfWork(Exception):
    """The tries allowed are used up."""


@dataclass(frozen=True)
class Choice:
    """A choice that holds: how much of each item, and where its pieces run."""

    levels: Levels
    blocks: tuple[Blocks, ...]


class Judge:
    """Judges choices of a plan's items in at most `allowed` tries, at first as many as it takes.

    believed: choices that found no layout that holds, though not every layout was tried; so does
    nothing that has more. forbidden: choices for which a limit or a second pair of hands left no
    layout to try; other amounts may keep clear of that.
    """

    def __init__(
        self,
        result: Budget,
        every: Sequence[Piece],
        items: Items,
        slot_s: float,
        effort: int,
        progress: Progress | None,
    ):
        self.result, self.deciding = result, result.low_end
        self.every, self.items = every, items
        self._stands = not any(piece.movable for piece in every)
        self.batch = Batch(self.deciding)
        fewer = result.success.size < self.deciding.success.size
        self._elsewhere = [Batch(result)] if fewer else []  # duller by chance, maybe
        self._rank(self.deciding.worst_first)
        coarse = Coarse(self.deciding, slot_s)
        self.places = Places(self.deciding, coarse, every, items.after, self.in_turn)
        self.most_layouts = MOST_LAYOUTS * 3 ** (effort - 1)
        self.beam, self.progress = 1, progress
        self.allowed: float = np.inf
        self.tries = 0
        self._piece_levels: dict[Levels, list[int]] = {}
        self.start_afresh()

    def start_afresh(self) -> None:
        """Know nothing of any choice."""
        self.believed: set[Levels] = set()
        self.forbidden: set[Levels] = set()
        self._judged: dict[Levels, Choice | None] = {}
        count = len(self.items.pieces)
        self._failing = _Scenarios(count, self.deciding.success.size)
        self._bearing = _Scenarios(count, self.deciding.success.size)
        self._choices: list[Choice] = []

    @property
    def everywhere(self) -> bool:
        """Whether a choice holds only where it does in all scenarios that decide, not only in those
        at the low end of the doubt."""
        return len(self._elsewhere) == len(self.result.deciding) - 1

    def look_everywhere(self) -> None:
        """Let a choice from now on hold only where it does in all scenarios that decide."""
        others = (each for each in self.result.deciding if each is not self.deciding)
        self._elsewhere = [Batch(each) for each in others]
        failing = self._failing
        self.start_afresh()
        self._failing = failing

    def holds(self, levels: Levels, smaller: Choice | None = None) -> Choice | None:
        """The choice laid out so that it holds, None where it does not.

        smaller: a choice that holds and has less, whose layout is kept where it can be. Raises
        OutOfWork where that takes more tries than are allowed.
        """
        return self.holds_each([levels], smaller)[0]

    def holds_each(self, several: Sequence[Levels], smaller: Choice | None) -> list[Choice | None]:
        """As `holds`, for several choices in one go."""
        asked = [levels for levels in dict.fromkeys(several) if levels not in self._judged]
        open_ = {}
        for levels in asked:
            choice = self._without_asking(levels) if self.items.in_order(levels) else None
            if choice is None and self._may_hold(levels):
                open_[levels] = self._layouts(levels, smaller)
            else:
                self._judged[levels] = choice
        first = {levels: layouts[:1] for levels, layouts in open_.items()}
        self._try(first)
        self._try({k: v[1:] for k, v in open_.items() if self._judged.get(k) is None})
        return [self._judged[levels] for levels in several]

    def _try(self, layouts: Mapping[Levels, Sequence[Layout]]) -> None:
        """Simulate some layouts of some choices and remember what comes of it."""
        trials = [
            (levels, blocks)
            for levels, several in layouts.items()
            for blocks in several
            if self.comes_after(levels, blocks)
        ]
        failing = self._failing_of(trials)
        failed: set[Levels] = set()
        for levels in layouts:
            self._judged.setdefault(levels, None)
        for (levels, blocks), mask in zip(trials, failing, strict=True):
            if mask is None:
                continue
            if int(mask.sum()) > self.deciding.may_fail:
                failed.add(levels)
                if not self._moves(levels):
                    self._failing.add(levels, mask)
            elif self._judged[levels] is None:
                if self._elsewhere_too(self._bursts(levels, blocks)):
                    self._remember(Choice(levels, blocks))
                else:
                    failed.add(levels)
                    if not self._moves(levels):
                        self._failing.add(levels, np.ones_like(mask))
        for levels in layouts:
            if self._judged[levels] is None and levels not in failed:
                self.forbidden.add(levels)
            elif self._judged[levels] is None and self._moves(levels):
                self.believed.add(levels)

    def _remember(self, choice: Choice) -> None:
        """Know a choice that holds."""
        self._judged[choice.levels] = choice
        self._choices.append(choice)
        self.believed.discard(choice.levels)
        self.forbidden.discard(choice.levels)

    def _failing_of(self, trials: Sequence[tuple[Levels, Layout]]) -> list[Mask | None]:
        """As `failing`, of choices with their layouts."""
        return self.failing([self._bursts(*trial) for trial in trials])

    def _elsewhere_too(self, bursts: Sequence[Burst]) -> bool:
        """Whether what holds at the low end holds in the other scenarios looked at too."""
        for batch in self._elsewhere:
            self._count(1)
            if int(batch.failing([bursts])[0].sum()) > batch.result.may_fail:
                return False
        return True

    @property
    def doubts(self) -> set[Levels]:
        """Choices that might hold in a layout that was not tried."""
        return self.believed | {levels for levels in self.forbidden if self._moves(levels)}

    def cannot(self, levels: Levels) -> bool:
        """Whether a choice is known not to hold, whatever else is added, without asking the
        simulation. One that only lacks what it waits for may hold with that."""
        if levels in self._judged and self.items.in_order(levels):
            return self._judged[levels] is None
        return self._fails_for_sure(levels)

    def _fails_for_sure(self, levels: Levels) -> bool:
        return int(self._failing.below(levels).sum()) > self.deciding.may_fail

    def failing(self, several: Sequence[Sequence[Burst]]) -> list[Mask | None]:
        """Which of the deciding scenarios fail with each of some sets of bursts; None where a limit
        or a second pair of hands forbids them.

        A few are looked at in all scenarios at once. Of many the dullest come first, and where more
        fail there than may, the others are not looked at; which those are, the last choice that
        held tells best. Raises OutOfWork.
        """
        masks: list[Mask | None] = [None] * len(several)
        able = [n for n, bursts in enumerate(several) if self._able(bursts)]
        for first in range(0, len(able), AT_ONCE):
            numbers = able[first : first + AT_ONCE]
            self._count(len(numbers))
            margins = np.full((len(numbers), self.deciding.success.size), np.inf)
            everyone, unsure = np.arange(margins.shape[1]), np.arange(len(numbers))
            few = margins.size <= COLUMNS
            for scenarios in (everyone,) if few else (self.dullest, self.others):
                if unsure.size and scenarios.size:
                    sets = [several[numbers[k]] for k in unsure]
                    margins[np.ix_(unsure, scenarios)] = self.batch.margins(sets, scenarios)
                unsure = np.flatnonzero((margins < 0.0).sum(axis=1) <= self.deciding.may_fail)
            failed = margins < 0.0
            holding = np.flatnonzero(failed.sum(axis=1) <= self.deciding.may_fail)
            if holding.size:
                self._rank(np.argsort(np.round(margins[holding[-1]], 6), kind="stable"))
            for n, mask in zip(numbers, failed, strict=True):
                masks[n] = mask
        return masks

    def _rank(self, order: Index) -> None:
        """Look first at the first of the scenarios, in the order of how likely they fail."""
        first = 2 * self.deciding.may_fail + MORE_SCENARIOS
        self.dullest, self.others = np.sort(order[:first]), np.sort(order[first:])

    def _able(self, bursts: Sequence[Burst]) -> bool:
        """Whether limits and hands let these bursts run together."""
        if second_hands(self.result.plan, bursts):
            return False
        part = self._stands and not self.result.overloads  # of what fits
        return part or self.batch.fits(bursts)

    def written(self, choice: Choice) -> Budget:
        """The budget of the plan as a choice writes it, in all its scenarios."""
        made = tables(self.result, self.every, self.piece_levels(choice.levels), choice.blocks)
        return changed(self.result, {"task": made})

    def piece_levels(self, levels: Levels) -> list[int]:
        """How much of each piece a choice of items does."""
        if levels not in self._piece_levels:
            self._piece_levels[levels] = self.items.piece_levels(levels, self.every)
        return self._piece_levels[levels]

    def _without_asking(self, levels: Levels) -> Choice | None:
        """The choice as a part of a larger one that holds."""
        for larger in self._choices:
            if _within(levels, larger.levels):
                blocks = self._cut_down(levels, larger)
                if blocks is not None:
                    return Choice(levels, blocks)
        return None

    def _may_hold(self, levels: Levels) -> bool:
        doubted = any(_within(doubted, levels) for doubted in self.believed)
        return not doubted and self.items.in_order(levels) and not self._fails_for_sure(levels)

    def forget_doubts(self) -> None:
        """Ask again for what was believed not to hold."""
        self._judged = {
            levels: choice
            for levels, choice in self._judged.items()
            if choice is not None or self._fails_for_sure(levels)
        }
        self.believed.clear()
        self.forbidden.clear()

    def look_again(self, levels: Levels) -> Choice | None:
        """A layout in which a doubted choice holds after all; where there is none, the doubt is
        gone, or stays where there are too many layouts to look at."""
        chosen = self.piece_levels(levels)
        layouts = self.places.all_layouts(chosen, self.most_layouts)
        if layouts is None:
            return None
        for first in range(0, len(layouts), AT_ONCE):
            self._try({levels: layouts[first : first + AT_ONCE]})
            if (choice := self._judged[levels]) is not None:
                return choice
        self.believed.discard(levels)
        self.forbidden.discard(levels)
        self._failing.add(levels, np.ones(self.deciding.success.size, dtype=bool))
        self._judged[levels] = None
        return None

    def in_place(self, levels: Levels) -> Choice | None:
        """The choice with nothing moved, None where that does not hold."""
        choice = Choice(levels, tuple(() for _ in self.every))
        bursts = self._bursts(levels, choice.blocks)
        failing = self.failing([bursts])[0] if self.comes_after(levels, choice.blocks) else None
        few = failing is not None and int(failing.sum()) <= self.deciding.may_fail
        if not few or not self._elsewhere_too(bursts):
            return None
        self._remember(choice)
        return choice

    def _layouts(self, levels: Levels, smaller: Choice | None) -> list[Layout]:
        """Layouts to try: first beside what is laid out already, then all anew."""
        piece_levels = self.piece_levels(levels)
        fixed: list[Blocks | None] = [None if piece.movable else () for piece in self.every]
        layouts: list[Layout] = []
        if not self._moves(levels):
            return [tuple(() for _ in self.every)]
        if smaller is not None:
            before = self.piece_levels(smaller.levels)
            kept = [
                blocks if piece.movable and level == was else own
                for piece, level, was, blocks, own in zip(
                    self.every, piece_levels, before, smaller.blocks, fixed, strict=True
                )
            ]
            layouts += self.places.layouts(piece_levels, kept, 1, False)
        if self.beam > 1 or smaller is None:
            layouts += self.places.layouts(piece_levels, fixed, max(self.beam, 1), False)
        if self.beam > 1:
            layouts += self.places.layouts(piece_levels, fixed, self.beam, True)
        return list(dict.fromkeys(layouts))

    def _moves(self, levels: Levels) -> bool:
        if self._stands:
            return False
        chosen = self.piece_levels(levels)
        return any(level and piece.movable for level, piece in zip(chosen, self.every, strict=True))

    def _cut_down(self, levels: Levels, larger: Choice) -> tuple[Blocks, ...] | None:
        """The layout of a larger choice without what the smaller one leaves away; None where that
        would need a pass to know."""
        kept: list[Blocks] = []
        pairs = zip(
            self.piece_levels(levels), self.piece_levels(larger.levels), larger.blocks, strict=True
        )
        for level, was, blocks in pairs:
            if level not in (0, was):
                return None
            kept.append(blocks if level else ())
        return tuple(kept)

    def _bursts(self, levels: Levels, blocks: Sequence[Blocks]) -> list[Burst]:
        return [
            burst
            for i, level in enumerate(self.piece_levels(levels))
            if level
            for burst in self.places.bursts(i, level, blocks[i])
        ]

    def comes_after(self, levels: Levels, where: Sequence[Blocks]) -> bool:
        """Whether everything with an `after` begins when what it waits for is done (see
        `in_turn`)."""
        if not self.items.after:
            return True
        chosen = self.piece_levels(levels)
        return self.in_turn(
            {i: self.places.bursts(i, much, where[i]) for i, much in enumerate(chosen) if much}
        )

    def in_turn(self, placed: Mapping[int, Sequence[Burst]]) -> bool:
        """Whether the bursts of some pieces, by number, wait for those that they come after: done
        on the same date, else on the last one before, else on the first."""
        if not self.items.after:
            return True
        spells: dict[int, list[tuple[date | None, float, float]]] = {}
        for i, mine in placed.items():
            if mine:
                begins = min(burst.start_s for burst in mine)
                spell = self.every[i].day, begins, max(burst.end_s for burst in mine)
                spells.setdefault(self.every[i].task, []).append(spell)
        for k, awaited in self.items.after.items():
            done: dict[date, float] = {}
            for day, _, end_s in (spell for j in awaited for spell in spells.get(j, ())):
                day = day or self.result.calendar.first
                done[day] = max(end_s, done.get(day, end_s))
            for day, begins, _ in spells.get(k, ()) if done else ():
                day = day or self.result.calendar.first
                if begins < done_by(day, done) - 1e-3:
                    return False
        return True

    def _count(self, tries: int) -> None:
        if self.tries >= self.allowed:
            raise OutOfWork
        self.tries += tries
        if self.progress is not None:
            self.progress(self.tries, int(min(self.allowed, self.tries + AHEAD)))


class _Scenarios:
    """What is known of some choices, scenario by scenario."""

    def __init__(self, items: int, scenarios: int):
        self.levels = np.zeros((0, items), dtype=np.int64)
        self.masks = np.zeros((0, scenarios), dtype=bool)

    def add(self, levels: Levels, mask: Mask) -> None:
        self.levels = np.vstack([self.levels, np.array(levels, dtype=np.int64)])
        self.masks = np.vstack([self.masks, mask])

    def below(self, levels: Levels) -> Mask:
        """The scenarios that hold for some choice no larger than this one."""
        inside = (self.levels <= np.array(levels, dtype=np.int64)).all(axis=1)
        return np.asarray(self.masks[inside].any(axis=0))


def _within(smaller: Levels, larger: Levels) -> bool:
    return all(map(le, smaller, larger))


def second_hands(plan: Plan, bursts: Sequence[Burst]) -> bool:
    """Whether some bursts of hand-held tools need a second pair of hands."""
    if not plan.goal.one_at_a_time:
        return False
    by_hand = sorted(
        (burst.start_s, burst.end_s) for burst in bursts if plan.task[burst.task].hand_held
    )
    return any(after[0] < before[1] - 1e-3 for before, after in pairwise(by_hand))


def clashes(result: Budget) -> bool:
    """Whether what runs of a budget needs a second pair of hands."""
    return second_hands(result.plan, result.running)
