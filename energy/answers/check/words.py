"""The answer of a check in words: 24 lines, and what stands behind its options.

Numbers are rounded to what is known of them. Pictures are drawn in `picture`.
"""

from collections.abc import Callable, Sequence

import numpy as np
from rich.text import Text

from energy.answers.caution.words import warning_part
from energy.answers.check.check import Check
from energy.answers.check.checkpoints import Checkpoint
from energy.answers.check.details import energy_lines, task_lines
from energy.answers.check.progress_words import progress_lines
from energy.model import Mask
from energy.plan.words import and_list
from energy.show import table
from energy.show.chance import DULL_CORNER
from energy.show.layout import Part, Sheet, Slow, folded, notes_part, part
from energy.show.moments import at_clock, clock, day_name, hour_minute
from energy.show.table import Column
from energy.show.title import answer_part, title_part, weather_part
from energy.simulation.budget import Budget

VERDICTS = {
    "stays-powered": "stays powered",
    "dips-into-reserve": "dips into the reserve",
    "runs-flat": "runs flat",
    "overloads": "overloads",
}
SKETCH_ROWS = (7, 6, 5)


def sheet(
    answer: Check,
    width: int,
    changes: Slow | None = None,
    *,
    demo: bool = False,
    drawn: bool = False,
    every: bool = False,
    own: Sequence[str] = (),
) -> Sheet:
    """The answer of a check, and its details by option.

    width: columns. changes: the part of the changes that make it a yes, where they are sought.
    demo: the plan is the built-in one. drawn: with the charge as a small drawing, for a terminal.
    every: all notes. own: tools whose figures come from the person's own readings.
    """
    result = answer.budget
    parts: list[Part | Slow] = [title_part(result, width, demo=demo)]
    parts.append(answer_part(answer.answer.upper(), f"{what_decides(answer)}.", width))
    parts.append(warning_part(result, width))
    if answer.now is not None:
        parts.append(now_part(answer, width))
    if drawn:
        from energy.answers.check.sketch import sketch

        drawings = [sketch(result, width, height).splitlines() for height in SKETCH_ROWS]
        spaced = [[*lines, ""] if n < 2 else lines for n, lines in enumerate(drawings)]
        parts.append(Part([[Text(line) for line in lines] for lines in spaced], gives=1))
    parts.append(checkpoints_part(answer.checkpoints, width))
    if answer.skies:
        parts.append(part([*_under_skies(answer, width), ""]))
    if changes is not None and not answer.yes:
        parts.append(changes)
    parts += [
        weather_part(result, width, sharper=not answer.yes),
        notes_part(result.notes, width, every),
    ]
    return Sheet(
        parts,
        {
            "tasks": lambda width: task_lines(answer.tasks, width, own),
            "energy": lambda width: energy_lines(answer, width),
        },
    )


def _under_skies(answer: Check, width: int) -> list[str]:
    columns = (
        Column("sky", [sky.sky for sky in answer.skies]),
        Column("so it", [verdict_words(sky.verdict, sky.too_cold) for sky in answer.skies]),
        Column("lowest", [f"{sky.lowest_percent:.0f} %" for sky in answer.skies], right=True),
    )
    return table.lines(columns, width)


def checkpoints_part(checkpoints: Sequence[Checkpoint], width: int) -> Part:
    """What the display should say when, and the reading at which to turn back."""
    if not checkpoints:
        return part([])
    several_weeks = (checkpoints[-1].at - checkpoints[0].at).days >= 6
    names = [
        f"{day_name(c.at) if several_weeks else f'{c.at:%a}'} {hour_minute(c.at)}"
        for c in checkpoints
    ]
    columns = [
        Column("", names),
        Column("expect", [f"{c.expected_percent:.0f} %" for c in checkpoints], right=True),
        Column("turn back below", [turn_back_words(c) for c in checkpoints], right=True),
        Column("", ["lowest" if c.lowest else "" for c in checkpoints]),
    ]
    if any(c.dull_percent < c.expected_percent for c in checkpoints):
        dull = [f"{c.dull_percent:.0f} %" for c in checkpoints]
        columns.insert(2, Column("dull day", dull, right=True))
    return part([*(f" {line}" for line in table.lines(columns, width - 1)), ""])


def turn_back_words(checkpoint: Checkpoint) -> str:
    """Below which reading to turn back; - where not even a full pack would do."""
    least = checkpoint.least_percent
    return {None: "-", 0: "any"}.get(least, f"{least} %")


def verdict_words(verdict: str, too_cold: bool) -> str:
    """A verdict in words; a pack that is too cold to give is not called flat.

    >>> verdict_words("runs-flat", False), verdict_words("runs-flat", True)
    ('runs flat', 'gets too cold to give')
    """
    if too_cold and verdict != "overloads":
        return "gets too cold to give"
    return VERDICTS[verdict]


def what_decides(answer: Check) -> str:
    """What decides the answer, with its numbers."""
    result, chance = answer.budget, answer.chance
    if answer.answer == "almost":
        return almost(result) + _must(result)
    if result.overloads:
        return _turned_away(answer)
    if chance.scenarios == 1:
        cold = bool(result.too_cold[result.middle])
        return f"It {verdict_words(result.verdict, cold)}{_when(result)}"
    if answer.yes:
        return f"Works in {works_in(result)}; the goal is {chance.goal:.0f} %"
    deciding, where = _deciding(result, lambda budget: budget.powered)
    stops = f"{int((~deciding.powered).sum())} of {deciding.powered.size} weathers{where}"
    uses = int((deciding.powered & ~deciding.success).sum())
    words = f"Something stops in {stops}{f', {uses} more use the reserve' * (uses > 0)}"
    words += f"; the goal allows {deciding.may_fail}"
    return words + _stops_first(deciding) + _must(result)


