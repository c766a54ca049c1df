"""What a person reads of an answer: the plain text of a sheet."""

from collections.abc import Callable
from io import StringIO

from rich.console import Console

from energy.show.layout import LINES, Sheet, show, show_details

FULL = 10**6  # lines: room for the fullest version of each part
WIDTH = 100


def told(sheet: Callable[[int], Sheet], *details: str, width: int = WIDTH, room: int = FULL) -> str:
    """The text of a sheet that is made for a width, and what stands behind the options named.

    room: as many lines as there are; a command has `LINES`.
    """
    out = Console(file=StringIO(), width=width, highlight=False)
    made = sheet(width)
    show(made, out, room=room)
    show_details([made.details[name] for name in details], out)
    assert isinstance(out.file, StringIO)
    return out.file.getvalue()


def at_a_glance(sheet: Callable[[int], Sheet], *, width: int = 80) -> str:
    """The text of a sheet in the lines that a command has for it by default."""
    return told(sheet, width=width, room=LINES)


def unfolded(text: str) -> str:
    """A text whose lines are joined, so that no words are parted by a fold."""
    return " ".join(text.split())
