"""Many designs in every weather at once, as machine code: whole years of many lithium packs.

The rules are those of `simulate`, in shared formulas where one source can serve both; of the
results only those are kept that sizing asks of a long sweep. numba makes the code and keeps it on
disk; it is imported only for a sweep that repays it. Lead-acid stays with `stretches`.
Worth: 38 lithium packs through ten synthetic years of the January demo took 3.2 s of processor
time, by `stretches` 12 s; `test_compiled` and `test_years` hold it against `simulate`.
"""

import zlib
from collections.abc import Callable
from functools import lru_cache
from importlib import import_module
from typing import Any, NamedTuple

import numpy as np

from energy.model import Array, Mask
from energy.model.battery import Battery, hours_to_meet, rate_to_terminal, start, terminal_to_rate
from energy.model.electronics import inverter_input_w, inverter_output_w
from energy.model.simulate import Case, block_of

REPAID_STEPS = 50_000_000  # some 6 s of `stretches`, more than making the code takes once
BLOCK = 256  # designs taken through all segments together: their busy rows fit the nearest cache
LARGEST = 1e300  # stands for no limit: the machine code is told that nothing is infinite
FAST = {"nnan", "nsz", "arcp", "contract", "reassoc"}  # what lets it take several scenarios at once

# Rows of the table of designs. What a design is (TAPER_H is one over TAPER, ENDS where the store
# ends in the taper); how it goes; and, while a block is worked on, what happens in a segment.
SHARE, CAPACITY, PER_WH, H_PER_WH, CHARGE_MAX, TAPER, TAPER_H, ENDS = range(8)
STORE, LOWEST, UNMET, WITHOUT, KEPT = range(8, 13)
RATE, BEFORE, REST, LEFT, SERVED, PAID, ROWS = range(KEPT, 19)


class Passed(NamedTuple):
    """What became of each design in each weather, (weathers, designs): the store at the end [Wh],
    the lowest charge above what the cold holds back [share of C], what was not served [Wh] and for
    how long the pack could not give what was asked of it [h]."""

    store_wh: Array
    lowest: Array
    unmet_wh: Array
    hours_without: Array


class Shared(NamedTuple):
    """What all designs have in common."""

    sun_max_w: float
    coulombic: float
    leak_per_h: float


class Times(NamedTuple):
    """The segments, (n,), from rest_w on (weathers, n): keep is what the leak leaves of a store,
    move what a rate of 1 Wh/h moves; rest_w is the bus without the sun, asked_w what all tasks
    ask; may_charge is 0 where frost forbids it, else 1."""

    hours: Array
    keep: Array
    move: Array
    charger_w: Array
    inverter_idle_w: Array
    rest_w: Array
    asked_w: Array
    cold_unavailable: Array
    may_charge: Array


class Work(NamedTuple):
    """Tasks in rank order: watts (tasks, n), factor (tasks, weathers), and of each its lead's
    loss, whether it hangs on the inverter, its outlet's efficiency; rated_w, idle_w, a and b of
    the inverter's curve."""

    watts: Array
    factor: Array
    lead_loss: Array
    on_inverter: Mask
    efficiency: Array
    pack_idle_w: float
    curve: tuple[float, float, float, float]


def repaid(battery: Battery, steps: int) -> bool:
    """Whether so many steps (segments x designs x weathers) are worth machine code and have it.

    >>> one = np.array([1000.0])
    >>> repaid(Battery("agm", one, one, 1.0, 0.08, 0.9, 0.8, 0.0, False, 0.45, 1.05), 10**12)
    False
    """
    return battery.kinetic_c is None and steps >= REPAID_STEPS and machine_code() is not None


@lru_cache(maxsize=1)
def machine_code() -> Callable[..., None] | None:
    """`pass_through` as machine code, None where numba is not installed."""
    try:
        numba, extending = import_module("numba"), import_module("numba.extending")
    except ImportError:
        return None
    rules = {"fastmath": FAST, "error_model": "numpy"}
    for part in (*ELSEWHERE, *HERE):
        extending.register_jitable(**rules)(part)
    # What lies on disk is made anew when this file changes; the name tells of the other files.
    codes = (part.__code__ for part in ELSEWHERE)
    others = zlib.crc32(b"".join(c.co_code + repr(c.co_consts).encode() for c in codes))
    pass_through.__qualname__ = f"pass_through_{others:08x}"
    try:
        compiled: Callable[..., None] = numba.njit(cache=True, **rules)(pass_through)
    except RuntimeError:  # there is no place to keep it
        compiled = numba.njit(**rules)(pass_through)
    return compiled


