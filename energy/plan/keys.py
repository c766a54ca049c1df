"""All keys of a plan as the schema has them: what each is, its default, its unit, what is allowed.

The sentence of a key stands under it in the schema; it is read from there only when asked for.
"""

import ast
import inspect
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel, BeforeValidator
from pydantic.fields import FieldInfo

from energy.plan.messages import model_of
from energy.plan.schema import Tables

LEFT_OUT = "Left out: "
UNITS = {
    "_percent_per_c": "% per °C",
    "_percent_month": "% a month",
    "_percent": "%",
    "_m_s": "m/s",
    "_wh": "Wh",
    "_ah": "Ah",
    "_mm2": "mm2",
    "_deg": "°",
    "_min": "min",
    "_w": "W",
    "_v": "V",
    "_a": "A",
    "_c": "°C",
    "_m": "m",
    "_s": "s",
    "_h": "h",
}
UNIT_OF = {
    "kinetic_c": "",
    "kinetic_k_per_h": "per hour",
    "v_oc": "V",
    "v_mp": "V",
    "i_sc": "A",
    "i_mp": "A",
    "mm2": "mm2",
    "kg": "kg",
    "watts": "W",
    "volts": "V",
    "amps": "A",
    "minutes": "min",
    "hours": "h",
    "sun_hours": "kWh/m2 a day",
    "wind_speed_m_s": "m/s",
}
READ_BY = {  # what a key may be where a function of the schema reads it
    "moment": "a time",
    "window": 'two times, or "all-day"',
    "local_time": "a date with a time",
    "_zone": "an IANA name",
    "_sky": "a word or 0 to 8, or a list of them",
    "_air": "one number, two, or twelve",
    "_range": "[from, to]",
    "_facing": "a compass word, or -360 to 360",
    "_inverter_on": "with-tasks, only-in-use, always, or windows",
    "_connection": "series, parallel, or a whole number",
    "_mains_v": "90 to 260",
    "_temperature": '"outside", or -60 to 80',
}
ENDLESS = 1e12  # a limit that is only the machine's
PLAIN = {float: "a number", int: "a whole number", bool: "true or false", str: "text"}


@dataclass(frozen=True)
class Key:
    """A key of a plan by its dotted name; the items of a list of tables go without their number.

    says: what it is. default: as TOML, or in words; empty where it is required. unit: empty where
    it has none. allowed: in words. tables: 1 for a table, 2 for a list of tables, else 0.
    """

    name: str
    says: str
    default: str
    unit: str
    allowed: str
    required: bool
    tables: int = 0


@cache
def keys() -> tuple[Key, ...]:
    """Every key of a plan in the schema's order.

    >>> next(key for key in keys() if key.name == "goal.chance_percent").default
    '90'
    """
    return tuple(_keys_of(Tables, ""))


def _keys_of(model: type[BaseModel], way: str) -> Iterator[Key]:
    sentences = _sentences(model)
    for field_name, field in model.model_fields.items():
        name = field.alias or field_name
        says, _, left_out = sentences.get(field_name, "").partition(LEFT_OUT)
        inner = model_of(model, field_name)
        yield Key(
            name=way + name,
            says=says.strip(),
            default=left_out.strip().rstrip(".") or _default(field),
            unit=_unit(name),
            allowed=_allowed(field, inner),
            required=field.is_required() and not left_out,
            tables=0 if inner is None else 1 + _is_list(field.annotation),
        )
        if inner is not None:
            yield from _keys_of(inner, f"{way}{name}.")


def _sentences(model: type[BaseModel]) -> dict[str, str]:
    """What stands under each key in the source of its model."""
    (body,) = ast.parse(textwrap.dedent(inspect.getsource(model))).body
    assert isinstance(body, ast.ClassDef)
    return {
        key.target.id: " ".join(says.value.value.split())
        for key, says in zip(body.body, body.body[1:], strict=False)
        if isinstance(key, ast.AnnAssign)
        and isinstance(key.target, ast.Name)
        and isinstance(says, ast.Expr)
        and isinstance(says.value, ast.Constant)
        and isinstance(says.value.value, str)
    }


def _default(field: FieldInfo) -> str:
    """A key's default as TOML has it; empty where it is required."""
    if field.is_required():
        return ""
    value = field.default
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'"{value}"'
    return "[]" if value == () else f"{value:g}" if isinstance(value, int | float) else str(value)


def _unit(name: str) -> str:
    ending = next((unit for end, unit in UNITS.items() if name.endswith(end)), "")
    return UNIT_OF.get(name, ending)


def _allowed(field: FieldInfo, inner: type[BaseModel] | None) -> str:
    """What a key may be, in words."""
    if inner is not None:
        return "tables" if _is_list(field.annotation) else "a table"
    return _words(field.annotation, list(field.metadata))


def _is_list(annotation: Any) -> bool:
    return get_origin(annotation) is tuple


def _words(annotation: Any, metadata: list[Any]) -> str:
    """What a type with its validators and limits lets through."""
    while get_origin(annotation) in (Annotated, Union, UnionType):
        kinds = [kind for kind in get_args(annotation) if kind is not NoneType]
        if get_origin(annotation) is Annotated:
            metadata = [*metadata, *kinds[1:]]
        annotation = kinds[0]
    readers = [item.func.__name__ for item in metadata if isinstance(item, BeforeValidator)]
    if said := [READ_BY[reader] for reader in readers if reader in READ_BY]:
        return said[0]
    if get_origin(annotation) is Literal:
        return ", ".join(str(option) for option in get_args(annotation))
    if get_origin(annotation) is tuple:
        return _list_words(get_args(annotation), metadata)
    return _range_words(annotation, metadata) or PLAIN.get(annotation, "a date with a time")


def _list_words(items: tuple[Any, ...], metadata: list[Any]) -> str:
    least, most = _limit(metadata, "min_length"), _limit(metadata, "max_length")
    each = _words(items[0], [])
    if least is not None and least == most:
        return f"{least} of {each}"
    return f"a list of {each}" if get_origin(items[0]) is Literal or items[0] is int else "a list"


def _range_words(annotation: Any, metadata: list[Any]) -> str:
    if annotation not in (int, float):
        return ""
    at_least, above = _limit(metadata, "ge"), _limit(metadata, "gt")
    at_most, below = _limit(metadata, "le"), _limit(metadata, "lt")
    counted = ", whole" if annotation is int else ""
    if at_least is not None and at_most is not None and at_most > ENDLESS:
        return f"{at_least:g} or more{counted}"
    if at_least is not None and at_most is not None:
        return f"{at_least:.12g} to {at_most:.12g}{counted}"
    low = "" if above is None else f"more than {above:.12g}"
    high = f"at most {at_most:.12g}" if at_most is not None else ""
    high = f"less than {below:.12g}" if below is not None else high
    return ", ".join(filter(None, [low, high])) + counted


def _limit(metadata: list[Any], name: str) -> Any:
    """A limit among validators, inside a field's own too."""
    for item in metadata:
        inside = item.metadata if isinstance(item, FieldInfo) else [item]
        for limit in inside:
            if getattr(limit, name, None) is not None:
                return getattr(limit, name)
    return None
