"""Lay a plan's tables over the profiles they name, and fill in what the tables alone decide.

Values stay as TOML gave them; whether they make sense is for the models and `checks`.
"""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from energy.plan import profiles
from energy.plan.fields import number
from energy.plan.messages import Path as Where
from energy.plan.messages import Problem
from energy.plan.places import zone_at
from energy.plan.profiles import Kinds, Table
from energy.plan.raw_tables import has, items
from energy.plan.task import without_effect
from energy.plan.tool_words import which
from energy.plan.trace import read_trace
from energy.plan.words import PlanError, meant, shown

# Keys of which only one can be said: writing one takes the place of the other.
KIND_OF = {"sun_hours": "monthly", "sky": "sky", "file": "file"}
RIVALS = {
    "capacity_wh": "capacity_ah",
    "albedo": "ground",
    "each_s": "each_min",
    "minutes": "hours",
    "at": "between",
}
RIVALS |= {second: first for first, second in RIVALS.items()}
MOST = {"panel": 50, "charger": 50, "task": 2000, "run": 200, "profiles": 50}
MOST_A = 1e6  # of a panel: what lies beyond is told of the watts
OUTLET_TABLES = ("inverter", "dc12", "usb", "solar_input")


@dataclass(frozen=True)
class PlanFiles:
    """What a plan names: its folder, the person's own profiles, traces once read."""

    folder: Path
    own: Kinds
    traces: dict[Path, Any] = field(default_factory=dict)

    def trace(self, name: str) -> Any:
        """A trace file's points, read once; raises PlanError."""
        file = (self.folder / name).absolute()
        if file not in self.traces:
            self.traces[file] = read_trace(file)
        return self.traces[file]


@dataclass
class Merged:
    """A plan's tables with profiles under them, and what went wrong on the way.

    lacking holds the tables whose profile is unknown: what they leave out is no news.
    """

    tables: Table
    problems: list[Problem] = field(default_factory=list)
    lacking: set[Where] = field(default_factory=set)


def merge(source: Table, files: PlanFiles) -> Merged:
    """The whole tables of a plan. Nothing of `source` is changed."""
    done = Merged(dict(source))
    _shorten(done)
    tables = done.tables
    for key in ("weather", "goal"):
        tables.setdefault(key, {})
    if isinstance(tables["weather"], dict):
        tables["weather"] = _with_kind(tables["weather"])
    place = tables.get("place")
    south = False
    if isinstance(place, dict):
        south = (number(place.get("latitude_deg")) or 0.0) < 0.0
        tables["place"] = _with_zone(place)
    for key, name in (("weather", "file"), ("size", "candidates")):
        if isinstance(tables.get(key), dict):
            tables[key] = _whole_path(tables[key], name, files.folder)
    if isinstance(pack := tables.get("pack"), dict):
        outlets: Table = {key: {} for key in OUTLET_TABLES if key != "inverter"}
        pack = _over(_profile("packs", pack.get("profile"), ("pack",), done, files), pack)
        tables["pack"] = _over(outlets, pack)
    for k, panel in items(tables, "panel"):
        base = {"facing": "N" if south else "S"}
        profile = _profile("panels", panel.get("profile"), ("panel", k), done, files)
        base |= _at_the_size_of(panel, profile)
        tables["panel"][k] = _over(base, panel)
    for k, task in items(tables, "task"):
        tables["task"][k] = _whole_task(task, k, done, files)
    return done


def _with_kind(weather: Table) -> Table:
    """The kind of weather that its other keys tell of, where it is not named."""
    kinds = [kind for key, kind in KIND_OF.items() if has(weather, key)]
    return weather if "kind" in weather or len(kinds) != 1 else {"kind": kinds[0], **weather}


def _shorten(done: Merged) -> None:
    """Copy the lists of tables; report one that is too long and look at its beginning only."""
    for key, most in MOST.items():
        listed = done.tables.get(key)
        if not isinstance(listed, list | tuple):
            continue
        if len(listed) > most:
            text = f"{key} must hold at most {most} items (got {len(listed)})"
            done.problems.append(Problem((), text))
        done.tables[key] = list(listed[:most])


