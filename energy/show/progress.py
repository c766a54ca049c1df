"""A long search under way: how far it is, and what a person can do meanwhile."""

import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

from rich.console import Console
from rich.text import Text


@contextmanager
def progress(out: Console, what: str) -> Iterator[Callable[[int, int], None]]:
    """A bar on a terminal, nothing elsewhere; yields the function that takes (done, of how many).

    An interrupt is passed on after a line that says how far the search came.
    """
    from rich.progress import Progress

    reached: list[int] = []
    quiet = bool(os.environ.get("ENERGY_QUIET"))
    try:
        with Progress(console=out, transient=True, disable=quiet or not out.is_terminal) as bar:
            task = bar.add_task(what, total=None)

            def report(done: int, total: int) -> None:
                reached[:] = [done, total]
                bar.update(task, completed=done, total=total)

            yield report
    except KeyboardInterrupt:
        out.print(Text(_stopped(what, reached)))
        raise


def _stopped(what: str, reached: Sequence[int]) -> str:
    """How far it came.

    >>> _stopped("sizes", [12, 52])
    'Stopped: sizes, 12 of 52 done; nothing was written.'
    """
    far = f"{reached[0]} of {reached[1]} done" if reached else "nothing done yet"
    return f"Stopped: {what}, {far}; nothing was written."
