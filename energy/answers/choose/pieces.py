"""What of each task can be chosen: a task's work in one window, how far it can be cut down, when it
could be done, and the plan's tables that follow.

Which pieces are chosen is for `search`, where the movable ones go for `placing`.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from energy.model.demand import Burst, bursts
from energy.model.timeline import Interval, equal_shares, snap
from energy.plan.task import Task, at_other_times
from energy.simulation.budget import Budget

QUARTERS = (4, 3, 2, 1)  # a block is cut in so many parts times four, the most of LEAST_PART_S
LEAST_PART_S = 300.0
MOST_PAUSE_S = 120.0  # working pace: between two repeats nobody waits longer
OWN_WINDOW = 1_000  # a block that moves is a window of its own to the inverter


@dataclass(frozen=True)
class Block:
    """Repeats one after another (or one stretch of time) from `start_s` [UTC s].

    count is in levels of the piece: repeats, or parts of its block of time.
    """

    start_s: float
    count: int
    pause_s: float


Blocks = tuple[Block, ...]


@dataclass(frozen=True)
class Piece:
    """What one task asks in one window, or in all of them where they cannot be told apart.

    task from 0; window: its number among the task's; day: the local date on which it starts, None
    for all windows at once. levels: the parts it can be cut into; share: of the whole task in
    full. unit: the plan's key for how much, amount: of that in full. opens_s to closes_s is what of
    the window's interval lies inside the span; planned are the plan's own bursts.
    """

    task: int
    window: int
    day: date | None
    levels: int
    share: float
    unit: str
    amount: float
    each_s: float
    pause_s: float
    movable: bool
    interval: Interval
    opens_s: float
    closes_s: float
    planned: tuple[Burst, ...]

    @property
    def counted(self) -> bool:
        """Whether it is done in repeats, not in one stretch."""
        return self.unit in ("times", "charges")

    def long_s(self, count: int, pause_s: float) -> float:
        """How long a block of so many levels takes."""
        return count * self.each_s + (count - 1) * pause_s * self.counted

    def so_much(self, level: float) -> float:
        """How much of the unit so many levels are."""
        return self.amount * level / self.levels


def pieces(result: Budget) -> list[Piece]:
    """Every piece of every task of a plan, in the plan's order.

    >>> from energy.simulation.budget import budget
    >>> from energy.plan import Plan
    >>> found = pieces(budget(Plan.read("builtin:cloudy-repair")))
    >>> {piece.task for piece in found} == set(range(9))
    True
    """
    return [piece for k in range(len(result.plan.task)) for piece in _of_task(result, k)]


def _of_task(result: Budget, k: int) -> Iterator[Piece]:
    task, calendar = result.plan.task[k], result.calendar
    span, bursts_of_it = result.days.span, result.bursts_by_task.get(k, [])
    windows: list[tuple[int, date, Interval, tuple[Burst, ...]]] = []
    for number, day in enumerate(calendar.days(task.days)):
        mine = tuple(burst for burst in bursts_of_it if burst.window == number)
        if not mine:
            continue
        window = calendar.window(task.between, day)
        if task.at is not None:
            at = calendar.at(task.at, day)
            window = at, at + max(burst.end_s for burst in mine) - mine[0].start_s
        if window is not None:
            windows.append((number, day, window, mine))
    continuous = task.between is None and task.at is None
    early = any(day < calendar.first for _, day, _, _ in windows)
    if windows and (early or (continuous and task.repeats is None and task.duration_s is None)):
        every = tuple(bursts_of_it)
        yield Piece(k, windows[0][0], None, 1, 1.0, "", 1.0, 0.0, 0.0, False, span, *span, every)
        return
    for number, day, window, mine in windows:
        opens_s, closes_s = max(window[0], span[0]), min(window[1], span[1])
        cut = (opens_s, closes_s) != window
        levels, unit, amount, each_s = _amount(task, mine, cut)
        movable = task.flexible and task.at is None and unit != ""
        if cut and not movable:
            levels = 1  # how a window that the span cuts is spread is not touched
        yield Piece(
            task=k,
            window=number,
            day=day,
            levels=levels,
            share=1.0 / len(windows),
            unit=unit,
            amount=amount,
            each_s=each_s,
            pause_s=_pause_s(task, window, each_s),
            movable=movable,
            interval=window,
            opens_s=opens_s,
            closes_s=closes_s,
            planned=mine,
        )


def _amount(task: Task, mine: Sequence[Burst], cut: bool) -> tuple[int, str, float, float]:
    """Levels of a piece, the plan's key for its amount, how much of that, seconds of a level."""
    repeats = task.repeats
    if repeats is not None:
        repeats = min(repeats, len(mine)) if cut else repeats
        unit = "charges" if task.charges is not None else "times"
        assert task.repeat_s is not None
        return repeats, unit, float(repeats), task.repeat_s
    if task.duration_s is None:
        return 1, "", 1.0, 0.0
    long_s = min(task.duration_s, mine[-1].end_s - mine[0].start_s)
    parts = next((4 * m for m in QUARTERS if long_s / (4 * m) >= LEAST_PART_S), 4)
    return parts, "minutes", long_s / 60.0, long_s / parts


