"""What a kind of change is: how far it goes, what it does to the plan at a size, and in words."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

Change = dict[str, Any]


@dataclass(frozen=True)
class Ladder:
    """A kind of change: what it does at a size (whole numbers, or any), and in words."""

    kind: str
    free: bool
    most: float
    whole: bool
    change: Callable[[float], Change]
    words: Callable[[float], str]
