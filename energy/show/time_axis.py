"""The time axis that all panels share: local clock, dates at midnights, nights, round hours.

Positions are hours from the start of the span; words are the plan's own clock, so a day on which
the clock changes has a longer or a shorter step.
"""

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

import numpy as np

from energy.model.timeline import Interval
from energy.show.labels import style, width_in
from energy.show.moments import day_name
from energy.show.palette import COLOURS, SMALL_PT
from energy.simulation.budget import Budget

MOST_DAYS, MOST_NIGHTS = 10, 60  # with strong midnights; with any: more would only be stripes
STEPS_MIN = (1, 2, 5, 10, 15, 30, 60, 120, 180, 240, 360, 720)  # between clock labels
QUARTER_MIN = 15  # every time zone of today differs from UTC by whole quarters of an hour
TICK_GAP_PX = 14.0
CLOCK_PT, DATES_PT = 7.0, 18.5  # below the axis


def hours(result: Budget, time_s: Any) -> Any:
    """Hours from the start of the span."""
    return (np.asarray(time_s) - result.time_s[0]) / 3600.0


def clock_changes(result: Budget) -> list[str]:
    """The dates of the span on which the local clock is put forward or back."""
    calendar, dates = result.calendar, []
    for k in range((calendar.last - calendar.first).days + 1):
        day = calendar.first + timedelta(k)
        start, end = (calendar.moment(calendar.at(("clock", m), day)) for m in (0.0, 1440.0))
        if start.utcoffset() != end.utcoffset():
            dates.append(day_name(day))
    return dates


def nights(result: Budget) -> list[Interval]:
    """The stretches of the span between sunset and sunrise; a polar day has none.

    >>> from energy.simulation.budget import budget
    >>> from energy.plan import Plan
    >>> len(nights(budget(Plan.read("builtin:two-night-trip"))))
    2
    """
    first, last = result.days.span
    numbers = range(-1, (result.calendar.last - result.calendar.first).days + 2)
    days = [result.calendar.sun_times(result.calendar.first + timedelta(k)) for k in numbers]
    dark = [(days[k][1], days[k + 1][0]) for k in range(len(days) - 1)]
    joined: list[Interval] = []
    for dusk, dawn in ((max(a, first), min(z, last)) for a, z in dark):
        if joined and dusk - joined[-1][1] < 60.0:  # a noon without sun parts no night
            joined[-1] = joined[-1][0], max(dawn, joined[-1][1])
        elif dawn - dusk > 60.0:  # the noons of polar days are not exactly a day apart
            joined.append((dusk, dawn))
    return joined


def clock_marks(result: Budget, most: int) -> list[float]:
    """Moments [UTC s] at round times of the local clock, at most about so many.

    A change of the clock leaves a shorter or a longer step; none where even half days are too many.

    >>> from energy.simulation.budget import budget
    >>> from energy.plan import Plan
    >>> result = budget(Plan.read("builtin:cloudy-repair"))
    >>> [f"{result.local(t):%H:%M}" for t in clock_marks(result, 9)]
    ['09:00', '12:00', '15:00', '18:00', '21:00', '00:00', '03:00', '06:00']
    """
    first, last = result.days.span
    fitting = [step for step in STEPS_MIN if (last - first) / 60.0 / step <= most]
    if not fitting:
        return []
    stride_s = 60.0 * min(fitting[0], QUARTER_MIN)
    tried = np.arange(np.ceil(first / stride_s) * stride_s, last + 0.5, stride_s)
    local = [(float(t), result.local(float(t))) for t in tried]
    return [t for t, at in local if (60 * at.hour + at.minute) % fitting[0] == 0]


def midnights(result: Budget) -> list[float]:
    """Where a new local date begins inside the span [UTC s]."""
    days = (result.calendar.last - result.calendar.first).days
    moments = [
        result.calendar.at(("clock", 0.0), result.calendar.first + timedelta(k + 1))
        for k in range(days)
    ]
    return [t for t in moments if result.time_s[0] < t < result.time_s[-1]]


def time_axis(result: Budget, axes: Sequence[Any], until_s: float | None = None) -> None:
    """Draw night, clock lines and midnights on all panels, with words under the first and the last.

    The panels end with the span, or at until_s [UTC s] where that is earlier.
    """
    span_h, box = float(hours(result, result.time_s[-1])), axes[0].get_window_extent()
    end = span_h if until_s is None else min(float(hours(result, until_s)), span_h)
    step_h = (width_in(axes[0].figure, SMALL_PT)("00:00") + TICK_GAP_PX) * end / box.width
    marks = [
        mark
        for mark in clock_marks(result, int(span_h / step_h))
        if float(hours(result, mark)) <= end
    ]
    starts = [x for x in (0.0, *(float(x) for x in hours(result, midnights(result)))) if x < end]
    for panel in axes:
        panel.set_xlim(0.0, end)
        panel.set_xticks([])
        _lines(result, panel, [float(x) for x in hours(result, marks)], starts[1:])
    free = -np.inf
    for mark in marks:
        x = float(hours(result, mark))
        if x - free >= step_h:
            for panel in (axes[0], axes[-1]):
                _under(panel, x, CLOCK_PT, f"{result.local(mark):%H:%M}", "center")
            free = x
    _dates(result, axes[-1], starts, DATES_PT)
    if not marks:
        _dates(result, axes[0], starts, CLOCK_PT)


def _lines(result: Budget, panel: Any, marks: Sequence[float], new_days: Sequence[float]) -> None:
    """The shade of the nights, and faint lines at the marks and the midnights."""
    few = len(new_days) <= MOST_DAYS
    for dusk, dawn in nights(result) if len(new_days) <= MOST_NIGHTS else []:
        start, end = float(hours(result, dusk)), float(hours(result, dawn))
        panel.axvspan(start, end, color=COLOURS["night"], linewidth=0.0, zorder=0)
    for x in marks:
        panel.axvline(x, color=COLOURS["grid"], linewidth=0.5, zorder=1)
    for x in new_days if len(new_days) <= MOST_NIGHTS else []:
        colour = COLOURS["locked" if few else "grid"]
        panel.axvline(x, color=colour, linewidth=1.0 if few else 0.5, zorder=1)


def _dates(result: Budget, panel: Any, starts: Sequence[float], down_pt: float) -> None:
    """The dates, each from its midnight on, as many as fit."""
    end, free = panel.get_xlim()[1], 0.0
    width, h_px = width_in(panel.figure, SMALL_PT, bold=True), end / panel.get_window_extent().width
    for k, x in enumerate(starts):
        day = result.local(float(result.time_s[0]) + 3600.0 * x)
        text = day_name(day)
        own_end = starts[k + 1] if k == 0 and len(starts) > 1 else end
        if x >= free and x + width(text) * h_px <= own_end:
            _under(panel, x, down_pt, text, "left", bold=True)
            free = x + (width(text) + TICK_GAP_PX) * h_px


def _under(
    panel: Any, x: float, down_pt: float, text: str, side: str, *, bold: bool = False
) -> None:
    panel.annotate(
        text,
        (x, 0.0),
        xycoords=panel.get_xaxis_transform(),
        xytext=(0.0, -down_pt),
        textcoords="offset points",
        ha=side,
        va="top",
        annotation_clip=False,
        **style(SMALL_PT, bold=bold),
    )
