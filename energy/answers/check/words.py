"""An answer as words and tables for a terminal or a pipe, through rich.

Numbers are rounded to what is known of them. Pictures are drawn in `picture`.
"""

from collections.abc import Callable, Iterable, Sequence

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from energy.answers.check.check import Check, TaskAnswer
from energy.answers.check.progress_words import progress_lines
from energy.model import Mask
from energy.plan.words import and_list
from energy.show.chance import chance_line
from energy.show.moments import clock
from energy.show.numbers import watt_hours
from energy.show.terms import SUPPLIES
from energy.simulation.budget import Budget
from energy.simulation.strings import amps_fit, laid_out
from energy.weather.source import FAR_KM

VERDICTS = {
    "stays-powered": "stays powered",
    "dips-into-reserve": "dips into the reserve",
    "runs-flat": "runs flat",
    "overloads": "overloads",
}
STYLES = {"yes": "bold green", "almost": "bold yellow", "no": "bold red"}
BOOKS = (
    ("sun_on_panel", "sun on the panels", 1),
    ("other_charging", "other charging", 1),
    ("panel_losses", "lost on the panels: glass, shade, heat, dull light, dirt", -1),
    ("refused", "more than the solar input takes", -1),
    ("spilled", "spilled: the pack was full, cold or at its charging limit", -1),
    ("conversion_loss", "lost in controller, inverter and outlets", -1),
    ("charge_loss", "lost in charging", -1),
    ("discharge_loss", "lost in discharging", -1),
    ("idle", "idle draw of pack and inverter", -1),
    ("delivered", "delivered to the tasks", -1),
)


def strings_suit(result: Budget) -> bool:
    """Whether no string of the plan's panels is sure to be too much for the solar input."""
    laid = laid_out(result.plan, result.days.site.cold)
    return amps_fit(laid) and not any(way.fits is False for way in laid)


def show_check(
    answer: Check,
    out: Console,
    changes: Iterable[Text] | None = None,
    *,
    demo: bool = False,
    own: Sequence[str] = (),
) -> None:
    """Print the whole answer of a check; `changes` are the lines of those that make it a yes, None
    where none were looked for; `demo` says that the plan is the built-in one, `own` are tools whose
    figures come from the person's own readings."""
    result = answer.budget
    if demo:
        out.print("No plan given: this is the built-in demo, an invented example.")
    out.print(Text(result.plan.title or result.plan.origin, style="bold"))
    out.print(headline(answer))
    if not strings_suit(result):
        words = "But the panels' strings do not suit the solar input: ask energy wire first."
        out.print(Text(words, style="bold red"))
    for line in summary(answer):
        out.print(Text(line))
    if out.is_terminal and (out.encoding or "").startswith("utf"):
        from energy.answers.check.sketch import sketch

        out.print(Text(sketch(result, width=min(out.width, 90))))
    for sky in answer.skies:
        words = (
            f"{verdict_words(sky.verdict, sky.too_cold)}, lowest charge {sky.lowest_percent:.0f} %"
        )
        out.print(Text(f"{sky.sky.capitalize()} sky: {words}."))
    if changes is not None:
        for change in changes:
            out.print(change)
        if any(_runs_at_times(result, overload.burst.task) for overload in result.overloads):
            out.print(
                "What cannot run beside the rest may run at another time: energy choose looks for"
                " one."
            )
    out.print(task_table(answer.tasks, own))
    out.print(energy_table(result))
    for note in result.notes:
        out.print(Text(f"Note: {note}."))


def _runs_at_times(result: Budget, k: int) -> bool:
    """Whether a task of which something is turned away runs at other times."""
    return any(burst.task == k for burst in result.running)


def verdict_words(verdict: str, too_cold: bool) -> str:
    """A verdict in words; a pack that is too cold to give is not called flat.

    >>> verdict_words("runs-flat", False), verdict_words("runs-flat", True)
    ('runs flat', 'gets too cold to give')
    """
    if too_cold and verdict != "overloads":
        return "gets too cold to give"
    return VERDICTS[verdict]


def headline(answer: Check) -> Text:
    """The answer in one line: yes, almost or no against the goal, and what decides it."""
    word = Text(answer.answer.upper(), style=STYLES[answer.answer])
    return word.append(f": {_what_decides(answer)}.", style="bold")


