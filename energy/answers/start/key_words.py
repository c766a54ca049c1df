"""The keys of a plan as a person asks for them: all of them as a list, some in full."""

import re
from collections.abc import Iterator, Sequence

from energy.plan import PlanError
from energy.plan.keys import Key, keys
from energy.plan.skies import DARKER, SKIES
from energy.plan.words import meant, shown
from energy.show import table
from energy.show.layout import Part, Sheet, Slow, folded, part
from energy.show.table import Column


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


def keys_sheet(several: Sequence[Key], width: int) -> Sheet:
    """Some keys in full."""
    lines = [line for key in several for line in lines_of(key)]
    return Sheet([part([row for line in lines for row in folded(line, width, 2)])])


def all_keys_sheet(width: int) -> Sheet:
    """Every key of a plan, table by table."""
    parts: list[Part | Slow] = []
    for heading, inside in _by_table().items():
        columns = (
            Column(heading or "key", [key.name.split(".")[-1] for key in inside]),
            Column("left out", ["required" if key.required else key.default for key in inside]),
            Column("unit", [key.unit for key in inside]),
            Column("allowed", [key.allowed for key in inside]),
        )
        if inside:
            parts.append(part([*table.lines(columns, width), ""]))
    more = "energy help KEY tells one in full, energy help TABLE all of a table's."
    return Sheet([*parts, part(folded(more, width))])


def skies_sheet(width: int) -> Sheet:
    """The words for a sky, each with the share of a clear sky's light that it stands for."""
    eighths = ["" if word in DARKER else str(sky.eighths) for word, sky in SKIES.items()]
    columns = (
        Column("sky", list(SKIES)),
        Column("eighths", eighths, right=True),
        Column("light", [f"{sky.light_percent:.0f} %" for sky in SKIES.values()], right=True),
        Column("after", [sky.source for sky in SKIES.values()]),
    )
    means = "Means of many days: each day is drawn around its own, as far as real ones lie."
    return Sheet([part([*table.lines(columns, width), *folded(means, width)])])


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
