"""Many packs through the days of a long case, stretches of days side by side.

The step is that of `simulate`, over many columns at once. A pack that fills or runs out forgets
what was before, so that stretches of a year need not wait for one another: each begins as the year
does, or as a design near it went; where the one before it turns out to end otherwise, it is run
again until it meets the way it went. How its end follows its start is known from two runs, so that
a change goes through a dull winter, which forgets nothing, in one turn rather than in one for each
stretch. Worth: a year of the cloudy demo with 44 lead-acid packs took 149,000 rows with one stretch
a turn, 10,000 this way; `test_stretches` holds it against `simulate`. Averages over half hours take
a seventh of that: they guess where to look and never decide (`test_years`).
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from energy.model import Array, Index, Mask
from energy.model.battery import Battery, Path, advance, start, store_rate
from energy.model.case import Case
from energy.model.simulate import block_of, by_rank, row_blocks, trickle_w

STRETCH_DAYS = 3  # at least
COLUMNS = 6000  # run at once, and
CELLS = 60_000  # rows x columns, so that they fit the cache
SAME = 1e-10  # share of C by which a stretch may begin otherwise than the one before it ended
NEARLY = 1e-3  # likewise, for averages


@dataclass(frozen=True)
class Rows:
    """A case cut into d days of n rows in y scenarios; a last row more has no length.

    hours, (n + 1,); bus_w, the chargers less loads and idle draws, the sun aside [W], (n + 1, y);
    solar_row, which row of the sun each takes (-1: the last one, dark), (n + 1,); cold_unavailable
    and may_charge, (n + 1, y or 1); first_row of each day, and where the last one ends, (d + 1,);
    first_segment, that of the case which is the first row.
    """

    case: Case
    hours: Array
    bus_w: Array
    solar_row: Index
    cold_unavailable: Array
    may_charge: Array
    first_row: Index
    first_segment: int = 0

    @property
    def days(self) -> int:
        """How many days there are."""
        return self.first_row.size - 1


def rows_of(case: Case, day_edges: Index) -> Rows:
    """The segments of a case as rows; its days begin and end at day_edges, (d + 1,)."""
    every_row = slice(int(day_edges[0]), int(day_edges[-1]))
    count, scenarios = every_row.stop - every_row.start, case.factor.shape[1]
    every, dark = np.full(case.edges.size - 1, -1), np.zeros((0, scenarios))
    alone = replace(case, solar_w=dark, solar_row=every)
    bus_w = np.zeros((count + 1, scenarios))
    for rows in row_blocks(count, scenarios):
        bus_w[rows] = block_of(
            alone, slice(every_row.start + rows.start, every_row.start + rows.stop)
        ).net
    return Rows(
        case=case,
        hours=np.append(np.diff(case.edges[every_row.start : every_row.stop + 1]) / 3600.0, 0.0),
        bus_w=bus_w,
        solar_row=np.append(case.solar_row[every_row], -1),
        cold_unavailable=_and_none(case.cold_unavailable(every_row)),
        may_charge=_and_none(1.0 - case.frozen(every_row)),
        first_row=day_edges - every_row.start,
        first_segment=every_row.start,
    )


def sun_of(case: Case) -> Array:
    """What the controller gives of a case's panels [W] in its lit rows and, last, in the dark."""
    return _and_none(case.solar_w * case.controller_efficiency)


def averaged(rows: Rows, cell_h: float) -> tuple[Rows, Callable[[Array], Array]]:
    """The rows averaged over cells of so many hours from each midnight, and what does the same to
    their sun (see `sun_of`). Of each cell, the time with less load than its mean is one row and
    that with more another: a saw's losses are not those of its mean."""
    hours, count = rows.hours[:-1, None], rows.hours.size - 1
    length, since = np.diff(rows.first_row), np.cumsum(rows.hours) - rows.hours
    day = np.repeat(np.arange(rows.days), length)
    in_day = np.floor((since[:-1] - since[rows.first_row[day]]) / cell_h + 1e-9)
    cell = np.cumsum(np.append(False, (np.diff(in_day) != 0.0) | (np.diff(day) != 0)))
    bus_w = rows.bus_w[:-1].mean(axis=1)
    mean_w = np.bincount(cell, bus_w * hours[:, 0]) / np.bincount(cell, hours[:, 0])
    cell = 2 * cell + (bus_w < mean_w[cell] - 1e-9)
    order = np.argsort(cell, kind="stable")
    first = np.flatnonzero(np.append(True, np.diff(cell[order]) != 0))
    cell_hours = np.add.reduceat(hours[order], first)

    def mean(values: Array) -> Array:
        return _and_none(np.add.reduceat((values[:count] * hours)[order], first) / cell_hours)

    return replace(
        rows,
        hours=np.append(cell_hours, 0.0),
        bus_w=mean(rows.bus_w),
        solar_row=np.append(np.arange(first.size), -1),
        cold_unavailable=mean(rows.cold_unavailable),
        may_charge=mean(rows.may_charge),
        first_row=np.append(np.searchsorted(first, rows.first_row[:-1]), first.size),
    ), lambda sun_w: mean(sun_w[rows.solar_row])


