"""A person's own kit as a file: learned tools, pack and panels, and what taught them.

Any plan may name the file in `profiles`. What is learned is worked out in `learn` and `trace`;
here it is read, added to and worded as TOML.
"""

import copy
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from energy.answers.learn.kit_names import (
    PANEL_PLACED,
    TOOL_MAKE,
    pack_key,
    pack_name,
    panel_key,
    panel_names,
    tool_key,
    tools_of,
)
from energy.answers.learn.posterior import (
    NOTHING,
    Posterior,
    rounded,
    size_of,
)
from energy.answers.learn.readings import Row
from energy.plan import Plan, PlanError, profiles
from energy.plan.documents import parse, read_text
from energy.plan.kit import Pack, Panel
from energy.plan.profiles import KINDS, Table, sorted_into_kinds
from energy.plan.task import Task
from energy.plan.words import shown

OWN = "your own readings"  # how the source of a learned figure begins
LEAST_SPREAD = 0.05  # no two days' work is more alike
MONTH_DAYS = 30.44
HEAD = (
    'Your own kit, written by `energy learn`. Name it in a plan: profiles = ["NAME"].',
    "Learning again rewrites it; comments made by hand are not kept.",
)
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


@dataclass(frozen=True)
class Kit:
    """What a file of learned figures holds: all its tables, and the posterior in them."""

    tables: Table = field(default_factory=dict)
    posterior: Posterior = NOTHING

    @property
    def learned(self) -> Table:
        """The tables that say what was learned from what; not to be changed."""
        found: Table = self.tables.get("learned", {})
        return found

    @property
    def logs(self) -> Table:
        """The record of each meter's log, by its mark; not to be changed."""
        found: Table = self.learned.get("logs", {})
        return found

    @property
    def updated(self) -> date | None:
        """The day of the last reading."""
        found = self.learned.get("figures", {}).get("updated")
        return found if isinstance(found, date) else None

    def aged(self, day: date) -> Posterior:
        """The posterior as it stands on a later day."""
        if self.updated is None:
            return self.posterior
        return self.posterior.aged((day - self.updated).days / MONTH_DAYS)


def kit_of(kit: "Kit | Path | str | None") -> "Kit":
    """A kit, or the one in a file; an empty one for none. Raises PlanError as `read_kit` does."""
    if isinstance(kit, Kit):
        return kit
    return Kit() if kit is None else read_kit(Path(kit))


def read_kit(path: Path) -> Kit:
    """The kit of a file; an empty one where there is no file. Raises PlanError."""
    if not Path(path).exists():
        return Kit()
    name = Path(path).name
    tables = parse(read_text(Path(path)), name)
    learned = sorted_into_kinds(tables, name)["learned"]
    figures = learned.get("figures", {})
    if not figures:
        return Kit(tables)
    try:
        keys = tuple(str(key) for key in figures["names"])
        base, mean, first = (
            np.array(figures[key], dtype=float) for key in ("base", "mean", "first_spread")
        )
        covariance = np.array(figures["covariance"], dtype=float)
        same = base.shape == mean.shape == first.shape == (len(keys),)
        if not same or covariance.shape != (len(keys), len(keys)):
            raise ValueError
        np.linalg.cholesky(covariance)
    except (KeyError, ValueError, TypeError, np.linalg.LinAlgError):
        raise PlanError(
            [f"{name}: [learned.figures] cannot be used; learn anew into another file"]
        ) from None
    return Kit(tables, Posterior(keys, base, mean, covariance, first))


def named_by(plan: Plan, folder: Path, written: Path | None = None) -> Kit:
    """The kits among the profile files that a plan names, as one; an empty one where there is
    none. Of two figures of one name the later file's counts, as for profiles; the last is the
    file that will be written, where it is there."""
    last = {written.resolve()} if written is not None and written.exists() else set()
    files = dict.fromkeys((folder / name).resolve() for name in plan.profiles)
    found = [(read_kit(file), file) for file in (*(files.keys() - last), *last)]
    kits = [kit for kit, file in found if kit.learned or file in last]
    if len(kits) < 2:
        return kits[0] if kits else Kit()
    tables: Table = {}
    posterior, day = NOTHING, max(kit.updated or date.min for kit in kits)
    for kit in kits:
        for kind, several in kit.tables.items():
            if kind == "learned":
                for what, records in several.items():
                    tables.setdefault(kind, {}).setdefault(what, {}).update(records)
            elif kind in KINDS:
                tables.setdefault(kind, {}).update(several)
            else:
                tables[kind] = several
        posterior = posterior.joined(kit.aged(day))
    kit = Kit(copy.deepcopy(tables))
    return with_posterior(kit, posterior, day) if posterior.keys else kit


