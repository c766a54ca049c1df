"""What a log shows of a tool, as words and a table."""

from rich.text import Text

from energy.answers.meter.trace import Traced
from energy.show.layout import Part, Sheet, folded, listed, notes_part, part
from energy.show.numbers import measured
from energy.show.table import Column, rows

CLOSING = (
    "Take care: a plug-in meter belongs on a mains outlet of its rating, dry and covered; measure"
    " nothing by opening a pack, an inverter or a charger."
)


def sheet(answer: Traced, width: int, *, every: bool = False) -> Sheet:
    """What a log shows of a tool, and the profile it makes."""
    head = [Text(line, "bold") for line in folded(trace_finding(answer), width)]
    parts = [Part([[*head, Text()]])]
    if answer.profile:
        columns = (
            Column("in the profile", [str(key) for key in answer.profile]),
            Column("value", [str(value) for value in answer.profile.values()]),
        )
        heading, *items = rows(columns, width)
        shown = listed(heading, items, lambda n: f"{n} more: --all", most=12, least=6, gives=1)
        full = part([line for row in (heading, *items) for line in row])
        parts += [full if every else shown, part([""])]
    return Sheet([*parts, notes_part(answer.notes, width, every), part(folded(CLOSING, width))])


def trace_finding(answer: Traced) -> str:
    """What the log shows, in a sentence.

    >>> from energy.answers.meter.log import parse_log
    >>> from energy.answers.meter.trace import trace
    >>> rows = [(t, 800 if 20 <= t % 60 < 40 else 1) for t in range(600)]
    >>> log = parse_log("seconds,watts\\n" + "\\n".join(f"{t},{w}" for t, w in rows))
    >>> trace_finding(trace(log, "my-saw"))
    'my-saw, steady: 10 times 4.4 Wh, 44.4 Wh in all; at work 800 W'
    """
    parts = []
    if answer.count is not None and answer.each_wh is not None:
        parts.append(f"{answer.count} times {measured(answer.each_wh)} Wh")
    parts.append(f"{measured(answer.total_wh)} Wh in all")
    text = f"{answer.tool}, {answer.kind}: {', '.join(parts)}"
    levels = answer.levels
    if levels.working_w is not None:
        text += f"; at work {measured(levels.working_w)} W"
    if levels.idle_w is not None and levels.duty_percent is not None:
        text += f" for {levels.duty_percent:.0f} % of the time, free {measured(levels.idle_w)} W"
    if levels.taper_from_percent is not None:
        text += f", falling from {levels.taper_from_percent:.0f} % of the charge on"
    return text
