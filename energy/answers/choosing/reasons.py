"""Why a thing was left out: what fails when it is put back into the choice.

Each line is what the simulation says of the choice with all of that task in it again.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from energy.answers.choosing.judge import Held, Judge, clashes
from energy.answers.choosing.pieces import Piece
from energy.answers.choosing.placing import Occupied
from energy.budget import Budget, with_bursts
from energy.model.demand import Burst
from energy.refused import why_refused

ALL_OR_NOTHING = "; all or nothing: give it hours, and a part of it may fit"
MOST_TRIED = 6  # passes that look for what a thing would cost, in all


@dataclass(frozen=True)
class LeftOut:
    """What is not done of a task, and why.

    times: how many of the unit (times, charges, minutes), of `amount`; failing: in how many of the
    scenarios that decide the plan fails with it, may_fail: in how many it may; both None where a
    limit forbids it. costs: what it would push out, None where no one thing makes room.
    """

    task: str
    times: int
    amount: int
    unit: str
    why: str
    needs_wh: float
    costs: str | None = None
    failing: int | None = None
    may_fail: int | None = None

    @property
    def words(self) -> str:
        """How much is left out."""
        if self.amount == self.times:
            return "all of it"
        return f"{self.times} of {self.amount}{' min' if self.unit == 'minutes' else ''}"


class Reasons:
    """The reasons for what a choice leaves out."""

    def __init__(self, judge: Judge, held: Held):
        self.judge, self.held = judge, held
        self.levels = judge.piece_levels(held.levels)
        self.tries = MOST_TRIED

    def all(self) -> tuple[LeftOut, ...]:
        """A line for each task of which something is left out, in the plan's order."""
        every = self.judge.every
        missing = {p.task for p, level in zip(every, self.levels, strict=True) if level < p.levels}
        return tuple(self._of(k) for k in sorted(missing))

    def _of(self, k: int) -> LeftOut:
        judge, deciding = self.judge, self.judge.deciding
        mine = [i for i, piece in enumerate(judge.every) if piece.task == k]
        whole = [judge.every[i] for i in mine]
        amounts = [piece.amount if piece.unit else _minutes(piece) for piece in whole]
        left_of = [1.0 - self.levels[i] / p.levels for i, p in zip(mine, whole, strict=True)]
        times = sum(a * part for a, part in zip(amounts, left_of, strict=True))
        share = 1.0 - sum(
            p.share * self.levels[i] / p.levels for i, p in zip(mine, whole, strict=True)
        )
        left = LeftOut(
            task=deciding.plan.task[k].name,
            times=max(round(times), 1),
            amount=max(round(sum(amounts)), 1),
            unit=whole[0].unit or "minutes",
            why="",
            needs_wh=judge.items.task_wh[k] * share,
        )
        planned = [burst for piece in whole for burst in piece.planned]
        if any(refusal.burst.task == k for refusal in judge.whole.refusals):
            alone = with_bursts(deciding, planned)
            if alone.refusals:
                return replace(left, why=_limit(alone, k, planned))
        return self._beside(left, k, mine, planned)

    def _beside(self, left: LeftOut, k: int, mine: Sequence[int], planned: list[Burst]) -> LeftOut:
        """What happens with all of a task put back beside the rest."""
        judge = self.judge
        awaited = judge.items.after.get(k, frozenset())
        if awaited and not any(self._does(first) for first in awaited):
            name = judge.deciding.plan.task[min(awaited)].name
            return replace(left, why=f'it waits for "{name}", which is left out', costs=name)
        rest = self._rest(mine)
        tried = with_bursts(judge.deciding, [*rest, *planned])
        if tried.refusals or clashes(tried):
            elsewhere = self._elsewhere(mine)
            if elsewhere is None:
                return replace(left, why=self._forbidden(tried, k, planned))
            planned, tried = elsewhere, with_bursts(judge.deciding, [*rest, *elsewhere])
            if tried.refusals or clashes(tried):
                return replace(left, why=self._forbidden(tried, k, planned))
        failing, may_fail = int((~tried.success).sum()), judge.deciding.may_fail
        if failing <= may_fail:
            return replace(left, why=self._order(k))
        where = " in a dull corner of the region" if judge.whole.weather.rough else ""
        scenarios = tried.success.size
        why = f"with it {failing} of {scenarios} weathers fail{where}; {may_fail} may"
        if not judge.every[mine[0]].unit:
            why += ALL_OR_NOTHING
        costs = self._costs(k, mine, planned)
        if costs is not None:
            why += f'; in place of "{costs}" it would fit'
        return replace(left, why=why, costs=costs, failing=failing, may_fail=may_fail)

    def _rest(self, without: Sequence[int]) -> list[Burst]:
        """The bursts of the choice but for those of some pieces."""
        return [
            burst
            for i, level in enumerate(self.levels)
            if level and i not in without
            for burst in self.judge.places.bursts(i, level, self.held.blocks[i])
        ]

    def _does(self, task: int) -> bool:
        return any(
            level and piece.task == task
            for level, piece in zip(self.levels, self.judge.every, strict=True)
        )

    def _elsewhere(self, mine: Sequence[int]) -> list[Burst] | None:
        """All of a task at other hours, where it may move and some are free."""
        judge = self.judge
        if not all(judge.every[i].movable for i in mine):
            return None
        occupied = Occupied(judge.deciding)
        for i, level in enumerate(self.levels):
            if level and i not in mine:
                bursts = judge.places.bursts(i, level, self.held.blocks[i])
                occupied.add(judge.every[i].task, bursts, bool(self.held.blocks[i]))
        found: list[Burst] = []
        for i in mine:
            free = judge.places.free_places(i, judge.every[i].levels, occupied)
            if not free:
                return None
            bursts = judge.places.bursts(i, judge.every[i].levels, free[0])
            occupied.add(judge.every[i].task, bursts, bool(free[0]))
            found += bursts
        return found

    def _forbidden(self, tried: Budget, k: int, planned: Sequence[Burst]) -> str:
        """Which limit, or which hands, forbid a task beside the rest."""
        moves = all(p.movable for p in self.judge.every if p.task == k)
        start = "no free hour for it: " if moves else "beside the rest "
        if not tried.refusals:
            return f"{start}the hands are taken by another tool"
        if any(refusal.burst.task == k for refusal in tried.refusals):
            return f"{start}{_limit(tried, k, planned)}"
        other = tried.refusals[0].burst.task
        name = tried.plan.task[other].name
        bursts = [burst for burst in tried.bursts if burst.task == other]
        return f'{start}"{name}" could not run: {_limit(tried, other, bursts)}'

    def _order(self, k: int) -> str:
        """What else keeps a task out: the order of things, or those it belongs to."""
        items, plan = self.judge.items, self.judge.deciding.plan
        if k in items.after:
            return f'it would come before "{plan.task[k].after}" is done'
        mates = {mate for tasks in items.tasks if k in tasks for mate in tasks} - {k}
        names = ", ".join(f'"{plan.task[mate].name}"' for mate in sorted(mates))
        if names:
            return f"it belongs to {names}, for which there is no room"
        return "no place was found for it; --effort 2 looks further"

    def _costs(self, k: int, mine: Sequence[int], planned: Sequence[Burst]) -> str | None:
        """The lowest of the chosen things that would make room for all of a task."""
        judge, items = self.judge, self.judge.items
        for item in reversed(range(len(items.pieces))):
            members = items.pieces[item]
            if not self.held.levels[item] or k in items.tasks[item]:
                continue
            if not self.tries:
                return None
            self.tries -= 1
            tried = with_bursts(judge.deciding, [*self._rest([*mine, *members]), *planned])
            if tried.yes and not clashes(tried):
                return tried.plan.task[judge.every[members[0]].task].name
        return None


def _minutes(piece: Piece) -> float:
    """For how long a piece runs that is stated by its window alone [min]."""
    return sum(burst.end_s - burst.start_s for burst in piece.planned) / 60.0


def _limit(b: Budget, k: int, bursts: Sequence[Burst]) -> str:
    """The limit that a task breaks, in words with the numbers."""
    task = b.plan.task[k]
    mine = [refusal for refusal in b.refusals if refusal.burst.task == k]
    return why_refused(task.supply, task.start_w, mine, len(bursts))
