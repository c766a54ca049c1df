"""A task as a frozen model, with what follows from it alone: watts, length and energy of a repeat.

When its repeats come is worked out elsewhere, with the calendar; what several keys must say
together is for `checks`.
"""

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Annotated, Any, Literal

from pydantic import Field

from energy.plan.fields import AMoment, AWindow, Days, From0, Name, Percent, Spread, Strict

SECONDS_PER_MIN = 60.0
SECONDS_PER_H = 3600.0

Trace = tuple[tuple[float, float], ...]  # seconds, watts

RISKS = ("hand_held", "sparks", "rotating", "dust", "hot", "wet_work", "medical", "lifts")
AMOUNTS = ("times", "charges", "minutes", "hours")  # how much of a task, in each window
FIGURES = {  # what a task of each kind draws; of these keys it reads no others
    "steady": ("working_w",),
    "intermittent": ("working_w", "idle_w", "duty_percent"),
    "cycling": ("on_w", "duty_percent", "period_min", "off_w"),
    "charging": ("energy_wh", "power_w", "taper_from_percent"),
    "trace": ("trace",),
}
WORKING = {
    "steady": "working_w",
    "intermittent": "working_w",
    "cycling": "on_w",
    "charging": "power_w",
}


def charge_s(energy_wh: float, power_w: float, taper_from_percent: float) -> float:
    """Seconds that one charge takes: full power to the taper, then falling in a straight line.

    >>> charge_s(energy_wh=100.0, power_w=100.0, taper_from_percent=80.0)
    4320.0
    """
    taper = taper_from_percent / 100.0
    return round(SECONDS_PER_H * energy_wh / power_w * (taper + 2.0 * (1.0 - taper)), 3)


def _each_s(data: dict[str, Any]) -> float | None:
    if data["each_min"] is not None:
        return float(data["each_min"] * SECONDS_PER_MIN)
    trace = data["trace"]
    if data["kind"] == "trace" and data["times"] is not None and trace is not None:
        return float(trace[-1][0] - trace[0][0])
    return None


def _working_w(data: Mapping[str, Any]) -> float:
    """The most that a tool of its kind draws while it works; 0 where that is not stated."""
    if data["kind"] == "trace":
        return float(max((watts for _, watts in data["trace"] or ()), default=0.0))
    return float(data[WORKING[data["kind"]]] or 0.0)


def _charges(data: dict[str, Any]) -> int | None:
    counted = any(data[key] is not None for key in ("times", "minutes", "hours"))
    return 1 if data["kind"] == "charging" and not counted else None


