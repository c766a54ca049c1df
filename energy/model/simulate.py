"""One pass through time: sun, chargers, loads and battery settled segment by segment, with books.

The battery itself moves only in `battery`; here its surplus is curtailed, its want is shared out in
rank order, and every watt-hour is entered once. Axis 0 is time (segments), axis 1 the scenarios.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from energy.model import Array, Index, Mask
from energy.model.battery import Battery, advance, rate_to_terminal, start, store_rate
from energy.model.case import Case, Load

# Segments x scenarios worked on at once: fits the cache, bounds the memory. Many scenarios get more
# by the root of their number: a block of fewer segments would cost more calls than it is worth.
BLOCK_CELLS, MANY_SCENARIOS = 6_000, 36
SUPPLIES = ("ac", "dc12", "usb")
ENTRIES = (
    "spilled",
    "other_charging",
    "charge_loss",
    "discharge_loss",
    "idle",
    "conversion_loss",
    "delivered",
    "stored_change",
)
DETAILS = ("solar_w", "spilled_w", "charger_w", "load_w", "delivered_w", "idle_w")


@dataclass(frozen=True)
class Simulated:
    """How it went: store_wh (n + 1, m); first_short_s (m,), when anything first wanted energy in
    vain, the idle draws too [UTC s, inf if never]; unmet_wh and first_unmet_s, likewise of each
    task, (tasks, m); ledger_wh name -> (m,); detail name -> (n, m) in watts, both empty unless
    asked for; end: the battery's state at the end, from which `simulate` can carry on."""

    store_wh: Array
    first_short_s: Array
    unmet_wh: Array
    first_unmet_s: Array
    ledger_wh: dict[str, Array]
    detail: dict[str, Array]
    end: tuple[Array, Array] | None = None

    @property
    def ran_short(self) -> Mask:
        """Whether anything wanted energy in vain, (m,)."""
        return np.isfinite(self.first_short_s)


@dataclass(frozen=True)
class Block:
    """What is offered and asked in a block of segments, all in watts on the DC bus."""

    rows: slice
    hours: Array  # (b, 1)
    solar: Array
    charger: Array  # (b, 1)
    outlet: dict[str, Array]  # at the outlets
    leads: Array | None  # of that, what the tools' leads turn into heat
    load: Array
    inverter_idle: Array  # (b, 1 or scenarios)
    rate: Array  # asked of (-) or offered to (+) the store, Wh/h
    net: Array


def simulate(
    case: Case,
    detail: bool = False,
    state: tuple[Array, Array] | None = None,
    books: bool = True,
    ledger: bool = True,
) -> Simulated:
    """Run the case, from a `state` where one is given; with `detail` the flows are kept too,
    without `ledger` not where the watt-hours went, without `books` only the store and when it
    first runs short.

    >>> from energy.model.battery import Battery
    >>> one, dark = np.array([1000.0]), np.full(2, -1)
    >>> pack = Battery("lfp", one, one, 1.0, 0.0, 1.0, 0.9, 0.0)
    >>> lamp = Load(0, "dc12", np.array([0, 1]), np.array([95.0, 95.0]))
    >>> case = Case(np.array([0.0, 3600.0, 7200.0]), pack, np.zeros((0, 1)), dark, 0.97,
    ...             np.zeros(2), np.full((1, 1), 25.0), np.zeros(2, int), 0.0, None, np.zeros(2),
    ...             {"dc12": 0.95, "usb": 0.9}, [lamp], np.ones((1, 1)))
    >>> simulate(case).store_wh[:, 0]
    array([1000.,  900.,  800.])
    """
    count, scenarios = case.edges.size - 1, case.battery.capacity_wh.size
    state = start(case.battery) if state is None else state
    simulated = blank(case)
    if books and ledger:
        simulated.ledger_wh.update((name, np.zeros(scenarios)) for name in ENTRIES)
    if detail:
        simulated.detail.update((name, np.zeros((count, scenarios))) for name in DETAILS)
    simulated.store_wh[0] = state[0]
    for rows in row_blocks(count, scenarios):
        state = _pass(case, rows, state, simulated, books)
    return replace(simulated, end=state)


