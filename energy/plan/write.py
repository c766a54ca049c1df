"""Changes to a plan's tables: dotted keys, list items by number from 1, None drops.

The same edit serves plain tables (`Plan.replace`) and a TOML document with its comments.
"""

import copy
import os
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from energy.plan import profiles
from energy.plan.documents import parse, read_text
from energy.plan.merge import RIVALS
from energy.plan.messages import LISTS
from energy.plan.words import PlanError, meant, shown


def edit(
    tables: Any, changes: Mapping[str, Any], item: Callable[[Any], Any] = copy.deepcopy
) -> None:
    """Change tables in place. Numbers of list items are those before any is dropped.

    Of keys that exclude one another (capacity_wh and capacity_ah, at and between, ...) writing one
    drops the other, unless both are among the changes. `item` makes what is stored of a value.
    Raises PlanError.

    >>> tables = {"task": [{"times": 3}, {"times": 5}, {"times": 7}]}
    >>> edit(tables, {"task.1": None, "task.3.times": 1})
    >>> tables
    {'task': [{'times': 5}, {'times': 1}]}
    """
    dropped: dict[int, tuple[list[Any], set[int]]] = {}
    for key, value in changes.items():
        *way, last = key.split(".")
        at, missing = _way(tables, way, key)
        if missing and value is not None:
            for step in [last, *reversed(missing[1:])]:
                value = {step: value}
            last = missing[0]
        if isinstance(at, list):
            number = _number(at, last, key)
            if value is None:
                dropped.setdefault(id(at), (at, set()))[1].add(number)
            else:
                at[number] = item(value)
        elif value is not None:
            rival = RIVALS.get(last, "")
            if rival in at and ".".join([*way, rival]) not in changes:
                del at[rival]
            at[last] = item(value)
        elif not missing:
            at.pop(last, None)
    for items, numbers in dropped.values():
        for number in sorted(numbers, reverse=True):
            del items[number]


def _way(tables: Any, way: list[str], key: str) -> tuple[Any, list[str]]:
    """The table or list at the end of a way, or the last one there is and the steps it lacks."""
    at = tables
    for k, step in enumerate(way):
        if isinstance(at, list):
            at = at[_number(at, step, key)]
        elif isinstance(at, dict) and step in at:
            at = at[step]
        elif isinstance(at, dict) and step not in LISTS:
            return at, way[k:]
        else:
            raise PlanError([f"{key}: the plan has no {step}"])
    if not isinstance(at, dict | list):
        raise PlanError([f"{key}: {way[-1]} is not a table"])
    return at, []


def _number(items: list[Any], step: str, key: str) -> int:
    if not (step.isascii() and step.isdigit() and len(step) < 7 and 1 <= int(step) <= len(items)):
        raise PlanError([f"{key}: must name an item from 1 to {len(items)} (got {shown(step)})"])
    return int(step) - 1


def whole_changes(
    before: Mapping[str, Any], after: Mapping[str, Any], changes: Mapping[str, Any]
) -> dict[str, Any]:
    """Changes with all that follows from them: lists of which more changed than they say, such as
    cables to a task that is gone, become whole new lists.

    before, after: a plan's tables as written, and those that `Plan.replace` made of them.
    """
    edited = copy.deepcopy(dict(before))
    edit(edited, changes)
    lists = [key for key in ("task", "run") if edited.get(key) != after.get(key)]
    kept = {key: value for key, value in changes.items() if key.split(".")[0] not in lists}
    return kept | {key: after[key] for key in lists}