def _profile(kind: str, name: Any, where: Where, done: Merged, files: PlanFiles) -> Table:
    """The profile of that name; the person's own beat the built-in ones."""
    if not isinstance(name, str):
        return {}
    if name in files.own[kind]:
        return dict(files.own[kind][name])
    built_in = profiles.built_in(kind)
    if name in built_in:
        return dict(built_in[name])
    names = {**built_in, **files.own[kind]}
    done.lacking.add(where)
    if kind == "tools":
        text = which(name, names)
    else:
        near = meant(name, names)
        text = f"there is no {kind[:-1]} profile {shown(name)}{near}"
        text += f"{' There' if near else '; there'} are {', '.join(names)}"
    done.problems.append(Problem(where, text))
    return {}


def _whole_task(task: Table, k: int, done: Merged, files: PlanFiles) -> Table:
    base = _profile("tools", task.get("tool"), ("task", k), done, files)
    if "name" not in base:
        base["name"] = task.get("tool", f"task {k + 1}")
    merged = _over(_of_the_kind(base, task), task)
    if isinstance(merged.get("trace"), str):
        try:
            merged["trace"] = files.trace(merged["trace"])
        except PlanError as error:
            done.lacking.add(("task", k))
            done.problems += [Problem(("task", k), f"trace: {line}") for line in error.problems]
            del merged["trace"]
    elif "trace" in merged:
        done.lacking.add(("task", k))
        done.problems.append(
            Problem(("task", k), f"trace must name a file (got {shown(merged.pop('trace'))})")
        )
    return merged


def _of_the_kind(profile: Table, task: Table) -> Table:
    """A tool's profile without the figures that go with its kind, where the task is of another.

    >>> _of_the_kind({"working_w": 36, "supply": "dc12"}, {"kind": "cycling", "on_w": 36})
    {'supply': 'dc12'}
    """
    if "kind" not in task:
        return profile
    gone = set(without_effect(profile | {"kind": task["kind"]}))
    gone -= set(without_effect(profile))  # what is wrong in the profile itself is told
    return {key: value for key, value in profile.items() if key not in gone}


def merged_tool(name: str, files: PlanFiles) -> Table:
    """The table of a task that names a tool and nothing else. Raises PlanError for a trace that
    cannot be read."""
    done = Merged({})
    task = _whole_task({"tool": name}, 0, done, files)
    if done.problems:
        raise PlanError([problem.text for problem in done.problems])
    return task


def _at_the_size_of(own: Table, profile: Table) -> Table:
    """The profile of a panel whose watts the person states: of a larger panel of the kind, whose
    amps follow watts over volts.

    >>> _at_the_size_of({"rated_w": 400}, {"rated_w": 200, "v_mp": 20, "i_mp": 10, "i_sc": 11})
    {'rated_w': 200, 'v_mp': 20, 'i_mp': 20.0, 'i_sc': 22.0}
    """
    amps = {key: number(profile.get(key)) for key in ("i_mp", "i_sc")}
    times = _ratio(own, profile, "rated_w") * _ratio(profile, own, "v_mp")
    if not has(own, "rated_w") or times == 1.0:
        return profile
    return profile | {key: min(value * times, MOST_A) for key, value in amps.items() if value}


def _ratio(table: Table, other: Table, key: str) -> float:
    """How many times the other table's figure this one's is; 1 where one of them is no figure."""
    first, second = number(table.get(key)), number(other.get(key))
    return first / second if first and second and first > 0.0 and second > 0.0 else 1.0


def _over(base: Table, own: Table) -> Table:
    """A profile with the person's own keys over it, also inside the outlets' tables."""
    merged = {key: value for key, value in base.items() if RIVALS.get(key) not in own} | own
    for key in OUTLET_TABLES:
        if isinstance(base.get(key), dict) and isinstance(own.get(key), dict):
            merged[key] = {**base[key], **own[key]}
    return merged


def _whole_path(table: Table, key: str, folder: Path) -> Table:
    """A table with the file it names counted from the plan's folder."""
    name = table.get(key)
    if not isinstance(name, str) or not name or name.startswith("builtin:"):
        return table
    return {**table, key: str((folder / name).absolute())}


def _with_zone(place: Table) -> Table:
    """The place with its time zone looked up where it is left out."""
    if "timezone" in place:
        return place
    latitude, longitude = number(place.get("latitude_deg")), number(place.get("longitude_deg"))
    if latitude is None or longitude is None or abs(latitude) > 90.0 or abs(longitude) > 180.0:
        return {**place, "timezone": "UTC"}  # what is wrong with them is said elsewhere
    return {**place, "timezone": zone_at(latitude, longitude)}