def _pass(
    case: Case, rows: slice, state: tuple[Array, Array], simulated: Simulated, books: bool
) -> tuple[Array, Array]:
    """Run the segments `rows` from a state and enter how they went; returns the state after."""
    block, capacity_wh = block_of(case, rows), case.battery.capacity_wh
    floor_wh = case.cold_unavailable(rows) * capacity_wh
    path = advance(case.battery, state, block.rate, block.hours, floor_wh)
    simulated.store_wh[rows.start + 1 : rows.stop + 1] = path.store_wh[1:]
    row, scenario = np.nonzero(path.full < 1.0)
    full = path.full[row, scenario]
    short = _Short(row, scenario, case.edges[rows][row] + full * block.hours[row, 0] * 3600.0, full)
    np.minimum.at(simulated.first_short_s, scenario, short.begins_s)
    late = _shed(case, block, path.store_wh, short, simulated) if books and row.size else None
    if simulated.ledger_wh:
        _settle(case, block, path.store_wh, late, simulated)
    return path.store_wh[-1].copy(), path.imbalance_wh


def blank(case: Case) -> Simulated:
    """What a pass fills in: nothing short so far, and the books empty."""
    count, (tasks, scenarios) = case.edges.size - 1, case.factor.shape
    return Simulated(
        store_wh=np.empty((count + 1, scenarios)),
        first_short_s=np.full(scenarios, np.inf),
        unmet_wh=np.zeros((tasks, scenarios)),
        first_unmet_s=np.full((tasks, scenarios), np.inf),
        ledger_wh={},
        detail={},
    )


def row_blocks(segments: int, scenarios: int) -> Iterator[slice]:
    """The segments in blocks that bound the memory, in order.

    >>> [rows.stop for rows in row_blocks(500, MANY_SCENARIOS // 2)]
    [333, 500]
    """
    cells = BLOCK_CELLS * math.sqrt(max(scenarios / MANY_SCENARIOS, 1.0))
    size = max(1, int(cells / scenarios))
    for first in range(0, segments, size):
        yield slice(first, min(first + size, segments))


def block_of(case: Case, rows: slice) -> Block:
    """What is offered and asked in the segments `rows`."""
    battery = case.battery
    solar = case.sun_w(rows)
    solar *= case.controller_efficiency
    used = {"ac", *(load.supply for load in case.loads)}
    outlet = {supply: np.zeros_like(solar) for supply in SUPPLIES if supply in used}
    leads = np.zeros_like(solar) if any(load.lead_loss for load in case.loads) else None
    for load in case.loads:
        begin, end = np.searchsorted(load.rows, [rows.start, rows.stop])
        if end > begin:
            watts = load.watts[begin:end, None] * case.factor[load.task]
            here = load.rows[begin:end] - rows.start
            outlet[load.supply][here] += watts
            if leads is not None:
                outlet[load.supply][here] += watts * load.lead_loss
                leads[here] += watts * load.lead_loss
    asked = np.zeros_like(solar)
    for supply, watts in outlet.items():
        if supply != "ac":
            asked += watts / case.outlet_efficiency[supply]
    on = case.inverter_on[rows].reshape(solar.shape[0], -1)
    inverter_idle = on * (case.inverter.idle_w if case.inverter else 0.0)
    if case.inverter is not None:
        runs = np.flatnonzero(on.any(axis=1))
        asked[runs] += on[runs] * case.inverter.input_w(outlet["ac"][runs])
    charger = case.charger_w[rows, None]
    net = solar + charger - asked - case.idle_w
    rate = store_rate(battery, net, 1.0 - case.frozen(rows))
    hours = np.diff(case.edges[rows.start : rows.stop + 1])[:, None] / 3600.0
    return Block(rows, hours, solar, charger, outlet, leads, asked, inverter_idle, rate, net)


