"""What readings and logs taught, as pictures: measured against predicted charge, and a meter's log
with what was found in it.

Their words are those of `learning`; what they show is worked out in the answers.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.answers.learn.learn import Learned
from energy.answers.learn.words import figure as rounded
from energy.answers.learn.words import finding, trace_finding
from energy.answers.meter.trace import Traced
from energy.model import Array
from energy.show.labels import Room, balanced, shorten, style, width_in, wrap
from energy.show.palette import (
    CHARGE_IN,
    COLOURS,
    DASHES,
    DPI,
    EDGE_IN,
    FLOWS_IN,
    HEADING_IN,
    HEADING_PT,
    PLAN_PT,
    RIGHT_IN,
    SMALL_PT,
    TITLE_PT,
    WIDTH_IN,
)
from energy.show.time_axis import hours, time_axis

if TYPE_CHECKING:
    from matplotlib.figure import Figure

LEFT_IN, BELOW_IN, CLOCK_IN = 0.55, 0.48, 0.18
TRACE_IN = 3.0
LEADING = 1.35 / 72.0
RING = {"markersize": 6.5, "markerfacecolor": "white", "markeredgewidth": 1.6}
WIDER = 1.1  # room for the names of the levels
AFTER_S = 3600.0  # shown after the last reading
MOST_POINTS = 6000  # of a log: more cannot be told apart on the page
FEW_BURSTS = 40
LEAST_NAMED = 0.04  # of the panel's height: lower a name would stand on the axis

Line = tuple[str, dict[str, Any]]


def learned(answer: Learned) -> "Figure":
    """Charge as it was read, as it was expected, and as it follows from what was learned; the
    sun's watts beside it where any were read. A matplotlib Figure of its own, 10 inches wide.

    >>> from energy.answers.learn.learn import learn
    >>> from energy.answers.learn.readings import parse_readings
    >>> from energy.plan import Plan
    >>> plan = Plan.read("builtin:cloudy-repair")
    >>> text = "time,battery_percent\\n09:00,90\\n12:00,75\\n"
    >>> len(learned(learn(plan, parse_readings(text, plan))).axes)
    1
    """
    b, day = answer.day.budget, answer.day
    watts = [one for one in day.observed if one.kind == "solar_w"]
    page = _figure()
    high = [CHARGE_IN, FLOWS_IN] if watts else [CHARGE_IN]
    foot = "The line before is what the plan and the figures stated would have given; the line"
    foot += " after, what fits the readings best, with that day's sky and work as they came out."
    title = answer.plan.title or answer.plan.origin
    panels = _lay_out(
        page, title, finding(answer).rstrip("."), [foot, f"Clock: {b.calendar.zone.key}."], high
    )
    time_axis(b, panels, answer.readings.rows[-1].time_s + AFTER_S)
    _heading(panels[0], "Charge of the pack, %")
    panels[0].set_ylim(-2.0, 104.0)
    _values(panels[0], [0.0, 25.0, 50.0, 75.0, 100.0])
    before, after = answer.charge_percent()
    x = hours(b, day.case.edges)
    read = [row for row in answer.readings.rows if row.battery_percent is not None]
    points = hours(b, [row.time_s for row in read]), [row.battery_percent for row in read]
    _measured(panels[0], x, before, after, points, "charge")
    if watts:
        _heading(panels[1], "Sun into the pack, W")
        sun_before, sun_after = (np.repeat(sun, 2) for sun in answer.solar_w())
        seen = [one.value for one in watts]
        at = hours(b, [one.row.time_s for one in watts])
        peak = max(float(sun_before.max()), float(sun_after.max()), *seen, 1.0)
        panels[1].set_ylim(0.0, 1.35 * peak)
        _values(panels[1], _round_values(peak))
        steps = np.repeat(x, 2)[1:-1]
        panels[1].fill_between(steps, 0.0, sun_after, color=COLOURS["daylight"], lw=0.0, zorder=2)
        _measured(panels[1], steps, sun_before, sun_after, (at, seen), "sun")
    return page


def _measured(
    panel: Any, x: Array, before: Array, after: Array, points: tuple[Any, Any], colour: str
) -> None:
    """What was expected, what was found, and rings where it was read."""
    room = Room(panel)
    panel.plot(x, before, color=COLOURS["quiet"], linestyle=DASHES["limit"], lw=1.3, zorder=3)
    panel.plot(x, after, color=COLOURS[colour], lw=2.0, zorder=4)
    ring = {"markeredgecolor": COLOURS["ink"], "clip_on": False, "zorder": 5.5, **RING}
    panel.plot(points[0], points[1], "o", **ring)
    room.keep_clear(x, before)
    room.keep_clear(x, after)
    around = 0.008 * float(np.ptp(panel.get_xlim()))
    for at, value in zip(*points, strict=True):
        room.keep_clear(np.array([at - around, at + around]), np.array([value, value]))
    pick = slice(None, None, max(1, x.size // 60))
    apart = np.abs(before - after)[pick]
    far = apart >= 0.5 * apart.max()
    room.label("before", x[pick][far], before[pick][far], "quiet")
    room.label("after", x[pick][far], after[pick][far], colour)
    room.label("read", points[0], points[1], "ink")


def traced(found: Traced) -> "Figure":
    """A meter's log with its bursts, levels and standby. A matplotlib Figure of its own.

    >>> from energy.answers.meter.log import parse_log
    >>> from energy.answers.meter.trace import trace
    >>> rows = [(t, 800 if 20 <= t % 60 < 40 else 1) for t in range(600)]
    >>> log = parse_log("seconds,watts\\n" + "\\n".join(f"{t},{w}" for t, w in rows))
    >>> len(traced(trace(log, "my-saw")).axes)
    1
    """
    log = found.log
    page = _figure()
    foot = [f"{note[0].upper()}{note[1:]}." for note in found.notes]
    what = f"{log.name}: one value in {log.interval_s:g} s"
    (panel,) = _lay_out(page, what, trace_finding(found), foot, [TRACE_IN])
    unit_s, unit = (60.0, "minutes") if log.time_s[-1] < 3.0 * 3600.0 else (3600.0, "hours")
    _heading(panel, f"Power in W, by {unit} from the log's start")
    x = np.append(log.time_s, log.time_s[-1] + log.interval_s) / unit_s
    watts = np.append(log.watts, log.watts[-1])
    watts[:-1][log.gap_after] = np.nan
    peak = max(float(log.watts.max()), 1.0)
    panel.set_xlim(0.0, WIDER * float(x[-1]))
    panel.set_ylim(0.0, 1.3 * peak)
    _values(panel, _round_values(peak))
    _across(panel, float(x[-1]))
    for burst in found.bursts:
        ends = burst.start_s / unit_s, burst.end_s / unit_s
        colour = "night" if burst.whole else "grid"
        panel.axvspan(*ends, color=COLOURS[colour], linewidth=0.0, zorder=1)
    thin = slice(None, None, max(1, x.size // MOST_POINTS))
    panel.plot(
        x[thin], watts[thin], color=COLOURS["load"], lw=1.0, drawstyle="steps-post", zorder=3
    )
    _levels(found, panel, unit_s, float(x[-1]))
    return page


def _levels(found: Traced, panel: Any, unit_s: float, end: float) -> None:
    """The levels found, named at their right ends, and the number of each burst where few."""
    for value, words, dashes in (
        (found.working_w, "at work", DASHES["charge"]),
        (found.idle_w, "running free", DASHES["limit"]),
        (found.standby_w if found.standby_w > 0.5 else None, "between", DASHES["spilled"]),
    ):
        if value is not None:
            colour, name = COLOURS["charge"], f"{words}\n{rounded(value)} W"
            panel.plot([0.0, end], [value, value], color=colour, ls=dashes, lw=1.1, zorder=4)
            how = {"va": "center", "zorder": 5, **style(SMALL_PT, colour="charge")}
            if value > LEAST_NAMED * panel.get_ylim()[1]:
                panel.text(1.01 * end, value, name, **how)
    if 1 < len(found.bursts) <= FEW_BURSTS and found.count == len(found.bursts):
        top = panel.get_ylim()[1]
        for number, burst in enumerate(found.bursts, start=1):
            middle = (burst.start_s + burst.end_s) / 2.0 / unit_s
            above = {"ha": "center", "va": "top", **style(SMALL_PT, colour="quiet")}
            panel.text(middle, 0.985 * top, str(number), zorder=5, **above)


def _figure() -> "Figure":
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDTH_IN, 1.0), dpi=DPI, facecolor="white")
    FigureCanvasAgg(figure)
    return figure


def _lay_out(
    figure: Any, title: str, words: str, foot: Sequence[str], high: Sequence[float]
) -> list[Any]:
    """Size the page, write what stands around the panels, and make room for each."""
    wide = (WIDTH_IN - 2.0 * EDGE_IN) * DPI
    head: list[Line] = [(shorten(title, wide, width_in(figure, PLAN_PT)), style(PLAN_PT))]
    bold = width_in(figure, TITLE_PT, bold=True)
    head += [(line, style(TITLE_PT, bold=True)) for line in balanced(words, wide, bold, most=3)]
    small = width_in(figure, SMALL_PT)
    quiet = style(SMALL_PT, colour="quiet")
    below = [(line, quiet) for text in foot for line in wrap(text, wide, small, most=2)]
    tall = [sum(float(how["fontsize"]) for _, how in lines) * LEADING for lines in (head, below)]
    between = (len(high) - 1) * (HEADING_IN + CLOCK_IN)
    total = 2 * EDGE_IN + sum(tall) + HEADING_IN + sum(high) + between + BELOW_IN
    figure.set_size_inches(WIDTH_IN, total)
    _write(figure, head, total - EDGE_IN)
    _write(figure, below, EDGE_IN + tall[1])
    top, panels = total - EDGE_IN - tall[0] - HEADING_IN, []
    for height in high:
        box = (LEFT_IN, top - height, WIDTH_IN - LEFT_IN - RIGHT_IN, height)
        share = (box[0] / WIDTH_IN, box[1] / total, box[2] / WIDTH_IN, box[3] / total)
        panels.append(figure.add_axes(share))
        _frame(panels[-1])
        top -= height + HEADING_IN + CLOCK_IN
    return panels


def _write(figure: Any, lines: Sequence[Line], top_in: float) -> None:
    """Write lines from the left edge down."""
    for text, how in lines:
        height = top_in / figure.get_size_inches()[1]
        figure.text(EDGE_IN / WIDTH_IN, height, text, va="top", **how)
        top_in -= float(how["fontsize"]) * LEADING


def _frame(panel: Any) -> None:
    """A plain panel: a line below, nothing else."""
    panel.set_facecolor("white")
    for side in ("left", "right", "top"):
        panel.spines[side].set_visible(False)
    panel.spines["bottom"].set(color=COLOURS["quiet"], linewidth=0.8)


def _heading(panel: Any, text: str) -> None:
    above = {"xytext": (0.0, 4.0), "textcoords": "offset points", "va": "bottom"}
    panel.annotate(
        text, (0.0, 1.0), xycoords="axes fraction", **above, **style(HEADING_PT, bold=True)
    )


def _values(panel: Any, ticks: Sequence[float]) -> None:
    """The figures on the left with their faint lines."""
    panel.set_yticks(list(ticks), [f"{value:g}" for value in ticks], **style(SMALL_PT))
    panel.tick_params(axis="both", length=0.0, pad=4.0)
    for value in ticks:
        panel.axhline(value, color=COLOURS["grid"], linewidth=0.5, zorder=0.5)


def _across(panel: Any, end: float) -> None:
    """Round figures below the panel."""
    ticks = _round_values(end)
    panel.set_xticks(ticks, [f"{value:g}" for value in ticks], **style(SMALL_PT))


def _round_values(peak: float) -> list[float]:
    """Zero and a few round figures up to a peak.

    >>> _round_values(730.0)
    [0.0, 200.0, 400.0, 600.0]
    """
    decade = 10.0 ** np.floor(np.log10(peak / 2.0))
    step = next(float(f * decade) for f in (1.0, 2.0, 5.0, 10.0) if peak / (f * decade) < 5.0)
    return [step * k for k in range(int(peak / step) + 1)]
