"""A meter's log as a picture, with what was found in it."""

from typing import TYPE_CHECKING, Any

import numpy as np

from energy.answers.meter.trace import Traced
from energy.answers.meter.words import trace_finding
from energy.show.labels import style
from energy.show.numbers import measured
from energy.show.page import heading, lay_out, new_page, round_values, stacked, values_left
from energy.show.palette import COLOURS, DASHES, HEADING_IN, SMALL_PT

if TYPE_CHECKING:
    from matplotlib.figure import Figure

LEFT_IN, TRACE_IN, BELOW_IN = 0.55, 3.0, 0.48
WIDER = 1.1  # room for the names of the levels
MOST_POINTS = 6000  # of a log: more cannot be told apart on the page
FEW_BURSTS = 40
LEAST_NAMED = 0.04  # of the panel's height: lower a name would stand on the axis


def traced(answer: Traced) -> "Figure":
    """A meter's log with its bursts, levels and standby. A matplotlib Figure of its own.

    >>> from energy.answers.meter.log import parse_log
    >>> from energy.answers.meter.trace import trace
    >>> rows = [(t, 800 if 20 <= t % 60 < 40 else 1) for t in range(600)]
    >>> log = parse_log("seconds,watts\\n" + "\\n".join(f"{t},{w}" for t, w in rows))
    >>> len(traced(trace(log, "my-saw")).axes)
    1
    """
    log, page = answer.log, new_page()
    (panel,) = lay_out(
        page,
        (f"{log.name}: one value in {log.interval_s:g} s", trace_finding(answer)),
        [f"{note[0].upper()}{note[1:]}." for note in answer.notes],
        stacked(LEFT_IN, [(HEADING_IN, TRACE_IN)]),
        BELOW_IN,
    )
    unit_s, unit = (60.0, "minutes") if log.time_s[-1] < 3.0 * 3600.0 else (3600.0, "hours")
    heading(panel, f"Power in W, by {unit} from the log's start")
    x = np.append(log.time_s, log.time_s[-1] + log.interval_s) / unit_s
    watts = np.append(log.watts, log.watts[-1])
    watts[:-1][log.gap_after] = np.nan
    peak = max(float(log.watts.max()), 1.0)
    panel.set_xlim(0.0, WIDER * float(x[-1]))
    panel.set_ylim(0.0, 1.3 * peak)
    values_left(panel, round_values(peak))
    times = round_values(float(x[-1]))
    panel.set_xticks(times, [f"{value:g}" for value in times], **style(SMALL_PT))
    for burst in answer.bursts:
        colour = COLOURS["night" if burst.whole else "grid"]
        panel.axvspan(burst.start_s / unit_s, burst.end_s / unit_s, color=colour, lw=0.0, zorder=1)
    thin = slice(None, None, max(1, x.size // MOST_POINTS))
    panel.plot(
        x[thin], watts[thin], color=COLOURS["load"], lw=1.0, drawstyle="steps-post", zorder=3
    )
    _levels(answer, panel, unit_s, float(x[-1]))
    return page


def _levels(answer: Traced, panel: Any, unit_s: float, end: float) -> None:
    """The levels found, named at their right ends, and the number of each burst where few."""
    for value, words, dashes in (
        (answer.levels.working_w, "at work", DASHES["charge"]),
        (answer.levels.idle_w, "running free", DASHES["limit"]),
        (answer.standby_w if answer.standby_w > 0.5 else None, "between", DASHES["spilled"]),
    ):
        if value is not None:
            colour, name = COLOURS["charge"], f"{words}\n{measured(value)} W"
            panel.plot([0.0, end], [value, value], color=colour, ls=dashes, lw=1.1, zorder=4)
            how = {"va": "center", "zorder": 5, **style(SMALL_PT, colour="charge")}
            if value > LEAST_NAMED * panel.get_ylim()[1]:
                panel.text(1.01 * end, value, name, **how)
    if 1 < len(answer.bursts) <= FEW_BURSTS and answer.count == len(answer.bursts):
        top = panel.get_ylim()[1]
        for number, burst in enumerate(answer.bursts, start=1):
            middle = (burst.start_s + burst.end_s) / 2.0 / unit_s
            above = {"ha": "center", "va": "top", **style(SMALL_PT, colour="quiet")}
            panel.text(middle, 0.985 * top, str(number), zorder=5, **above)