def _leaked_and_given(
    battery: Battery, rate: Array, hours: Array, before: Array, after: Array
) -> tuple[Array, Array]:
    """What leaked from the store and what it gave [Wh] where it went from one charge to another,
    all of one shape or (b, 1)."""
    change, charging = after - before, rate > 0.0
    leak = battery.self_discharge_per_h * hours * (after + before) / 2.0
    leak = np.where(charging, leak, np.clip(-change, 0.0, leak))
    return leak, np.where(charging, 0.0, -change - leak)


def _settle(
    case: Case, block: Block, store: Array, late: "_Late | None", simulated: Simulated
) -> None:
    """Enter a block into the ledger: what was taken, curtailed, lost and delivered."""
    battery, hours, efficiency = case.battery, block.hours, case.controller_efficiency
    change = np.diff(store, axis=0)
    leak, given = _leaked_and_given(battery, block.rate, hours, store[:-1], store[1:])
    gained = np.where(block.rate > 0.0, change + leak, 0.0)
    surplus = np.maximum(block.net, 0.0) * hours
    taken = hours * rate_to_terminal(
        np.maximum(gained, 0.0) / battery.coulombic / hours,
        battery.capacity_wh,
        battery.resistive_h,
    )
    taken = np.minimum(taken, surplus)
    asked = np.asarray(sum(block.outlet.values())) * hours
    if block.leads is not None:
        asked -= block.leads * hours
    flows = _Flows(
        delivered=asked.copy(),
        conversion=(block.load - block.inverter_idle) * hours - asked,
        idle=(case.idle_w + block.inverter_idle) * hours + np.zeros_like(asked),
        unused=surplus - taken,
        from_battery=np.maximum(-block.net, 0.0) * hours,
    )
    if late is not None:
        cells = late.cells
        for values, late_wh in (
            (flows.delivered, late.delivered),
            (flows.conversion, late.conversion),
            (flows.idle, late.idle),
            (flows.from_battery, late.from_battery),
        ):
            values[cells] = values[cells] * late.full + late_wh
        flows.unused[cells] = late.unused
    charger = np.maximum(block.charger * hours - flows.unused, 0.0)
    curtailed = flows.unused - (block.charger * hours - charger)
    solar = block.solar * hours - curtailed
    entries = {
        "spilled": curtailed / efficiency,
        "other_charging": charger,
        "charge_loss": taken - gained,
        "discharge_loss": given - flows.from_battery,
        "idle": flows.idle + leak,
        "conversion_loss": solar * (1.0 / efficiency - 1.0) + flows.conversion,
        "delivered": flows.delivered,
        "stored_change": change,
    }
    for name, values in entries.items():
        simulated.ledger_wh[name] += values.sum(axis=0)
    if simulated.detail:
        shown = (solar, entries["spilled"], charger, asked, flows.delivered, entries["idle"])
        for name, values in zip(DETAILS, shown, strict=True):
            simulated.detail[name][block.rows] = values / hours


@dataclass(frozen=True)
class _Flows:
    """Watt-hours of a block, (b, scenarios): changed in place where the pack runs out."""

    delivered: Array
    conversion: Array
    idle: Array
    unused: Array
    from_battery: Array


@dataclass(frozen=True)
class _Short:
    """The cells of a block in which the store ran out, each array (cells,): where, from when
    [UTC s], and for which share of the segment all was served."""

    row: Index
    scenario: Index
    begins_s: Array
    full: Array


@dataclass(frozen=True)
class _Late(_Flows):
    """The flows of cells in which the store ran out, from then on [Wh], (cells,); before it, for
    the share `full` of the segment, all was served."""

    cells: tuple[Index, Index]
    full: Array


