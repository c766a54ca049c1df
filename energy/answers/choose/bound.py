"""How much could be served at most: energy that comes in against energy that is asked, interval by
interval and scenario by scenario. No choice passes it, wherever the movable work goes.

Between any two moments a pack can give no more than it held and what came in, less what must stay;
and a choice works in all scenarios but the few that may fail, so that the bound of the next one
holds for it.
"""

from collections.abc import Sequence

import numpy as np

from energy.answers.choose.coarse import Coarse
from energy.answers.choose.items import Items
from energy.answers.choose.pieces import Piece, laid
from energy.model import Array
from energy.model.demand import Burst
from energy.simulation.budget import Budget

MOST_INTERVALS = 600
CLOSE = 1e-6


class Bound:
    """The most value that a plan's items can serve, priority by priority."""

    def __init__(self, result: Budget, every: Sequence[Piece], items: Items, slot_s: float):
        self.items, self.every, self.may_fail = items, every, result.may_fail
        self.coarse = coarse = Coarse(result, slot_s, np.arange(result.success.size), hopeful=True)
        self.first, self.last = _intervals(coarse.edges.size - 1)
        asked, free = np.zeros((2, len(every), self.first.size))
        for i, piece in enumerate(every):
            asked[i], free[i] = self._least_wh(coarse, result, piece)
        room = self._room_wh(coarse)
        for i in items.always:
            room = room - asked[i][:, None] * coarse.factor[every[i].task]
        self.room_wh = room
        self.free = np.stack(
            [
                free[[*members]].max(axis=0) * (most > 1 and able)
                for members, most, able in zip(items.pieces, items.most, items.able, strict=True)
            ]
        )
        self.asked_wh = np.stack(
            [
                sum(
                    (asked[i][:, None] * coarse.factor[every[i].task] for i in members),
                    start=np.zeros_like(room),
                )
                for members in items.pieces
            ]
        )

    def most(self, reached: Sequence[float]) -> float:
        """The most value at the next priority, where those before reach what they do."""
        rank, items = len(reached), self.items
        left, always = self.room_wh, [*items.always]
        for earlier, value in enumerate(reached):
            mine = [k for k, r in enumerate(items.rank) if r == earlier]
            left = left - self._least_for(mine, value)
            if value >= float(items.value[mine].sum()) - CLOSE:
                always += [i for k in mine for i in items.pieces[k]]
        left = left - self._inverter_wh(always)[:, None]
        mine = [k for k, r in enumerate(items.rank) if r == rank]
        by_scenario = np.sort(self._most_for(mine, left).min(axis=0))
        return float(by_scenario[min(self.may_fail, by_scenario.size - 1)])

    def _most_for(self, mine: Sequence[int], room_wh: Array) -> Array:
        """The most value of some items whose parts fit into the room, (intervals, scenarios)."""
        asked, value = self.asked_wh[mine], self.items.value[mine][:, None, None]
        free = self.free[mine][:, :, None]
        order = np.argsort(-value / np.maximum(asked, 1e-9), axis=0, kind="stable")
        left = (1.0 - free) * np.ones_like(asked)
        all_or_nothing = np.array([self.items.most[k] == 1 for k in mine])
        too_much = all_or_nothing[:, None] & (asked > np.maximum(room_wh, 0.0) + CLOSE).any(axis=1)
        too_much |= ~np.array([self.items.able[k] for k in mine])[:, None]
        left = left * ~too_much[:, None, :]
        asked, worth = asked * left, value * left
        asked = np.take_along_axis(asked, order, axis=0)
        worth = np.take_along_axis(worth, order, axis=0)
        before = np.cumsum(asked, axis=0) - asked
        part = np.clip((np.maximum(room_wh, 0.0) - before) / np.maximum(asked, 1e-9), 0.0, 1.0)
        return np.asarray((worth * part).sum(axis=0) + (value * free).sum(axis=0))

    def _least_for(self, mine: Sequence[int], value: float) -> Array:
        """The least that some items ask to serve a value, (intervals, scenarios) [Wh]."""
        asked, worth = self.asked_wh[mine], self.items.value[mine]
        order = np.argsort(-asked / worth[:, None, None], axis=0, kind="stable")
        asked = np.take_along_axis(asked, order, axis=0)
        worth = np.take_along_axis(
            np.broadcast_to(worth[:, None, None], asked.shape).copy(), order, axis=0
        )
        free = (self.items.value[mine][:, None] * self.free[mine]).sum(axis=0)[:, None]
        spare = max(float(self.items.value[mine].sum()) - value, 0.0) + free + 1e-6
        before = np.cumsum(worth, axis=0) - worth
        gone = np.clip((spare - before) / worth, 0.0, 1.0)
        return np.asarray((asked * (1.0 - gone)).sum(axis=0))

    def _inverter_wh(self, always: Sequence[int]) -> Array:
        """What the inverter takes within each interval to be on for what runs at known times
        [Wh]."""
        fixed = (self.every[i] for i in always if not self.every[i].movable)
        bursts = [burst for piece in fixed for burst in piece.planned]
        return self._in_intervals(self.coarse.inverter_wh(bursts))

    def _in_intervals(self, slots_wh: Array) -> Array:
        """What some slots hold, summed within each interval, (intervals,)."""
        total = np.concatenate([[0.0], np.cumsum(slots_wh)])
        return np.asarray(total[self.last] - total[self.first])

    def _room_wh(self, coarse: Coarse) -> Array:
        """What the pack can give in each interval at most, (intervals, scenarios) [Wh]."""
        came = np.vstack([np.zeros(coarse.full_wh.size), np.cumsum(coarse.net_wh, axis=0)])
        came = came[self.last] - came[self.first]
        store_wh = np.where((self.first == 0)[:, None], coarse.start_wh, coarse.full_wh)
        stays = coarse.floor[self.last - 1] * coarse.full_wh
        return np.asarray(store_wh + came - stays)

    def _least_wh(self, coarse: Coarse, result: Budget, piece: Piece) -> tuple[Array, Array]:
        """What all of a piece asks within each interval wherever it runs, (intervals,) [Wh], and by
        how much a part of it can be more of the work than of that: a block that is cut short may
        end before an interval begins."""
        edges = coarse.edges
        if piece.movable:
            total = float(coarse.asked_wh(piece.task, piece.planned, idle=False).sum())
            inside = (edges[self.first] <= piece.opens_s) & (edges[self.last] >= piece.closes_s)
            return np.where(inside, total, 0.0), np.zeros(inside.size)
        asked = self._within(coarse, piece, piece.planned)
        free = np.zeros(asked.size)
        for level in range(1, piece.levels):
            if part := laid(result, piece, level):
                share = self._within(coarse, piece, part) / np.maximum(asked, 1e-9)
                free = np.maximum(free, level / piece.levels - np.where(asked > 0.0, share, 1.0))
        return asked, np.clip(free, 0.0, 1.0)

    def _within(self, coarse: Coarse, piece: Piece, bursts: Sequence[Burst]) -> Array:
        """What some bursts ask within each interval [Wh]."""
        return self._in_intervals(coarse.asked_wh(piece.task, bursts, idle=False))


def _intervals(slots: int) -> tuple[np.ndarray, np.ndarray]:
    """First and last edges of the intervals looked at, from the start and between any two."""
    every = max(1, int(np.ceil(slots / np.sqrt(2.0 * MOST_INTERVALS))))
    edges = np.unique(np.append(np.arange(0, slots + 1, every), slots))
    first, last = np.triu_indices(edges.size, 1)
    return edges[first], edges[last]
