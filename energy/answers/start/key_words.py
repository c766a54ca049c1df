"""The keys of a plan as a person asks for them: all of them as a list, some in full."""

import re
from collections.abc import Iterator, Sequence

from rich.console import Console
from rich.table import Table
from rich.text import Text

from energy.plan import PlanError
from energy.plan.keys import Key, keys
from energy.plan.skies import DARKER, SKIES
from energy.plan.words import meant, shown


def keys_named(word: str) -> tuple[Key, ...]:
    """The keys that a word names: a dotted name, its last step, or a table with what it holds.

    Raises PlanError with the nearest where there is none.

    >>> [key.name for key in keys_named("goal")]
    ['goal', 'goal.chance_percent', 'goal.one_at_a_time']
    """
    sought = re.sub(r"\.\d+(?=\.|$)", "", word.strip().strip("[]"))
    for named in (
        [k for k in keys() if k.name == sought or k.name.startswith(f"{sought}.")],
        [k for k in keys() if k.name.split(".")[-1] == sought],
    ):
        if named and sought:
            return tuple(named)
    names = [step for key in keys() for step in (key.name, key.name.split(".")[-1])]
    raise PlanError([f"there is no key {shown(word)}{meant(sought, names)}"])


def lines_of(key: Key) -> Iterator[str]:
    """A key in full."""
    yield f"{key.name}: {key.says}"
    parts = ["Required" if key.required else f"Left out: {key.default}"]
    parts += [] if key.tables else [f"allowed {key.allowed}"]
    parts += [f"unit {key.unit}"] if key.unit else []
    yield f"  {'; '.join(parts)}."


def show_keys(several: Sequence[Key], out: Console) -> None:
    """Some keys in full."""
    for key in several:
        for line in lines_of(key):
            out.print(Text(line))


def show_all_keys(out: Console) -> None:
    """Every key of a plan, table by table."""
    table = Table(box=None, padding=(0, 1, 0, 0), width=min(out.width, 80))
    table.add_column("key", no_wrap=True)
    table.add_column("left out", ratio=5)
    table.add_column("unit", ratio=2)
    table.add_column("allowed", ratio=5)
    for heading, inside in _by_table().items():
        if heading:
            table.add_row()
            table.add_row(Text(heading, style="bold"))
        for key in inside:
            default = "required" if key.required else key.default
            table.add_row(*map(Text, (key.name.split(".")[-1], default, key.unit, key.allowed)))
    out.print(table)
    out.print("energy help KEY tells one in full, energy help TABLE all of a table's.")


def show_skies(out: Console) -> None:
    """The words for a sky, each with the share of a clear sky's light that it stands for."""
    table = Table(box=None, padding=(0, 2, 0, 0))
    table.add_column("sky")
    table.add_column("eighths", justify="right")
    table.add_column("light", justify="right")
    table.add_column("after", overflow="fold")
    for word, sky in SKIES.items():
        eighths = "" if word in DARKER else str(sky.eighths)
        table.add_row(word, eighths, f"{sky.light_percent:.0f} %", sky.source)
    out.print(table)
    out.print("Means of many days: each day is drawn around its own, as far as real ones lie.")


def _by_table() -> dict[str, list[Key]]:
    """The keys under the table in which they are written, which is its heading."""
    tables: dict[str, list[Key]] = {"": []}
    headings = {"": ""}
    for key in keys():
        if key.tables:
            headings[key.name] = "[" * key.tables + key.name + "]" * key.tables
            tables[headings[key.name]] = []
        else:
            tables[headings[key.name.rpartition(".")[0]]].append(key)
    return tables