def _what_decides(answer: Check) -> str:
    result, chance = answer.budget, answer.chance
    cold = bool(result.too_cold[result.middle])
    middle = verdict_words(result.verdict, cold)
    if answer.answer == "almost":
        return almost(result)
    if result.overloads:
        k, first = next((k, task) for k, task in enumerate(answer.tasks) if not task.runs)
        always = "always " if _runs_at_times(result, k) else ""
        words = f'"{first.name}" cannot {always}run: {first.why_not}'
        if result.simulated.ran_short[result.middle]:
            words += f"; and the pack {verdict_words('runs-flat', cold)}"
        return words
    if chance.scenarios == 1:
        return f"it {middle}"
    if answer.yes:
        works = f"works in {chance.worked} of {chance.scenarios} weathers"
        return f"{works}, the goal is {chance.goal:.0f} %; in the middle one it {middle}"
    deciding, where = _deciding(result, lambda budget: budget.powered)
    stops = f"{int((~deciding.powered).sum())} of {deciding.powered.size} weathers{where}"
    return f"something stops in {stops}; {deciding.may_fail} may; in the middle one it {middle}"


def almost(result: Budget) -> str:
    """That nothing stops, and in how many of the weathers that decide the reserve is used.

    >>> from energy.plan import Plan
    >>> from energy.simulation.budget import budget
    >>> almost(budget(Plan.read("builtin:cloudy-repair")))
    'nothing stops in any of 31 weathers, but 4 use the reserve; 3 may'
    """
    deciding, where = _deciding(result, lambda budget: budget.success)
    powered, cold = deciding.powered, int((deciding.too_cold & deciding.powered).sum())
    tried, works = powered.size, int(powered.sum())
    uses = works - int(deciding.success.sum()) - cold
    if tried == 1:
        but = "the pack gets too cold to give" if cold else "it uses the reserve"
        return f"nothing stops in the one weather tried, but {but}"
    share = f"any of {tried}" if works == tried else f"{works} of {tried}"
    buts = [f"{uses} use the reserve"] * (uses > 0)
    buts += [f"in {cold} the pack gets too cold to give"] * (cold > 0)
    may = deciding.may_fail
    return f"nothing stops in {share} weathers{where}, but {and_list(buts)}; {may} may"


def _deciding(result: Budget, holds: Callable[[Budget], Mask]) -> tuple[Budget, str]:
    """The budget in whose weathers what must hold falls furthest short of the goal, and where they
    are."""
    deciding = min(
        result.deciding,
        key=lambda budget: int(holds(budget).sum()) + budget.may_fail - holds(budget).size,
    )
    return deciding, " in a dull corner of the region" if deciding is not result else ""


def summary(answer: Check) -> Iterable[str]:
    """What a person reads next: the weather, the chance, the lowest point, the end."""
    result, lowest = answer.budget, answer.budget.lowest()
    away = ""
    if result.weather.distance_km > FAR_KM:
        away = f", {result.weather.distance_km:.0f} km away: not this place's own weather"
    yield f"Weather: {result.weather.source}{away}. Sharper with {result.weather.sharpen}."
    line = chance_line(result.chance)
    if result.overloads:
        line = f"what can run, {line}"
    yield line[0].upper() + line[1:] + _doubt(result) + "."
    must = result.chance.must_percent
    if must is not None and result.chance.scenarios > 1:
        yield f"What must run is fully served in {must:.0f} % of them."
    failed = failures(result)
    if failed:
        yield failed
    side = "above" if lowest.spare_wh >= 0 else "short of"
    reserve = f"the reserve of {result.plan.pack.reserve_percent:.0f} %"
    if lowest.cold_unavailable_percent >= 0.5 and result.weather.air.stated:
        reserve += f" and the {lowest.cold_unavailable_percent:.0f} % that the cold locks"
    text = f"Lowest charge {lowest.percent:.0f} % at {clock(result.calendar, lowest.at_s)}, "
    if lowest.cold_unavailable_percent > 99.9:
        limit_c = result.plan.pack.discharge_min_c
        text += f"but below {limit_c:g} degrees C the pack gives none of it"
    else:
        text += f"{watt_hours(abs(lowest.spare_wh))} Wh {side} {reserve}"
    if result.chance.scenarios > 1:
        text += f"; one weather in ten falls to {result.dull_tenth_percent:.0f} % or lower"
    yield text + "."
    flat = _flat_line(answer)
    if flat:
        yield flat
    end = f"{float(result.charge_percent[-1, result.middle]):.0f} % at the end"
    if result.full_again_s is not None:
        end = f"Full again at {clock(result.calendar, result.full_again_s)}; {end}"
    yield end + "."
    if answer.now is not None:
        yield now_line(answer)
        yield from progress_lines(answer)


