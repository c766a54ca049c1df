"""What the tools draw: a burst as steps of constant power, and which bursts the limits let run.

The inverter's and the outlets' curves live in `electronics`; where bursts lie in time is decided
in `timeline`. Powers are watts at the outlet unless said otherwise.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from energy.model import Array
from energy.model.electronics import InverterCurve
from energy.model.timeline import Interval, snap

TAPER_STEPS = 12  # a charger's falling tail is drawn as so many steps
ROUNDING = 1.0 + 1e-9  # sums of watts may pass a limit by this much


class Load(Protocol):
    """The figures of a tool that decide what it draws (watts, Wh, seconds, minutes, percent)."""

    @property
    def supply(self) -> str: ...
    @property
    def kind(self) -> str: ...
    @property
    def working_w(self) -> float | None: ...
    @property
    def idle_w(self) -> float: ...
    @property
    def duty_percent(self) -> float: ...
    @property
    def start_w(self) -> float: ...
    @property
    def start_s(self) -> float: ...
    @property
    def power_factor(self) -> float: ...
    @property
    def on_w(self) -> float | None: ...
    @property
    def off_w(self) -> float: ...
    @property
    def period_min(self) -> float | None: ...
    @property
    def energy_wh(self) -> float | None: ...
    @property
    def power_w(self) -> float | None: ...
    @property
    def taper_from_percent(self) -> float: ...
    @property
    def trace(self) -> tuple[tuple[float, float], ...] | None: ...


@dataclass(frozen=True)
class Step:
    """A stretch of constant power inside a burst: [s] from the burst's start, [W].

    mean_w carries the energy, working_w meets the limits; starts marks the moment of a surge.
    """

    start_s: float
    end_s: float
    mean_w: float
    working_w: float
    starts: bool = False


def charging_s(load: Load) -> float:
    """Seconds that one charge takes: full power to the taper, then falling in a straight line.

    >>> from types import SimpleNamespace
    >>> charging_s(SimpleNamespace(energy_wh=100.0, power_w=100.0, taper_from_percent=80.0))
    4320.0
    """
    assert load.energy_wh is not None
    assert load.power_w is not None
    taper = load.taper_from_percent / 100.0
    return snap(3600.0 * load.energy_wh / load.power_w * (taper + 2.0 * (1.0 - taper)))


def steps(load: Load, duration_s: float) -> list[Step]:
    """The steps of one burst of `duration_s`, by the tool's kind.

    >>> from types import SimpleNamespace
    >>> saw = SimpleNamespace(kind="intermittent", working_w=900.0, idle_w=300.0, duty_percent=50.0)
    >>> steps(saw, 45.0)[0].mean_w
    600.0
    """
    if load.kind == "cycling":
        return _cycling_steps(load, duration_s)
    if load.kind == "charging":
        return _charging_steps(load, duration_s)
    if load.kind == "trace":
        return _trace_steps(load, duration_s)
    assert load.working_w is not None
    mean_w = load.working_w
    if load.kind == "intermittent":
        duty = load.duty_percent / 100.0
        mean_w = duty * load.working_w + (1.0 - duty) * load.idle_w
    return [Step(0.0, duration_s, mean_w, load.working_w, starts=True)]


def _cycling_steps(load: Load, duration_s: float) -> list[Step]:
    assert load.on_w is not None
    assert load.period_min is not None
    period_s, found, start = load.period_min * 60.0, [], 0.0
    for k in range(int(np.ceil(duration_s / period_s - 1e-9))):
        start = snap(k * period_s)
        off = min(snap(start + period_s * load.duty_percent / 100.0), duration_s)
        end = min(snap(start + period_s), duration_s)
        found.append(Step(start, off, load.on_w, load.on_w, starts=True))
        if end > off:
            found.append(Step(off, end, load.off_w, load.off_w))
    return found


def _charging_steps(load: Load, duration_s: float) -> list[Step]:
    assert load.energy_wh is not None
    assert load.power_w is not None
    flat_s = 3600.0 * load.taper_from_percent / 100.0 * load.energy_wh / load.power_w
    tail = np.linspace(flat_s, charging_s(load), TAPER_STEPS + 1)
    levels = load.power_w * (1.0 - (np.arange(TAPER_STEPS) + 0.5) / TAPER_STEPS)
    edges = [0.0, *(snap(float(t)) for t in tail)]
    watts = [load.power_w, *(float(w) for w in levels)]
    found = [
        Step(a, min(b, duration_s), w, w, starts=a == 0.0)
        for a, b, w in zip(edges[:-1], edges[1:], watts, strict=True)
    ]
    return [s for s in found if s.end_s > s.start_s]


def _trace_steps(load: Load, duration_s: float) -> list[Step]:
    assert load.trace is not None
    times = [t - load.trace[0][0] for t, _ in load.trace]
    ends = [*times[1:], max(duration_s, times[-1])]
    peak = max(watts for _, watts in load.trace)
    found = [
        Step(snap(a), snap(min(b, duration_s)), w, peak if k == 0 else w, starts=k == 0)
        for k, (a, b, (_, w)) in enumerate(zip(times, ends, load.trace, strict=True))
    ]
    return [s for s in found if s.end_s > s.start_s]


@dataclass(frozen=True)
class Burst:
    """What runs or is refused as a whole: one cut, one charge, one turn of a fridge's compressor.

    task is the plan's number of the task from 0, window the number of the window it belongs to;
    pieces are its steps in UTC seconds, cut to the span.
    """

    task: int
    window: int
    pieces: tuple[Step, ...]

    @property
    def start_s(self) -> float:
        """When it begins [UTC s]."""
        return self.pieces[0].start_s

    @property
    def end_s(self) -> float:
        """When it ends [UTC s]."""
        return self.pieces[-1].end_s


def bursts(
    load: Load, task: int, window: int, placed: Iterable[Interval], span: Interval
) -> list[Burst]:
    """Lay a task's bursts on the span; what lies outside is cut off, a surge with it.

    Each on-phase of a cycling load, with the off-phase behind it, is a burst of its own.

    >>> from types import SimpleNamespace
    >>> lamp = SimpleNamespace(kind="steady", working_w=10.0)
    >>> found = bursts(lamp, 0, 0, [(0.0, 100.0)], (50.0, 1000.0))
    >>> found[0].start_s, found[0].end_s, found[0].pieces[0].starts
    (50.0, 100.0, False)
    """
    found: list[Burst] = []
    for start, end in placed:
        group: list[Step] = []
        for step in steps(load, end - start):
            a, b = snap(start + step.start_s), snap(start + step.end_s)
            cut_a, cut_b = max(a, span[0]), min(b, span[1])
            if cut_b <= cut_a:
                continue
            if load.kind == "cycling" and step.starts and group:
                found.append(Burst(task, window, tuple(group)))
                group = []
            starts = step.starts and a >= span[0]
            group.append(Step(cut_a, cut_b, step.mean_w, step.working_w, starts))
        if group:
            found.append(Burst(task, window, tuple(group)))
    return found


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


@dataclass(frozen=True)
class Refusal:
    """Why a burst does not run: the limit's name, the number that broke it and the number allowed.

    limit: no-inverter | inverter-off | inverter | surge | surge-time | dc12 | usb | discharge |
    battery. Watts (inverter: VA; surge-time: seconds).
    """

    burst: Burst
    limit: str
    asked: float
    allowed: float


@dataclass
class _Running:
    """Sums per segment of all that is accepted so far."""

    edges: Array
    limits: Limits
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
        if self.limits.on == "always":
            self.on[:] = 1.0
        elif not isinstance(self.limits.on, str):
            for start, end in self.limits.on:
                first, last = np.searchsorted(self.edges, [start, end])
                self.on[first:last] = 1.0

    def start(self, burst: Burst, load: Load) -> slice:
        """Add a burst to the sums; returns all segments over which the bus has changed."""
        self._add(burst, load, 1.0)
        first, last = np.searchsorted(self.edges, [burst.start_s, burst.end_s])
        rows = slice(int(first), int(last))
        if load.supply != "ac":
            return rows
        for piece in burst.pieces:
            if piece.starts:
                first = np.searchsorted(self.edges, piece.start_s)
                self.surge_s[first] = max(self.surge_s[first], load.start_s)
        return self.switch_on(burst, rows)

    def take_back(self, burst: Burst, load: Load) -> None:
        """Take a burst out of the sums of watts."""
        self._add(burst, load, -1.0)

    def _add(self, burst: Burst, load: Load, sign: float) -> None:
        for piece in burst.pieces:
            first, last = np.searchsorted(self.edges, [piece.start_s, piece.end_s])
            self.outlet_w[load.supply][first:last] += sign * piece.working_w
            if load.supply == "ac":
                self.va[first:last] += sign * piece.working_w / load.power_factor
                if piece.starts:
                    self.surge_w[first] += sign * max(load.start_w - piece.working_w, 0.0)

    def bus_w(self, rows: slice) -> Array:
        """Watts asked of the battery, losses and idle draws in, the sun not deducted."""
        limits = self.limits
        total = limits.idle_w + sum(
            self.outlet_w[s][rows] / limits.outlet_efficiency[s] for s in ("dc12", "usb")
        )
        if limits.curve is not None:
            total = total + self.on[rows] * limits.curve.input_w(self.outlet_w["ac"][rows])
        return np.asarray(total)

    def switch_on(self, burst: Burst, rows: slice) -> slice:
        """Keep the inverter on for an AC burst; returns all segments where that mattered."""
        first = rows.start
        if self.limits.on == "with-tasks":
            first = self.hull.setdefault((burst.task, burst.window), rows.start)
        if self.limits.on in ("with-tasks", "only-in-use"):
            self.on[first : rows.stop] = 1.0
        return slice(first, rows.stop)

    def broken(self, supply: str, rows: slice) -> tuple[str, float, float] | None:
        """The first limit that the sums pass in these segments: name, asked, allowed."""
        limits = self.limits
        if supply == "ac":
            assert limits.curve is not None
            if ((self.on[rows] == 0.0) & (self.outlet_w["ac"][rows] > 0.0)).any():
                return "inverter-off", 0.0, 0.0
            peak = float((self.outlet_w["ac"][rows] + self.surge_w[rows]).max())
            if peak > limits.surge_w * ROUNDING:
                return "surge", peak, limits.surge_w
            if (va := float(self.va[rows].max())) > limits.curve.rated_w * ROUNDING:
                return "inverter", va, limits.curve.rated_w
            surging = self.outlet_w["ac"][rows] + self.surge_w[rows]
            long = np.where(surging > limits.curve.rated_w * ROUNDING, self.surge_s[rows], 0.0)
            if float(long.max()) > limits.surge_s:
                return "surge-time", float(long.max()), limits.surge_s
        else:
            outlet = float(self.outlet_w[supply][rows].max())
            if outlet > limits.outlet_rated_w[supply] * ROUNDING:
                return supply, outlet, limits.outlet_rated_w[supply]
        bus = float(self.bus_w(rows).max())
        for name, allowed in (
            ("discharge", limits.discharge_max_w),
            ("battery", limits.battery_max_w),
        ):
            if bus > allowed * ROUNDING:
                return name, bus, allowed
        return None


def _admit(running: _Running, burst: Burst, load: Load) -> Refusal | None:
    """Let one burst run beside what runs already, or say which limit forbids it."""
    if load.supply == "ac" and running.limits.curve is None:
        return Refusal(burst, "no-inverter", 0.0, 0.0)
    on, surge_s, hull = running.on.copy(), running.surge_s.copy(), dict(running.hull)
    found = running.broken(load.supply, running.start(burst, load))
    if found is None:
        return None
    running.take_back(burst, load)
    running.on, running.surge_s, running.hull = on, surge_s, hull
    return Refusal(burst, *found)


def inverter_on(
    edges: Array, accepted: Sequence[Burst], loads: Sequence[Load], limits: Limits
) -> Array:
    """1.0 for each segment in which the inverter is on, else 0.0.

    >>> from types import SimpleNamespace
    >>> from energy.model.electronics import inverter_curve
    >>> saw = SimpleNamespace(supply="ac", kind="steady", working_w=500.0, power_factor=1.0,
    ...                       start_w=500.0, start_s=0.0)
    >>> cuts = bursts(saw, 0, 0, [(0.0, 1.0), (2.0, 3.0)], (0.0, 4.0))
    >>> limits = Limits(inverter_curve(1000.0, 8.0, 90.0), 2000.0, 1.0, "with-tasks",
    ...                 {"dc12": 120.0, "usb": 100.0}, {"dc12": 0.95, "usb": 0.9}, 3.0, 1e3, 1e3)
    >>> inverter_on(np.arange(5.0), cuts, [saw], limits)
    array([1., 1., 1., 0.])
    """
    running = _Running(edges, limits)
    if limits.curve is None:
        return np.zeros(edges.size - 1)
    for burst in sorted(accepted, key=lambda b: b.start_s):
        if loads[burst.task].supply == "ac":
            first, last = np.searchsorted(edges, [burst.start_s, burst.end_s])
            running.switch_on(burst, slice(int(first), int(last)))
    return running.on


def refusals(
    edges: Array,
    wanted: Sequence[Burst],
    loads: Sequence[Load],
    order: Sequence[int],
    limits: Limits,
) -> list[Refusal]:
    """Which bursts do not run: tasks in rank `order`, each beside those ranked before it.

    edges [UTC s], shape (n + 1,), must hold every start and end of a piece.

    >>> from types import SimpleNamespace
    >>> from energy.model.electronics import inverter_curve
    >>> saw = SimpleNamespace(supply="ac", kind="steady", working_w=500.0, power_factor=1.0,
    ...                       start_w=2500.0, start_s=0.2)
    >>> limits = Limits(inverter_curve(1000.0, 8.0, 90.0), 2000.0, 1.0, "with-tasks",
    ...                 {"dc12": 120.0, "usb": 100.0}, {"dc12": 0.95, "usb": 0.9}, 3.0, 1e3, 1e3)
    >>> cut = bursts(saw, 0, 0, [(0.0, 60.0)], (0.0, 60.0))
    >>> refusals(np.array([0.0, 60.0]), cut, [saw], [0], limits)[0].limit
    'surge'
    """
    if not wanted:
        return []
    running = _Running(edges, limits)
    rank = {task: k for k, task in enumerate(order)}
    queue = sorted(wanted, key=lambda b: (rank[b.task], b.start_s))
    if _all_fit(running, queue, loads):
        return []
    running = _Running(edges, limits)
    tried = [_admit(running, burst, loads[burst.task]) for burst in queue]
    return [refusal for refusal in tried if refusal is not None]


def _all_fit(running: _Running, queue: Sequence[Burst], loads: Sequence[Load]) -> bool:
    """Whether everything runs together: then nothing needs to be tried one by one."""
    supplies = {loads[burst.task].supply for burst in queue}
    if "ac" in supplies and running.limits.curve is None:
        return False
    for burst in queue:
        running.start(burst, loads[burst.task])
    everywhere = slice(0, running.edges.size - 1)
    return all(running.broken(supply, everywhere) is None for supply in sorted(supplies))
