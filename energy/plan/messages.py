"""What is wrong with a plan, as lines a person can act on: where, what was found, what is allowed.

Turns pydantic's errors and the findings of `checks` and `merge` into one list in the plan's order.
"""

from collections.abc import Iterable, Iterator
from itertools import islice
from types import UnionType
from typing import Any, NamedTuple, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError

from energy.plan.kit import Pack, Panel
from energy.plan.profiles import built_in
from energy.plan.schema import Tables
from energy.plan.words import meant, one_line, shown

MOST_LINES = 40
LISTS = ("panel", "charger", "task", "run")
Path = tuple[str | int, ...]  # ("pack", "inverter"), ("task", 2), ("panel", 0, "shade", 1)


class Problem(NamedTuple):
    """One thing that is wrong: the table it stands in, and what to say."""

    where: Path
    text: str


def lines(problems: Iterable[Problem], tables: dict[str, Any], origin: str) -> list[str]:
    """Problems in the order of the plan's tables, each once, one line each.

    >>> lines([Problem(("pack",), "idle_w must be a number")], {}, "my-plan.toml")
    ['my-plan.toml: [pack]: idle_w must be a number']
    """
    distinct = sorted(dict.fromkeys(problems), key=_order)
    first_lines = [
        ": ".join(part for part in (origin, _label(p.where, tables), p.text) if part)
        for p in distinct[:MOST_LINES]
    ]
    more = len(distinct) - len(first_lines)
    return (
        [*first_lines, f"{origin}: and at least {more} more problems"] if more > 0 else first_lines
    )


def _order(problem: Problem) -> tuple[int, int]:
    """The place of a problem's table in a plan; what is wrong with the whole comes first."""
    top, number = (*problem.where, "", 0)[:2] if problem.where else ("", 0)
    first = list(Tables.model_fields).index(str(top)) if top in Tables.model_fields else -1
    return first, number if isinstance(number, int) else 0


def _label(where: Path, tables: dict[str, Any]) -> str:
    """A table as the person sees it: [pack.inverter], task 3 "cut rebar", panel 1: shade 2."""
    if not where:
        return ""
    if where[0] not in LISTS or len(where) < 2:
        return f"[{'.'.join(str(part) for part in where)}]"
    top, number, *inside = where
    assert isinstance(number, int)
    item = tables[str(top)][number]
    name = item.get("name") if isinstance(item, dict) else None
    named = isinstance(name, str) and name not in (top, f"{top} {number + 1}")
    label = f"{top} {number + 1}" + (f" {shown(name)}" if named else "")
    rest = " ".join(str(part + 1) if isinstance(part, int) else part for part in inside)
    return f"{label}: {rest}" if rest else label


def from_models(
    error: ValidationError, tables: dict[str, Any], source: dict[str, Any], lacking: set[Path]
) -> list[Problem]:
    """What pydantic found. A key that came from a profile says so."""
    problems: list[Problem] = []
    for detail in islice(_errors(error), 5 * MOST_LINES):
        where, key, model = place_of(detail["loc"])
        if detail["type"] == "missing" and any(where[: len(at)] == at for at in lacking):
            continue
        text = _words(detail, key, model)
        own = _table(source, where)
        if (
            key
            and detail["type"] != "missing"
            and own is not None
            and key.partition(" item ")[0] not in own
        ):
            text += _from_profile(source, where)
        problems.append(Problem(where, text))
    return problems


def _errors(error: ValidationError) -> Iterator[Any]:
    for detail in error.errors(include_url=False):
        if detail["type"] != "default_factory_not_called":  # it follows from another problem
            yield detail


def _table(tables: dict[str, Any], where: Path) -> dict[str, Any] | None:
    at: Any = tables
    for part in where:
        try:
            at = at[part]
        except (KeyError, IndexError, TypeError):
            return {}
    return at if isinstance(at, dict) else None


def _from_profile(source: dict[str, Any], where: Path) -> str:
    table = _table(source, where[:2] if where and where[0] in LISTS else where[:1]) or {}
    name = table.get("tool", table.get("profile"))
    return f", in the profile {shown(name)}" if isinstance(name, str) else ""


