"""The answer of a check in words: 24 lines, and what stands behind its options.

Numbers are rounded to what is known of them. Pictures are drawn in `picture`.
"""

from collections.abc import Callable, Iterator, Sequence

import numpy as np
from rich.text import Text

from energy.answers.check.check import Check, TaskAnswer
from energy.answers.check.checkpoints import Checkpoint
from energy.answers.check.progress_words import progress_lines
from energy.answers.check.sketch import sketch
from energy.model import Mask
from energy.plan.words import and_list
from energy.show.layout import Part, Sheet, Slow, folded, notes_part, part
from energy.show.moments import at_clock, clock, day_name
from energy.show.numbers import watt_hours
from energy.show.table import Column, rows
from energy.show.terms import SUPPLIES
from energy.show.title import answer_part, title_part, weather_part
from energy.simulation.budget import Budget
from energy.simulation.strings import amps_fit, laid_out

VERDICTS = {
    "stays-powered": "stays powered",
    "dips-into-reserve": "dips into the reserve",
    "runs-flat": "runs flat",
    "overloads": "overloads",
}
BOOKS = (
    ("sun_on_panel", "sun on the panels", 1),
    ("other_charging", "other charging", 1),
    ("panel_losses", "lost on the panels: glass, shade, heat, dull light, dirt", -1),
    ("refused", "more than the solar input takes", -1),
    ("spilled", "not used: the pack was full, cold or at its charging limit", -1),
    ("conversion_loss", "lost in controller, inverter and outlets", -1),
    ("charge_loss", "lost in charging", -1),
    ("discharge_loss", "lost in discharging", -1),
    ("idle", "idle draw of pack and inverter", -1),
    ("delivered", "delivered to the tasks", -1),
)
SKETCH_ROWS = (7, 6, 5)
NO_SUIT = "The panels' strings do not suit the solar input: ask energy wire first."


def strings_suit(result: Budget) -> bool:
    """Whether no string of the plan's panels is sure to be too much for the solar input."""
    laid = laid_out(result.plan, result.days.site.cold)
    return amps_fit(laid) and not any(way.fits is False for way in laid)


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
    if not strings_suit(result):
        parts.append(part([*folded(NO_SUIT, width), ""], "bold red"))
    if answer.now is not None:
        parts.append(now_part(answer, width))
    if drawn:
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
    return [line for row in rows(columns, width) for line in row]


def checkpoints_part(checkpoints: Sequence[Checkpoint], width: int) -> Part:
    """What the display should say when, and the reading at which to turn back."""
    if not checkpoints:
        return part([])
    several_weeks = (checkpoints[-1].at - checkpoints[0].at).days >= 6
    names = [
        f"{day_name(c.at)} {c.at:%H:%M}" if several_weeks else f"{c.at:%a %H:%M}"
        for c in checkpoints
    ]
    columns = [
        Column("", names),
        Column("expect", [f"{c.expected_percent:.0f} %" for c in checkpoints], right=True),
        Column("turn back below", [_turn_back(c) for c in checkpoints], right=True),
        Column("", ["lowest" if c.lowest else "" for c in checkpoints]),
    ]
    if any(c.dull_percent < c.expected_percent for c in checkpoints):
        dull = [f"{c.dull_percent:.0f} %" for c in checkpoints]
        columns.insert(2, Column("dull day", dull, right=True))
    table = [Text(line) for row in rows(columns, width - 1) for line in row]
    return Part([[Text(" ") + line for line in table] + [Text()]])


def _turn_back(checkpoint: Checkpoint) -> str:
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
    may = deciding.may_fail
    return f"Nothing stops in {share} weathers{where}, but {and_list(buts)}; the goal allows {may}"


def _deciding(result: Budget, holds: Callable[[Budget], Mask]) -> tuple[Budget, str]:
    """The budget in whose weathers what must hold falls furthest short of the goal, and where they
    are."""
    deciding = min(
        result.deciding,
        key=lambda budget: int(holds(budget).sum()) + budget.may_fail - holds(budget).size,
    )
    return deciding, " in a dull corner of the region" if deciding is not result else ""


def some_runs(result: Budget) -> bool:
    """Whether of a task that is turned away at some times something runs at others."""
    return any(_runs_at_times(result, overload.burst.task) for overload in result.overloads)


def _runs_at_times(result: Budget, k: int) -> bool:
    """Whether a task of which something is turned away runs at other times."""
    return any(burst.task == k for burst in result.running)


def task_lines(tasks: Sequence[TaskAnswer], width: int, own: Sequence[str] = ()) -> list[Text]:
    """The tasks: what they ask (own: measured by the person), whether they run, in what share of
    weathers, and why not."""
    mine = [(task.tool or task.name) in own for task in tasks]
    watts = [f"{'own ' * by}{task.peak_w:.0f} W" for task, by in zip(tasks, mine, strict=True)]
    missing = [f"{watt_hours(t.unmet_wh)} Wh" if t.unmet_wh > 0.05 else "" for t in tasks]
    served = [f"{t.chance_percent:.0f} %" if t.energy_wh > 0.0 else "" for t in tasks]
    columns = [
        Column("task", [f"{task.name}{' (must)' * task.must}" for task in tasks]),
        Column("outlet", [SUPPLIES[task.supply] for task in tasks], drop=1),
        Column("takes", watts, right=True),
        Column("in all", [f"{watt_hours(task.energy_wh)} Wh" for task in tasks], right=True),
        Column("missing", missing, right=True, drop=2),
        Column("all served", served, right=True),
        Column("why not", [task.why_not or "" for task in tasks]),
    ]
    shown = [column for column in columns if any(column.cells)]
    return [Text(line) for row in rows(shown, width) for line in row]