def refuse_known_rows(kit: Kit, rows: Sequence[Row], what: str, why: str = "") -> None:
    """Raise PlanError where rows are among the kit's "readings", or its "scores"; `why` says what
    is wrong with that."""
    known = {
        mark: table.get("last", "")
        for table in kit.learned.get(what, {}).values()
        for mark in table.get("rows", [])
    }
    again = [row for row in rows if row.mark in known]
    if again:
        word = "learned" if what == "readings" else "scored"
        raise PlanError(
            [
                f"{len(again)} of {len(rows)} rows were {word} before, with those to"
                f" {known[again[-1].mark]}; {why}leave them out"
            ]
        )


def with_rows(kit: Kit, what: str, name: str, rows: Sequence[Row], **more: Any) -> Kit:
    """The kit with a record of some rows; more are further values of the record."""
    tables = copy.deepcopy(kit.tables)
    record = tables.setdefault("learned", {}).setdefault(what, {})
    record[f"from-{rows[-1].mark}"] = {
        "file": name,
        "first": rows[0].at.isoformat(timespec="minutes"),
        "last": rows[-1].at.isoformat(timespec="minutes"),
        **more,
        "rows": [row.mark for row in rows],
    }
    return replace(kit, tables=tables)


def refuse_known_log(kit: Kit, name: str, mark: str) -> None:
    """Raise PlanError where a meter's log of that mark was learned before."""
    if (known := kit.logs.get(f"from-{mark}")) is not None:
        raise PlanError([f"{name}: was learned before, as {known['file']} of {known['tool']}"])


def with_log(
    kit: Kit,
    tool: str,
    name: str,
    mark: str,
    first: date | None = None,
    last: date | None = None,
) -> Kit:
    """The kit with a record of a meter's log of a tool: its file's name, a short hash by which
    the same values are known again, and its first and last day where they are known."""
    record = {"file": name, "tool": tool, "first": first, "last": last}
    tables = copy.deepcopy(kit.tables)
    logs = tables.setdefault("learned", {}).setdefault("logs", {})
    logs[f"from-{mark}"] = {key: value for key, value in record.items() if value is not None}
    return replace(kit, tables=tables)


def with_posterior(kit: Kit, posterior: Posterior, day: date) -> Kit:
    """The kit with another posterior, as of a day."""
    tables = copy.deepcopy(kit.tables)
    tables.setdefault("learned", {})["figures"] = {
        "updated": max(day, kit.updated or day),
        "names": list(posterior.keys),
        "base": _short(posterior.base),
        "mean": _short(posterior.mean),
        "first_spread": _short(posterior.first_sd),
        "covariance": [_short(row) for row in posterior.covariance],
    }
    return Kit(tables, posterior)


def with_profiles(
    kit: Kit, plan: Plan, posterior: Posterior, in_plan: np.ndarray, source: str
) -> Kit:
    """The kit with the profiles of what was learned or moved, as the plan's own scaled."""
    tables = copy.deepcopy(kit.tables)
    factor = dict(zip(posterior.keys, (posterior.mean / in_plan).tolist(), strict=True))
    doubt = dict(zip(posterior.keys, posterior.sd.tolist(), strict=True))
    known = set(posterior.changed)
    for name, task in zip(tools_of(plan), plan.task, strict=True):
        key = f"tool:{name}"
        if key in known and task.kind != "trace":
            tables.pop(name, None)
            table = tool_table(task, factor[key]) | {
                "spread_percent": rounded(100.0 * max(doubt[key], LEAST_SPREAD)),
                "source": source,
            }
            if name != tool_key(task.tool, task.name):
                table["name"] = task.name
            tables.setdefault("tools", {})[name] = table
    capacity, idle = pack_key("capacity_wh", plan), pack_key("idle_w", plan)
    if known & {capacity, idle}:
        table = _pack_table(plan, factor.get(capacity, 1.0), factor.get(idle, 1.0))
        tables.setdefault("packs", {})[pack_name(plan)] = table
    if plan.panel and panel_key(plan) in known:
        key = panel_key(plan)
        for name, panel in zip(panel_names(plan), plan.panel, strict=True):
            percent = min(100.0, panel.condition_percent * factor[key])
            table = _set_by(panel, PANEL_PLACED)
            table["condition_percent"] = rounded(percent)
            table["condition_spread_percent"] = rounded(100.0 * doubt[key])
            tables.setdefault("panels", {}).setdefault(name, {}).update(table)
    return replace(kit, tables=tables)


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
    grow only where load all the time would not be enough.
    """
    working = task.working_w or 0.0
    share = (mean_w - task.idle_w) / max(working - task.idle_w, 1e-9)
    if share > 1.0:
        return {"working_w": rounded(mean_w), "duty_percent": 100.0}
    if share < 0.0:
        return {"idle_w": rounded(mean_w), "duty_percent": 0.0}
    return {"duty_percent": rounded(100.0 * share)}


def _pack_table(plan: Plan, capacity: float, idle: float) -> Table:
    pack = plan.pack
    table = _set_by(pack, PACK_PLACED)
    table["capacity_wh"] = rounded(pack.capacity_wh * capacity)
    table["idle_w"] = rounded(pack.idle_w * idle)
    table["charge_max_w"], table["discharge_max_w"] = pack.charge_max_w, pack.discharge_max_w
    if pack.inverter is not None:
        table["inverter"].pop("on", None)
        table["inverter"]["surge_w"] = pack.inverter.surge_w
        table["inverter"]["idle_w"] = rounded(pack.inverter.idle_w * idle)
    return {key: value for key, value in table.items() if value not in (None, {})}


def _set_by(kit: Pack | Panel, placed: Sequence[str]) -> Table:
    """What a plan and its profile state of a pack's or panel's make."""
    table: Table = kit.model_dump(exclude_unset=True, exclude=set(placed))
    return table


def refuse_another_make(kit: Kit, plan: Plan) -> None:
    """Raise PlanError where the plan's pack or a panel is of another make than the kit's of that
    name: one's figures would be given to the other."""
    several = [("packs", pack_name(plan), _set_by(plan.pack, PACK_PLACED))]
    for name, panel in zip(panel_names(plan), plan.panel, strict=True):
        several.append(("panels", name, _set_by(panel, PANEL_PLACED)))
    problems = []
    for kind, name, table in several:
        here, known = (_flat(one) for one in (table, kit.tables.get(kind, {}).get(name, {})))
        differ = [key for key in here if key in known and here[key] != known[key]]
        if differ:
            key = differ[0]
            in_kit, in_plan = (shown(one[key]).removesuffix(".0") for one in (known, here))
            problems.append(
                f"[{kind}.{name}] has {key} {in_kit} in the kit and {in_plan}"
                f" in the plan, so it is another {kind[:-1]}: give this one a profile of its own,"
                " or learn it into another file"
            )
    if problems:
        raise PlanError(list(dict.fromkeys(problems)))


