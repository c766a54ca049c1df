"""The tool, pack and panel profiles that come with the package, and a person's own.

A profile is a table of a plan's own keys under a name; laying it under a plan is for `merge`.
"""

import copy
import tomllib
from collections.abc import Iterable
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any

from energy.plan.documents import parse, read_text
from energy.plan.task import of_its_kind
from energy.plan.words import PlanError, shown

Table = dict[str, Any]
Kinds = dict[str, dict[str, Table]]
# The last is no profile: what a person's readings taught, and which readings those were.
KINDS = ("tools", "packs", "panels", "learned")


def folder() -> Traversable:
    """The profiles' folder: inside the installed package, or beside it in a checkout.

    >>> (folder() / "tools").is_dir()
    True
    """
    inside = files("energy") / "profiles"
    return inside if inside.is_dir() else Path(__file__).parents[2] / "profiles"


@cache
def built_in(kind: str) -> dict[str, Table]:
    """All built-in tables of a kind by name, shared: do not change them."""
    profiles: dict[str, Table] = {}
    for entry in sorted((folder() / kind).iterdir(), key=lambda e: e.name):
        if entry.name.endswith(".toml"):
            tables = tomllib.loads(entry.read_text(encoding="utf-8"))
            profiles |= {
                name: _whole_path(t, Path(str(folder() / kind))) for name, t in tables.items()
            }
    return profiles


def tools() -> dict[str, Table]:
    """Built-in tool profiles by name.

    >>> tools()["angle-grinder-125"]["supply"]
    'ac'
    """
    return copy.deepcopy(built_in("tools"))


def packs() -> dict[str, Table]:
    """Built-in pack profiles by name.

    >>> packs()["pack-1000"]["chemistry"]
    'lfp'
    """
    return copy.deepcopy(built_in("packs"))


def panels() -> dict[str, Table]:
    """Built-in panel profiles by name.

    >>> panels()["folding-200"]["rated_w"]
    200
    """
    return copy.deepcopy(built_in("panels"))


def plans() -> list[str]:
    """Names of the built-in demo plans.

    >>> "cloudy-repair" in plans()
    True
    """
    entries = (folder() / "plans").iterdir()
    return sorted(e.name.removesuffix(".toml") for e in entries if e.name.endswith(".toml"))


def plan_text(name: str) -> str:
    """The TOML text of a built-in demo plan.

    >>> "[[task]]" in plan_text("cloudy-repair")
    True
    """
    return (folder() / "plans" / f"{name}.toml").read_text(encoding="utf-8")


def read_own(names: Iterable[str], plan_folder: Path) -> tuple[Kinds, list[str]]:
    """A person's own profile files, and a line for each thing wrong with them.

    A file holds tools straight under their names ([my-saw]), or tables [tools.NAME], [packs.NAME],
    [panels.NAME] and [learned.NAME]. Of two with one name the later counts. Paths inside are whole.
    """
    own: Kinds = {kind: {} for kind in KINDS}
    problems: list[str] = []
    for name in names:
        file = plan_folder / name
        try:
            tables = parse(read_text(file), name)
            kinds = sorted_into_kinds(tables, name)
        except PlanError as error:
            problems += error.problems
            continue
        if "learned" in tables:  # not written by hand: a key left of another kind is no mistake
            kinds["tools"] = {key: of_its_kind(table) for key, table in kinds["tools"].items()}
        for kind, several in kinds.items():
            own[kind] |= {key: _whole_path(table, file.parent) for key, table in several.items()}
    return own, problems


def sorted_into_kinds(tables: Table, origin: str = "profiles") -> Kinds:
    """The tables of one profile file by kind. Raises PlanError where one is not a table; what was
    learned is left to who uses it.

    >>> own = sorted_into_kinds({"my-saw": {"supply": "ac"}, "packs": {"mine": {"idle_w": 4}}})
    >>> own["tools"], own["packs"]
    ({'my-saw': {'supply': 'ac'}}, {'mine': {'idle_w': 4}})
    """
    kinds: Kinds = {kind: {} for kind in KINDS}
    problems = []
    for key, table in tables.items():
        if key == "learned":
            continue
        kind, profiles = (key, table) if key in KINDS else ("tools", {key: table})
        for name, profile in profiles.items() if isinstance(profiles, dict) else [("", profiles)]:
            if isinstance(profiles, dict) and isinstance(profile, dict):
                kinds[kind][name] = profile
            else:
                where = f"{key}.{name}" if key in KINDS and name else key
                problems.append(f"{origin}: {where} must be a table (got {shown(profile)})")
    if problems:
        raise PlanError(problems)
    return kinds


def _whole_path(table: Table, folder: Path) -> Table:
    """A profile with its trace file counted from the folder of the file that names it."""
    if not isinstance(table.get("trace"), str):
        return table
    return {**table, "trace": str((folder / table["trace"]).absolute())}