def _shed(case: Case, block: Block, store: Array, short: "_Short", simulated: Simulated) -> "_Late":
    """Enter what went short in the cells in which the store ran out: all is served for the share
    `full` of the time; for the rest what still comes in goes to the pack's idle, then to tasks by
    rank."""
    row, scenario, full = short.row, short.scenario, short.full
    cells, hours = (row, scenario), block.hours[row, 0]
    rest, rate = (1.0 - full) * hours, block.rate[cells]
    before, after = store[cells], store[row + 1, scenario]
    _, given = _leaked_and_given(case.battery, rate, hours, before, after)
    trickle = trickle_w(case.battery, scenario, given + rate * full * hours, rest)
    left = block.solar[cells] + block.charger[row, 0] + trickle
    pack_idle = np.minimum(left, case.idle_w)
    inverter_idle = np.broadcast_to(block.inverter_idle, block.load.shape)[cells]
    shares = by_rank(case, block.rows.start + row, scenario, left - pack_idle, inverter_idle)
    for task, missing_w in shares.missing:
        missing = missing_w * rest
        simulated.unmet_wh[task] += np.bincount(
            scenario, missing, minlength=simulated.first_short_s.size
        )
        wanting = missing > 1e-9
        np.minimum.at(simulated.first_unmet_s[task], scenario[wanting], short.begins_s[wanting])
    return _Late(
        delivered=shares.served * rest,
        conversion=(shares.spent - shares.served) * rest,
        idle=(pack_idle + shares.idle) * rest,
        unused=shares.left * rest,
        from_battery=trickle * rest,
        cells=cells,
        full=full,
    )


@dataclass(frozen=True)
class Shares:
    """What cells without a store give by rank, (cells,) each in watts: missing of each task that
    asks, (its number, watts); served to tasks, spent on them at the bus, idle of the inverter and
    left over."""

    missing: list[tuple[int, Array]]
    served: Array
    spent: Array
    idle: Array
    left: Array


def by_rank(
    case: Case, segment: Index, scenario: Index, left: Array, inverter_idle: Array
) -> Shares:
    """Share what is left [W] out among the tasks by rank, in cells (cells,) that each are a
    segment in a scenario of the case; the inverter's idle comes before the first mains task."""
    paid = np.zeros(left.size, dtype=bool)
    served_ac, served, spent = np.zeros((3, left.size))
    every_missing = []
    for load in case.loads:
        watts = _watts_at(load, segment) * case.factor[load.task, scenario]
        watts = watts * (1.0 + load.lead_loss)
        if not watts.any():
            continue
        if load.supply == "ac":
            assert case.inverter is not None
            opens = (watts > 0.0) & ~paid & (left >= inverter_idle)
            left, paid = left - np.where(opens, inverter_idle, 0.0), paid | opens
            before = case.inverter.input_w(served_ac)
            full_cost = case.inverter.input_w(served_ac + watts) - before
            part = case.inverter.output_w(before + left) - served_ac
            given = np.where(paid, np.where(full_cost <= left, watts, part), 0.0)
            cost = np.where(paid, np.minimum(full_cost, left), 0.0)
            served_ac = served_ac + given
        else:
            cost = np.minimum(watts / case.outlet_efficiency[load.supply], left)
            given = cost * case.outlet_efficiency[load.supply]
        left, spent = left - cost, spent + cost
        served = served + given / (1.0 + load.lead_loss)
        every_missing.append((load.task, (watts - given) / (1.0 + load.lead_loss)))
    idle_only = np.where(paid, 0.0, np.minimum(left, inverter_idle))
    idle = np.where(paid, inverter_idle, idle_only)
    return Shares(every_missing, served, spent, idle, left - idle_only)


def trickle_w(battery: Battery, scenario: Index, given_wh: Array, rest_h: Array) -> Array:
    """What a lead-acid battery still gives from its bound well [W at the bus] in the rest of each
    cell, (cells,), in which its store gives so much; nothing of lithium."""
    rate = np.maximum(given_wh, 0.0) / np.maximum(rest_h, 1e-12)
    return -rate_to_terminal(-rate, battery.capacity_wh[scenario], battery.resistive_h)


def _watts_at(load: Load, rows: Index) -> Array:
    """A task's mean watts in some segments, zero where it does not run."""
    at = np.minimum(np.searchsorted(load.rows, rows), load.rows.size - 1)
    return np.where(load.rows[at] == rows, load.watts[at], 0.0)
