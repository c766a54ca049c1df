"""What is decided on: pieces of work, alone or together with those they belong to.

At each priority an item serves some value; what must run is no item, it is always there.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import gcd

import numpy as np

from energy.answers.choose.pieces import Piece
from energy.model import Array
from energy.plan import Plan
from energy.simulation.budget import Budget
from energy.simulation.overloads import why_never

Levels = tuple[int, ...]


@dataclass(frozen=True)
class Items:
    """pieces: of each item, the numbers of its pieces; most: how many levels it has; rank: which of
    the `priorities` it belongs to; value: what all of it serves there; need_wh: what all of it asks
    of the pack. always: the pieces that must run. after: task -> the tasks it waits for. tasks: of
    each item, whose it is. least: what of it must be there, because what must run waits
    for it. task_wh: what each task asks of the pack in all. able: which items some limit, or what
    they wait for, does not rule out whatever else runs.
    """

    pieces: tuple[tuple[int, ...], ...]
    most: Levels
    rank: tuple[int, ...]
    value: Array
    need_wh: Array
    priorities: tuple[int, ...]
    always: tuple[int, ...]
    after: dict[int, frozenset[int]]
    tasks: tuple[frozenset[int], ...]
    least: Levels
    task_wh: dict[int, float]
    able: tuple[bool, ...]

    def served(self, levels: Sequence[int]) -> tuple[float, ...]:
        """What a choice serves at each priority, the first one first."""
        values = [0.0] * len(self.priorities)
        for item, level in enumerate(levels):
            values[self.rank[item]] += float(self.value[item]) * level / self.most[item]
        return tuple(round(value, 6) for value in values)

    def piece_levels(self, levels: Sequence[int], every: Sequence[Piece]) -> list[int]:
        """How much of each piece a choice does."""
        amounts = [0] * len(every)
        for i in self.always:
            amounts[i] = every[i].levels
        for item, level in enumerate(levels):
            members = self.pieces[item]
            repeats = any(every[i].counted for i in members)
            for i in members:
                most = every[i].levels
                goes_along = repeats and not every[i].counted
                amounts[i] = most * (level > 0) if goes_along else level * most // self.most[item]
        return amounts

    def awaited(self, tasks: set[int]) -> set[int]:
        """All that some tasks wait for, and what that waits for in turn."""
        return _awaited(tasks, self.after)

    def in_order(self, levels: Sequence[int]) -> bool:
        """Whether nothing is chosen whose forerunner is left out."""
        chosen = {k for item, level in enumerate(levels) if level for k in self.tasks[item]}
        open_ = set().union(*self.tasks) - chosen
        return not any(self.after.get(k, frozenset()) <= open_ for k in chosen if k in self.after)


def with_level(levels: Levels, item: int, level: int) -> Levels:
    """The levels with another one of an item."""
    return (*levels[:item], level, *levels[item + 1 :])


def items_of(result: Budget, every: Sequence[Piece]) -> Items:
    """The items of a plan's pieces, by priority, then most value for what they ask first."""
    plan = result.plan
    always = tuple(i for i, piece in enumerate(every) if plan.task[piece.task].must)
    groups = _together(plan, every)
    priorities = tuple(sorted({plan.task[every[g[0]].task].priority for g in groups}))
    value = [sum(plan.task[every[i].task].value * every[i].share for i in g) for g in groups]
    asked = [_need_wh(result, piece) for piece in every]
    need = [sum(asked[i] for i in g) for g in groups]
    task_wh: dict[int, float] = {}
    for piece, wh in zip(every, asked, strict=True):
        task_wh[piece.task] = task_wh.get(piece.task, 0.0) + wh
    rank = [priorities.index(plan.task[every[g[0]].task].priority) for g in groups]
    order = sorted(
        range(len(groups)),
        key=lambda n: (rank[n], -round(value[n] / max(need[n], 1e-6), 9), groups[n]),
    )
    after = {
        k: _named(plan, task.after) for k, task in enumerate(plan.task) if task.after is not None
    }
    order = _forerunners_first(order, [{every[i].task for i in g} for g in groups], after)
    tasks = tuple(frozenset(every[i].task for i in groups[n]) for n in order)
    awaited = _awaited({every[i].task for i in always}, after)
    return Items(
        pieces=tuple(groups[n] for n in order),
        most=tuple(_parts([every[i] for i in groups[n]]) for n in order),
        rank=tuple(rank[n] for n in order),
        value=np.array([value[n] for n in order]),
        need_wh=np.array([need[n] for n in order]),
        priorities=priorities,
        always=always,
        after=after,
        tasks=tasks,
        least=tuple(int(bool(mine & awaited)) for mine in tasks),
        task_wh=task_wh,
        able=tuple(_able(result, tasks, after)),
    )


