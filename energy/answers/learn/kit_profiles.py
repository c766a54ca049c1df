"""What was learned of tools, pack and panels, as profiles in a kit file that any plan can name.

The profiles are the plan's own, scaled by the posterior's factors. The file itself is `kit_file`'s.
"""

import copy
from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace

import numpy as np

from energy.answers.learn.component_names import (
    PANEL_PLACED,
    TOOL_MAKE,
    pack_key,
    pack_name,
    panel_key,
    panel_names,
    tool_key,
    tools_of,
)
from energy.answers.learn.kit_file import KitFile
from energy.answers.learn.posterior import Posterior, rounded, size_of
from energy.model import Array
from energy.plan import Plan, PlanError, profiles
from energy.plan.kit import Pack, Panel
from energy.plan.profiles import Table
from energy.plan.task import Task
from energy.plan.words import shown

LEAST_SPREAD = 0.05  # no two days' work is more alike
SCALED = {
    "steady": ("working_w",),
    "intermittent": ("working_w", "idle_w", "duty_percent"),
    "cycling": ("on_w", "off_w"),
    "charging": ("energy_wh",),
}
NOT_MAKE = (  # learned, or of no consequence for what is
    "name", "kg", "price", "capacity_wh", "idle_w", "inverter.idle_w", "inverter.on",
    "condition_percent", "condition_spread_percent", "health_percent", "health_spread_percent",
)  # fmt: skip
PACK_PLACED = ("profile", "start_percent", "reserve_percent", "temperature", "capacity_ah")


def with_profiles(
    kit_file: KitFile,
    plan: Plan,
    posterior: Posterior,
    stated_factor: Array,
    source: str,
    apart: Collection[str] = (),
) -> KitFile:
    """The kit file with the profiles of what was learned, or moved along with it.

    stated_factor (p,) are the plan's own figures as factors on the posterior's base; source is what
    the profiles say of where their figures come from. apart: the figures that cannot be told from
    others, which keep all the doubt there was at first.
    """
    tables = copy.deepcopy(kit_file.profiles)
    factor = dict(zip(posterior.keys, (posterior.mean / stated_factor).tolist(), strict=True))
    untold = np.array([key in apart for key in posterior.keys])
    doubt = np.maximum(posterior.relative_sd, posterior.first_sd * untold)
    spread = dict(zip(posterior.keys, doubt.tolist(), strict=True))
    changed = set(posterior.changed)
    for name, task in zip(tools_of(plan), plan.task, strict=True):
        key = f"tool:{name}"
        if key in changed and task.kind != "trace":
            tables.pop(name, None)
            table = tool_table(task, factor[key]) | {
                "spread_percent": rounded(100.0 * max(spread[key], LEAST_SPREAD)),
                "source": f"{source}; not told apart from others" if key in apart else source,
            }
            if name != tool_key(task.tool, task.name):
                table["name"] = task.name
            tables.setdefault("tools", {})[name] = table
    capacity, idle = pack_key("capacity_wh", plan), pack_key("idle_w", plan)
    if changed & {capacity, idle}:
        table = _pack_table(plan, factor.get(capacity, 1.0), factor.get(idle, 1.0))
        tables.setdefault("packs", {})[pack_name(plan)] = table
    if plan.panel and (key := panel_key(plan)) in changed:
        for name, panel in zip(panel_names(plan), plan.panel, strict=True):
            percent = min(100.0, panel.condition_percent * factor[key])
            table = _make_of(panel, PANEL_PLACED)
            table["condition_percent"] = rounded(percent)
            table["condition_spread_percent"] = rounded(100.0 * spread[key])
            tables.setdefault("panels", {}).setdefault(name, {}).update(table)
    return replace(kit_file, profiles=tables)


def tool_table(task: Task, factor: float = 1.0) -> Table:
    """The profile of a plan's tool with its energy scaled."""
    keys = ("name", "group", *TOOL_MAKE)
    table = {key: getattr(task, key) for key in keys if key in task.model_fields_set}
    built_in = profiles.built_in("tools").get(task.tool or "", {})
    table["name"] = built_in.get("name", task.tool or task.name)
    if task.kind == "intermittent":
        return table | loaded(task, size_of(task) * factor)
    for key in SCALED.get(task.kind, ()):
        if key in table:
            table[key] = rounded(table[key] * factor)
    return table


def loaded(task: Task, mean_w: float) -> Table:
    """How much of a burst an intermittent tool is under load to draw so much on the mean.

    Percentages tell its energy, not its watts under load, which the limits are judged by: those
    grow only where load all the time would not be enough, and never shrink. Where it draws less
    than stated it draws less running free too, by the same factor.
    """
    working = task.working_w or 0.0
    idle_w = task.idle_w * min(mean_w / max(size_of(task), 1e-9), 1.0)
    share = (mean_w - idle_w) / max(working - idle_w, 1e-9)
    if share > 1.0:
        return {"working_w": rounded(mean_w), "duty_percent": 100.0}
    own = {"idle_w": rounded(idle_w)} if idle_w < task.idle_w else {}
    return {**own, "duty_percent": rounded(100.0 * share)}


