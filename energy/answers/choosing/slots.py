"""The options of a plan on slots of time: what comes in, what they ask, what excludes what.

Everything is kept on the hopeful side of the simulation, so that it rules out only what the
simulation rules out too.
"""

from collections.abc import Sequence
from itertools import combinations, pairwise

import numpy as np

from energy.answers.choosing.options import Option, in_a_row
from energy.answers.choosing.programme import Counts, Lane
from energy.budget import Budget
from energy.model import Array, Index
from energy.model.demand import Burst
from energy.plan.task import Task


class Slots:
    """A plan's options on slots between `edges` [UTC s].

    linear_wh, square_wh, hours, on (options, slots): what a unit asks of the bus, in Wh that grow
    with its watts and with their square; how long it runs; and the share of the slot in which it
    keeps the inverter on. on_wh (slots,): the inverter's idle.
    """

    def __init__(self, b: Budget, options: Sequence[Option], slot_s: float):
        self.b = b
        first, last = float(b.time_s[0]), float(b.time_s[-1])
        inner = np.arange(np.ceil(first / slot_s) * slot_s, last, slot_s)
        self.edges = np.unique(np.concatenate([[first], inner, [last]]))
        self.task = np.array([option.task for option in options], dtype=np.intp)
        shape = len(options), self.edges.size - 1
        self.linear_wh, self.square_wh, self.hours, self.on = (np.zeros(shape) for _ in range(4))
        for i, option in enumerate(options):
            self._lay(i, option)
        inverter = b.case.inverter
        by_tasks = inverter is not None and self.on.any()
        idle_w = inverter.idle_w if inverter is not None and by_tasks else 0.0
        self.on_wh = idle_w * np.diff(self.edges) / 3600.0
        self.slot_of = np.searchsorted(self.edges, b.time_s[:-1], side="right") - 1

    def _lay(self, i: int, option: Option) -> None:
        task, pack, curve = self.b.plan.task[option.task], self.b.plan.pack, self.b.case.inverter
        for piece in (piece for burst in option.bursts for piece in burst.pieces):
            hours = self._overlap_s(piece.start_s, piece.end_s) / 3600.0
            self.hours[i] += hours
            if task.supply == "ac" and curve is not None:
                self.linear_wh[i] += hours * piece.mean_w * (1.0 + curve.a)
                self.square_wh[i] += hours * piece.mean_w**2 * curve.b / curve.rated_w
            else:
                outlet = pack.usb if task.supply == "usb" else pack.dc12
                self.linear_wh[i] += hours * piece.mean_w * 100.0 / outlet.efficiency_percent
        if task.supply == "ac" and pack.inverter is not None:
            on_s = np.zeros(self.edges.size - 1)
            if pack.inverter.on == "with-tasks":
                on_s = self._overlap_s(*option.interval)
            elif pack.inverter.on == "only-in-use":
                on_s = 3600.0 * self.hours[i]
            self.on[i] = np.minimum(on_s / np.diff(self.edges), 1.0)

    def _overlap_s(self, start_s: float, end_s: float) -> Array:
        """Seconds of an interval in each slot."""
        inside = np.minimum(self.edges[1:], end_s) - np.maximum(self.edges[:-1], start_s)
        return np.asarray(np.maximum(inside, 0.0))

    def lane(self, number: int) -> Lane:
        """One of the budget's weathers, with its draws, on the slots."""
        case, battery = self.b.case, self.b.case.battery
        hours = np.diff(self.b.time_s) / 3600.0
        lit = case.solar_row
        solar = np.zeros(hours.size)
        solar[lit >= 0] = case.solar_w[lit[lit >= 0], number] * case.controller_efficiency
        comes = solar + case.charger_w
        always = case.idle_w + np.zeros(hours.size)
        if case.inverter is not None and not self.on_wh.any():
            always = always + case.inverter_on * case.inverter.idle_w  # on whatever is chosen
        slots = self.edges.size - 1
        brightest = np.zeros(slots)
        np.maximum.at(brightest, self.slot_of, comes)
        column = number if case.temp_pack.shape[1] > 1 else 0
        air = case.temp_pack[case.temp_row, column]
        full_wh = float(battery.capacity_wh[number])
        thawed = 1.0 - battery.frozen(air)
        most_in = np.asarray(np.bincount(self.slot_of, thawed * hours), dtype=float)
        most_in *= float(battery.charge_ceiling[number])
        locked = np.full(slots, np.inf)
        np.minimum.at(locked, self.slot_of, battery.locked_share(air))
        reserve = self.b.plan.pack.reserve_percent / 100.0
        return Lane(
            income_wh=np.asarray(np.bincount(self.slot_of, (comes - always) * hours), dtype=float),
            asks_wh=self._asks_wh(number, brightest, full_wh),
            floor_wh=(reserve + locked) * full_wh,
            start_wh=battery.start_share * full_wh,
            full_wh=full_wh,
            most_in_wh=most_in,
            coulombic=battery.coulombic,
        )

    def _asks_wh(self, number: int, brightest: Array, full_wh: float) -> Array:
        """Wh that each unit asks in each slot, with the least that its discharging can lose."""
        factor = self.b.case.factor[self.task, number][:, None]
        asked = self.linear_wh * factor + self.square_wh * factor**2
        watts = asked / np.maximum(self.hours, 1e-9)
        over = np.maximum(watts - brightest[None, :], 0.0)
        return np.asarray(asked + self.b.case.battery.resistive_h * over**2 / full_wh * self.hours)


