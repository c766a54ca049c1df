"""Where the work that may move goes: in at most two blocks a day, at working pace, beside the rest.

Places are ranked by `coarse`, ruled out by `Occupied`; whether a layout holds is for the
simulation to say.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from copy import copy
from functools import cached_property

import numpy as np

from energy.answers.choose.coarse import Coarse
from energy.answers.choose.pieces import Block, Blocks, Piece, laid
from energy.model import Array
from energy.model.demand import Burst
from energy.simulation.budget import Budget

TICK_S = 5.0  # what runs together is looked at in steps of five seconds
KEPT = 64  # of what is taken at once by some pieces
MOST_STARTS = 10  # of two blocks of one piece
HALVES_EVERY_S = 3600.0  # two blocks of one task are tried at whole hours apart


class Occupied:
    """What runs together at each moment of the span: watts, volt-amperes, starts, hands."""

    def __init__(self, result: Budget):
        self.result, self.start_s = result, float(result.time_s[0])
        ticks = int(np.ceil((result.time_s[-1] - self.start_s) / TICK_S)) + 1
        self.load = {key: np.zeros(ticks) for key in ("ac", "dc12", "usb", "va", "surge", "bus")}
        self.hands = np.zeros(ticks, dtype=bool)
        pack = result.plan.pack
        self.limits = {"dc12": pack.dc12.rated_w, "usb": pack.usb.rated_w}
        self.limits["bus"] = pack.discharge_max_w
        if pack.inverter is not None:
            self.limits["va"] = pack.inverter.rated_w
        self.asked_w: dict[tuple[int, float, bool], dict[str, float]] = {}

    def copy(self) -> "Occupied":
        """The same, to be filled further."""
        other = copy(self)
        other.load = {key: values.copy() for key, values in self.load.items()}
        other.hands = self.hands.copy()
        return other

    def add(self, task: int, bursts: Sequence[Burst], moved: bool) -> None:
        """Enter some bursts of a task."""
        for at, _, watts in self._of(task, bursts):
            for key, value in watts.items():
                self.load[key][at] += value
        if self._by_hand(task):
            for at in self._hulls(bursts, moved):
                self.hands[at] = True

    def free(self, task: int, bursts: Sequence[Burst], moved: bool) -> bool:
        """Whether these bursts fit beside what is there, on the safe side by a few seconds."""
        if self._by_hand(task) and any(self.hands[at].any() for at in self._hulls(bursts, moved)):
            return False
        if bursts and self._free_all_along(task, bursts):
            return True
        pack = self.result.plan.pack
        for at, starts, watts in self._of(task, bursts):
            for key, limit in self.limits.items():
                if watts.get(key) and self.load[key][at].max() + watts[key] > limit * (1 + 1e-9):
                    return False
            if pack.inverter is not None and "ac" in watts:
                running_w = self.load["ac"][at] + watts["ac"]
                surge = max(float((running_w + self.load["surge"][at]).max()), 0.0)
                if starts:
                    surge = max(surge, float(running_w[:2].max()) + watts["surge"])
                if surge > pack.inverter.surge_w * (1 + 1e-9):
                    return False
        return True

    def _free_all_along(self, task: int, bursts: Sequence[Burst]) -> bool:
        """Whether there is room from the first burst to the last for what any of them asks: the
        quick answer, where it is yes."""
        hull = self._ticks(bursts[0].start_s, bursts[-1].end_s)
        peak = max((step.working_w for burst in bursts for step in burst.pieces), default=0.0)
        watts, pack = self._watts(task, peak, True), self.result.plan.pack
        most = {key: float(values[hull].max()) for key, values in self.load.items()}
        if pack.inverter is not None and "ac" in watts:
            surge_w = most["ac"] + watts["ac"] + max(watts["surge"], most["surge"])
            if surge_w > pack.inverter.surge_w:
                return False
        return all(most[key] + watts.get(key, 0.0) <= limit for key, limit in self.limits.items())

    def _of(
        self, task: int, bursts: Sequence[Burst]
    ) -> Iterator[tuple[slice, bool, dict[str, float]]]:
        for burst in bursts:
            for piece in burst.pieces:
                watts = self._watts(task, piece.working_w, piece.starts)
                yield self._ticks(piece.start_s, piece.end_s), piece.starts, watts

    def _watts(self, task: int, working_w: float, starts: bool) -> dict[str, float]:
        """What a step asks of its outlet, the inverter and the bus."""
        key = task, working_w, starts
        if key not in self.asked_w:
            asking, pack = self.result.plan.task[task], self.result.plan.pack
            watts: dict[str, float] = {asking.supply: working_w, "bus": working_w}
            curve = self.result.case.inverter
            if asking.supply == "ac":
                watts["va"] = working_w / asking.power_factor
                watts["surge"] = max(asking.start_w - working_w, 0.0) * starts
                if curve is not None:
                    watts["bus"] = float(curve.input_w(np.array([working_w]))[0])
            else:
                watts["bus"] = working_w * 100.0 / pack.efficiency_percent(asking.supply)
            self.asked_w[key] = watts
        return self.asked_w[key]

    def _by_hand(self, task: int) -> bool:
        plan = self.result.plan
        return plan.goal.one_at_a_time and plan.task[task].hand_held

    def _hulls(self, bursts: Sequence[Burst], moved: bool) -> list[slice]:
        """The times for which hands are taken: from a block's first burst to its last."""
        if not moved:
            return [self._ticks(burst.start_s, burst.end_s) for burst in bursts]
        by_window: dict[int, list[Burst]] = {}
        for burst in bursts:
            by_window.setdefault(burst.window, []).append(burst)
        return [self._ticks(mine[0].start_s, mine[-1].end_s) for mine in by_window.values()]

    def _ticks(self, start_s: float, end_s: float) -> slice:
        first = int((start_s - self.start_s) // TICK_S)
        return slice(first, int(np.ceil((end_s - self.start_s) / TICK_S - 1e-9)))


class Places:
    """The layouts to try for a choice of pieces.

    after: task -> the tasks it waits for; in_turn: whether bursts, by piece, keep to that.
    """

    def __init__(
        self,
        result: Budget,
        coarse: Coarse,
        every: Sequence[Piece],
        after: Mapping[int, frozenset[int]],
        in_turn: Callable[[Mapping[int, Sequence[Burst]]], bool],
    ):
        self.result, self.coarse, self.every = result, coarse, every
        self.after, self.in_turn = after, in_turn
        self._asked: dict[tuple[int, int, Blocks], Array] = {}
        self._bursts: dict[tuple[int, int, Blocks], tuple[Burst, ...]] = {}
        self._taken: dict[tuple[tuple[int, int, Blocks], ...], Occupied] = {}

    def bursts(self, piece: int, level: int, blocks: Blocks) -> tuple[Burst, ...]:
        """The bursts of so much of a piece (see `laid`), made once."""
        key = piece, level, blocks
        if key not in self._bursts:
            self._bursts[key] = laid(self.result, self.every[piece], level, blocks)
        return self._bursts[key]

    def layouts(
        self, levels: Sequence[int], kept: Sequence[Blocks | None], beam: int, halves: bool
    ) -> list[tuple[Blocks, ...]]:
        """The best few layouts of a choice; `kept` says where a piece runs already, None: open.

        levels: how much of each piece; halves: whether a piece may go in two blocks too. Empty
        where some piece finds no free place.
        """
        asked = np.zeros((self.coarse.edges.size - 1, self.coarse.factor.shape[1]))
        fixed: dict[int, Blocks] = {}
        for i, blocks in enumerate(kept):
            if levels[i] and blocks is not None:
                fixed[i] = blocks
                asked += self._asked_wh(i, levels[i], blocks)
        several = [(fixed, asked, (0.0, 0.0))]
        left = [i for i, blocks in enumerate(kept) if levels[i] and blocks is None]
        # what waits first: its forerunners then go where they still come before it
        for i in sorted(left, key=lambda i: self._waits_for(self.every[i].task), reverse=True):
            grown = [
                (placed | {i: place}, before + self._asked_wh(i, levels[i], place), merit)
                for placed, before, _ in several
                for place, merit in self._ranked(
                    i, levels[i], before, self._free_in_turn(i, levels, placed, halves)
                )[:beam]
            ]
            grown.sort(key=lambda layout: layout[2], reverse=True)
            several = grown[:beam]
        return [self._of_each_piece(placed) for placed, *_ in several]

    def all_layouts(self, levels: Sequence[int], most: int) -> list[tuple[Blocks, ...]] | None:
        """Every layout of a choice that the scenarios could bear at best, so far as limits and
        hands let it; None where there are more than `most`."""
        hopeful = self._hopeful
        base = np.zeros((hopeful.edges.size - 1, hopeful.factor.shape[1]))
        still = {i: () for i, piece in enumerate(self.every) if levels[i] and not piece.movable}
        for i in still:
            base += self._hopeful_wh(i, levels[i], ())
        bursts = [burst for i in still for burst in self.bursts(i, levels[i], ())]
        base += hopeful.inverter_wh(bursts)[:, None]
        several: list[tuple[dict[int, Blocks], Array]] = [(dict(still), base)]
        for i, piece in enumerate(self.every):
            if not levels[i] or not piece.movable:
                continue
            grown: list[tuple[dict[int, Blocks], Array]] = []
            for placed, asked in several:
                free = self._free_in_turn(i, levels, placed, True)
                if len(free) * len(several) > 2 * most:  # the most of them could be borne
                    return None
                if free:
                    own = np.stack([self._hopeful_wh(i, levels[i], place) for place in free])
                    bears = hopeful.failing(asked + own) <= self.result.may_fail
                    grown += [
                        (placed | {i: free[n]}, asked + own[n]) for n in np.flatnonzero(bears)
                    ]
                if len(grown) > most:
                    return None
            several = grown
        return [self._of_each_piece(placed) for placed, _ in several]

    def _of_each_piece(self, placed: Mapping[int, Blocks]) -> tuple[Blocks, ...]:
        return tuple(placed.get(i, ()) for i in range(len(self.every)))

    def _occupied(self, levels: Sequence[int], placed: Mapping[int, Blocks]) -> Occupied:
        """What is taken by some pieces where they are."""
        key = tuple((i, levels[i], blocks) for i, blocks in sorted(placed.items()))
        if key not in self._taken:
            if len(self._taken) > KEPT:
                self._taken.clear()
            before = self._taken.get(key[:-1])
            occupied = Occupied(self.result) if before is None else before.copy()
            for i, level, blocks in key if before is None else key[-1:]:
                occupied.add(self.every[i].task, self.bursts(i, level, blocks), bool(blocks))
            self._taken[key] = occupied
        return self._taken[key]

    @cached_property
    def _hopeful(self) -> Coarse:
        """All scenarios, with nothing counted against a choice that might not be."""
        everyone = np.arange(self.result.success.size)
        return Coarse(self.result, self.coarse.slot_s, everyone, hopeful=True)

    def _hopeful_wh(self, piece: int, level: int, blocks: Blocks) -> Array:
        task = self.every[piece].task
        own = self._hopeful.asked_wh(task, self.bursts(piece, level, blocks), idle=False)
        return np.asarray(own[:, None] * self._hopeful.factor[task])

    def free_places(
        self, piece: int, level: int, occupied: Occupied, halves: bool = True
    ) -> list[Blocks]:
        """Every place at which so much of a piece may run beside what is there."""
        task = self.every[piece].task
        return [
            blocks
            for blocks in self._places(piece, level, occupied, halves)
            if (bursts := self.bursts(piece, level, blocks))
            and occupied.free(task, bursts, bool(blocks))
        ]

    def _free_in_turn(
        self, piece: int, levels: Sequence[int], placed: Mapping[int, Blocks], halves: bool
    ) -> list[Blocks]:
        """The free places of a piece beside others that keep the order of that date."""
        free = self.free_places(piece, levels[piece], self._occupied(levels, placed), halves)
        day = self.every[piece].day
        others = {
            i: self.bursts(i, levels[i], blocks)
            for i, blocks in placed.items()
            if self.after and self.every[i].day == day
        }
        if not others:
            return free
        own = ((blocks, self.bursts(piece, levels[piece], blocks)) for blocks in free)
        return [blocks for blocks, bursts in own if self.in_turn(others | {piece: bursts})]

    def _waits_for(self, task: int) -> int:
        """How many others one after another a task waits for."""
        return max((1 + self._waits_for(j) for j in self.after.get(task, ())), default=0)

    def _ranked(
        self, piece: int, level: int, before: Array, free: Sequence[Blocks]
    ) -> list[tuple[Blocks, tuple[float, float]]]:
        """The free places of a piece, the one that leaves most first."""
        if not free:
            return []
        asked = np.stack([before + self._asked_wh(piece, level, blocks) for blocks in free])
        margin, store = self.coarse.judge(asked)
        merits = [
            (round(float(m), 3), round(float(h), 4)) for m, h in zip(margin, store, strict=True)
        ]
        order = sorted(range(len(free)), key=lambda n: merits[n], reverse=True)
        return [(free[n], merits[n]) for n in order]

    def _places(self, number: int, level: int, occupied: Occupied, halves: bool) -> list[Blocks]:
        """The plan's own way, then one block from every slot, then two blocks."""
        piece = self.every[number]
        places: list[Blocks] = [()]
        if not piece.movable:
            return places
        paces = sorted({piece.pause_s, 0.0}, reverse=True) if level > 1 else [0.0]
        starts = self._starts(piece, occupied)
        for pause_s in paces:
            long_s = piece.long_s(level, pause_s)
            ones = [t for t in starts if t + long_s <= piece.closes_s + 1e-6]
            places += [(Block(t, level, pause_s),) for t in ones]
            if ones:
                break
        if level > 1 and halves:
            places += self._two_blocks(piece, level, starts)
        return places

    def _two_blocks(self, piece: Piece, level: int, starts: Sequence[float]) -> list[Blocks]:
        """A level in two blocks that are at least an hour apart at their starts."""
        pairs: list[Blocks] = []
        starts = starts[:: max(1, len(starts) // MOST_STARTS)]
        for first in sorted({(level + 1) // 2, level // 2, max(level - 1, 1), 1}, reverse=True):
            rest = level - first
            for k, start_s in enumerate(starts):
                ends_s = start_s + piece.long_s(first, piece.pause_s)
                for later_s in starts[k + 1 :]:
                    apart = later_s - start_s >= min(HALVES_EVERY_S, self.coarse.slot_s)
                    closes_s = later_s + piece.long_s(rest, piece.pause_s)
                    if apart and later_s > ends_s and closes_s <= piece.closes_s + 1e-6:
                        block = Block(start_s, first, piece.pause_s)
                        pairs.append((block, Block(later_s, rest, piece.pause_s)))
        return pairs

    def _starts(self, piece: Piece, occupied: Occupied) -> list[float]:
        """Whole minutes from which a piece may begin: a slot apart from where its window opens,
        and where something else ends."""
        first = float(np.ceil(piece.opens_s / 60.0) * 60.0)
        starts = set(np.arange(first, piece.closes_s, self.coarse.slot_s).tolist())
        busy = occupied.load["ac"] + occupied.load["dc12"] + occupied.hands
        stops = np.flatnonzero((busy[:-1] > 0.0) & (busy[1:] < busy[:-1])) + 1
        for tick in stops.tolist():
            at = float(np.ceil((occupied.start_s + tick * TICK_S) / 60.0) * 60.0)
            if first <= at < piece.closes_s:
                starts.add(at)
        return sorted(t for t in starts if self.result.calendar.tells(t))

    def _asked_wh(self, piece: int, level: int, blocks: Blocks) -> Array:
        key = piece, level, blocks
        if key not in self._asked:
            task = self.every[piece].task
            own = self.coarse.asked_wh(task, self.bursts(*key))
            self._asked[key] = own[:, None] * self.coarse.factor[task]
        return self._asked[key]
