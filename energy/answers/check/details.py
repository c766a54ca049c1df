"""What stands behind the options of a check: its tasks one by one, and where the energy went.

The answer itself is worded in `words`.
"""

from collections.abc import Iterator, Sequence

from rich.text import Text

from energy.answers.check.check import Check, TaskAnswer
from energy.plan.words import and_list
from energy.show import table
from energy.show.layout import folded, texts
from energy.show.moments import clock
from energy.show.numbers import watt_hours
from energy.show.table import Column
from energy.show.terms import SUPPLIES
from energy.simulation.budget import Budget
from energy.simulation.doubt import doubt

BOOKS = (
    ("sun_on_panel", "sun on the panels", 1),
    ("other_charging", "other charging", 1),
    ("panel_losses", "lost on the panels: glass, shade, heat, dull light, dirt", -1),
    ("pwm_losses", "lost at the PWM input, which holds the panels at the battery's volts", -1),
    ("refused", "more than the solar input takes", -1),
    ("spilled", "not used: the pack was full, cold or at its charging limit", -1),
    ("conversion_loss", "lost in controller, inverter and outlets", -1),
    ("charge_loss", "lost in charging", -1),
    ("discharge_loss", "lost in discharging", -1),
    ("idle", "idle draw of pack and inverter", -1),
    ("delivered", "delivered to the tasks", -1),
)


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
    return texts(table.lines(shown, width))


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
    lines += ["", *table.lines(columns, width)]
    ledger = result.middle_ledger_wh
    drawn, stated = ledger["delivered"] + ledger["unmet"], float(result.asked_wh.sum())
    if abs(drawn - stated) > 0.02 * stated:
        words = (
            f"The tasks' figures come to {watt_hours(stated)} Wh; each weather draws them anew"
            f" within their spread, this one {watt_hours(drawn)} Wh."
        )
        lines += folded(words, width)
    return texts(lines)


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
    ledger = result.middle_ledger_wh
    pwm_wh = float(result.solar.pwm_loss_wh[result.middle])
    books = ledger | {"panel_losses": ledger["panel_losses"] - pwm_wh, "pwm_losses": pwm_wh}
    for name, words, sign in BOOKS:
        if abs(books[name]) >= 0.5 or name == "delivered":
            yield words, sign * books[name]
    change = ledger["stored_change"]
    yield "taken from the store" if change < 0 else "put into the store", -change
    if ledger["unmet"] >= 0.05:
        yield "missing: asked but not served", ledger["unmet"]


def lowest_words(result: Budget) -> str:
    """The lowest charge, when, and how far above or below the reserve it lies; in the cold, from
    which percent on the pack is in its reserve and at which it is empty."""
    lowest, reserve_percent = result.lowest(), result.plan.pack.reserve_percent
    cold_percent = lowest.cold_unavailable_percent
    spare = f"{watt_hours(abs(lowest.spare_wh))} Wh "
    spare += "above" if lowest.spare_wh >= 0 else "short of"
    begins_percent = min(reserve_percent + cold_percent, 100.0)
    empty_percent = min(cold_percent / (result.plan.pack.kinetic_c or 1.0), 100.0)
    text = f"Lowest charge {lowest.percent:.0f} % at {clock(result.calendar, lowest.at_s)}, "
    if cold_percent > 99.9:
        limit_c = result.plan.pack.discharge_min_c
        text += f"but below {limit_c:g} degrees C the pack gives none of it"
    elif cold_percent < 0.5:
        text += f"{spare} the reserve of {reserve_percent:.0f} %"
    elif begins_percent <= empty_percent:
        text += f"and in this cold the pack is empty at {empty_percent:.0f} %"
        text += ", before it comes to its reserve" if reserve_percent else ""
    else:
        text += f"{spare} the {begins_percent:.0f} % where the reserve begins in this cold"
        text += f"; the pack is empty at {empty_percent:.0f} %"
    if result.chance.scenarios > 1:
        text += f"; one weather in ten falls to {result.dull_tenth_percent:.0f} % or lower"
    return text + "."


def _end(result: Budget) -> str:
    end = f"{float(result.middle_charge_percent[-1]):.0f} % at the end."
    if result.full_again_s is None:
        return end
    return f"Full again at {clock(result.calendar, result.full_again_s)}; {end}"


def _doubt(result: Budget) -> str:
    """Where the spread of the lowest charge comes from, in round tens of percent."""
    shares = doubt(result) if result.chance.scenarios > 1 else {}
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
