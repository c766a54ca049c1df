"""Keys of a plan as a person gives them for once: "pack.capacity_wh=700", "task.tea=none".

They become the changes that `Plan.replace` takes and checks.
"""

import re
import tomllib
from collections.abc import Iterable, Sequence
from typing import Any

from pydantic import BaseModel

from energy.plan.merge import KIND_OF
from energy.plan.places import place_of
from energy.plan.read import Plan
from energy.plan.words import PlanError, meant, shown

NAMED = ("task", "panel", "charger")  # lists whose items have names
NO_WORD = ("[", "{", '"', "'")  # what begins like this is TOML or wrong
DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+")


def assignments(texts: Iterable[str], plan: Plan) -> dict[str, Any]:
    """Changes to a plan from "KEY=VALUE", an item of a list by number or name.

    A value is TOML, a bare word text; none takes the key or the item away. Raises PlanError for
    what cannot be read; whether the plan bears it is for `Plan.replace`.

    >>> plan = Plan.read("builtin:cloudy-repair")
    >>> assignments(["weather.kind=clear", "task.cut the rusted bolts.times=3"], plan)
    {'weather.kind': 'clear', 'task.2.times': 3}
    """
    changes: dict[str, Any] = {}
    problems = []
    for text in texts:
        given, _, written = (part.strip() for part in text.partition("="))
        try:
            if not given or "=" not in text:
                raise ValueError(
                    f"must be KEY=VALUE, such as pack.capacity_wh=700 (got {shown(text)})"
                )
            key = _numbered(given, plan)
            if key in changes:
                raise ValueError(f"{given}: is given twice")
            if key == "place" and written != "none" and not written.startswith("{"):
                changes |= _elsewhere(written)
            else:
                changes[key] = _value(given, written)
        except ValueError as error:
            problems.append(f"--set {error}")
    if problems:
        raise PlanError(problems)
    for key, kind in KIND_OF.items():  # who gives a sky means that sky
        if changes.get(f"weather.{key}") is not None:
            changes.setdefault("weather.kind", kind)
    return changes


def counting(plan: Plan, key: str) -> str:
    """What counts for a dotted key that a plan leaves out, in words; empty where nothing does.

    >>> plan = Plan.read("builtin:cloudy-repair")
    >>> counting(plan, "pack.solar_input.max_v"), counting(plan, "pack.solar_input")
    ('60', "the profile's")
    """
    at: Any = plan
    for step in key.split("."):
        at = at[int(step) - 1] if isinstance(at, tuple | list) else getattr(at, step, None)
    if isinstance(at, BaseModel):
        return "the profile's" if at.model_fields_set else ""
    number = isinstance(at, int | float) and not isinstance(at, bool)
    return f"{at:g}" if number else at if isinstance(at, str) else ""


def _elsewhere(written: str) -> dict[str, Any]:
    """Changes that move a plan to a place in one line."""
    try:
        latitude, longitude = place_of(written)
    except PlanError as error:
        raise ValueError(f"place: {error}") from None
    return moved_to(latitude, longitude)


def moved_to(latitude_deg: float, longitude_deg: float) -> dict[str, Any]:
    """Changes that move a plan to a place, without what belonged to the other.

    >>> moved_to(46.5, 8.0)["place.timezone"] is None
    True
    """
    gone = dict.fromkeys(("timezone", "elevation_m", "lowest_c", "horizon"))
    keys = {"latitude_deg": latitude_deg, "longitude_deg": longitude_deg, **gone}
    return {f"place.{key}": value for key, value in keys.items()}


def _value(key: str, written: str) -> Any:
    """A value as TOML has it, or the bare word; None for none. Raises ValueError."""
    if not written:
        raise ValueError(f"{key}: gives no value; none takes the key away")
    if written == "none":
        return None
    try:
        tables = tomllib.loads(f"value = {written}")
    except (ValueError, RecursionError):
        tables = {}
    if list(tables) == ["value"]:
        return tables["value"]
    if written.startswith(NO_WORD):
        raise ValueError(f"{key}: {shown(written)} is not a value as TOML has it")
    if DECIMAL_COMMA.fullmatch(written):
        raise ValueError(f"{key}: write a decimal point, {written.replace(',', '.')}")
    return written


def _numbered(key: str, plan: Plan) -> str:
    """A key with the item that it names by its number. Raises ValueError."""
    top, _, rest = key.partition(".")
    first = rest.partition(".")[0]
    if top not in NAMED or not rest or first.isdigit():
        return key
    items: Sequence[Any] = getattr(plan, top)
    names = [item.name for item in items]
    tools = [getattr(item, "tool", None) or "" for item in items]
    for called in (names, tools):
        begun = [name for name in called if name and _begins(rest, name)]
        if not begun:
            continue
        longest = max(begun, key=len)
        numbers = [str(k) for k, name in enumerate(called, start=1) if name == longest]
        if len(numbers) > 1:
            raise ValueError(
                f"{key}: {top} {shown(longest)} is there {len(numbers)} times; give its number:"
                f" {' or '.join(numbers)}"
            )
        return f"{top}.{numbers[0]}{rest[len(longest) :]}"
    raise ValueError(f"{key}: the plan has no {top} {shown(first)}{meant(first, [*names, *tools])}")


def _begins(key: str, name: str) -> bool:
    """Whether a key's first step is a name, in whatever case."""
    return key[: len(name)].casefold() == name.casefold() and key[len(name) :][:1] in ("", ".")
