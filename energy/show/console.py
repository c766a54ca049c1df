"""Where words go: the terminal or a pipe, through rich."""

import os

from rich.console import Console
from rich.text import Text


def console(*, errors: bool = False) -> Console:
    """Where the text goes; wide enough for the tables when piped."""
    out = Console(stderr=errors, highlight=False, soft_wrap=False)
    return out if out.is_terminal else Console(stderr=errors, highlight=False, width=100)


def status(line: str) -> None:
    """A line about what is under way, for people alone, unless they asked for quiet."""
    if console(errors=True).is_terminal and not os.environ.get("ENERGY_QUIET"):
        console(errors=True).print(Text(line))