class Task(Strict):
    """Something to be done, with the figures of its tool merged in.

    pause_s lies between the end of a repeat and the start of the next, where they follow one
    another from a stated time; None: not stated. with_ names a task that is chosen or left out
    together with this one; after one that must be done before this one begins, and without which
    this one is left out.
    """

    tool: Name | None = None
    """A profile of energy tools, or of your own files; keys written beside it win. Left out:
    say what it draws here."""
    name: Name
    """What you call it. Left out: the tool's name."""
    group: Name = ""
    """Under which heading a profile is listed."""
    source: Annotated[str, Field(max_length=2000)] = ""
    """Where a profile's figures come from."""
    supply: Literal["ac", "dc12", "usb"]
    """Its outlet: ac is the mains outlet of the inverter; required without a profile."""
    kind: Literal["steady", "intermittent", "cycling", "charging", "trace"] = "steady"
    """How it draws: steady; intermittent (under load and running free by turns); cycling (as a
    fridge); charging (a battery); trace (a file)."""
    working_w: From0 | None = None
    """Watts at the outlet while it works; for steady and intermittent. Left out: an error for
    these."""
    idle_w: From0 = 0.0
    """intermittent: watts while it runs free."""
    duty_percent: Percent = 100.0
    """intermittent: share of a burst under load; cycling: share of a period that it is on."""
    on_w: From0 | None = None
    """cycling: watts while it is on. Needed there. Left out: not stated."""
    off_w: From0 = 0.0
    """cycling: watts while it is off."""
    period_min: Annotated[float, Field(ge=0.1, le=1e5)] | None = None
    """cycling: from one start to the next. Needed there. Left out: not stated."""
    energy_wh: Annotated[float, Field(ge=1e-3, le=1e6)] | None = None
    """charging: Wh at the outlet for a full charge. Needed there. Left out: not stated."""
    power_w: Annotated[float, Field(ge=1e-3, le=1e6)] | None = None
    """charging: watts at which it begins. Needed there. Left out: not stated."""
    taper_from_percent: Percent = 80.0
    """charging: from here on it takes less and less."""
    trace: Trace | None = None
    """trace: a file of seconds,watts. Needed there. Left out: not stated."""
    start_w: From0 = Field(default_factory=_working_w)
    """Watts at which it starts. Left out: the most it works with."""
    start_s: From0 = 0.0
    """How long the start lasts."""
    power_factor: Annotated[float, Field(gt=0.05, le=1.0)] = 1.0
    """Watts / volt-amps at the mains outlet."""
    hand_held: bool = False
    """Whether it is held by hand; for cautions and one_at_a_time."""
    sparks: bool = False
    """Whether it throws sparks; for cautions."""
    rotating: bool = False
    """Whether it turns a blade, bit or disc; for cautions."""
    dust: bool = False
    """Whether it makes dust; for cautions."""
    hot: bool = False
    """Whether it gets hot; for cautions."""
    wet_work: bool = False
    """Whether it works with water; for cautions."""
    medical: bool = False
    """Whether someone's health hangs on it; for cautions."""
    lifts: bool = False
    """Whether it lifts a load; for cautions."""
    spread_percent: Spread = 20.0
    """How uncertain its energy is, as a standard deviation; 0: certain."""
    times: Annotated[int, Field(ge=1, le=100_000)] | None = None
    """How many times in each window, so a day; with each_s or each_min. Left out: not counted."""
    each_min: Annotated[float, Field(gt=0.0, le=1e5)] | None = None
    """How long each takes, in place of each_s. Left out: each_s."""
    each_s: Annotated[float, Field(gt=0.0, le=1e7)] | None = Field(default_factory=_each_s)
    """How long each takes. Left out: a trace from end to end."""
    minutes: Annotated[float, Field(gt=0.0, le=1e6)] | None = None
    """How long it runs in one go in each window, in place of hours: from where that opens, so
    without a window from midnight on. Left out: not stated."""
    hours: Annotated[float, Field(gt=0.0, le=1e4)] | None = None
    """How long it runs in one go in each window, in place of minutes: from where that opens, so
    without a window from midnight on. Left out: not stated."""
    charges: Annotated[int, Field(ge=1, le=1000)] | None = Field(default_factory=_charges)
    """Full charges in each window, one after the other. Left out: 1 for what charges."""
    pause_s: Annotated[float, Field(ge=0.0, le=86_400.0)] | None = None
    """From the end of one to the start of the next, where they follow one another from a stated
    time. Left out: 0 with at."""
    between: AWindow = None
    """When: two times, such as ["09:00", "12:00"] or ["sunset", "sunrise"]; or "all-day". Left
    out: all day."""
    at: AMoment | None = None
    """The time at which it begins, in place of between, such as "18:00" or "sunset+30min". Left
    out: between counts."""
    days: Days = None
    """On which days of the span, from 1. Left out: every day."""
    with_: Annotated[Name | None, Field(alias="with")] = None
    """Name of a task that is chosen or left out together with this one. Left out: none."""
    after: Name | None = None
    """Name of a task that must be done before this one begins. Left out: none."""
    must: bool = False
    """Safety, or the point of the trip: given up last, judged apart."""
    priority: Annotated[int, Field(ge=1, le=1000)] = 2
    """1 before 2 before 3 when the energy runs short."""
    value: Annotated[float, Field(gt=0.0, le=1e6)] = 1.0
    """Weight among tasks of the same priority, for energy choose."""
    flexible: bool = False
    """Whether energy choose may move it inside its window."""

    @property
    def duration_s(self) -> float | None:
        """Length of a block [s], where the task states one."""
        if self.hours is not None:
            return self.hours * SECONDS_PER_H
        return None if self.minutes is None else self.minutes * SECONDS_PER_MIN

    @property
    def repeats(self) -> int | None:
        """How many repeats each window holds; None for a block, and for what simply runs on."""
        once = 1 if self.trace is not None and self.duration_s is None else None
        return self.times or self.charges or once

    @property
    def unit(self) -> str:
        """The key that says how much of it each window holds: times, charges, minutes or hours;
        minutes for what has a window alone."""
        if self.repeats is not None:
            return "times" if self.charges is None else "charges"
        return "minutes" if self.hours is None else "hours"

    @property
    def repeat_s(self) -> float | None:
        """How long one repeat lasts [s]: as stated, a charge with its taper, a trace from end to
        end; None for a tool of which only its time can be counted."""
        if self.each_s is not None:
            return self.each_s
        if self.trace is not None:
            return self.trace[-1][0] - self.trace[0][0]
        return self.charge_s

    @property
    def pace_s(self) -> float | None:
        """From the start of one repeat to the start of the next [s], where they follow one another
        from a stated time; None as for `repeat_s`."""
        return None if self.repeat_s is None else self.repeat_s + (self.pause_s or 0.0)

    @property
    def charge_s(self) -> float | None:
        """How long one whole charge takes [s], taper included; None where nothing is charged."""
        if self.kind != "charging" or self.energy_wh is None or self.power_w is None:
            return None
        return charge_s(self.energy_wh, self.power_w, self.taper_from_percent)

    @property
    def peak_w(self) -> float:
        """What it draws at its outlet while it works [W]; the most of a trace."""
        return _working_w(vars(self))

    @property
    def peak_va(self) -> float:
        """What it asks of its outlet while it works [VA]; off the mains that is its watts."""
        return self.peak_w / (self.power_factor if self.supply == "ac" else 1.0)

    @property
    def mean_w(self) -> float:
        """Mean watts at its outlet over a whole burst, charge, trace or whole periods [W]."""
        duty = self.duty_percent / 100.0
        if self.kind == "intermittent":
            return duty * self.peak_w + (1.0 - duty) * self.idle_w
        if self.kind == "cycling":
            return duty * self.peak_w + (1.0 - duty) * self.off_w
        if self.charge_s is not None and self.energy_wh is not None:
            return self.energy_wh * SECONDS_PER_H / self.charge_s
        if self.kind == "trace" and self.trace is not None:
            joules = sum(w * (after - t) for (t, w), (after, _) in pairwise(self.trace))
            return joules / (self.trace[-1][0] - self.trace[0][0])
        return self.peak_w

    @property
    def repeat_wh(self) -> float:
        """Stated energy at its outlet [Wh], at its mean watts: of one repeat; of the whole block,
        where it is one; of an hour, where it simply runs on."""
        counted_s = self.repeat_s if self.repeats else self.duration_s
        return self.mean_w * (counted_s or SECONDS_PER_H) / SECONDS_PER_H


