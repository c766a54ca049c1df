"""A day under way in words: what was taken as done, what of it is over."""

from collections.abc import Iterator

from energy.answers.check.check import Check
from energy.answers.check.rest import left_out_with
from energy.plan.words import and_list
from energy.show.numbers import amount
from energy.simulation.progress import Progress

LEAST = 0.05  # of a minute or an hour: less is not worth a word


def progress_lines(answer: Check, *, choosing: bool = False) -> Iterator[str]:
    """What was taken as done, and what is undone although its time is over; nothing where nothing
    was said. `choosing`: a choice follows, which is offered what it may take up again."""
    progress = answer.budget.progress
    if not progress:
        return
    yield f"Taken as done: {', '.join(_done(p) for p in progress)}; the rest as planned."
    for p in progress:
        if p.done > p.planned:
            done, planned = (amount(value, p.unit) for value in (p.done, p.planned))
            yield f'Of "{p.name}" {done} are done, {planned} were planned: nothing of it is left.'
    over = and_list([_of(p, p.over) for p in progress if p.over > LEAST])
    again = and_list([_of(p, p.again) for p in progress if p.again > LEAST])
    if over:
        here = f"; left out{f'; energy choose offers again {again}' if again else ''}"
        if choosing:
            here = f"; offered again: {again}" if again else "; left out"
        yield f"Undone, and its time is over: {over}{here}."
    yield from _belonging(answer, choosing)


def _belonging(answer: Check, choosing: bool) -> Iterator[str]:
    names = left_out_with(answer.budget.plan, answer.budget.progress)
    if names:
        verb = "is left out too" if choosing else "is counted all the same"
        named = and_list([f'"{name}"' for name in names])
        yield f"What belongs to it {verb}: {named}."


def _done(p: Progress) -> str:
    if p.done <= 0.0 or p.done >= p.planned:
        return f'{"all" if p.done > 0.0 else "none"} of "{p.name}"'
    return f'{p.done:g} of {amount(p.planned, p.unit)} of "{p.name}"'


def _of(p: Progress, value: float) -> str:
    return f'{amount(value, p.unit)} of "{p.name}"'
