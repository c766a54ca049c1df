"""Which bursts the pack lets run: inverter, surge, outlets, discharge, tasks in rank order.

What a burst draws lives in `demand`, the inverter's curve in `electronics`.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from energy.model import Array, Index, Mask
from energy.model.demand import Burst, ToolFigures
from energy.model.electronics import InverterCurve
from energy.model.timeline import Interval

Begun = frozenset[tuple[int, int]]
ROUNDING = 1.0 + 1e-9  # sums of watts may pass a limit by this much


@dataclass(frozen=True)
class Limits:
    """What the pack can deliver at once [W, s]; curve is None without an inverter.

    on is "with-tasks", "only-in-use", "always" or the intervals in which the inverter is on.
    """

    curve: InverterCurve | None
    surge_w: float
    surge_s: float
    on: str | Sequence[Interval]
    outlet_rated_w: dict[str, float]
    outlet_efficiency: dict[str, float]
    idle_w: float
    discharge_max_w: float
    battery_max_w: float

    def allow_all_of(self, other: "Limits") -> bool:
        """Whether they differ from others, if at all, in a pack that gives more."""
        discharge_w, battery_w = other.discharge_max_w, other.battery_max_w
        as_weak = replace(self, discharge_max_w=discharge_w, battery_max_w=battery_w)
        gives_more = self.discharge_max_w >= discharge_w and self.battery_max_w >= battery_w
        return gives_more and as_weak == other


@dataclass(frozen=True)
class Overload:
    """Why a burst does not run: the limit's name, the number that broke it, the number allowed, and
    when most is asked [UTC s].

    limit: no-inverter | inverter-off | inverter | surge | surge-time | dc12 | usb | discharge |
    battery. Watts (inverter: VA; surge-time: seconds).
    """

    burst: Burst
    limit: str
    asked: float
    allowed: float
    at_s: float


def running(bursts: Iterable[Burst], overloads: Iterable[Overload]) -> tuple[Burst, ...]:
    """The bursts that no limit turned away, in their order.

    A burst is known by being the same object: two that look alike may fare differently.
    """
    turned_away = {id(overload.burst) for overload in overloads}
    return tuple(burst for burst in bursts if id(burst) not in turned_away)


@dataclass
class _Running:
    """Sums per segment of all that is accepted so far."""

    edges: Array
    limits: Limits
    begun: Begun = frozenset()
    va: Array = field(init=False)
    outlet_w: dict[str, Array] = field(init=False)
    surge_w: Array = field(init=False)
    surge_s: Array = field(init=False)
    on: Array = field(init=False)
    hull: dict[tuple[int, int], int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        count = self.edges.size - 1
        self.va, self.surge_w, self.surge_s, self.on = (np.zeros(count) for _ in range(4))
        self.outlet_w = {supply: np.zeros(count) for supply in ("ac", "dc12", "usb")}
        self.hull.update(dict.fromkeys(self.begun, 0))
        if self.limits.on == "always":
            self.on[:] = 1.0
        elif not isinstance(self.limits.on, str):
            for start, end in self.limits.on:
                first, last = np.searchsorted(self.edges, [start, end])
                self.on[first:last] = 1.0

    def rows_of(self, burst: Burst, load: ToolFigures) -> slice:
        """The segments in which a burst changes the sums, with those it keeps the inverter on."""
        first, last = np.searchsorted(self.edges, [burst.start_s, burst.end_s]).tolist()
        if load.supply == "ac" and self.limits.on == "with-tasks":
            first = min(first, self.hull.get((burst.task, burst.window), first))
        return slice(first, last)

    def start(self, burst: Burst, loads: Sequence[ToolFigures], rows: slice) -> None:
        """Add a burst to the sums; rows as `rows_of`."""
        self._add([burst], loads, rows)
        if loads[burst.task].supply != "ac":
            return
        if self.limits.on == "with-tasks":
            self.hull.setdefault((burst.task, burst.window), rows.start)
        if self.limits.on in ("with-tasks", "only-in-use"):
            self.on[rows] = 1.0

    def start_all(self, bursts: Sequence[Burst], loads: Sequence[ToolFigures]) -> None:
        """Add many bursts at once."""
        self._add(bursts, loads, slice(0, self.va.size))
        self.switch_on_all([burst for burst in bursts if loads[burst.task].supply == "ac"])

    def sums(self, supply: str) -> tuple[Array, ...]:
        """Every sum that a burst at this outlet changes."""
        return self.outlet_w[supply], self.va, self.surge_w, self.surge_s, self.on

    def _add(self, bursts: Sequence[Burst], loads: Sequence[ToolFigures], rows: slice) -> None:
        """Add bursts to the sums; they lie in the segments `rows`."""
        for supply, outlet_w in self.outlet_w.items():
            mine = [
                (piece, load)
                for burst in bursts
                if (load := loads[burst.task]).supply == supply
                for piece in burst.pieces
            ]
            if not mine:
                continue
            times_s = np.array([(piece.start_s, piece.end_s) for piece, _ in mine])
            first, last = np.searchsorted(self.edges, times_s).T - rows.start
            working_w = np.array([piece.working_w for piece, _ in mine])
            outlet_w[rows] += _in_segments(first, last, working_w, rows)
            if supply == "ac":
                factor = np.array([load.power_factor for _, load in mine])
                self.va[rows] += _in_segments(first, last, working_w / factor, rows)
                surges = [
                    (row, load.start_w - piece.working_w, load.start_s)
                    for row, (piece, load) in zip(first.tolist(), mine, strict=True)
                    if piece.starts and load.start_w > piece.working_w
                ]
                surge_w, surge_s = self.surge_w[rows], self.surge_s[rows]
                for row, more_w, lasts_s in surges:
                    surge_w[row] += more_w
                    surge_s[row] = max(surge_s[row], lasts_s)

    def bus_w(self, rows: slice) -> Array:
        """Watts asked of the battery, losses and idle draws in, the sun not deducted."""
        limits = self.limits
        total = limits.idle_w + sum(
            self.outlet_w[s][rows] / limits.outlet_efficiency[s] for s in ("dc12", "usb")
        )
        if limits.curve is not None:
            total = total + self.on[rows] * limits.curve.input_w(self.outlet_w["ac"][rows])
        return np.asarray(total)

    def switch_on_all(self, bursts: Sequence[Burst]) -> None:
        """Keep the inverter on for many AC bursts."""
        if self.limits.on not in ("with-tasks", "only-in-use"):
            return
        hulls: dict[object, tuple[float, float]] = {}
        for burst in bursts:
            key = (burst.task, burst.window) if self.limits.on == "with-tasks" else id(burst)
            start_s, end_s = hulls.get(key, (burst.start_s, burst.end_s))
            start_s = self.edges[0] if key in self.hull else min(start_s, burst.start_s)
            hulls[key] = start_s, max(end_s, burst.end_s)
        if hulls:
            first, last = np.searchsorted(self.edges, np.array([*hulls.values()]).T)
            everywhere = slice(0, self.on.size)
            self.on[_in_segments(first, last, np.ones(first.size), everywhere) > 0.0] = 1.0

    def broken(self, supply: str, rows: slice) -> tuple[str, float, float, float] | None:
        """The first limit that the sums pass in these segments: name, asked, allowed, and when most
        is asked [UTC s]."""
        for name, asked, allowed in self.asked(supply, rows):
            if (peak := float(asked.max())) > allowed * ROUNDING:
                return name, peak, allowed, float(self.edges[rows.start + asked.argmax()])
        return None

    def asked(self, supply: str, rows: slice) -> Iterator[tuple[str, Array, float]]:
        """Each limit that the bursts of an outlet meet in these segments: its name, what is asked
        of it, and what it allows."""
        limits = self.limits
        if supply == "ac":
            assert limits.curve is not None
            off = (self.on[rows] == 0.0) & (self.outlet_w["ac"][rows] > 0.0)
            yield "inverter-off", off.astype(float), 0.0
            surging = self.outlet_w["ac"][rows] + self.surge_w[rows]
            yield "surge", surging, limits.surge_w
            yield "inverter", self.va[rows], limits.curve.rated_w
            over = surging > limits.curve.rated_w * ROUNDING
            yield "surge-time", np.where(over, self.surge_s[rows], 0.0), limits.surge_s
        else:
            yield supply, self.outlet_w[supply][rows], limits.outlet_rated_w[supply]
        bus = self.bus_w(rows)
        yield "discharge", bus, limits.discharge_max_w
        yield "battery", bus, limits.battery_max_w

    def add_everywhere(self, load: ToolFigures, working_w: float, starts: bool) -> None:
        """Let a load work in every segment, and start in each."""
        self.outlet_w[load.supply] += working_w
        if load.supply == "ac":
            self.va += working_w / load.power_factor
            if self.limits.on in ("with-tasks", "only-in-use"):
                self.on[:] = 1.0
            if starts and load.start_w > working_w:
                self.surge_w += load.start_w - working_w
                np.maximum(self.surge_s, load.start_s, out=self.surge_s)


def _in_segments(first: Index, last: Index, watts: Array, rows: slice) -> Array:
    """Watts that run from one segment of `rows` until before another, summed in each."""
    long = last - first
    at = np.arange(long.sum()) + np.repeat(first - np.cumsum(long) + long, long)
    return np.asarray(np.bincount(at, np.repeat(watts, long), rows.stop - rows.start), dtype=float)


def _admit(running: _Running, burst: Burst, loads: Sequence[ToolFigures]) -> Overload | None:
    """Let one burst run beside what runs already, or say which limit forbids it."""
    load = loads[burst.task]
    if load.supply == "ac" and running.limits.curve is None:
        return Overload(burst, "no-inverter", 0.0, 0.0, burst.start_s)
    rows, key = running.rows_of(burst, load), (burst.task, burst.window)
    is_first = key not in running.hull
    before = [values[rows].copy() for values in running.sums(load.supply)]
    running.start(burst, loads, rows)
    broken = running.broken(load.supply, rows)
    if broken is None:
        return None
    for values, kept in zip(running.sums(load.supply), before, strict=True):
        values[rows] = kept
    if is_first:
        running.hull.pop(key, None)
    return Overload(burst, *broken)


def inverter_on(
    edges: Array,
    accepted: Sequence[Burst],
    loads: Sequence[ToolFigures],
    limits: Limits,
    begun: Begun = frozenset(),
) -> Array:
    """1.0 for each segment in which the inverter is on, else 0.0.

    begun names the (task, window) whose first burst lies before the first edge.

    >>> from types import SimpleNamespace
    >>> from energy.model.demand import bursts
    >>> from energy.model.electronics import inverter_curve
    >>> saw = SimpleNamespace(supply="ac", kind="steady", working_w=500.0, power_factor=1.0,
    ...                       start_w=500.0, start_s=0.0)
    >>> cuts = bursts(saw, 0, 0, [(0.0, 1.0), (2.0, 3.0)], (0.0, 4.0))
    >>> limits = Limits(inverter_curve(1000.0, 8.0, 90.0), 2000.0, 1.0, "with-tasks",
    ...                 {"dc12": 120.0, "usb": 100.0}, {"dc12": 0.95, "usb": 0.9}, 3.0, 1e3, 1e3)
    >>> inverter_on(np.arange(5.0), cuts, [saw], limits)
    array([1., 1., 1., 0.])
    """
    running = _Running(edges, limits, begun)
    if limits.curve is None:
        return np.zeros(edges.size - 1)
    running.switch_on_all([burst for burst in accepted if loads[burst.task].supply == "ac"])
    return running.on


def room(
    edges: Array,
    accepted: Sequence[Burst],
    loads: Sequence[ToolFigures],
    limits: Limits,
    load: ToolFigures,
    working_w: float,
    starts: bool,
) -> Mask:
    """In which segments another load may work, with `starts` begin, beside what is accepted, (n,).

    edges [UTC s], shape (n + 1,), must hold every start and end of an accepted piece; working_w is
    what the other load draws at its outlet.

    >>> from types import SimpleNamespace
    >>> from energy.model.demand import bursts
    >>> lamp = SimpleNamespace(supply="dc12", kind="steady", working_w=80.0, start_w=80.0)
    >>> limits = Limits(None, 0.0, 0.0, "always", {"dc12": 120.0, "usb": 100.0},
    ...                 {"dc12": 0.95, "usb": 0.9}, 3.0, 1e3, 1e3)
    >>> evening = bursts(lamp, 0, 0, [(1.0, 2.0)], (0.0, 3.0))
    >>> room(np.arange(4.0), evening, [lamp], limits, lamp, 80.0, True)
    array([ True, False,  True])
    """
    if load.supply == "ac" and limits.curve is None:
        return np.zeros(edges.size - 1, dtype=bool)
    running = _Running(edges, limits)
    running.start_all(accepted, loads)
    running.add_everywhere(load, working_w, starts)
    free = np.ones(edges.size - 1, dtype=bool)
    for _, asked, allowed in running.asked(load.supply, slice(0, edges.size - 1)):
        free &= asked <= allowed * ROUNDING
    return free


def overloads(
    edges: Array,
    wanted: Sequence[Burst],
    loads: Sequence[ToolFigures],
    order: Sequence[int],
    limits: Limits,
    begun: Begun = frozenset(),
) -> list[Overload]:
    """Which bursts do not run: tasks in rank `order`, each beside those ranked before it.

    edges [UTC s], shape (n + 1,), must hold every start and end of a piece.

    >>> from types import SimpleNamespace
    >>> from energy.model.demand import bursts
    >>> from energy.model.electronics import inverter_curve
    >>> saw = SimpleNamespace(supply="ac", kind="steady", working_w=500.0, power_factor=1.0,
    ...                       start_w=2500.0, start_s=0.2)
    >>> limits = Limits(inverter_curve(1000.0, 8.0, 90.0), 2000.0, 1.0, "with-tasks",
    ...                 {"dc12": 120.0, "usb": 100.0}, {"dc12": 0.95, "usb": 0.9}, 3.0, 1e3, 1e3)
    >>> cut = bursts(saw, 0, 0, [(0.0, 60.0)], (0.0, 60.0))
    >>> overloads(np.array([0.0, 60.0]), cut, [saw], [0], limits)[0].limit
    'surge'
    """
    if all_fit(edges, wanted, loads, limits, begun):
        return []
    running = _Running(edges, limits, begun)
    rank = {task: k for k, task in enumerate(order)}
    queue = sorted(wanted, key=lambda burst: (rank[burst.task], burst.start_s))
    tried = [_admit(running, burst, loads) for burst in queue]
    return [overload for overload in tried if overload is not None]


def all_fit(
    edges: Array,
    wanted: Sequence[Burst],
    loads: Sequence[ToolFigures],
    limits: Limits,
    begun: Begun = frozenset(),
) -> bool:
    """Whether everything runs together: then there are no `overloads`, else there are."""
    supplies = {loads[burst.task].supply for burst in wanted}
    if "ac" in supplies and limits.curve is None:
        return False
    running = _Running(edges, limits, begun)
    running.start_all(wanted, loads)
    everywhere = slice(0, edges.size - 1)
    return all(running.broken(supply, everywhere) is None for supply in sorted(supplies))
