"""What a kind of change is: how far it goes, what it does to the plan at a size, and in words."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

Change = dict[str, Any]


@dataclass(frozen=True)
class Ladder:
    """A kind of change: what it does at a size, and in words.

    Sizes go from 0 to most, whole numbers or any; left out, the change is made or not. `likely` is
    the size at which the search for one begins.
    """

    kind: str
    free: bool
    change: Callable[[float], Change]
    words: Callable[[float], str]
    most: float = 1.0
    whole: bool = True
    likely: float = math.inf