Laid = tuple[Times, Work]


class Sweep:
    """Designs whose charge is carried on from one part of a case to the next.

    battery holds each design in each weather, weather by weather (weathers x designs); sun_share
    (designs,) scales the sun of the case, of which at most sun_max_w comes out of the controller.
    """

    def __init__(self, battery: Battery, sun_share: Array, sun_max_w: float) -> None:
        capacity, taper = battery.capacity_wh, np.maximum(battery.taper_per_h, 1.0 / LARGEST)
        leak = battery.self_discharge_per_h
        self._shared = Shared(min(sun_max_w, LARGEST), battery.coulombic, leak)
        self._table = np.zeros((KEPT, capacity.size // sun_share.size, sun_share.size))
        self._table[SHARE] = sun_share
        self._block = _aligned(ROWS, BLOCK + 24)  # rows a power of two apart collide
        for row, values in (
            (CAPACITY, capacity),
            (PER_WH, 1.0 / capacity),
            (H_PER_WH, battery.resistive_h / capacity),
            (CHARGE_MAX, battery.charge_max_w),
            (TAPER, taper),
            (TAPER_H, 1.0 / taper),
            (ENDS, capacity * taper / (taper + leak)),
            (STORE, start(battery)[0]),
        ):
            self._table[row].flat = values

    def run(
        self, case: Case, laid: Laid | None = None, code: Callable[..., None] | None = None
    ) -> Passed:
        """Go on through a case whose scenarios are the weathers; the size of its battery is unused.

        laid: what `laid_out` makes of the case, or of one with another sun, where it is known.
        code: `machine_code` unless given; `pass_through` as it stands does the same, slowly.

        >>> from energy.model.simulate import Load
        >>> one, dark = np.array([1000.0]), np.array([-1])
        >>> pack = Battery("lfp", one, one, 1.0, 0.0, 1.0, 0.9, 0.0)
        >>> lamp = Load(0, "dc12", np.array([0]), np.array([95.0]))
        >>> case = Case(np.array([0.0, 36000.0]), pack, np.zeros((0, 1)), dark, 0.97, np.zeros(1),
        ...             np.full((1, 1), 25.0), np.zeros(1, int), 0.0, None, np.zeros(1),
        ...             {"dc12": 0.95, "usb": 0.9}, [lamp], np.ones((1, 1)))
        >>> sizes_wh = np.array([500.0, 2000.0])
        >>> packs = Battery("lfp", sizes_wh, sizes_wh, 1.0, 0.0, 1.0, 0.9, 0.0)
        >>> found = Sweep(packs, np.ones(2), np.inf).run(case, code=pass_through)
        >>> found.lowest, found.unmet_wh, found.hours_without
        (array([[0. , 0.5]]), array([[475.,   0.]]), array([[5., 0.]]))
        """
        code = code or machine_code()
        assert code is not None
        table = self._table
        table[LOWEST], table[UNMET], table[WITHOUT] = LARGEST, 0.0, 0.0
        times, work = laid or laid_out(case)
        code(_sun_w(case), times, work, self._shared, table, self._block)
        return Passed(*table[STORE:KEPT].copy())


def _aligned(rows: int, columns: int) -> Array:
    """Room that begins, as do its rows of whole lines, with a line of the cache (8 numbers)."""
    room = np.empty(rows * columns + 8)
    first = -(room.ctypes.data // 8) % 8
    return room[first : first + rows * columns].reshape(rows, columns)


def laid_out(case: Case) -> Laid:
    """A case without its sun, as the machine code takes it."""
    leak_per_h = case.battery.self_discharge_per_h
    count, weathers = case.edges.size - 1, case.factor.shape[1]
    block = block_of(case, slice(0, count))
    hours = block.hours[:, 0]
    asked = block.outlet["ac"] + block.outlet["dc12"] + block.outlet["usb"]
    if block.leads is not None:
        asked -= block.leads
    rest = block.charger - block.load - case.idle_w
    by_weather = (rest, asked, case.cold_unavailable(), 1.0 - case.frozen())
    times = Times(
        hours.copy(),
        np.exp(-leak_per_h * hours),
        -np.expm1(-leak_per_h * hours) / leak_per_h if leak_per_h > 0.0 else hours.copy(),
        case.charger_w.copy(),
        block.inverter_idle[:, 0].copy(),
        *(np.broadcast_to(values, (count, weathers)).T.copy() for values in by_weather),
    )
    return times, _work(case)


def _sun_w(case: Case) -> Array:
    """What the controller gives of the case's own panels, (weathers, n)."""
    return np.ascontiguousarray(case.sun_w().T) * case.controller_efficiency


def _work(case: Case) -> Work:
    watts = np.zeros((len(case.loads), case.edges.size - 1))
    for k, load in enumerate(case.loads):
        watts[k, load.rows] = load.watts
    efficiency = {"ac": 1.0, **case.outlet_efficiency}
    curve = case.inverter
    return Work(
        watts,
        case.factor[[load.task for load in case.loads]].copy(),
        np.array([load.lead_loss for load in case.loads], dtype=float),
        np.array([load.supply == "ac" for load in case.loads], dtype=bool),
        np.array([efficiency[load.supply] for load in case.loads], dtype=float),
        float(case.idle_w),
        (1.0, 0.0, 0.0, 0.0) if curve is None else (curve.rated_w, curve.idle_w, curve.a, curve.b),
    )


class Segment(NamedTuple):
    """One segment in one weather, as `Times`; spare_w is what an empty pack has besides the sun
    for the tasks: the chargers, less its own idle."""

    hours: float
    keep: float
    move: float
    sun_w: float
    rest_w: float
    spare_w: float
    asked_w: float
    cold_unavailable: float
    may_charge: float


def pass_through(
    sun_w: Array, times: Times, work: Work, shared: Shared, table: Array, s: Array
) -> None:
    """Move every design through all segments, in each weather: the table changes, s is scratch.

    From here on all is written so that it can become machine code.
    """
    for y in range(table.shape[1]):
        for first in range(0, table.shape[2], BLOCK):
            w = min(BLOCK, table.shape[2] - first)
            for row in range(KEPT):
                for j in range(w):
                    s[row, j] = table[row, y, first + j]
            offered = (-1.0, 0.0, 0.0)
            for t in range(times.hours.size):
                now = _segment(sun_w[y, t], times, work, y, t)
                offer = (now.sun_w, now.rest_w, now.may_charge)
                if offer != offered:  # by night much stays the same
                    _offer(s, w, now, shared)
                offered = offer
                tapers, lacks = _move(s, w, now, shared)
                if tapers:
                    _taper(s, w, now, shared)
                if lacks and _lack(s, w, now, shared):
                    _share_out(s, w, work, y, t, times.inverter_idle_w[t])
            for row in range(STORE, KEPT):
                for j in range(w):
                    table[row, y, first + j] = s[row, j]


def _segment(sun_w: float, times: Times, work: Work, y: int, t: int) -> Segment:
    return Segment(
        times.hours[t],
        times.keep[t],
        times.move[t],
        sun_w,
        times.rest_w[y, t],
        times.charger_w[t] - work.pack_idle_w,
        times.asked_w[y, t],
        times.cold_unavailable[y, t],
        times.may_charge[y, t],
    )


def _offer(s: Any, w: int, now: Segment, shared: Shared) -> None:
    """The rate offered to each store or asked of it, as in `simulate.block_of`."""
    for j in range(w):
        net = min(now.sun_w * s[SHARE, j], shared.sun_max_w) + now.rest_w
        charge = min(max(net, 0.0), s[CHARGE_MAX, j]) * now.may_charge
        rate = float(terminal_to_rate(charge + min(net, 0.0), 1.0, s[H_PER_WH, j]))
        s[RATE, j] = max(rate, 0.0) * shared.coulombic + min(rate, 0.0)


def _move(s: Any, w: int, now: Segment, shared: Shared) -> tuple[int, int]:
    """Move each store, the taper aside; how many reach the taper, and how many run out.

    Counting conditions that are one comparison each lets several scenarios go at once.
    """
    tapers, lacks = 0, 0
    for j in range(w):
        before, rate, capacity = s[STORE, j], s[RATE, j], s[CAPACITY, j]
        moved = rate * now.move
        wanted = before * now.keep + moved
        after = max(wanted, min(before, now.cold_unavailable * capacity))
        lacks += max(moved, wanted - after) < -1e-12 * capacity
        over = after - (capacity - rate * s[TAPER_H, j])
        tapers += min(over, rate - shared.leak_per_h * capacity) > 0.0
        s[LOWEST, j] = min(s[LOWEST, j], min(before, after) * s[PER_WH, j] - now.cold_unavailable)
        s[BEFORE, j], s[STORE, j] = before, after
    return tapers, lacks


def _taper(s: Any, w: int, now: Segment, shared: Shared) -> None:
    """Where the ceiling binds: the offer until it does, then the exact exponential."""
    leak = shared.leak_per_h
    for j in range(w):
        before, after, rate, capacity = s[BEFORE, j], s[STORE, j], s[RATE, j], s[CAPACITY, j]
        meets = capacity - rate * s[TAPER_H, j]
        gap, slope = max(meets - before, 0.0), max(rate - leak * before, 1e-9)
        until = float(hours_to_meet(gap, slope, leak))
        along = max(now.hours - until, 0.0) * (s[TAPER, j] + leak)
        tapered = s[ENDS, j] - (s[ENDS, j] - max(before, meets)) * _decay(along)
        binds = min(after - meets, rate - leak * capacity) > 0.0
        after = tapered if binds else after
        s[LOWEST, j] = min(s[LOWEST, j], after * s[PER_WH, j] - now.cold_unavailable)
        s[STORE, j] = after


def _decay(x: Any) -> Any:
    """exp(-x) for x from 0, wrong by 1e-14 at most: several scenarios at once, as exp is not.

    >>> all(abs(_decay(x) - np.exp(-x)) < 1e-14 for x in np.linspace(0.0, 80.0, 801).tolist())
    True
    """
    u = min(x, 64.0) / 64.0
    series = 1.0
    for k in range(8, 0, -1):
        series = 1.0 - u * series / k
    return series**64


def _lack(s: Any, w: int, now: Segment, shared: Shared) -> int:
    """What goes unserved where a store ran out; in how many of these something is left to share.

    The books of `simulate` for what the store still gave, and what comes in besides; where that
    does not pay more than the pack's idle, all that is asked is missing.
    """
    some = 0
    for j in range(w):
        before, after, moved = s[BEFORE, j], s[STORE, j], s[RATE, j] * now.move
        lost, least = moved + before * now.keep - after, -1e-12 * s[CAPACITY, j]
        late = min(max(lost / min(moved, least), 0.0), 1.0)
        rest = late * now.hours if max(moved, lost) < least else 0.0
        leaked = shared.leak_per_h * now.hours * (after + before) / 2.0
        given = before - after - min(max(before - after, 0.0), leaked)
        store_rate = max(given + s[RATE, j] * (1.0 - late) * now.hours, 0.0) / max(rest, 1e-12)
        trickle = -rate_to_terminal(-store_rate, 1.0, s[H_PER_WH, j])
        left = min(now.sun_w * s[SHARE, j], shared.sun_max_w) + now.spare_w + trickle
        some += min(left, rest) > 0.0
        s[WITHOUT, j] += rest
        s[UNMET, j] += now.asked_w * (rest if left <= 0.0 else 0.0)
        s[REST, j] = rest if left > 0.0 else 0.0
        s[LEFT, j] = left
    return some


def _share_out(s: Any, w: int, work: Work, y: int, t: int, inverter_idle_w: float) -> None:
    """Share what is left among the tasks by rank, as `simulate` does where a pack ran out."""
    rated, idle, a, b = work.curve
    for j in range(w):
        s[SERVED, j], s[PAID, j] = 0.0, 0.0
    for k in range(work.watts.shape[0]):
        lead, efficiency = 1.0 + work.lead_loss[k], work.efficiency[k]
        watts = work.watts[k, t] * work.factor[k, y] * lead
        if watts == 0.0:
            continue
        for j in range(w):
            left = s[LEFT, j]
            if work.on_inverter[k]:
                served = s[SERVED, j]
                opens = 1.0 - s[PAID, j] if left >= inverter_idle_w else 0.0
                left -= opens * inverter_idle_w
                s[PAID, j] += opens
                before = inverter_input_w(served, rated, idle, a, b)
                full_cost = inverter_input_w(served + watts, rated, idle, a, b) - before
                part = inverter_output_w(before + left, rated, idle, a, b) - served
                got = s[PAID, j] * (watts if full_cost <= left else part)
                s[LEFT, j] = left - s[PAID, j] * min(full_cost, left)
                s[SERVED, j] = served + got
            else:
                cost = min(watts / efficiency, left)
                got = cost * efficiency
                s[LEFT, j] = left - cost
            s[UNMET, j] += (watts - got) / lead * s[REST, j]


ELSEWHERE = (terminal_to_rate, rate_to_terminal, hours_to_meet, inverter_input_w, inverter_output_w)
HERE = (_segment, _offer, _move, _taper, _decay, _lack, _share_out)
