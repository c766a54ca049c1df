"""Why a thing was left out: what fails when it is put back into the choice.

Each line is what the simulation says of the choice with all of that task in it again.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from energy.answers.choose.coarse import deciding_scenario
from energy.answers.choose.judge import AT_ONCE, Choice, Judge, clashes
from energy.answers.choose.pieces import Blocks, Piece
from energy.answers.choose.placing import Occupied
from energy.model import Mask
from energy.model.demand import Burst
from energy.plan.words import and_list
from energy.show.chance import DULL_CORNER
from energy.show.moments import clock
from energy.simulation.budget import Budget, with_bursts
from energy.simulation.overloads import why_never, why_not_beside

ALL_OR_NOTHING = "all or nothing: give it hours, and a part of it may fit"
Placed = dict[int, Sequence[Burst]]  # by a piece's number
MOST_TRIED = 48  # choices that show what things would cost, in all lines together
ALLOWANCE = 1.5  # a thing may take so many times what is stated of it


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

    def __init__(self, judge: Judge, choice: Choice):
        self.judge, self.choice = judge, choice
        self.levels = judge.piece_levels(choice.levels)
        self.tries = AT_ONCE

    def all(self) -> tuple[LeftOut, ...]:
        """A line for each task of which something is left out, in the plan's order."""
        every = self.judge.every
        missing = {p.task for p, level in zip(every, self.levels, strict=True) if level < p.levels}
        self.judge.allowed = np.inf
        self.tries = min(max(MOST_TRIED // max(len(missing), 1), 1), AT_ONCE)
        return tuple(self._when(k, self._of(k)) for k in sorted(missing))

    def _when(self, k: int, left: LeftOut) -> LeftOut:
        """A line with the time from which the task is planned, where others share its name."""
        deciding = self.judge.deciding
        if [task.name for task in deciding.plan.task].count(left.task) == 1:
            return left
        begins_s = min(p.planned[0].start_s for p in self.judge.every if p.task == k)
        return replace(left, why=f"planned from {clock(deciding.calendar, begins_s)}: {left.why}")

    def _of(self, k: int) -> LeftOut:
        judge, deciding = self.judge, self.judge.deciding
        mine = [i for i, piece in enumerate(judge.every) if piece.task == k]
        pieces = [judge.every[i] for i in mine]
        amounts = [piece.amount if piece.unit else _minutes(piece) for piece in pieces]
        left_of = [1.0 - self.levels[i] / p.levels for i, p in zip(mine, pieces, strict=True)]
        times = sum(a * part for a, part in zip(amounts, left_of, strict=True))
        share = 1.0 - sum(
            p.share * self.levels[i] / p.levels for i, p in zip(mine, pieces, strict=True)
        )
        left = LeftOut(
            task=deciding.plan.task[k].name,
            times=max(round(times), 1),
            amount=max(round(sum(amounts)), 1),
            unit=pieces[0].unit or "minutes",
            why="",
            needs_wh=judge.items.task_wh[k] * share,
        )
        for mate in (k, *self._mates(k)):
            if never := why_never(judge.result, mate):
                name = deciding.plan.task[mate].name
                why = never if mate == k else f'it belongs to "{name}": {never}'
                return replace(left, why=why)
        planned = [burst for piece in pieces for burst in piece.planned]
        if any(overload.burst.task == k for overload in judge.result.overloads):
            alone = with_bursts(deciding, planned)
            if alone.overloads:
                back = {i: piece.planned for i, piece in zip(mine, pieces, strict=True)}
                tried = with_bursts(deciding, _all(self._rest(mine) | back))
                why = why_not_beside(alone, k, len(planned))
                return replace(left, why=why + self._the_others(left, k, tried))
        return self._beside(left, k)

    def _beside(self, left: LeftOut, k: int) -> LeftOut:
        """What happens with all of a task, and of those it belongs to, put back beside the rest."""
        judge, mates = self.judge, self._mates(k)
        mine = [i for i, piece in enumerate(judge.every) if piece.task in {k, *mates}]
        for mate in (k, *mates):
            awaited = judge.items.after.get(mate, frozenset()) - {k, *mates}
            if awaited and not any(self._does(first) for first in awaited):
                tasks = judge.deciding.plan.task
                why = f'waits for "{tasks[min(awaited)].name}", which is left out'
                who = "it" if mate == k else f'it belongs to "{tasks[mate].name}", which'
                return replace(left, why=f"{who} {why}")
        why, tried = "", None
        back: Placed = {i: self.judge.every[i].planned for i in mine}
        for placed in (back, self._elsewhere(mine)):
            if placed is None:
                continue
            back = placed
            if not judge.in_turn(self._rest(mine) | placed):
                why = self._order(k)
                continue
            tried = with_bursts(judge.deciding, _all(self._rest(mine) | placed))
            if not tried.overloads and not clashes(tried):
                break
            why, tried = self._forbidden(left, tried, k, _all(placed)), None
        if tried is None:
            return replace(left, why=why)
        return self._judged(left, k, tried, mine, back)

    def _judged(
        self, left: LeftOut, k: int, tried: Budget, mine: Sequence[int], back: Placed
    ) -> LeftOut:
        """In how many scenarios the choice fails with some pieces put back, and what makes room."""
        judge = self.judge
        failing, may_fail = int((~tried.success).sum()), judge.deciding.may_fail
        if failing <= may_fail:
            return replace(left, why="no place was found for it; more --effort looks further")
        tasks = judge.deciding.plan.task
        missing = (mate for mate in self._mates(k) if not self._does_all(mate))
        names = and_list(["it", *(f'"{tasks[mate].name}"' for mate in missing)])
        why = self._fails(names, tried) + self._whole_only(k)
        costs = self._costs(k, tried, mine, back)
        if costs is not None:
            why += f'; in place of "{costs}" it would fit'
        return replace(left, why=why, costs=costs, failing=failing, may_fail=may_fail)

    def _fails(self, names: str, tried: Budget) -> str:
        """In how many weathers a choice fails with some things put back."""
        if tried.success.size == 1:
            return f"with {names} the plan fails in the one weather tried"
        where = DULL_CORNER * self.judge.result.weather.mean_uncertain
        failing = f"{int((~tried.success).sum())} of {tried.success.size}"
        allowed = f"the goal allows {self.judge.deciding.may_fail}"
        return f"with {names} {failing} weathers fail{where}; {allowed}"

    def _the_others(self, left: LeftOut, k: int, tried: Budget) -> str:
        """Why those repeats of a task are left out too that no limit turns away."""
        turned_away = len(tried.overloads_by_task.get(k, ()))
        others = len(tried.bursts_by_task[k]) - turned_away
        if not others or left.unit == "minutes" or left.times <= turned_away:
            return ""
        if int((~tried.success).sum()) > self.judge.deciding.may_fail:
            return f"; {self._fails(f'the other {others},', tried)}"
        if any(piece.movable for piece in self.judge.every if piece.task == k):
            return ""
        return "; fewer are spread anew over the same hours, flexible = true lets them move"

    def _whole_only(self, k: int) -> str:
        """That no part of a task can be done, where that is so."""
        items, every = self.judge.items, self.judge.every
        if not self._mates(k):
            mine = [piece for piece in every if piece.task == k]
            each = "each time " if len(mine) > 1 else ""
            return "" if any(piece.unit for piece in mine) else f"; {each}{ALL_OR_NOTHING}"
        groups = [n for n, tasks in enumerate(items.tasks) if k in tasks]
        if all(items.most[n] == 1 for n in groups):
            return "; all or nothing, with what it belongs to"
        repeats = {every[i].task for n in groups for i in items.pieces[n] if every[i].counted}
        return (
            "; it goes along in full, however few are done" if repeats and k not in repeats else ""
        )

    def _order(self, k: int) -> str:
        """Which of two tasks would come too early."""
        after = self.judge.deciding.plan.task[k].after
        if after is not None:
            return f'it would come before "{after}" is done'
        waiting = (j for j, awaited in self.judge.items.after.items() if k in awaited)
        names = [self.judge.deciding.plan.task[j].name for j in waiting if self._does(j)]
        if names:
            return f'"{names[0]}" waits for it and would come before it is done'
        return "what belongs to it would come too early"

    def _mates(self, k: int) -> list[int]:
        """The tasks that are chosen or left out together with a task."""
        together = set().union(*(tasks for tasks in self.judge.items.tasks if k in tasks))
        return sorted(together - {k})

    def _rest(self, without: Sequence[int]) -> Placed:
        """The bursts of the choice but for those of some pieces."""
        return {
            i: self.judge.places.bursts(i, level, self.choice.blocks[i])
            for i, level in enumerate(self.levels)
            if level and i not in without
        }

    def _does(self, task: int) -> bool:
        return any(
            level and piece.task == task
            for level, piece in zip(self.levels, self.judge.every, strict=True)
        )

    def _does_all(self, task: int) -> bool:
        pairs = zip(self.levels, self.judge.every, strict=True)
        return all(level == piece.levels for level, piece in pairs if piece.task == task)

    def _elsewhere(self, mine: Sequence[int]) -> Placed | None:
        """All of some pieces with those that may move at other hours, where some are free."""
        judge, placed = self.judge, self._rest(mine)
        if not any(judge.every[i].movable for i in mine):
            return None
        occupied = Occupied(judge.deciding)
        for i, bursts in placed.items():
            occupied.add(judge.every[i].task, bursts, bool(self.choice.blocks[i]))
        for i in sorted(mine, key=lambda i: judge.every[i].movable):
            level = judge.every[i].levels
            blocks: Blocks = ()
            if judge.every[i].movable:
                for blocks in judge.places.free_places(i, level, occupied):
                    if judge.in_turn(placed | {i: judge.places.bursts(i, level, blocks)}):
                        break
                else:
                    return None
            placed[i] = judge.places.bursts(i, level, blocks)
            occupied.add(judge.every[i].task, placed[i], bool(blocks))
        return {i: placed[i] for i in mine}

    def _forbidden(self, left: LeftOut, tried: Budget, k: int, planned: Sequence[Burst]) -> str:
        """Which limit, or which hands, forbid a task beside the rest."""
        moves = all(p.movable for p in self.judge.every if p.task == k)
        start = "no free hour for it: " if moves else "beside the rest: "
        if not tried.overloads:
            return f"{start}the hands are taken by another tool"
        if any(overload.burst.task == k for overload in tried.overloads):
            why = why_not_beside(tried, k, len([burst for burst in planned if burst.task == k]))
            return f"{start}{why}{self._the_others(left, k, tried)}"
        other = tried.overloads[0].burst.task
        name = tried.plan.task[other].name
        bursts = [burst for burst in tried.bursts if burst.task == other]
        return f'{start}"{name}" could not run: {why_not_beside(tried, other, len(bursts))}'

    def _costs(self, k: int, tried: Budget, mine: Sequence[int], back: Placed) -> str | None:
        """The lowest of the chosen things that would make room for all of a task, among as many as
        a line may try; tried: with all of both."""
        short_wh = max(-tried.lowest(deciding_scenario(tried)).spare_wh, 0.0)
        items = self.judge.items
        judge, tasks = self.judge, self.judge.deciding.plan.task
        names: list[str] = []
        without: list[list[Burst]] = []
        for item, members in reversed([*enumerate(items.pieces)]):
            name = tasks[judge.every[members[0]].task].name
            frees_wh = float(items.need_wh[item]) * self.choice.levels[item] / items.most[item]
            if frees_wh * ALLOWANCE <= short_wh or name == tasks[k].name or k in items.tasks[item]:
                continue
            placed = self._rest([*mine, *members]) | back
            if len(without) < self.tries and self._in_order(placed):
                names.append(name)
                without.append(_all(placed))
        outcomes = zip(names, judge.failing(without), strict=True)
        may_fail = judge.deciding.may_fail
        return next((n for n, failing in outcomes if _holds(failing, may_fail)), None)

    def _in_order(self, placed: Placed) -> bool:
        """Whether all that waits for something finds it done."""
        does = {self.judge.every[i].task for i in placed}
        after = self.judge.items.after
        return all(after[k] & does for k in does & set(after)) and self.judge.in_turn(placed)


def _holds(failing: Mask | None, may_fail: int) -> bool:
    """Whether limits and hands allow a choice and few enough scenarios fail with it."""
    return failing is not None and int(failing.sum()) <= may_fail


def _all(placed: Placed) -> list[Burst]:
    return [burst for bursts in placed.values() for burst in bursts]


def _minutes(piece: Piece) -> float:
    """For how long a piece runs that is stated by its window alone [min]."""
    return sum(burst.end_s - burst.start_s for burst in piece.planned) / 60.0