def write_changes(path_or_text: Path | str, changes: Mapping[str, Any]) -> str:
    """The TOML of a plan with some keys changed and its comments kept; no file is written.

    Takes a file as a Path, "builtin:NAME", or TOML text. A whole new list of tables, such as
    `task`, comes at the end as [[task]], with the changes that name its items. Raises PlanError.

    >>> write_changes("pack.idle_w = 3  # measured", {"pack.idle_w": 5})
    'pack.idle_w = 5  # measured'
    >>> print(write_changes("task = [{ name = 'a' }]", {"task": [{"name": "b"}]}).strip())
    [[task]]
    name = "b"
    """
    import tomlkit

    whole_lists = {
        key: changes[key]
        for key in LISTS
        if isinstance(changes.get(key), list) and all(isinstance(x, dict) for x in changes[key])
    }
    if whole_lists:
        inside = {key: v for key, v in changes.items() if key.split(".")[0] in whole_lists}
        rest = {key: value for key, value in changes.items() if key not in inside}
        whole_lists = copy.deepcopy(whole_lists)
        edit(whole_lists, {key: v for key, v in inside.items() if key not in whole_lists})
        kept = write_changes(path_or_text, rest | dict.fromkeys(whole_lists))
        try:
            blocks = [
                f"[[{key}]]\n{tomlkit.dumps({name: _toml_item(v) for name, v in table.items()})}"
                for key, tables in whole_lists.items()
                for table in tables
            ]
        except (ValueError, TypeError, KeyError) as error:
            raise PlanError([f"cannot be written as TOML: {error}"]) from None
        return "\n".join([kept.rstrip() + "\n", *blocks])

    origin = path_or_text.name if isinstance(path_or_text, Path) else "plan"
    text = _text(path_or_text)
    wanted = parse(text, origin)
    edit(wanted, changes)
    try:
        document = tomlkit.parse(text)
        edit(document, changes, _toml_item)
        written = tomlkit.dumps(document)
        as_wanted = tomlkit.parse(written).unwrap() == _as_toml(wanted)
    except (ValueError, TypeError, KeyError) as error:  # what TOML has no form for, such as a set
        raise PlanError([f"{origin}: cannot be changed like this: {error}"]) from None
    if not as_wanted:  # tables far apart in the file can defeat tomlkit
        raise PlanError([f"{origin}: cannot be changed with its comments kept; change it by hand"])
    return written


def moved_paths(tables: Mapping[str, Any], here: Path, there: Path) -> dict[str, Any]:
    """The changes that let a plan's paths, which count from the folder `here`, be right from
    `there`; none where these are the same.

    >>> moved_paths({"profiles": ["kit.toml"]}, Path("plans"), Path("plans/away"))
    {'profiles': ['../kit.toml']}
    """
    if os.path.realpath(here) == os.path.realpath(there):
        return {}

    def moved(name: str) -> str:
        if name.startswith("builtin:") or os.path.isabs(name):
            return name
        return Path(os.path.relpath(here / name, there)).as_posix()

    changes: dict[str, Any] = {}
    if tables.get("profiles"):
        changes["profiles"] = [moved(name) for name in tables["profiles"]]
    for table, key in (("weather", "file"), ("size", "candidates")):
        if (tables.get(table) or {}).get(key):
            changes[f"{table}.{key}"] = moved(tables[table][key])
    for number, task in enumerate(tables.get("task", ()), start=1):
        if task.get("trace"):
            changes[f"task.{number}.trace"] = moved(task["trace"])
    return changes


def _toml_item(value: Any) -> Any:
    """A value as tomlkit stores it; tables stay on the line of their list or key."""
    import tomlkit

    if isinstance(value, list | tuple):
        array = tomlkit.array()
        array.extend(value)
        return array
    if isinstance(value, dict):  # fits into an inline table as well as into any other
        inline = tomlkit.inline_table()
        inline.update(value)
        return inline
    return tomlkit.item(value)


def _as_toml(value: Any) -> Any:
    """A value as TOML gives it back: lists for tuples."""
    if isinstance(value, dict):
        return {key: _as_toml(v) for key, v in value.items()}
    return [_as_toml(v) for v in value] if isinstance(value, list | tuple) else value


def _text(path_or_text: Path | str) -> str:
    if isinstance(path_or_text, Path):
        return read_text(path_or_text)
    return built_in_text(path_or_text) if path_or_text.startswith("builtin:") else path_or_text


def built_in_text(name: str) -> str:
    """The TOML of a built-in plan, "builtin:NAME". Raises PlanError with the nearest name."""
    plan, plans = name.removeprefix("builtin:"), profiles.plans()
    if plan not in plans:
        raise PlanError([f"there is no built-in plan {shown(plan)}{meant(plan, plans)}"])
    return profiles.plan_text(plan)