def energy_lines(answer: Check, width: int) -> list[Text]:
    """The lowest charge and the end, and where the energy came from and went, in the middling
    weather."""
    result = answer.budget
    sentences = [failures(result), lowest_words(result), _flat(answer), _end(result)]
    sentences.append(_doubt(result))
    lines = [line for words in sentences if words for line in folded(words, width)]
    books = [*_books(result)]
    columns = (
        Column("where the energy went, middling weather", [name for name, _ in books]),
        Column("", [f"{watt_hours(wh)} Wh" for _, wh in books], right=True),
    )
    lines += ["", *(line for row in rows(columns, width) for line in row)]
    ledger = {name: float(wh[result.middle]) for name, wh in result.ledger_wh.items()}
    drawn, stated = ledger["delivered"] + ledger["unmet"], float(result.asked_wh.sum())
    if abs(drawn - stated) > 0.02 * stated:
        words = (
            f"The tasks' figures come to {watt_hours(stated)} Wh; each weather draws them anew"
            f" within their spread, this one {watt_hours(drawn)} Wh."
        )
        lines += folded(words, width)
    return [Text(line) for line in lines]


def failures(result: Budget) -> str:
    """What happens in the weathers in which it does not work; empty where that is said already."""
    fails = result.chance.scenarios - int(result.success.sum())
    if fails == 0 or result.chance.scenarios == 1 or result.answer == "almost":
        return ""
    cold = int(result.too_cold.sum())
    flat = int((result.simulated.ran_short & ~result.success & ~result.too_cold).sum())
    which = "the one weather" if fails == 1 else f"the {fails} weathers"
    parts = [
        f"in {count} the pack {words}"
        for count, words in ((flat, "runs flat"), (cold, "gets too cold to give"))
        if count
    ]
    if uses := fails - flat - cold:
        parts.append(f"in {uses} it uses the reserve")
    return f"Of {which} in which it fails: {and_list(parts)}."


def _books(result: Budget) -> Iterator[tuple[str, float]]:
    """Each place where energy came from or went, and how much [Wh], in the middle weather."""
    ledger = {name: float(wh[result.middle]) for name, wh in result.ledger_wh.items()}
    for name, words, sign in BOOKS:
        if abs(ledger[name]) >= 0.5 or name == "delivered":
            yield words, sign * ledger[name]
    change = ledger["stored_change"]
    yield "taken from the store" if change < 0 else "put into the store", -change
    if ledger["unmet"] >= 0.05:
        yield "missing: asked but not served", ledger["unmet"]


def lowest_words(result: Budget) -> str:
    """The lowest charge, when, and how far above or below the reserve it lies."""
    lowest = result.lowest()
    side = "above" if lowest.spare_wh >= 0 else "short of"
    reserve = f"the reserve of {result.plan.pack.reserve_percent:.0f} %"
    if lowest.cold_unavailable_percent >= 0.5:
        reserve += f" and the {lowest.cold_unavailable_percent:.0f} % held back by the cold"
    text = f"Lowest charge {lowest.percent:.0f} % at {clock(result.calendar, lowest.at_s)}, "
    if lowest.cold_unavailable_percent > 99.9:
        limit_c = result.plan.pack.discharge_min_c
        text += f"but below {limit_c:g} degrees C the pack gives none of it"
    else:
        text += f"{watt_hours(abs(lowest.spare_wh))} Wh {side} {reserve}"
    if result.chance.scenarios > 1:
        text += f"; one weather in ten falls to {result.dull_tenth_percent:.0f} % or lower"
    return text + "."


def _end(result: Budget) -> str:
    end = f"{float(result.charge_percent[-1, result.middle]):.0f} % at the end."
    if result.full_again_s is None:
        return end
    return f"Full again at {clock(result.calendar, result.full_again_s)}; {end}"


def _doubt(result: Budget) -> str:
    """Where the spread of the lowest charge comes from, in round tens of percent."""
    shares = result.doubt if result.chance.scenarios > 1 else {}
    if not shares:
        return ""
    name, most = max(shares.items(), key=lambda item: item[1])
    if most > 0.95:
        return f"Nearly all the doubt comes from the {name}."
    words = [f"{10 * round(10.0 * share)} % from the {name}" for name, share in shares.items()]
    return f"The doubt comes {', '.join(words)}."


def _flat(answer: Check) -> str:
    """When it runs flat in the middle weather, and what must run and was lost."""
    result = answer.budget
    first = result.simulated.first_unmet_s[:, result.middle]
    lost = [t for k, t in enumerate(answer.tasks) if first[k] < float("inf")]
    if not lost:
        return ""
    at, limit_c = clock(result.calendar, float(first.min())), result.plan.pack.discharge_min_c
    text = f"Flat at {at}"
    if result.too_cold_at(float(first.min()), result.middle):
        text = (
            f"Too cold to give at {at}: below {limit_c:g} degrees C it gives nothing, however full"
        )
    must = [f'"{t.name}"' for t in lost if t.must]
    if must:
        text += f"; what must run was lost too: {', '.join(must)}"
    return text + "."


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
