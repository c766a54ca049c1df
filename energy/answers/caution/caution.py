"""A caution, how it names what in the plan raised it, and what several of them ask of a plan.

What raises each is told in the other files of this folder, by what it is about.
"""

import re
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass

from energy.plan.task import Task
from energy.simulation.budget import Budget

LIGHT = r"\w*lights?|\w*lighting|(?:\w*[^c\W])?lamps?|\w*lanterns?"  # but no clamp
NEAR_RESERVE = 10.0  # points of charge above the reserve (our choice)


@dataclass(frozen=True)
class Caution:
    """One caution: its id, one or two plain sentences, what in the plan raised it, and the
    published rule behind it where there is one."""

    id: str
    text: str
    about: str
    rule: str = ""


Rule = Callable[[Budget], Caution | None]


def raised_by(tasks: Collection[Task], id: str, text: str, rule: str = "") -> Caution | None:
    """A caution that some tasks of a plan raise; None where there are none."""
    return Caution(id, text, named(tasks), rule) if tasks else None


def first_few(names: list[str]) -> str:
    """The first three of some names, and how many more there are.

    >>> first_few(["a", "b", "c", "d"])
    'a, b, c and 1 more'
    """
    more = len(names) - 3
    return ", ".join(names[:3]) + (f" and {more} more" if more > 0 else "")


def named(tasks: Iterable[Task]) -> str:
    """Tasks by their names."""
    return first_few([f'task "{task.name}"' for task in tasks])


def plain(name: str) -> str:
    """A name as words, to look for others in it.

    >>> plain("12V_cool-box")
    '12v cool box'
    """
    return re.sub(r"[\s_-]+", " ", name.casefold().replace("\u2019", "'"))


def words(task: Task) -> str:
    """All that a task says of what it is."""
    return plain(f"{task.name} {task.tool or ''} {task.group}")


def points_in_hand(result: Budget) -> float:
    """What the middle weather leaves above the reserve at its lowest, in points of charge."""
    return result.lowest().spare_wh / float(result.capacity_wh[result.middle]) * 100.0
