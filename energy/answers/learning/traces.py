"""What does a meter's log say of a tool? Bursts, levels and energy, as a profile.

The log is read in `meter`. What its interval cannot show is said, and kept from the profile.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.answers.learning.bursts import SPLIT, TWICE, Seen, find_bursts, smoothed, two_levels
from energy.answers.learning.figures import Figure, size_of
from energy.answers.learning.meter import Log, read_log
from energy.answers.learning.overlay import OWN, Kit, loaded, rounded, with_belief
from energy.model import Array
from energy.plan import PlanError, profiles
from energy.plan.profiles import Table
from energy.plan.schema import Task

if TYPE_CHECKING:
    from matplotlib.figure import Figure as Picture

LEVELS_TO_S = 2.0  # intervals up to this show levels inside a burst
SHOWS_BURSTS_S = 5.0  # up to this bursts are counted as they come
ALIKE = 1.6  # bursts with more than so many times the usual energy are several
CHARGE_S, TAPER_SAMPLES, TAPER_TO_S = 600.0, 4, 60.0
CYCLE_S, REGULAR = 300.0, 0.25
PLUG_METER = 0.03
LEAST_SPREAD = 0.05


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
        from energy.show.learned_picture import traced  # the one way up, as for every answer

        return traced(self)


def trace(log: Log | Path | str, tool: str, count: int | None = None) -> Traced:
    """A tool's profile from a meter's log; `count` says how many bursts there were.

    A built-in profile of that name gives what no log shows: outlet, start, cautions. Raises
    PlanError in one line.

    >>> from energy.answers.learning.meter import parse_log
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
    bursts, standby = find_bursts(log)
    notes = list(log.notes)
    whole = [burst for burst in bursts if burst.whole]
    if not whole:
        notes.append(
            "the log begins or ends, or has a gap, while it runs: only what was logged counts"
        )
        whole = bursts
    elif len(whole) < len(bursts):
        notes.append(f"pieces of bursts that are cut off, left out: {len(bursts) - len(whole)}")
    total = sum(burst.energy_wh for burst in whole)
    kind = _kind(log, whole, base)
    seen = _count_seen(log, whole, kind)
    if count is not None and seen is not None and seen != count:
        notes.append(f"{seen} bursts are seen in the log, {count} were stated; the latter count")
    number = count or seen
    each = total / number if number else None
    if number is None:
        every = (
            "One value a minute" if log.interval_s == 60 else f"One value in {log.interval_s:g} s"
        )
        notes.append(
            f"{every}: the total ({total:.0f} Wh) is sound, single cuts are not seen; give their"
            " number: --count 20"
        )
    if log.interval_s > LEVELS_TO_S:
        notes.append("levels and duty need a value a second; momentary values, not means, may be"
                     " a fifth off")  # fmt: skip
    levels = _levels(log, whole, kind) if seen is not None else {}
    profile = _profile(tool, log, kind, whole, each, levels, base, standby, notes)
    working, idle, duty, taper = (levels.get(key) for key in LEVELS)
    return Traced(
        tool, log, kind, tuple(bursts), number, each, total, standby, working, idle, duty, taper,
        profile, tuple(notes),
    )  # fmt: skip


LEVELS = ("working_w", "idle_w", "duty_percent", "taper_from_percent")


def _kind(log: Log, bursts: Sequence[Seen], base: Table) -> str:
    """charging where the power falls away, cycling where bursts come by themselves, else the
    profile's own kind or what the levels inside say."""
    if log.interval_s <= TAPER_TO_S and all(_taper(log, burst) is not None for burst in bursts):
        return "charging"
    known = base.get("kind")
    if known in ("steady", "intermittent", "cycling", "charging"):
        return str(known)
    starts = np.array([burst.start_s for burst in bursts])
    lengths = np.array([burst.end_s - burst.start_s for burst in bursts])
    if starts.size >= 4 and np.diff(starts).mean() >= CYCLE_S:
        regular = np.diff(starts).std() < REGULAR * np.diff(starts).mean()
        if regular and lengths.std() < REGULAR * lengths.mean():
            return "cycling"
    inner = _inside(log, bursts)
    if log.interval_s <= LEVELS_TO_S and inner.size > 8:
        threshold, explained = two_levels(inner)
        above = inner > threshold
        if explained >= SPLIT and inner[above].mean() > TWICE * inner[~above].mean():
            return "intermittent"
    return "steady"


