"""The least that must be left out: the choice of what runs, with nothing moved.

What ranks higher stays before what ranks lower, and no part that is left out could be put back. The
search is that of `choose`, with few tries beyond a greedy choice.
"""

from collections.abc import Callable, Sequence

from energy.answers.caution.telling import carries
from energy.answers.choose.coarse import SLOT_S
from energy.answers.choose.pieces import Piece, tables
from energy.answers.choose.search import Search, greedy_cells, standing
from energy.answers.fix.ladder import Change, Ladder
from energy.plan.task import Task
from energy.plan.words import and_list
from energy.show.moments import day_name
from energy.simulation.budget import Budget, changed
from energy.simulation.demand import ranked

TRIES = 16  # for improving on the greedy choice
WORTH = 0.1  # of a task's repeats: who could do no more leaves out all of it (our choice)


def leave_out(result: Budget) -> Ladder | None:
    """Whole tasks that need not run, the lowest rank first; where nothing must, all but the first
    task."""
    tasks = result.plan.task
    stay = _staying(tasks)
    gone = [k for k in ranked(result.plan) if k not in stay]
    if not gone:
        return None
    gone = gone[1:] if len(gone) == len(tasks) else gone

    def lowest(number: float) -> list[int]:
        return sorted(gone[len(gone) - int(number) :])

    def words(number: float) -> str:
        names = dict.fromkeys(f'"{tasks[k].name}"' for k in lowest(number))
        return f"Leave out {and_list(list(names))}."

    return Ladder(
        kind="leave-out",
        free=True,
        most=float(len(gone)),
        change=lambda number: {f"task.{k + 1}": None for k in lowest(number)},
        words=words,
    )


def least_left_out(
    result: Budget, spend: Callable[[float], None]
) -> tuple[Change, str, Budget] | None:
    """What to leave out of a plan so that it reaches its goal, in words, and the budget without it;
    None where even leaving out all that need not run is not enough.

    spend: is told what the choice will cost, in cells of a budget; it may raise what ends it.
    """
    spend(greedy_cells(result))
    search = Search(_standing(result), SLOT_S, 1, None)
    choice = search.maximal(TRIES)
    while choice is not None:
        levels = search.judge.piece_levels(choice.levels)
        levels = _without_crumbs(result.plan.task, search.every, levels)
        if not any(levels):  # a plan without tasks is none
            return None
        change, words = _without(result, search.every, levels)
        without = changed(result, change)
        if without.yes:
            return change, words, without
        # the scenarios that decide and all of them may differ by one
        choice = search.a_little_less(choice) if choice.levels != search.items.least else None
    return None


def _without_crumbs(
    tasks: Sequence[Task], every: Sequence[Piece], levels: Sequence[int]
) -> list[int]:
    """So much of each piece, with nothing of a task of which next to no repeats would be kept; what
    others wait for or go with stays, and so does the last of all tasks."""
    without = list(levels)
    for k, task in enumerate(tasks):
        mine = [i for i, piece in enumerate(every) if piece.task == k and piece.counted]
        kept = sum(every[i].so_much(levels[i]) for i in mine)
        planned = sum(every[i].amount for i in mine)
        needed = task.with_ or any(task.name in (other.after, other.with_) for other in tasks)
        others = any(level for i, level in enumerate(without) if i not in mine)
        if kept < WORTH * planned and others and not needed:
            for i in mine:
                without[i] = 0
    return without


def _without(result: Budget, every: Sequence[Piece], levels: Sequence[int]) -> tuple[Change, str]:
    """The change to a plan that does so much of each piece, and what it leaves out in words."""
    change: Change = {}
    words, alike = [], True
    for k in range(len(result.plan.task)):
        mine = [(piece, levels[i]) for i, piece in enumerate(every) if piece.task == k]
        if any(level < piece.levels for piece, level in mine):
            less = _less(result, k, mine)
            alike &= less is not None
            change |= less or {}
            words.append(_left_out(result, k, mine))
    if not alike:  # of some task not the same in all windows: a table for each
        change = {"task": tables(result, every, levels, [()] * len(every))}
    words.sort(key=lambda text: not text.startswith('"'))  # the whole ones first, to be read once
    return change, f"Leave out {and_list(list(dict.fromkeys(words)))}."


def _standing(result: Budget) -> Budget:
    """The same budget of a plan in which nothing may move, what a life hangs on must run, and hands
    are not counted, as `check` does not."""
    must: Change = {f"task.{k + 1}.must": True for k in _staying(result.plan.task)}
    return standing(result, **must, **{"goal.one_at_a_time": False})


def _staying(tasks: Sequence[Task]) -> list[int]:
    """The numbers of the tasks that nobody should be told to leave out: they must run, or a life
    hangs on them, or they are left out together with one of these."""
    stay = [k for k, task in enumerate(tasks) if task.must or carries(task, "medical")]
    for k in stay:  # which grows on the way
        for other, task in enumerate(tasks):
            if other not in stay and (task.name == tasks[k].with_ or task.with_ == tasks[k].name):
                stay.append(other)
    return stay


def _less(result: Budget, k: int, mine: Sequence[tuple[Piece, int]]) -> Change | None:
    """The keys that leave out the same of a task in all its windows; None where it differs."""
    task, key = result.plan.task[k], f"task.{k + 1}"
    shares = {level / piece.levels for piece, level in mine}
    if shares == {0.0}:
        return {key: None}
    if len(shares) > 1:
        return None
    piece, level = mine[0]
    much = piece.so_much(level)
    if piece.counted:
        return {f"{key}.{piece.unit}": round(much)}
    unit = "hours" if task.hours is not None else "minutes"
    return {f"{key}.{unit}": round(much / (60.0 if unit == "hours" else 1.0), 6)}


def _left_out(result: Budget, k: int, mine: Sequence[tuple[Piece, int]]) -> str:
    """What is left out of a task, in words, with its days where not all are alike."""
    gone = [(piece, piece.amount - piece.so_much(level)) for piece, level in mine]
    less = [(piece, left) for piece, left in gone if left > 0.0]
    words = f'"{result.plan.task[k].name}"'
    if any(level for piece, level in mine if level < piece.levels):
        much, planned = sum(much for _, much in gone), sum(piece.amount for piece, _ in gone)
        share = f"{much:.0f} of {planned:.0f}" if mine[0][0].counted else f"{much:.0f} min"
        words = f"{share} of {words}"
    if len(less) == len(mine):
        return words
    at = result.local(less[0][0].opens_s)
    return f"{words} on " + (day_name(at) if len(less) == 1 else f"{len(less)} days")
