"""What does a meter's log say of a tool? Bursts, levels and energy, as a profile.

The log is read in `log`. What its interval cannot show is said, and kept from the profile.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import numpy as np

from energy.answers.learn.kit_file import (
    KitFile,
    LogRecord,
    refuse_known_log,
    with_log,
    with_posterior,
)
from energy.answers.learn.kit_profiles import LEAST_SPREAD, tool_table
from energy.answers.learn.posterior import Figure, rounded, size_of
from energy.answers.meter.bursts import (
    SPLIT,
    TWICE,
    Seen,
    find_bursts,
    inside,
    neighbours,
    periods,
    taper,
    two_levels,
)
from energy.answers.meter.log import MAINS_V, Log, read_log
from energy.answers.meter.profile import LEVELS, as_task, profile_of
from energy.model import Array
from energy.plan import PlanError, profiles
from energy.plan.profiles import Table
from energy.plan.task import Task
from energy.plan.words import shown

if TYPE_CHECKING:
    from matplotlib.figure import Figure as Picture

LEVELS_TO_S = 2.0  # intervals up to this show levels inside a burst
SHOWS_BURSTS_S = 5.0  # up to this bursts are counted as they come
SHORT_PAUSE = 1.1  # samples: where all pauses are of one, others fell between two
ALIKE = 1.6  # bursts with more than so many times the usual energy are several
TAPER_TO_S = 60.0
CYCLE_S, REGULAR = 300.0, 0.25
PLUG_METER = 0.03
FAR = 50.0  # times what is stated: watts read as kW are a thousand off, tools are not
FEW_W = 20.0  # below it fractions without a unit may be kW: common practice, no source
SAME_TOOL = 3.0  # times more or less than stated: beyond it is another tool; judgement
ANOTHER = "another tool's log, or give it a name of your own"
COARSE = 0.1  # of a level: what a counter's own step may be


@dataclass(frozen=True)
class Traced:
    """What was found: the tool's profile, its kind, how many bursts of how much energy, levels
    [W]; count and each_wh are None where the log cannot show them."""

    tool: str
    log: Log = field(repr=False)
    kind: str
    bursts: tuple[Seen, ...] = field(repr=False)
    count: int | None
    each_wh: float | None
    total_wh: float
    standby_w: float
    working_w: float | None
    idle_w: float | None
    duty_percent: float | None
    taper_from_percent: float | None
    profile: Table
    notes: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """The answer that `--json` prints."""
        numbers = {
            key: None if value is None else rounded(float(value))
            for key, value in (
                ("each_wh", self.each_wh),
                ("total_wh", self.total_wh),
                ("standby_w", self.standby_w),
                ("working_w", self.working_w),
                ("idle_w", self.idle_w),
                ("duty_percent", self.duty_percent),
                ("taper_from_percent", self.taper_from_percent),
            )
        }
        return {
            "tool": self.tool,
            "kind": self.kind,
            "interval_s": self.log.interval_s,
            "count": self.count,
            **numbers,
            "profile": self.profile,
            "notes": list(self.notes),
        }

    def plot(self) -> "Picture":
        """The log with what was found in it: a matplotlib figure."""
        from energy.answers.meter.picture import traced

        return traced(self)


def trace(log: Log | Path | str, tool: str, count: int | None = None) -> Traced:
    """A tool's profile from a meter's log; `count` says how many bursts there were.

    A built-in profile of that name gives what no log shows: outlet, start, cautions. Raises
    PlanError in one line.

    >>> from energy.answers.meter.log import parse_log
    >>> rows = [(t, 800 if 20 <= t % 60 < 40 else 1) for t in range(600)]
    >>> log = parse_log("seconds,watts\\n" + "\\n".join(f"{t},{w}" for t, w in rows))
    >>> found = trace(log, "my-saw")
    >>> found.count, round(found.each_wh, 2)
    (10, 4.44)
    """
    if not isinstance(log, Log):
        log = read_log(log)
    if count is not None and count < 1:
        raise PlanError([f"--count must be 1 or more (got {count})"])
    base = profiles.tools().get(tool, {})
    notes = list(log.notes)
    log = _in_watts(log, tool, base, notes)
    bursts, standby = find_bursts(log)
    whole, cut_off = _whole(bursts, notes)
    total = sum(burst.energy_wh for burst in whole)
    kind = _kind(log, whole, base)
    if kind == "charging" and base.get("kind", kind) != kind:
        _refuse(log, f"it falls away as a charge does, and {tool} is {base['kind']}: {ANOTHER}")
    if kind != "cycling" and _cycles(log, whole):
        notes.append(f"it comes on at even times, as a fridge does, and {tool} is {kind}")
    shown = _count_seen(log, whole, kind)
    seen = None if cut_off else shown
    if count is not None and seen is not None and seen != count:
        notes.append(f"{seen} bursts are seen in the log, {count} were stated; the latter count")
    number = count or seen
    each = total / number if number else None
    if number is None and shown is None:
        every = (
            "One value a minute" if log.interval_s == 60 else f"One value in {log.interval_s:g} s"
        )
        notes.append(
            f"{every}: the total ({total:.0f} Wh) is sound, single cuts are not seen; give their"
            " number: --count 20"
        )
    if each is not None and log.step_wh > PLUG_METER * each:
        share = 100.0 * log.step_wh / each
        notes.append(f"one step of the counter, {log.step_wh:g} Wh, is {share:.0f} % of a burst")
    if log.interval_s > LEVELS_TO_S:
        notes.append(
            f"levels, duty and pauses under {2.0 * log.interval_s:g} s need a value a second;"
            " momentary values, not means, may be a fifth off"
        )
    levels = _levels(log, whole, kind) if shown is not None else {}
    profile = profile_of(tool, log, kind, whole, each, levels, base, standby, notes)
    if profile and base:
        stated = as_task(tool, base)
        own = as_task(tool, profile)
        _refuse_another(log, own, size_of(stated), f"those of {tool}", stated.idle_w)
    working, idle, duty, from_percent = (levels.get(key) for key in LEVELS)
    return Traced(
        tool, log, kind, tuple(bursts), number, each, total, standby, working, idle, duty,
        from_percent, profile, tuple(notes),
    )  # fmt: skip


def _whole(bursts: Sequence[Seen], notes: list[str]) -> tuple[Sequence[Seen], bool]:
    """The bursts that count, and whether they are cut off: the whole ones, or all where those
    took less than half of what was drawn."""
    whole = [burst for burst in bursts if burst.whole]
    if sum(b.energy_wh for b in whole) <= 0.5 * sum(b.energy_wh for b in bursts):
        notes.append(
            "the log begins or ends, or has a gap, while it runs: only what was logged counts"
        )
        return bursts, True
    if len(whole) < len(bursts):
        notes.append(f"pieces of bursts that are cut off, left out: {len(bursts) - len(whole)}")
    return whole, False


def _in_watts(log: Log, tool: str, base: Table, notes: list[str]) -> Log:
    """The log with volts times amps of the mains made watts.

    Raises PlanError where a heading names no unit and the log lies far off what the tool draws, or,
    of an unknown one, may as well be of kW.
    """
    stated = float(max(base.get(key, 0.0) for key in ("working_w", "on_w", "power_w")))
    most = float(log.watts.max())
    if log.unnamed is not None and stated > 0.0 < most and not 1.0 / FAR < most / stated < FAR:
        _refuse(
            log,
            f"read as watts it is {most:.3g} at most, and {tool} draws {stated:g};"
            ' name the unit in the heading, as in "power (kW)"',
        )
    few = most < FEW_W and bool((log.watts % 1.0).any())
    if log.unnamed is not None and log.volts is None and stated == 0.0 and few:
        heading, unit = log.unnamed
        _refuse(
            log,
            f"column {shown(heading)} names no unit, and as {unit} it is {most:.2g} W at most;"
            f' head it "{heading} (k{unit})" or "{heading} ({unit})"',
        )
    if log.volts is None or log.volts <= MAINS_V:
        return log
    factor = float(base.get("power_factor", 1.0))
    if factor < 1.0:
        notes.append(f"volts times amps are VA: watts are {factor:g} of them, as {tool} states")
    elif not base:
        notes.append("volts times amps are VA, taken for watts: motors and chargers draw fewer")
    return replace(log, watts=log.watts * factor)


def _refuse(log: Log, text: str) -> NoReturn:
    raise PlanError([f"{log.name}: {text}"])


def _refuse_another(log: Log, task: Task, known: float, where: str, least: float = 0.0) -> None:
    """Raise PlanError where a log's mean watts, or a charge's Wh, cannot be those of the tool."""
    size, unit = size_of(task), "Wh a charge" if task.kind == "charging" else "W on the mean"
    if known > 0.0 and (size < least or not 1.0 / SAME_TOOL < size / known < SAME_TOOL):
        _refuse(
            log,
            f"it shows {rounded(size, 3):g} {unit}, and {where} are {rounded(known, 3):g}:"
            f" {'a part of a charge, ' if task.kind == 'charging' else ''}{ANOTHER}",
        )


def _kind(log: Log, bursts: Sequence[Seen], base: Table) -> str:
    """charging where the power falls away, cycling where bursts come by themselves, else the
    profile's own kind or what the levels inside say."""
    if log.interval_s <= TAPER_TO_S and all(taper(log, burst) is not None for burst in bursts):
        return "charging"
    known = base.get("kind")
    if known in ("steady", "intermittent", "cycling", "charging"):
        return str(known)
    if _cycles(log, bursts):
        return "cycling"
    inner = inside(log, bursts)
    fine = log.interval_s <= LEVELS_TO_S and inner.size > 8
    return "intermittent" if fine and _parted(inner) else "steady"


