"""Looking into a plan's tables before they are models: nothing in them is sure to have its type."""

from typing import Any

from pydantic import BaseModel

from energy.plan.profiles import Table


def has(table: Table, key: str) -> bool:
    """Whether a table states a key."""
    return table.get(key) is not None


def stated(table: Table, key: str, model: type[BaseModel]) -> Any:
    """What a table states of a key, else the default of its model.

    >>> from energy.plan.kit import Panel
    >>> stated({"v_mp": 36.0}, "v_mp", Panel), stated({}, "v_mp", Panel)
    (36.0, 18.0)
    """
    return table.get(key, model.model_fields[key].default)


def table_at(tables: Table, key: str) -> Table:
    """The table of that name; an empty one where it is missing or something else."""
    table = tables.get(key)
    return table if isinstance(table, dict) else {}


def items(tables: Table, key: str) -> list[tuple[int, Table]]:
    """The tables of a list with their places in it, from 0; what else stands there is left out.

    >>> items({"task": [{"name": "saw"}, 3]}, "task")
    [(0, {'name': 'saw'})]
    """
    listed = tables.get(key)
    listed = listed if isinstance(listed, list | tuple) else []
    return [(k, item) for k, item in enumerate(listed) if isinstance(item, dict)]