def _taper(log: Log, burst: Seen) -> tuple[float, float] | None:
    """Full watts of a charge and the percent of its energy from which it tapers, or None.

    A charge at full power to a share f of its energy E and then falling in a straight line takes
    (2 - f) E / P.
    """
    watts = smoothed(log.watts[burst.first : burst.last + 1])
    long = watts.size * log.interval_s
    if long < CHARGE_S or watts.size < 20:
        return None
    full = float(np.median(watts[: max(watts.size // 4, 3)]))
    falling = (watts < 0.9 * full) & (watts > 0.1 * full)
    late = np.arange(watts.size) >= watts.size // 3
    if (falling & late).sum() < max(TAPER_SAMPLES, 0.04 * watts.size):
        return None
    if (falling & ~late).any() or watts[-2:].mean() > 0.5 * full:
        return None
    share = 2.0 - long * full / (burst.energy_wh * 3600.0)
    return full, 100.0 * float(np.clip(share, 0.0, 1.0))


def _inside(log: Log, bursts: Sequence[Seen]) -> Array:
    """The samples of all bursts without those at their edges."""
    parts = [log.watts[burst.first + 1 : burst.last] for burst in bursts]
    return np.concatenate(parts) if parts else np.zeros(0)


def _count_seen(log: Log, bursts: Sequence[Seen], kind: str) -> int | None:
    """How many bursts there were, None where the interval may hide some."""
    if log.interval_s <= SHOWS_BURSTS_S or kind == "charging" or len(bursts) == 1:
        alone = len(bursts) == 1 and log.interval_s > SHOWS_BURSTS_S and kind == "intermittent"
        return None if alone else len(bursts)
    energy = np.array([burst.energy_wh for burst in bursts])
    alike = energy.max() <= ALIKE * np.median(energy)
    return len(bursts) if alike else None


def _levels(log: Log, bursts: Sequence[Seen], kind: str) -> dict[str, float]:
    """The watts at work and running free, the share at work, the start of a taper: what the
    interval shows of them."""
    inner = _inside(log, bursts)
    if kind == "charging":
        tapers = [t for t in (_taper(log, burst) for burst in bursts) if t is not None]
        if not tapers:
            return {}
        full, share = np.mean(tapers, axis=0)
        return {"working_w": float(full), "taper_from_percent": float(share)}
    if inner.size < max(3, len(bursts)):
        return {}
    mean = float(inner.mean())
    if kind == "intermittent" and log.interval_s <= LEVELS_TO_S:
        threshold, explained = two_levels(inner)
        above = inner > threshold
        high, low = float(np.median(inner[above])), float(np.median(inner[~above]))
        if explained >= SPLIT and high > TWICE * low:
            duty = 100.0 * min(max((mean - low) / (high - low), 0.0), 1.0)
            return {"working_w": high, "idle_w": low, "duty_percent": duty}
    return {"working_w": mean}


def _profile(
    tool: str,
    log: Log,
    kind: str,
    bursts: Sequence[Seen],
    each: float | None,
    levels: dict[str, float],
    base: Table,
    standby: float,
    notes: list[str],
) -> Table:
    """The profile with what was seen in place of what was stated."""
    table = dict(base) or {"name": tool, "supply": _supply(log, notes)}
    if not base:
        notes.append("how it starts is not seen in a log: take start_w from the label")
    spread = float(np.std([b.energy_wh for b in bursts]) / np.mean([b.energy_wh for b in bursts]))
    spread = max(spread / np.sqrt(len(bursts)), LEAST_SPREAD)
    own = {"kind": kind, "spread_percent": rounded(100.0 * spread)}
    own["source"] = f"{OWN}, a meter's log: bursts: {len(bursts)}, a value in {log.interval_s:g} s"
    if kind == "charging":
        if "taper_from_percent" in levels:
            own["taper_from_percent"] = rounded(levels["taper_from_percent"])
            own["power_w"] = rounded(levels["working_w"])
        if each is not None:
            own["energy_wh"] = rounded(each)
        if "power_w" not in own and "power_w" not in table:
            own["power_w"] = rounded(float(np.median(_inside(log, bursts))))
        return {**table, **own}
    if kind == "cycling":
        own |= _cycle(log, bursts) | {"off_w": rounded(standby)}
        return {**table, **own}
    if not levels:
        notes.append("single bursts are too short for this interval: the watts are not learned")
        return {}
    if "duty_percent" in levels:
        own |= {key: rounded(levels[key]) for key in LEVELS[:3]}
    elif kind == "intermittent" and base.get("kind") == "intermittent":
        own |= loaded(as_task(tool, base), levels["working_w"])
    else:
        own |= {"kind": "steady", "working_w": rounded(levels["working_w"])}
        table = {k: v for k, v in table.items() if k not in ("idle_w", "duty_percent")}
    return {**table, **own}


def _cycle(log: Log, bursts: Sequence[Seen]) -> Table:
    """A cycle's watts, share and period."""
    starts = [burst.start_s for burst in bursts]
    period = float(np.mean(np.diff(starts))) if len(starts) > 1 else float(log.time_s[-1])
    on_w = float(_inside(log, bursts).mean())
    energy = float(np.mean([burst.energy_wh for burst in bursts]))
    duty = 100.0 * min(energy * 3600.0 / (on_w * period), 1.0)
    return {
        "on_w": rounded(on_w),
        "duty_percent": rounded(duty),
        "period_min": rounded(period / 60.0),
    }


def _supply(log: Log, notes: list[str]) -> str:
    """The outlet, from the volts where they were logged."""
    if log.volts is None:
        notes.append('the outlet is taken for mains; else say supply = "dc12" or "usb"')
        return "ac"
    return "ac" if log.volts > 60.0 else "dc12" if log.volts > 9.0 else "usb"


def as_task(tool: str, table: Table) -> Task:
    """A profile as a task that only needs placing."""
    kept = {key: value for key, value in table.items() if key != "trace"}
    return Task.model_validate({"name": tool, **kept})


def with_trace(kit: Kit, found: Traced, day: date) -> Kit:
    """The kit with a traced tool in it: what was known of it before counts by its doubt.

    Raises PlanError where the log does not show enough for a profile.
    """
    if not found.profile:
        lacking = f"the watts of {found.tool} are not seen in it; log a value a second"
        raise PlanError([f"{found.log.name}: {lacking}"])
    task = as_task(found.tool, found.profile)
    size, key = size_of(task), f"tool:{found.tool}"
    spread = task.spread_percent / 100.0
    base = profiles.tools().get(found.tool)
    stated = size if base is None else size_of(as_task(found.tool, base))
    first = 0.25 if base is None else base.get("spread_percent", 20.0) / 100.0
    belief = kit.aged(day).with_figures([Figure(key, stated, max(first, spread), 1.0, "W")])
    at = belief.keys.index(key)
    factor = size / float(belief.base[at])
    after = belief.told(key, factor, factor * float(np.hypot(PLUG_METER, spread)))
    new = with_belief(kit, after, day)
    tables = {**new.tables, "tools": {**new.tables.get("tools", {}), found.tool: found.profile}}
    tables.pop(found.tool, None)
    return replace(new, tables=tables)