def _flat(table: Table) -> Table:
    """What tells one make from another, with the tables inside by the names of both."""
    inner = {
        f"{outer}.{key}": value
        for outer, one in table.items()
        if isinstance(one, dict)
        for key, value in one.items()
    }
    return {
        key: value
        for key, value in {**table, **inner}.items()
        if not isinstance(value, dict) and key not in NOT_MAKE
    }


def wins_over(plan: Plan, kit: Kit) -> list[str]:
    """What a plan must say, or leave out, for the kit's figures to count: one line each."""
    source, lines = plan.source, []
    packs, panels = kit.tables.get("packs", {}), kit.tables.get("panels", {})
    pack = source.get("pack", {})
    if (name := pack_name(plan)) in packs:
        keys = [key for key in ("capacity_wh", "capacity_ah", "idle_w") if key in pack]
        keys += ["inverter.idle_w"] if "idle_w" in pack.get("inverter", {}) else []
        lines += _say("[pack]", "profile", name, plan.pack.profile is None, keys)
    names = panel_names(plan)
    for number, (name, panel) in enumerate(zip(names, plan.panel, strict=True), start=1):
        if name in panels:
            keys = [key for key in ("condition_percent",) if key in source["panel"][number - 1]]
            where = f"panel {number}" if len(names) > 1 else "[[panel]]"
            lines += _say(where, "profile", name, panel.profile != name, keys)
    for task, table, name in zip(plan.task, source["task"], tools_of(plan), strict=True):
        if name in kit.tables.get("tools", {}):
            keys = [key for key in SCALED.get(task.kind, ()) if key in table]
            lines += _say(f'task "{task.name}"', "tool", name, task.tool != name, keys)
    return lines


def _say(where: str, key: str, name: str, unnamed: bool, keys: Iterable[str]) -> list[str]:
    """How a table of the plan comes to take its figures from the kit."""
    say = [f'say {key} = "{name}"'] if unnamed else []
    if keys := list(keys):
        say.append(f"take {', '.join(keys)} out, which the plan states itself")
    return [f"{where}: {' and '.join(say)}"] if say else []


def as_toml(kit: Kit, name: str) -> str:
    """The kit as the text of a file of that name."""
    import tomlkit

    document = tomlkit.document()
    for line in HEAD:
        document.add(tomlkit.comment(line.replace("NAME", name)))
    for key, value in kit.tables.items():
        document.add(key, tomlkit.item(value))
    note = f"{OWN}, to {kit.updated}"
    for kind, keys in (("packs", ("capacity_wh", "idle_w")), ("panels", ("condition_percent",))):
        for table in document.get(kind, {}).values():
            for key in keys:
                if key in table:
                    table[key].comment(note)
    return tomlkit.dumps(document)


def _short(values: Any) -> list[float]:
    return [float(f"{value:.8g}") for value in values]