def groups(options: Sequence[Option]) -> list[tuple[Index, int]]:
    """Sets of options and how many units of each may be taken in all: one window's of one task."""
    of: dict[tuple[int, int], list[int]] = {}
    for i, option in enumerate(options):
        of.setdefault((option.task, option.window), []).append(i)
    found = []
    for members in of.values():
        first = options[members[0]]
        found.append((np.array(members), first.in_all))
        if first.starts_s is not None and first.unit != "minutes":
            found += _one_after_another(options, members)
    return found


def _one_after_another(options: Sequence[Option], members: list[int]) -> list[tuple[Index, int]]:
    """Repeats longer than a slot do not overlap with themselves."""
    found = []
    for i in members:
        begin, end = options[i].interval
        during = [k for k in members if begin <= options[k].interval[0] < end - 1e-3]
        if len(during) > 1 and options[i].most == 1:
            found.append((np.array(during), 1))
    return found


def conflicts(b: Budget, options: Sequence[Option]) -> list[Index]:
    """Pairs of options that the inverter or one pair of hands cannot run at the same time."""
    of: dict[int, list[int]] = {}
    for i, option in enumerate(options):
        of.setdefault(option.task, []).append(i)
    found = []
    for one, other in combinations(of, 2):
        if not _exclude(b, b.plan.task[one], b.plan.task[other]):
            continue
        for i in of[one]:
            begin, end = options[i].interval
            for k in of[other]:
                later, sooner = options[k].interval
                if later < end and begin < sooner and _meet(options[i].bursts, options[k].bursts):
                    found.append(np.array([i, k]))
    return found


def _exclude(b: Budget, one: Task, other: Task) -> bool:
    if b.plan.goal.one_at_a_time and one.hand_held and other.hand_held:
        return True
    inverter = b.plan.pack.inverter
    if one.supply != "ac" or other.supply != "ac" or inverter is None:
        return False
    watts = [min(task.peak_w, task.start_w) for task in (one, other)]
    both_on = one.peak_va + other.peak_va > inverter.rated_w * (1.0 + 1e-9)
    return both_on and sum(watts) > 0.0


def _meet(one: Sequence[Burst], other: Sequence[Burst]) -> bool:
    """Whether some burst of one runs while one of the other does."""
    return any(
        a.start_s < b.end_s - 1e-3 and b.start_s < a.end_s - 1e-3 for a in one for b in other
    )


def clashes(found: Budget) -> list[Burst]:
    """Bursts of hand-held tools that would need a second pair of hands."""
    if not found.plan.goal.one_at_a_time:
        return []
    refused = {id(refusal.burst) for refusal in found.refusals}
    held = [
        burst
        for burst in found.bursts
        if found.plan.task[burst.task].hand_held and id(burst) not in refused
    ]
    held.sort(key=lambda burst: burst.start_s)
    return [after for before, after in pairwise(held) if after.start_s < before.end_s - 1e-3]


def in_the_way(options: Sequence[Option], counts: Counts, burst: Burst) -> Counts:
    """How many units of each chosen option it takes to run at the same time as a burst."""
    found = np.zeros_like(counts)
    for i in np.flatnonzero(counts).tolist():
        units = range(1, int(counts[i]) + 1)
        meets = (n for n in units if _meet(in_a_row(options[i], n), [burst]))
        found[i] = next(meets, 0)
    return found