def failures(result: Budget) -> str:
    """What happens in the weathers in which it does not work; empty where there are none."""
    fails = result.chance.scenarios - int(result.success.sum())
    if fails == 0 or result.chance.scenarios == 1 or result.answer == "almost":
        return ""
    cold = int(result.too_cold.sum())
    flat = int((result.simulated.ran_short & ~result.success & ~result.too_cold).sum())
    others = "In the one other" if fails == 1 else f"In the other {fails}"
    if fails == result.chance.scenarios:
        others = f"In all {fails}"
    if flat == cold == 0:
        return f"{others} it dips into the reserve, and nothing stops."
    stops = {"runs flat": flat, "gets too cold to give": cold}
    if fails in stops.values():
        return f"{others} the pack {max(stops, key=lambda words: stops[words])}."
    parts = [f"in {count} of them the pack {words}" for words, count in stops.items() if count]
    return f"{others} it dips into the reserve; {', '.join(parts)}."


def _doubt(result: Budget) -> str:
    """Where the spread of the lowest charge comes from, in round tens of percent."""
    shares = result.doubt if result.chance.scenarios > 1 else {}
    if not shares:
        return ""
    name, most = max(shares.items(), key=lambda item: item[1])
    if most > 0.95:
        return f"; nearly all the doubt comes from the {name}"
    words = [f"{10 * round(10.0 * share)} % from the {name}" for name, share in shares.items()]
    return f"; the doubt comes {', '.join(words)}"


def _flat_line(answer: Check) -> str:
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


def show_now(answer: Check, out: Console, *, choosing: bool) -> None:
    """Print how a day under way runs against its plan and what was taken as done, before a choice
    or a count of more."""
    for line in (now_line(answer), *progress_lines(answer, choosing=choosing)):
        out.print(Text(line))


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


def task_table(tasks: Sequence[TaskAnswer], own: Sequence[str] = ()) -> Table:
    """The tasks: what they ask (own: measured by the person), whether they run, in what share of
    weathers, and why not."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("task", overflow="fold")
    table.add_column("outlet")
    for heading in ("W", "Wh", "short, Wh", "all served"):
        table.add_column(heading, justify="right")
    if any(task.why_not for task in tasks):
        table.add_column("why not", overflow="fold")
    for task in tasks:
        name = f"{task.name} (must)" if task.must else task.name
        table.add_row(
            Text(name),
            SUPPLIES[task.supply],
            f"{'own ' if (task.tool or task.name) in own else ''}{task.peak_w:.0f}",
            watt_hours(task.energy_wh),
            watt_hours(task.unmet_wh) if task.unmet_wh > 0.05 else "",
            f"{task.chance_percent:.0f} %" if task.energy_wh > 0.0 else "",
            *([Text(task.why_not or "")] if len(table.columns) > 6 else []),
        )
    return table


def energy_table(result: Budget) -> Table:
    """Where the energy came from and went, in the middle weather."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("where the energy went, middle weather")
    table.add_column("Wh", justify="right")
    for name, words, sign in BOOKS:
        value = float(result.ledger_wh[name][result.middle])
        if abs(value) >= 0.5 or name == "delivered":
            table.add_row(words, watt_hours(sign * value))
    drawn = float(
        result.ledger_wh["delivered"][result.middle] + result.ledger_wh["unmet"][result.middle]
    )
    stated = float(result.asked_wh.sum())
    change = float(result.ledger_wh["stored_change"][result.middle])
    table.add_row(
        "taken from the store" if change < 0 else "put into the store", watt_hours(-change)
    )
    unmet = float(result.ledger_wh["unmet"][result.middle])
    if unmet >= 0.05:
        table.add_row("asked but not served", watt_hours(unmet))
    if abs(drawn - stated) > 0.02 * stated:
        table.caption = (
            f"The tasks' figures come to {watt_hours(stated)} Wh; each weather draws them anew"
            f" within their spread, this one {watt_hours(drawn)} Wh."
        )
        table.caption_justify = "left"
    return table
