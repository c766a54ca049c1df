"""A long answer under way: how far it is, and how long it may still take."""

import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from threading import Timer

from rich.console import Console
from rich.text import Text

SHORT_S = 2.0  # for less nobody wants a bar


@contextmanager
def progress(
    out: Console, what: str, *, writes: bool = True
) -> Iterator[Callable[[int, int], None]]:
    """A bar on a terminal for what takes longer than two seconds, nothing elsewhere or where quiet
    was asked for; yields the function that takes (done, of how many).

    An interrupt is passed on after a line that says how far it came; writes: that nothing was
    written is worth saying.
    """
    from rich.progress import Progress

    reached: list[int] = []
    quiet = bool(os.environ.get("ENERGY_QUIET"))
    bar = Progress(console=out, transient=True, disable=quiet or not out.is_terminal)
    task = bar.add_task(what, total=None)
    later = Timer(SHORT_S, bar.start)
    later.daemon = True

    def report(done: int, total: int) -> None:
        reached[:] = [done, total]
        bar.update(task, completed=done, total=total)

    try:
        if not bar.disable:
            later.start()
        try:
            yield report
        finally:
            later.cancel()
            if later.ident is not None:
                later.join()
            bar.stop()
    except KeyboardInterrupt:
        out.print(Text(_stopped(what, reached, writes)))
        raise


def _stopped(what: str, reached: Sequence[int], writes: bool) -> str:
    """How far it came.

    >>> _stopped("sizes", [12, 52], True)
    'Stopped: sizes, 12 of 52 done; nothing was written.'
    """
    far = f"{reached[0]} of {reached[1]} done" if reached else "nothing done yet"
    return f"Stopped: {what}, {far}{'; nothing was written' if writes else ''}."