def _when(result: Budget) -> str:
    """When something first stops in the middle weather; empty where nothing does."""
    first_s = float(result.simulated.first_unmet_s[:, result.middle].min(initial=np.inf))
    return f" {at_clock(result.calendar, first_s)}" if np.isfinite(first_s) else ""


def works_in(result: Budget) -> str:
    """In how many of the weathers that decide the plan works."""
    deciding, where = _deciding(result, lambda budget: budget.success)
    return f"{int(deciding.success.sum())} of {deciding.success.size} weathers{where}"


def _turned_away(answer: Check) -> str:
    """Which task a limit turns away, and why."""
    result, refused = answer.budget, [task for task in answer.tasks if not task.runs]
    k = next(k for k, task in enumerate(answer.tasks) if not task.runs)
    always = "always " if _runs_at_times(result, k) else ""
    words = f'"{refused[0].name}" cannot {always}run: {refused[0].why_not}'
    if result.simulated.ran_short[result.middle]:
        cold = bool(result.too_cold[result.middle])
        words += f"; and the pack {verdict_words('runs-flat', cold)}"
    if more := len(refused) - 1:
        words += f"; {more} more cannot: --tasks"
    return words


def _stops_first(result: Budget) -> str:
    """The task that mostly stops first where something stops, and about when."""
    first_s = result.simulated.first_unmet_s[:, ~result.powered]
    if not np.isfinite(first_s).any():
        return ""
    tasks, when_s = first_s.argmin(axis=0), first_s.min(axis=0)
    k = int(np.bincount(tasks[np.isfinite(when_s)]).argmax())
    about_s = float(np.median(when_s[(tasks == k) & np.isfinite(when_s)]))
    cold = " (too cold to give)" if result.too_cold[~result.powered].mean() > 0.5 else ""
    return (
        f'. Mostly "{result.plan.task[k].name}", from about {clock(result.calendar, about_s)}{cold}'
    )


def _must(result: Budget) -> str:
    """In how many weathers all holds that must run; empty where nothing must, or nothing fails."""
    chance = result.chance
    if chance.must_percent in (None, 100.0) or chance.scenarios == 1:
        return ""
    holds = round(chance.must_percent / 100.0 * chance.scenarios)
    return f". Must-run tasks hold in {holds} of {chance.scenarios}"


def almost(result: Budget) -> str:
    """That nothing stops, and in how many of the weathers that decide the reserve is used.

    >>> from energy.plan import Plan
    >>> from energy.simulation.budget import budget
    >>> almost(budget(Plan.read("builtin:cloudy-repair")))
    'Nothing stops in any of 31 weathers, but 4 use the reserve; the goal allows 3'
    """
    deciding, where = _deciding(result, lambda budget: budget.success)
    powered, cold = deciding.powered, int((deciding.too_cold & deciding.powered).sum())
    tried, works = powered.size, int(powered.sum())
    uses = works - int(deciding.success.sum()) - cold
    if tried == 1:
        but = "the pack gets too cold to give" if cold else "it uses the reserve"
        return f"Nothing stops in the one weather tried, but {but}"
    share = f"any of {tried}" if works == tried else f"{works} of {tried}"
    buts = [f"{uses} use the reserve"] * (uses > 0)
    buts += [f"in {cold} the pack gets too cold to give"] * (cold > 0)
    fail = f": {tried - int(deciding.success.sum())} fail" * (works < tried)
    words = f"Nothing stops in {share} weathers{where}, but {and_list(buts)}{fail}"
    return f"{words}; the goal allows {deciding.may_fail}"


def _deciding(result: Budget, holds: Callable[[Budget], Mask]) -> tuple[Budget, str]:
    """The budget in whose weathers what must hold falls furthest short of the goal, and where they
    are."""
    deciding = min(
        result.deciding,
        key=lambda budget: int(holds(budget).sum()) + budget.may_fail - holds(budget).size,
    )
    return deciding, DULL_CORNER * (deciding is not result)


def some_runs(result: Budget) -> bool:
    """Whether of a task that is turned away at some times something runs at others."""
    return any(_runs_at_times(result, overload.burst.task) for overload in result.overloads)


def _runs_at_times(result: Budget, k: int) -> bool:
    """Whether a task of which something is turned away runs at other times."""
    return any(burst.task == k for burst in result.running)


def now_part(answer: Check, width: int, *, choosing: bool = False) -> Part:
    """How a day under way runs against its plan and what was taken as done; `choosing`: a choice or
    a count of more follows."""
    lines = [now_line(answer), *progress_lines(answer, choosing=choosing)]
    return part([*(row for line in lines for row in folded(line, width, 2)), ""])


def now_line(answer: Check) -> str:
    """How a day under way runs against its plan."""
    now = answer.now
    assert now is not None
    at = clock(answer.budget.calendar, now.at.timestamp())
    if now.expected_percent is None:
        return (
            f"Measured {now.measured_percent:.0f} % at {at}; what was expected then is not known:"
            " the weather held begins later than the plan."
        )
    gap_points = now.measured_percent - now.expected_percent
    way = "ahead of" if gap_points >= 0 else "behind"
    return (
        f"At {at} the plan expected {now.expected_percent:.0f} %, measured"
        f" {now.measured_percent:.0f} %: {abs(gap_points):.0f} points {way} the plan."
    )
