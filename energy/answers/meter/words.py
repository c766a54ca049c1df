"""What a log shows of a tool, as words and a table."""

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from energy.answers.meter.trace import Traced
from energy.show.numbers import measured

CLOSING = (
    "Take care: a plug-in meter belongs on a mains outlet of its rating, dry and covered; measure"
    " nothing by opening a pack, an inverter or a charger."
)


def show_trace(answer: Traced, out: Console) -> None:
    """Print what a log shows of a tool."""
    out.print(Text(trace_finding(answer), style="bold"))
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("in the profile")
    table.add_column("value", overflow="fold")
    for key, value in answer.profile.items():
        table.add_row(Text(key), Text(str(value)))
    if answer.profile:
        out.print(table)
    for note in answer.notes:
        out.print(Text(f"Note: {note}."))
    out.print(Text(CLOSING))


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