def _pack_table(plan: Plan, capacity_factor: float, idle_factor: float) -> Table:
    """The profile of a plan's pack with its capacity and idle draw scaled; the reserve is its
    profile's, where the plan does not state its own."""
    pack = plan.pack
    own = {"reserve_percent"} & plan.source["pack"].keys()
    table = _make_of(pack, [key for key in PACK_PLACED if key != "reserve_percent" or own])
    table["capacity_wh"] = rounded(pack.capacity_wh * capacity_factor)
    table["idle_w"] = rounded(pack.idle_w * idle_factor)
    table["charge_max_w"], table["discharge_max_w"] = pack.charge_max_w, pack.discharge_max_w
    if pack.inverter is not None:
        table["inverter"].pop("on", None)
        table["inverter"]["surge_w"] = pack.inverter.surge_w
        table["inverter"]["idle_w"] = rounded(pack.inverter.idle_w * idle_factor)
    return {key: value for key, value in table.items() if value not in (None, {})}


def _make_of(component: Pack | Panel, placed: Sequence[str]) -> Table:
    """What a plan and its profile state of a pack's or panel's make: all but the keys `placed`."""
    table: Table = component.model_dump(exclude_unset=True, exclude=set(placed))
    return table


def refuse_another_make(kit_file: KitFile, plan: Plan) -> None:
    """Raise PlanError where the plan's pack or a panel is of another make than the kit file's of
    that name: the figures of one would be given to the other."""
    makes = [("packs", pack_name(plan), _make_of(plan.pack, PACK_PLACED))]
    for name, panel in zip(panel_names(plan), plan.panel, strict=True):
        makes.append(("panels", name, _make_of(panel, PANEL_PLACED)))
    problems = []
    for kind, name, make in makes:
        in_plan, in_kit = _flat(make), _flat(kit_file.profiles.get(kind, {}).get(name, {}))
        key = next((key for key in in_plan if in_kit.get(key, in_plan[key]) != in_plan[key]), None)
        if key is not None:
            learned, stated = (shown(side[key]).removesuffix(".0") for side in (in_kit, in_plan))
            problems.append(
                f"[{kind}.{name}] has {key} {learned} in the kit and {stated}"
                f" in the plan, so it is another {kind[:-1]}: give this one a profile of its own,"
                " or learn it into another file"
            )
    if problems:
        raise PlanError(list(dict.fromkeys(problems)))


def _flat(table: Table) -> Table:
    """What tells one make from another; a key of a table inside goes by both names: a.b."""
    inner = {
        f"{outer}.{key}": value
        for outer, inside in table.items()
        if isinstance(inside, dict)
        for key, value in inside.items()
    }
    return {
        key: value
        for key, value in {**table, **inner}.items()
        if not isinstance(value, dict) and key not in NOT_MAKE
    }


def wins_over(plan: Plan, kit_file: KitFile) -> list[str]:
    """What a plan must say, or leave out, for the kit file's figures to count: one line each."""
    source, lines = plan.source, []
    tables = kit_file.profiles
    pack = source.get("pack", {})
    if (name := pack_name(plan)) in tables.get("packs", {}):
        keys = [key for key in ("capacity_wh", "capacity_ah", "idle_w") if key in pack]
        keys += ["inverter.idle_w"] if "idle_w" in pack.get("inverter", {}) else []
        lines += _say("[pack]", "profile", name, plan.pack.profile is None, keys)
    names = panel_names(plan)
    for number, (name, panel) in enumerate(zip(names, plan.panel, strict=True), start=1):
        if name in tables.get("panels", {}):
            keys = [key for key in ("condition_percent",) if key in source["panel"][number - 1]]
            where = f"panel {number}" if len(names) > 1 else "[[panel]]"
            lines += _say(where, "profile", name, panel.profile != name, keys)
    for task, table, name in zip(plan.task, source["task"], tools_of(plan), strict=True):
        if name in tables.get("tools", {}):
            keys = [key for key in SCALED.get(task.kind, ()) if key in table]
            lines += _say(f'task "{task.name}"', "tool", name, task.tool != name, keys)
    return lines


def _say(where: str, key: str, name: str, unnamed: bool, stated: Iterable[str]) -> list[str]:
    """How a table of the plan comes to take its figures from the kit file: by its name, if it is
    `unnamed`, and without the keys that the plan has `stated` itself."""
    say = [f'say {key} = "{name}"'] if unnamed else []
    if stated := list(stated):
        say.append(f"take {', '.join(stated)} out, which the plan states itself")
    return [f"{where}: {' and '.join(say)}"] if say else []