def called(tasks: Sequence[Task], word: str) -> list[int]:
    """The numbers, from 0, of the tasks of a name or, where none has it, of a tool.

    >>> tea = Task(name="tea", tool="kettle", supply="ac", working_w=900, minutes=5)
    >>> called([tea], "tea"), called([tea], "kettle"), called([tea], "saw")
    ([0], [0], [])
    """
    by_name = [k for k, task in enumerate(tasks) if task.name == word]
    return by_name or [k for k, task in enumerate(tasks) if task.tool == word]


def without_effect(table: Mapping[str, Any]) -> list[str]:
    """The keys of a [[task]] table that its kind does not read; one that says the usual is none.

    >>> without_effect({"working_w": 36, "duty_percent": 8}), without_effect({"off_w": 0})
    (['duty_percent'], [])
    """
    fields = Task.model_fields
    kind = table.get("kind", fields["kind"].default)
    if not isinstance(kind, str) or kind not in FIGURES:
        return []
    others = dict.fromkeys(key for keys in FIGURES.values() for key in keys)
    stated = [key for key in others if table.get(key, fields[key].default) != fields[key].default]
    return [key for key in stated if key not in FIGURES[kind]]


def of_its_kind(table: Mapping[str, Any]) -> dict[str, Any]:
    """A copy of a tool's table without the keys that its kind does not read.

    >>> of_its_kind({"kind": "steady", "working_w": 36, "duty_percent": 8})
    {'kind': 'steady', 'working_w': 36}
    """
    unread = without_effect(table)
    return {key: value for key, value in table.items() if key not in unread}


def at_other_times(table: Mapping[str, Any], **keys: Any) -> dict[str, Any]:
    """A copy of a [[task]] table with another amount or at other times; None takes a key away.

    An amount takes the place of any other amount, `at` that of `between` and the other way round.

    >>> at_other_times({"tool": "drill", "hours": 2, "between": ["09:00", "12:00"]},
    ...                at="10:00", minutes=45)
    {'tool': 'drill', 'at': '10:00', 'minutes': 45}
    """
    gone = set(keys)
    for several in (AMOUNTS, ("at", "between")):
        gone |= set(several) if gone & set(several) else set()
    kept = {key: value for key, value in table.items() if key not in gone}
    return kept | {key: value for key, value in keys.items() if value is not None}
