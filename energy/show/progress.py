"""A long answer under way: how far it is, and how long it may still take."""

import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, nullcontext
from threading import Timer

from rich.console import Console
from rich.text import Text

SHORT_S = 2.0  # for less nobody wants a bar


Report = Callable[[int, int | None], None]  # takes what is done, and of how many


@contextmanager
def progress(
    out: Console, what: str, *, writes: bool = True, rate: bool = False
) -> Iterator[Report]:
    """A bar on a terminal for what takes longer than two seconds, nothing elsewhere or where quiet
    was asked for; yields the function that takes (done, of how many).

    An interrupt is passed on after a line that says how far it came; writes: that nothing was
    written is worth saying. rate: how many are done a second is shown too.
    """
    reached: list[int | None] = []
    drawn = out.is_terminal and not os.environ.get("ENERGY_QUIET")
    try:
        with _bar(out, what, rate) if drawn else nullcontext() as draw:

            def report(done: int, total: int | None) -> None:
                reached[:] = [done, total]
                if draw is not None:
                    draw(done, total)

            yield report
    except KeyboardInterrupt:
        out.print(Text(_stopped(what, reached, writes)))
        raise


@contextmanager
def _bar(out: Console, what: str, rate: bool) -> Iterator[Report]:
    """A bar that comes up after two seconds."""
    from rich.progress import Progress, ProgressColumn, Task

    class Rate(ProgressColumn):
        def render(self, task: Task) -> Text:
            return Text(rate_words(int(task.completed), task.speed))

    columns = [*Progress.get_default_columns(), *([Rate()] if rate else [])]
    bar = Progress(*columns, console=out, transient=True)
    task = bar.add_task(what, total=None)
    later = Timer(SHORT_S, bar.start)
    later.daemon = True
    later.start()
    try:
        yield lambda done, total: bar.update(task, completed=done, total=total)
    finally:
        later.cancel()
        later.join()
        bar.stop()


def rate_words(done: int, per_s: float | None) -> str:
    """How many are done, and how many a second or a minute.

    >>> rate_words(40, 2.54), rate_words(3, 0.05), rate_words(0, None)
    ('40 done, 2.5 a second', '3 done, 3 a minute', '0 done')
    """
    if not per_s:
        return f"{done} done"
    pace = f"{per_s:.1f} a second" if per_s >= 1.0 else f"{60.0 * per_s:.0f} a minute"
    return f"{done} done, {pace}"


def _stopped(what: str, reached: Sequence[int | None], writes: bool) -> str:
    """How far it came.

    >>> _stopped("sizes", [12, 52], True)
    'Stopped: sizes, 12 of 52 done; nothing was written.'
    """
    far = f"{reached[0]} of {reached[1]} done" if reached else "nothing done yet"
    return f"Stopped: {what}, {far}{'; nothing was written' if writes else ''}."