def _pause_s(task: Task, window: Interval, each_s: float) -> float:
    """What a window gives from the end of a repeat to the next, as far as working pace goes."""
    if task.pause_s is not None:
        return task.pause_s
    repeats = task.repeats
    if repeats is None:
        return 0.0
    gives_s = (window[1] - window[0]) / repeats - each_s
    return float(int(min(max(gives_s, 0.0), MOST_PAUSE_S)))


def laid(result: Budget, piece: Piece, level: int, blocks: Blocks = ()) -> tuple[Burst, ...]:
    """The bursts of so much of a piece: in these blocks, else in the plan's own way.

    Empty where so many repeats cannot be spread over its window.
    """
    task, span = result.plan.task[piece.task], result.days.span
    if not level:
        return ()
    if blocks:
        placed_bursts: list[Burst] = []
        for number, block in enumerate(blocks):
            own = OWN_WINDOW * (1 + number) + piece.window
            placed_bursts += bursts(task, piece.task, own, _intervals(piece, block), span)
        return tuple(placed_bursts)
    if level == piece.levels:
        return piece.planned
    if not piece.counted:
        start_s = piece.planned[0].start_s
        placed = [(start_s, snap(start_s + level * piece.each_s))]
    elif task.at is not None:
        pause_s = task.pause_s or 0.0
        placed = _intervals(piece, Block(piece.interval[0], level, pause_s))
    else:
        try:
            placed = equal_shares((piece.opens_s, piece.closes_s), level, piece.each_s)
        except ValueError:
            return ()
    return tuple(bursts(task, piece.task, piece.window, placed, span))


def _intervals(piece: Piece, block: Block) -> list[Interval]:
    """When the repeats of a block, or its one stretch, run [UTC s]."""
    if not piece.counted:
        return [(block.start_s, snap(block.start_s + block.count * piece.each_s))]
    step_s = piece.each_s + block.pause_s
    firsts = [snap(block.start_s + i * step_s) for i in range(block.count)]
    return [(first, snap(first + piece.each_s)) for first in firsts]


def tables(
    result: Budget, every: Sequence[Piece], levels: Sequence[int], blocks: Sequence[Blocks]
) -> list[dict[str, Any]]:
    """The plan's [[task]] tables in which each piece is done so far, in these blocks (none: in the
    plan's own way).

    A task that stays as it is keeps its table; one that changes becomes a table for each window or
    block. Tasks of one name share their random factor, so that splitting one changes no scenario.
    """
    made: list[dict[str, Any]] = []
    for k, table in enumerate(result.plan.source["task"]):
        mine = [i for i, piece in enumerate(every) if piece.task == k]
        if all(levels[i] == every[i].levels and not blocks[i] for i in mine):
            made.append(table)
            continue
        for i in mine:
            if levels[i]:
                made += _tables(result, table, every[i], levels[i], blocks[i])
    return made


def _tables(
    result: Budget, table: dict[str, Any], piece: Piece, level: int, blocks: Blocks
) -> Iterator[dict[str, Any]]:
    clock = result.calendar.clock
    made = at_other_times(table, days=None, flexible=None, name=result.plan.task[piece.task].name)
    if level == piece.levels and not blocks:
        assert piece.day is not None  # what is chosen in all windows at once stays as it is
        yield made | {"days": [(piece.day - result.calendar.first).days + 1]}
    elif not blocks:
        made = at_other_times(made, **_so_much(piece, level))
        if (piece.opens_s, piece.closes_s) == piece.interval:
            yield made | {"days": [_day_number(result, piece.interval[0])]}
        else:
            between = [clock(piece.opens_s), clock(piece.closes_s)]
            days = [_day_number(result, piece.opens_s)]
            yield at_other_times(made, between=between, days=days)
    for block in blocks:
        pause_s = block.pause_s if piece.counted and block.count > 1 and block.pause_s else None
        yield at_other_times(
            made,
            at=clock(block.start_s),
            days=[_day_number(result, block.start_s)],
            pause_s=pause_s,
            **_so_much(piece, block.count),
        )


def _so_much(piece: Piece, level: int) -> dict[str, Any]:
    """The plan's key and value for so many levels."""
    much = piece.so_much(level)
    return {piece.unit: round(much) if piece.counted else round(much, 6)}


def _day_number(result: Budget, time_s: float) -> int:
    """The span's day, from 1, on which a moment lies."""
    return (result.local(time_s).date() - result.calendar.first).days + 1
