"""What a meter's log shows of a tool, as a profile: what was seen in place of what is stated.

The bursts and levels are found in `bursts` and `levels`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from energy.answers.learn.kit_file import OWN
from energy.answers.learn.kit_profiles import LEAST_SPREAD, loaded
from energy.answers.learn.posterior import rounded
from energy.answers.meter.bursts import LoggedBurst, inside, periods
from energy.answers.meter.levels import Levels
from energy.answers.meter.log import MAINS_V, Log
from energy.plan.profiles import Table
from energy.plan.task import Task, of_its_kind

MISSED = 1.5  # past so many periods one was not seen


@dataclass(frozen=True)
class LoggedWork:
    """What a log shows of a tool's work: its kind, the bursts that count, the energy of each where
    it is known, the levels inside them, and the watts between them."""

    log: Log
    kind: str
    bursts: Sequence[LoggedBurst]
    each_wh: float | None
    levels: Levels
    standby_w: float


def profile_of(tool: str, work: LoggedWork, base: Table, notes: list[str]) -> Table:
    """The profile `base` of a tool with what was seen in place of what was stated; an empty one
    where too little was seen. Adds to the notes what is missing."""
    log, kind, levels = work.log, work.kind, work.levels
    table = dict(base) or {"name": tool, "supply": _supply(log, notes)}
    if not base:
        notes.append("how it starts is not seen in a log: take start_w from the label")
    own = {"kind": kind, "spread_percent": rounded(100.0 * _spread(work))}
    own["source"] = (
        f"{OWN}, a meter's log: bursts: {len(work.bursts)}, a value in {log.interval_s:g} s"
    )
    if kind == "charging":
        if levels.taper_from_percent is not None and levels.working_w is not None:
            own["taper_from_percent"] = rounded(levels.taper_from_percent)
            own["power_w"] = rounded(levels.working_w)
        if work.each_wh is not None:
            own["energy_wh"] = rounded(work.each_wh)
        elif not base:
            notes.append("no whole charge is seen: its energy is not learned")
            return {}
        return of_its_kind({**table, **own})
    if kind == "cycling":
        if not (cycle := _cycle(work, base.get("on_w"))):
            notes.append("no whole cycle is seen: the share is not learned; log three or more,"
                         " a value a minute")  # fmt: skip
            return {}
        return of_its_kind({**table, **own, **cycle})
    if levels.working_w is None:
        notes.append("single bursts are too short for this interval: the watts are not learned;"
                     " log a value a second")  # fmt: skip
        return {}
    if levels.idle_w is not None and levels.duty_percent is not None:
        own["working_w"], own["idle_w"] = rounded(levels.working_w), rounded(levels.idle_w)
        own["duty_percent"] = rounded(levels.duty_percent)
    elif kind == "intermittent" and base.get("kind") == "intermittent":
        own |= loaded(as_task(tool, base), levels.working_w)
    else:
        own |= {"kind": "steady", "working_w": rounded(levels.working_w)}
    return of_its_kind({**table, **own})


def _spread(work: LoggedWork) -> float:
    """The standard deviation of the bursts' mean energy, as a share."""
    energy_wh = np.array([burst.energy_wh for burst in work.bursts])
    off_wh = max(float(energy_wh.std()), work.log.step_wh)
    return max(float(off_wh / energy_wh.mean() / np.sqrt(energy_wh.size)), LEAST_SPREAD)


def _cycle(work: LoggedWork, stated_w: float | None) -> Table:
    """A cycle's watts, share and period; nothing where no cycle is whole, or where the log shows
    no watts and none are stated."""
    between_s, inner = periods(work.log, work.bursts), inside(work.log, work.bursts)
    on_w = float(inner.mean()) if inner.size else stated_w
    if between_s.size == 0 or on_w is None or on_w <= work.standby_w:
        return {}
    period_s = float(between_s[between_s < MISSED * np.median(between_s)].mean())
    energy_wh = float(np.mean([burst.energy_wh for burst in work.bursts]))
    duty = 100.0 * min(energy_wh * 3600.0 / ((on_w - work.standby_w) * period_s), 1.0)
    return {
        "on_w": rounded(on_w),
        "off_w": rounded(work.standby_w),
        "duty_percent": rounded(duty),
        "period_min": rounded(period_s / 60.0),
    }


def _supply(log: Log, notes: list[str]) -> str:
    """The outlet, from the volts where they were logged."""
    if log.volts is None:
        notes.append('the outlet is taken for mains; else say supply = "dc12" or "usb"')
        return "ac"
    return "ac" if log.volts > MAINS_V else "dc12" if log.volts > 9.0 else "usb"


def as_task(tool: str, table: Table) -> Task:
    """A profile as a task that only needs placing."""
    kept = {key: value for key, value in table.items() if key != "trace"}
    return Task.model_validate({"name": tool, **kept})
