"""Where words go: the terminal or a pipe, through rich."""

import os

from rich.console import Console
from rich.text import Text

COLUMNS, LEAST, MOST = 80, 40, 100  # of a pipe, and of any output


def console(*, errors: bool = False) -> Console:
    """Where the text goes: as wide as the terminal or `COLUMNS` says, within bounds."""
    out = Console(stderr=errors, highlight=False, soft_wrap=False)
    stated = os.environ.get("COLUMNS", "")
    width = out.width if out.is_terminal or stated.isdecimal() else COLUMNS
    return Console(stderr=errors, highlight=False, width=min(max(width, LEAST), MOST))


def status(line: str) -> None:
    """A line about what is under way, for people alone, unless they asked for quiet."""
    if console(errors=True).is_terminal and not os.environ.get("ENERGY_QUIET"):
        console(errors=True).print(Text(line))