def _cycles(log: Log, bursts: Sequence[Seen]) -> bool:
    """Whether bursts come at even times and are of even length."""
    between = periods(log, bursts)
    lengths = np.array([burst.end_s - burst.start_s for burst in bursts])
    if between.size < 3 or between.mean() < CYCLE_S:
        return False
    even = [values.std() < REGULAR * values.mean() for values in (between, lengths)]
    return all(even)


def _parted(inner: Array) -> tuple[float, float] | None:
    """The watts under load and running free, where the samples of bursts are of two levels."""
    threshold, explained = two_levels(inner)
    if explained < SPLIT:
        return None
    above = inner > threshold
    high, low = float(np.median(inner[above])), float(np.median(inner[~above]))
    return (high, low) if high > TWICE * low else None


def _count_seen(log: Log, bursts: Sequence[Seen], kind: str) -> int | None:
    """How many bursts there were, None where the interval may hide some."""
    if log.interval_s <= LEVELS_TO_S or kind == "charging":
        return len(bursts)
    if len(bursts) == 1:
        inner = inside(log, bursts)
        uneven = inner.size > 0 and float(inner.std()) > REGULAR * float(inner.mean())
        hidden = log.interval_s > SHOWS_BURSTS_S and (uneven or kind == "intermittent")
        return None if hidden else 1
    pauses = [b.first - a.last - 1 for a, b in neighbours(log, bursts)]
    if pauses and float(np.mean(pauses)) < SHORT_PAUSE:
        return None
    energy = np.array([burst.energy_wh for burst in bursts])
    alike = log.interval_s <= SHOWS_BURSTS_S or energy.max() <= ALIKE * np.median(energy)
    return len(bursts) if alike else None


