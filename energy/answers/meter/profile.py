"""What a meter's log shows of a tool, as a profile: what was seen in place of what is stated.

The bursts and levels are found in `bursts` and `trace`.
"""

from collections.abc import Sequence

import numpy as np

from energy.answers.learn.kit_file import OWN
from energy.answers.learn.kit_profiles import LEAST_SPREAD, loaded
from energy.answers.learn.posterior import rounded
from energy.answers.meter.bursts import Seen, inside, periods
from energy.answers.meter.log import MAINS_V, Log
from energy.plan.profiles import Table
from energy.plan.task import Task

LEVELS = ("working_w", "idle_w", "duty_percent", "taper_from_percent")
MISSED = 1.5  # past so many periods one was not seen


def profile_of(
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
    energy = np.array([burst.energy_wh for burst in bursts])
    off = max(float(energy.std()), log.step_wh) / float(energy.mean()) / np.sqrt(energy.size)
    spread = max(off, LEAST_SPREAD)
    own = {"kind": kind, "spread_percent": rounded(100.0 * spread)}
    own["source"] = f"{OWN}, a meter's log: bursts: {len(bursts)}, a value in {log.interval_s:g} s"
    if kind == "charging":
        if "taper_from_percent" in levels:
            own["taper_from_percent"] = rounded(levels["taper_from_percent"])
            own["power_w"] = rounded(levels["working_w"])
        if each is not None:
            own["energy_wh"] = rounded(each)
        elif not base:
            notes.append("no whole charge is seen: its energy is not learned")
            return {}
        return {**table, **own}
    if kind == "cycling":
        if not (cycle := _cycle(log, bursts, base.get("on_w"), standby)):
            notes.append("no whole cycle is seen: the share is not learned; log three or more,"
                         " a value a minute")  # fmt: skip
            return {}
        return {**table, **own, **cycle}
    if not levels:
        notes.append("single bursts are too short for this interval: the watts are not learned;"
                     " log a value a second")  # fmt: skip
        return {}
    if "duty_percent" in levels:
        own |= {key: rounded(levels[key]) for key in LEVELS[:3]}
    elif kind == "intermittent" and base.get("kind") == "intermittent":
        own |= loaded(as_task(tool, base), levels["working_w"])
    else:
        own |= {"kind": "steady", "working_w": rounded(levels["working_w"])}
        table = {k: v for k, v in table.items() if k not in ("idle_w", "duty_percent")}
    return {**table, **own}


def _cycle(log: Log, bursts: Sequence[Seen], stated_w: float | None, standby: float) -> Table:
    """A cycle's watts, share and period; nothing where no cycle is whole, or where the log shows
    no watts and none are stated."""
    between, inner = periods(log, bursts), inside(log, bursts)
    on_w = float(inner.mean()) if inner.size else stated_w
    if between.size == 0 or on_w is None or on_w <= standby:
        return {}
    period = float(between[between < MISSED * np.median(between)].mean())
    energy = float(np.mean([burst.energy_wh for burst in bursts]))
    duty = 100.0 * min(energy * 3600.0 / ((on_w - standby) * period), 1.0)
    return {
        "on_w": rounded(on_w),
        "off_w": rounded(standby),
        "duty_percent": rounded(duty),
        "period_min": rounded(period / 60.0),
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