def _able(
    result: Budget, tasks: Sequence[frozenset[int]], after: dict[int, frozenset[int]]
) -> Iterator[bool]:
    """Whether each item could run at all; forerunners first. A trace that is cut short may end
    before what a limit turns away."""
    not_traces = (k for k, task in enumerate(result.plan.task) if task.kind != "trace")
    never = {k for k in not_traces if why_never(result, k)}
    for mine in tasks:
        gone = bool(mine & never) or any(k in after and after[k] <= never for k in mine)
        never |= mine if gone else set()
        yield not gone


def _awaited(tasks: set[int], after: dict[int, frozenset[int]]) -> set[int]:
    """All that some tasks wait for, and what that waits for in turn."""
    awaited: set[int] = set()
    new = {j for k in tasks for j in after.get(k, ())}
    while new:
        awaited |= new
        new = {j for k in new for j in after.get(k, ())} - awaited
    return awaited


def _forerunners_first(
    order: Sequence[int], tasks: Sequence[set[int]], after: dict[int, frozenset[int]]
) -> list[int]:
    """The order with each group behind those that hold what its tasks wait for."""
    ordered: list[int] = []

    def take(group: int) -> None:
        if group in ordered:
            return
        awaited = {j for k in tasks[group] for j in after.get(k, ())} - tasks[group]
        for other in order:
            if awaited & tasks[other]:
                take(other)
        ordered.append(group)

    for group in order:
        take(group)
    return ordered


def _together(plan: Plan, every: Sequence[Piece]) -> list[tuple[int, ...]]:
    """Pieces that are chosen or left out together: those of tasks joined by `with`, date by date
    where all of them have the same dates, else all at once; every other piece alone."""
    leader = list(range(len(plan.task)))

    def group_of(k: int) -> int:
        return k if leader[k] == k else group_of(leader[k])

    for k, task in enumerate(plan.task):
        for mate in () if task.with_ is None else _named(plan, task.with_):
            leader[group_of(k)] = group_of(mate)
    groups: dict[tuple[int, object], list[int]] = {}
    for i, piece in enumerate(every):
        if plan.task[piece.task].must:
            continue
        mates = [other for other in every if group_of(other.task) == group_of(piece.task)]
        tasks = {mate.task for mate in mates}
        if len(tasks) == 1:
            groups[piece.task, i] = [i]
            continue
        dates = [{mate.day for mate in mates if mate.task == k} for k in tasks]
        day = piece.day if all(same == dates[0] for same in dates) else "all"
        groups.setdefault((group_of(piece.task), day), []).append(i)
    return [tuple(members) for members in groups.values()]


def _parts(group: Sequence[Piece]) -> int:
    """Into how many parts some pieces that belong together can be cut.

    Repeats are cut alike, and stretches beside them go along in full: they must be there for the
    last repeat too. Stretches alone are cut alike where they run side by side from end to end.
    """
    counted = [piece.levels for piece in group if piece.counted]
    if counted or len(group) == 1:
        return gcd(*(counted or [piece.levels for piece in group]))
    times = {(piece.planned[0].start_s, piece.planned[-1].end_s) for piece in group}
    return gcd(*(piece.levels for piece in group)) if len(times) == 1 else 1


def _named(plan: Plan, name: str) -> frozenset[int]:
    """The tasks of a name: one work may be planned in several tables."""
    return frozenset(k for k, task in enumerate(plan.task) if task.name == name)


def _need_wh(result: Budget, piece: Piece) -> float:
    """What all of a piece asks of the pack [Wh], by the outlet's efficiency."""
    percent = result.plan.pack.efficiency_percent(result.plan.task[piece.task].supply)
    return 100.0 / percent * sum(burst.energy_wh for burst in piece.planned)
