"""A traced tool's entry in a person's kit file: its profile, its figure and the log's record."""

from dataclasses import replace
from datetime import date

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
from energy.answers.meter.log import Log
from energy.answers.meter.profile import as_task
from energy.answers.meter.trace import PLUG_METER, Traced, refuse, refuse_another
from energy.plan import profiles
from energy.plan.task import Task

UNKNOWN_SPREAD, USUAL_SPREAD_PERCENT = 0.25, 20.0  # of a tool without a profile, or without its own


def with_trace(kit_file: KitFile, traced: Traced, day: date) -> KitFile:
    """The kit file with a traced tool in it, as of the log's last day or else of `day`: what was
    known of it before counts by its doubt.

    Raises PlanError where the log was learned before, does not show enough for a profile, or
    shows another kind of tool than the kit file holds.
    """
    log, tool = traced.log, traced.tool
    refuse_known_log(kit_file, log.name, log.mark)
    if not traced.profile:
        refuse(log, traced.notes[-1])
    task, key = as_task(tool, traced.profile), f"tool:{tool}"
    _refuse_another_tool(kit_file, log, task)
    first, last = log.days or (None, None)
    day = min(last or day, day)
    size, spread = size_of(task), task.spread_percent / 100.0
    base = profiles.tools().get(tool)
    stated = size if base is None else size_of(as_task(tool, base))
    doubt = UNKNOWN_SPREAD
    if base is not None:
        doubt = base.get("spread_percent", USUAL_SPREAD_PERCENT) / 100.0
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
        refuse(log, f"{in_both}; give one another name")
    posterior, key = kit_file.posterior, f"tool:{tool}"
    if key in posterior.keys:
        at = posterior.keys.index(key)
        size = float(posterior.base[at] * posterior.mean[at])
        refuse_another(log, task, size, f"those of {tool} in the kit")
