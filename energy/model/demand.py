"""What the tools draw: a burst as steps of constant power, laid on the span.

Where bursts lie in time is decided in `timeline`, which of them the limits let run in `limits`.
Powers are watts at the outlet.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from energy.model import Array
from energy.model.timeline import Interval, snap

TAPER_STEPS = 12  # a charger's falling tail is drawn as so many steps


class ToolFigures(Protocol):
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
    def charge_s(self) -> float | None: ...
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


def steps(load: ToolFigures, duration_s: float) -> list[Step]:
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


def _cycling_steps(load: ToolFigures, duration_s: float) -> list[Step]:
    assert load.on_w is not None
    assert load.period_min is not None
    period_s, cycle = load.period_min * 60.0, []
    for k in range(int(np.ceil(duration_s / period_s - 1e-9))):
        start = snap(k * period_s)
        off = min(snap(start + period_s * load.duty_percent / 100.0), duration_s)
        end = min(snap(start + period_s), duration_s)
        cycle.append(Step(start, off, load.on_w, load.on_w, starts=True))
        if end > off:
            cycle.append(Step(off, end, load.off_w, load.off_w))
    return cycle


def _charging_steps(load: ToolFigures, duration_s: float) -> list[Step]:
    assert load.energy_wh is not None
    assert load.power_w is not None
    assert load.charge_s is not None
    flat_s = 3600.0 * load.taper_from_percent / 100.0 * load.energy_wh / load.power_w
    tail = np.linspace(flat_s, load.charge_s, TAPER_STEPS + 1)
    levels = load.power_w * (1.0 - (np.arange(TAPER_STEPS) + 0.5) / TAPER_STEPS)
    edges = [0.0, *(snap(float(t)) for t in tail)]
    watts = [load.power_w, *(float(w) for w in levels)]
    charging = [
        Step(a, min(b, duration_s), w, w, starts=a == 0.0)
        for a, b, w in zip(edges[:-1], edges[1:], watts, strict=True)
    ]
    return [s for s in charging if s.end_s > s.start_s]


def _trace_steps(load: ToolFigures, duration_s: float) -> list[Step]:
    assert load.trace is not None
    times = [t - load.trace[0][0] for t, _ in load.trace]
    ends = [*times[1:], max(duration_s, times[-1])]
    traced = [
        Step(snap(a), snap(min(b, duration_s)), w, w, starts=k == 0)
        for k, (a, b, (_, w)) in enumerate(zip(times, ends, load.trace, strict=True))
    ]
    return [s for s in traced if s.end_s > s.start_s]


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

    @property
    def energy_wh(self) -> float:
        """What it asks at the outlet [Wh]."""
        return sum(p.mean_w * (p.end_s - p.start_s) for p in self.pieces) / 3600.0


def cut_at(edges: Array, bursts: Iterable[Burst]) -> Array:
    """Edges [UTC s] with every start and end of the bursts' pieces among them, rising."""
    marks = [t for burst in bursts for p in burst.pieces for t in (p.start_s, p.end_s)]
    return np.unique(np.concatenate([edges, marks]))


def bursts(
    load: ToolFigures, task: int, window: int, placed: Iterable[Interval], span: Interval
) -> list[Burst]:
    """Lay a task's bursts on the span; what lies outside is cut off, a surge with it.

    Each on-phase of a cycling load, with the off-phase behind it, is a burst of its own.

    >>> from types import SimpleNamespace
    >>> lamp = SimpleNamespace(kind="steady", working_w=10.0)
    >>> burst, = bursts(lamp, 0, 0, [(0.0, 100.0)], (50.0, 1000.0))
    >>> burst.start_s, burst.end_s, burst.pieces[0].starts
    (50.0, 100.0, False)
    """
    placed_bursts: list[Burst] = []
    for start, end in placed:
        group: list[Step] = []
        for step in steps(load, end - start):
            start_s, end_s = snap(start + step.start_s), snap(start + step.end_s)
            first_s, last_s = max(start_s, span[0]), min(end_s, span[1])
            if last_s <= first_s:
                continue
            if load.kind == "cycling" and step.starts and group:
                placed_bursts.append(Burst(task, window, tuple(group)))
                group = []
            starts = step.starts and start_s >= span[0]
            group.append(Step(first_s, last_s, step.mean_w, step.working_w, starts))
        if group:
            placed_bursts.append(Burst(task, window, tuple(group)))
    return placed_bursts