def place_of(loc: Path) -> tuple[Path, str, type[BaseModel]]:
    """Which table a key lies in, the key inside it, and that table's model.

    >>> place_of(("panel", 0, "shade", 1, "keep_percent"))[:2]
    (('panel', 0, 'shade', 1), 'keep_percent')
    """
    model: type[BaseModel] = Tables
    where: list[str | int] = []
    rest = list(loc)
    while rest and isinstance(rest[0], str) and (inner := model_of(model, rest[0])) is not None:
        numbered = len(rest) > 1 and isinstance(rest[1], int)
        if _is_list(model, rest[0]) and not numbered:
            break  # the list itself is wrong
        step = 2 if numbered else 1
        where += rest[:step]
        model, rest = inner, rest[step:]
    key = " item ".join(str(p + 1) if isinstance(p, int) else p for p in rest)
    return tuple(where), key, model


def _is_list(model: type[BaseModel], key: str) -> bool:
    field = model.model_fields.get(key)
    return field is not None and get_origin(field.annotation) is tuple


def model_of(model: type[BaseModel], key: str) -> type[BaseModel] | None:
    """The model of a table's key, looked for inside unions and tuples too."""
    field = model.model_fields.get(key)
    waiting = [field.annotation] if field is not None else []
    while waiting:
        kind = waiting.pop()
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            return kind
        if get_origin(kind) in (tuple, Union, UnionType):
            waiting += list(get_args(kind))
    return None


LIMITS = {
    "greater_than": ("more than", "gt"),
    "greater_than_equal": ("at least", "ge"),
    "less_than": ("less than", "lt"),
    "less_than_equal": ("at most", "le"),
}
KINDS = {
    "finite_number": "must be a finite number",
    "float_type": "must be a number",
    "int_type": "must be a whole number",
    "int_from_float": "must be a whole number",
    "int_parsing_size": "must be a smaller number",
    "string_type": "must be text",
    "string_unicode": "must be text",
    "string_too_short": "must not be empty",
    "bool_type": "must be true or false",
    "tuple_type": "must be a list",
    "model_type": "must be a table",
    "model_attributes_type": "must be a table",
    "dict_type": "must be a table",
}

ALSO_CALLED = {
    "azimuth": "facing",
    "azimuth_deg": "facing",
    "surface_azimuth": "facing",
    "surface_tilt": "tilt_deg",
    "goal_percent": "chance_percent",
}


def _words(detail: Any, key: str, model: type[BaseModel]) -> str:
    """The problem itself: what is allowed, what was found, what was probably meant."""
    kind, context, value = detail["type"], detail.get("ctx", {}), detail.get("input")
    got = f"(got {shown(value)})"
    if kind == "missing":
        return _missing(key, model)
    if kind == "extra_forbidden":
        return unknown_key(key, model)
    if kind == "value_error":
        text = str(context.get("error", detail["msg"]))
    elif kind in LIMITS:
        words, limit = LIMITS[kind]
        text = f"must be {words} {context[limit]:g} {got}"
    elif kind == "literal_error":
        options = context["expected"].replace("'", "").replace(" or ", ", ").split(", ")
        text = f"must be one of {', '.join(options)} {got}{meant(value, options)}"
    elif kind in ("tuple_type", "model_type") and model is Tables and key:
        text = f"must be written as [[{key}]], with double brackets {got}"
    elif kind in KINDS:
        text = f"{KINDS[kind]} {got}"
    elif kind in ("too_short", "too_long"):
        text = _length(context, value)
    elif kind == "string_too_long":
        text = f"must be at most {context['max_length']} letters long"
    else:
        text = f"is not allowed here {got}"
    return f"{key} {text}".strip()


def unknown_key(key: str, model: type[BaseModel]) -> str:
    """That a table has no such key, and which was probably meant."""
    keys = [field.alias or name for name, field in model.model_fields.items()]
    guess = meant(ALSO_CALLED.get(key, key), keys)
    return f"{one_line(key, 60) or shown(key)} is not a known key{guess}"


def _missing(key: str, model: type[BaseModel]) -> str:
    if model is Tables:
        return f"[[{key}]] is required, one at least"
    other = ""
    if not key and model is Pack:
        other = f" (profile: {', '.join(built_in('packs'))})"
    elif key == "capacity_wh":
        other = f" (or capacity_ah with nominal_v, or profile: {', '.join(built_in('packs'))})"
    elif key == "rated_w" and model is Panel:
        other = f" (or profile: {', '.join(built_in('panels'))})"
    return f"{key} is required{other}".strip()


def _length(context: dict[str, Any], value: Any) -> str:
    low, high = context.get("min_length"), context.get("max_length")
    words = f"at least {low}" if low is not None else f"at most {high}"
    length = len(value) if isinstance(value, list | tuple) else context.get("actual_length")
    return f"must hold {words} (got {length})"