def _and_none(values: Array) -> Array:
    return np.ascontiguousarray(np.concatenate([values, np.zeros((1, values.shape[1]))]))


@dataclass(frozen=True)
class ThroughDays:
    """What became of m packs in y scenarios on each of d days, (d, m, y): whether anything wanted
    energy in vain, the lowest charge above what the cold holds back [share of C], and what was not
    served [Wh]."""

    ran_short: Mask
    lowest: Array
    unmet_wh: Array


class Stretches:
    """Packs on their way through all days.

    sun_w (sizes, lit + 1, y): what panels of some sizes give, each as `sun_of`; size (m,): which
    of them each pack has. battery holds the packs in each scenario, pack by pack (m x y). same: by
    which share of C a stretch may begin otherwise than the one before it ended. way (2, d, m x y):
    a guess at their state at the start of each day [share of C].
    """

    def __init__(
        self,
        rows: Rows,
        sun_w: Array,
        size: Index,
        battery: Battery,
        same: float = SAME,
        way: Array | None = None,
    ) -> None:
        self._rows, self._battery, self._same_wh = rows, battery, same * battery.capacity_wh
        sizes, _, scenarios = sun_w.shape
        self._sun = np.moveaxis(sun_w, 0, 1).reshape(-1, sizes * scenarios)
        self._scenario = np.tile(np.arange(scenarios), size.size)
        self._sun_column = np.repeat(size, scenarios) * scenarios + self._scenario
        self._shape = rows.days, size.size, scenarios
        columns = size.size * scenarios
        self._ran_short = np.zeros((rows.days, columns), dtype=bool)
        self._lowest, self._unmet_wh = np.zeros((2, rows.days, columns))
        # at the start of each day of each stretch, and at the end of its last one
        self._length = max(STRETCH_DAYS, -(-rows.days * columns // COLUMNS))
        count = -(-rows.days // self._length)
        self._states = np.full((2, count, self._length + 1, columns), np.nan)
        self._states[:, :, 0] = np.stack(start(battery))[:, None]
        if way is not None:
            self._states[:, 1:, 0] = way[:, self._length :: self._length] * battery.capacity_wh

    @property
    def way(self) -> Array:
        """The state at the start of each day, once all have run [share of C], (2, d, m x y)."""
        days = self._states[:, :, :-1].reshape(2, -1, self._states.shape[-1])
        return np.asarray(days[:, : self._shape[0]] / self._battery.capacity_wh)

    def run(self, unmet: bool, progress: Callable[[int], None] = lambda days: None) -> ThroughDays:
        """Run all days; unmet: whether what is not served is asked for. progress is told how many
        days are settled."""
        begins, ends = self._states[:, :, 0], self._states[:, :, -1]
        todo = np.ones(begins.shape[1:], dtype=bool)
        # By how much of a change at its start a stretch ends otherwise: taken for none and then,
        # where it is not known from two runs, for all.
        slope, begun = np.zeros(begins.shape[1:]), begins[0].copy()
        while todo.any():
            ended, (stretch, column) = ends[0].copy(), np.nonzero(todo)
            for first in range(0, stretch.size, COLUMNS):
                part = slice(first, first + COLUMNS)
                self._go(stretch[part], column[part], unmet)
            moved = begins[0] - begun
            again = np.abs(moved) > self._same_wh
            np.divide(ends[0] - ended, moved, out=slope, where=again)
            begun = begins[0].copy()
            todo = self._begin_anew(np.clip(slope, 0.0, 1.0))
            if not again.any():
                slope[:] = 1.0
            settled = self._length * int(np.append(todo.any(axis=1), True).argmax())
            progress(min(settled, self._shape[0]))
        several = (self._ran_short, self._lowest, self._unmet_wh)
        return ThroughDays(*(values.reshape(self._shape) for values in several))

    def _begin_anew(self, slope: Array) -> Mask:
        """Let each stretch begin as the one before it will end, which ends otherwise by `slope`
        times what it begins otherwise; which stretches begin otherwise, (stretches, columns)."""
        begins, ends = self._states[:, :, 0], self._states[:, :, -1]
        begun, anew = begins[0].copy(), np.zeros(slope.shape, dtype=bool)
        for k in range(1, slope.shape[0]):
            state = ends[:, k - 1].copy()
            state[0] += slope[k - 1] * (begins[0, k - 1] - begun[k - 1])
            state[0] = np.clip(state[0], 0.0, self._battery.capacity_wh)
            anew[k] = np.abs(state - begins[:, k]).max(axis=0) > self._same_wh
            begins[:, k, anew[k]] = state[:, anew[k]]
        return anew

    def _go(self, stretch: Index, column: Index, unmet: bool) -> None:
        """Run some columns through a stretch each, until they meet the way they went before."""
        for k in range(self._length):
            packs = replace(
                self._battery,
                capacity_wh=self._battery.capacity_wh[column],
                charge_max_w=self._battery.charge_max_w[column],
            )
            day = self._length * stretch + k
            state = self._day(packs, self._states[:, stretch, k, column], column, day, unmet)
            before = self._states[:, stretch, k + 1, column]
            self._states[:, stretch, k + 1, column] = state
            met = np.abs(state - before).max(axis=0) <= self._same_wh[column]
            stretch, column = stretch[~met], column[~met]
            if not stretch.size:
                return

    def _day(self, packs: Battery, state: Array, column: Index, day: Index, unmet: bool) -> Array:
        """Run each column through a day of its own, those after the last have no length; the state
        after it, (2, columns)."""
        first_row = np.append(self._rows.first_row, self._rows.first_row[-1])
        day = np.minimum(day, self._rows.days)
        first, count = first_row[day], np.diff(first_row)[day]
        lowest, unmet_wh = np.full(column.size, np.inf), np.zeros(column.size)
        ran_short = np.zeros(column.size, dtype=bool)
        at_once = max(CELLS // column.size, 1)
        for begin in range(0, int(count.max()), at_once):
            step = np.arange(begin, min(begin + at_once, int(count.max())))[:, None]
            row = np.where(step < count, first + step, self._rows.hours.size - 1)
            block = self._block(packs, state, column, row)
            lowest = np.minimum(lowest, block.lowest())
            ran_short |= (block.path.full < 1.0).any(axis=0)
            if unmet:
                unmet_wh += block.unmet_wh()
            state = np.stack([block.path.store_wh[-1], block.path.imbalance_wh])
        real = day < self._rows.days
        at = day[real], column[real]
        self._lowest[at], self._ran_short[at] = lowest[real], ran_short[real]
        self._unmet_wh[at] = unmet_wh[real]
        return state

    def _block(self, packs: Battery, state: Array, column: Index, row: Index) -> "_Block":
        """Run some columns through some rows each, (b, columns)."""
        rows, scenario = self._rows, self._scenario[column]
        sun = _at(self._sun, rows.solar_row[row], self._sun_column[column])
        net_w, hours = sun + _at(rows.bus_w, row, scenario), rows.hours.take(row)
        cold_unavailable = _at(rows.cold_unavailable, row, scenario)
        rate = store_rate(packs, net_w, _at(rows.may_charge, row, scenario))
        floor_wh = cold_unavailable * packs.capacity_wh
        path = advance(packs, (state[0], state[1]), rate, hours, floor_wh)
        segment = rows.first_segment + row
        return _Block(rows.case, packs, segment, scenario, hours, sun, rate, cold_unavailable, path)


def _at(values: Array, row: Index, column: Index) -> Array:
    """Values of rows in columns, or of rows alone, (b, columns); row -1 is the last."""
    wide = values.shape[1]
    return values.ravel().take(row if wide == 1 else row * wide + column, mode="wrap")


@dataclass(frozen=True)
class _Block:
    """Some rows of some columns, (b, columns) but for scenario, (columns,), and the packs."""

    case: Case
    packs: Battery
    segment: Index
    scenario: Index
    hours: Array
    sun_w: Array
    rate: Array
    cold_unavailable: Array
    path: Path

    def lowest(self) -> Array:
        """The lowest charge above what the cold holds back [share of C], (columns,)."""
        store = self.path.store_wh
        charge = np.minimum(store[1:], store[:-1]) / self.packs.capacity_wh
        return np.asarray((charge - self.cold_unavailable).min(axis=0))

    def unmet_wh(self) -> Array:
        """What is not served [Wh], (columns,): as in `simulate`, in the cells that ran short."""
        short = self.path.full < 1.0
        column = np.nonzero(short)[1]
        if not column.size:
            return np.zeros(self.scenario.size)
        case, store = self.case, self.path.store_wh
        hours, full, segment = self.hours[short], self.path.full[short], self.segment[short]
        drawn, mean = -np.diff(store, axis=0)[short], (store[1:] + store[:-1])[short] / 2.0
        leak = np.clip(drawn, 0.0, self.packs.self_discharge_per_h * hours * mean)
        rest = (1.0 - full) * hours
        left = self.sun_w[short] + case.charger_w[segment]
        given = drawn - leak + self.rate[short] * full * hours
        left = left + trickle_w(self.packs, column, given, rest)
        left = left - np.minimum(left, case.idle_w)
        on = case.inverter_on[segment] * (case.inverter.idle_w if case.inverter else 0.0)
        shares = by_rank(case, segment, self.scenario[column], left, on)
        missing = sum((watts for _, watts in shares.missing), np.zeros(column.size)) * rest
        missing_wh = np.bincount(column, missing, minlength=self.scenario.size)
        return np.asarray(missing_wh, dtype=float)