def _levels(log: Log, bursts: Sequence[Seen], kind: str) -> dict[str, float]:
    """The watts at work and running free, the share at work, the start of a taper: what the
    interval shows of them."""
    inner = inside(log, bursts)
    if kind == "charging":
        tapers = [t for t in (taper(log, burst) for burst in bursts) if t is not None]
        if not tapers:
            return {}
        full, share = np.mean(tapers, axis=0)
        return {"working_w": float(full), "taper_from_percent": float(share)}
    if inner.size < max(3, len(bursts)):
        return {}
    mean = float(inner.mean())
    if kind == "intermittent" and log.interval_s <= LEVELS_TO_S:
        high, low = _parted(inner) or (0.0, 0.0)
        if high > 0.0 and log.step_wh * 3600.0 / log.interval_s <= COARSE * high:
            duty = 100.0 * min(max((mean - low) / (high - low), 0.0), 1.0)
            return {"working_w": high, "idle_w": low, "duty_percent": duty}
    return {"working_w": mean}


def with_trace(kit_file: KitFile, traced: Traced, day: date) -> KitFile:
    """The kit file with a traced tool in it, as of the log's last day or else of `day`: what was
    known of it before counts by its doubt.

    Raises PlanError where the log was learned before, does not show enough for a profile, or
    shows another kind of tool than the kit file holds.
    """
    log, tool = traced.log, traced.tool
    refuse_known_log(kit_file, log.name, log.mark)
    if not traced.profile:
        _refuse(log, traced.notes[-1])
    task, key = as_task(tool, traced.profile), f"tool:{tool}"
    _refuse_another_tool(kit_file, log, task)
    first, last = log.days or (None, None)
    day = min(last or day, day)
    size, spread = size_of(task), task.spread_percent / 100.0
    base = profiles.tools().get(tool)
    stated = size if base is None else size_of(as_task(tool, base))
    doubt = 0.25 if base is None else base.get("spread_percent", 20.0) / 100.0
    prior = kit_file.aged(day).with_figures([Figure(key, stated, max(doubt, spread), 1.0, "W")])
    at = prior.keys.index(key)
    factor = size / float(prior.base[at])
    posterior = prior.measured(key, factor, factor * float(np.hypot(PLUG_METER, spread)))
    mean, sd = float(posterior.mean[at]), float(posterior.sd[at])
    profile = {
        **traced.profile,
        **tool_table(task, mean / factor),
        "spread_percent": rounded(100.0 * max(sd / mean, LEAST_SPREAD)),
    }
    record = LogRecord(file=log.name, tool=tool, first=first, last=last)
    updated = with_posterior(with_log(kit_file, log.mark, record), posterior, day)
    tools = {**kit_file.profiles.get("tools", {}), tool: profile}
    tables = {name: table for name, table in kit_file.profiles.items() if name != tool}
    return replace(updated, profiles={**tables, "tools": tools})


def _refuse_another_tool(kit_file: KitFile, log: Log, task: Task) -> None:
    """Raise PlanError where the kit file holds a tool of that name that is of another kind, or
    draws far more or less."""
    tool, tables = task.name, kit_file.profiles
    kind = tables.get("tools", {}).get(tool, tables.get(tool, {})).get("kind", task.kind)
    if kind != task.kind and {kind, task.kind} != {"steady", "intermittent"}:
        in_both = f"{tool} is {kind} in the kit, and {task.kind} in this log"
        _refuse(log, f"{in_both}; give one another name")
    posterior, key = kit_file.posterior, f"tool:{tool}"
    if key in posterior.keys:
        at = posterior.keys.index(key)
        size = float(posterior.base[at] * posterior.mean[at])
        _refuse_another(log, task, size, f"those of {tool} in the kit")
