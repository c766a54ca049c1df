"""Where words go: the terminal or a pipe, through rich."""

import os

from rich.console import Console
from rich.text import Text


def console(*, errors: bool = False) -> Console:
    """Where the text goes; wide enough for the tables when piped."""
    found = Console(stderr=errors, highlight=False, soft_wrap=False)
    if not found.is_terminal:
        found = Console(stderr=errors, highlight=False, width=100)
    return found


def progress(line: str) -> None:
    """A line about what is under way, for people alone, unless they asked for quiet."""
    if console(errors=True).is_terminal and not os.environ.get("ENERGY_QUIET"):
        console(errors=True).print(Text(line))
