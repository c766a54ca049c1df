"""Which readings count as observations, how sure each is, and why the others teach nothing.

The span they belong to is laid out in `observe`.
"""

from collections.abc import Sequence, Set
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np

from energy.answers.learn.forward_model import (
    RUN_ON_SCATTER,
    ForwardModel,
    Observation,
    load_w,
    segment_at,
)
from energy.answers.learn.posterior import Posterior
from energy.answers.learn.readings import REST, Row
from energy.model import Mask
from energy.model.case import Case

# What displays and meters show, as standard deviations from judgement tried on invented days:
# percent of charge (more once days add up), shares of the watts and watt-hours, the least of both.
PERCENT_SIGMA, PERCENT_SIGMA_LATER = 0.6, 0.8
SOLAR_W, SOLAR_W_CLEAR, SOLAR_WH, PLUG_METER = 0.20, 0.06, 0.02, 0.03
# One tool's watts also differ from those of its other days, and jump while a lively one works.
EVEN_TOOL, LIVELY_TOOL = float(np.hypot(PLUG_METER, RUN_ON_SCATTER)), 0.15
LEAST_W, LEAST_WH = 1.0, 1.0
HIGHEST_READ = 95.0  # percent: from here on displays wait for the end of charging
EVEN_KINDS = ("steady", "charging")
UNKNOWN = "watts and watt-hours teach nothing where it is not known what was done"
NAMED = 6  # lines of a file in one of words


@dataclass
class Selection:
    """The observations so far, and for each reason to leave a value out the lines of its rows."""

    observed: list[Observation] = field(default_factory=list)
    left_out: dict[str, list[int]] = field(default_factory=dict)

    def leave(self, row: Row, why: str) -> None:
        """Leave something of a row out."""
        self.left_out.setdefault(why, []).append(row.number)

    def lines(self) -> list[str]:
        """One line a reason."""
        return [f"{_lines(numbers)}: {why}" for why, numbers in self.left_out.items()]


def _lines(numbers: Sequence[int]) -> str:
    """Lines of a file by their numbers, the first few.

    >>> _lines([3]), _lines([3, 4]), _lines(range(1, 20))
    ('line 3', 'lines 3, 4', 'lines 1, 2, 3, 4, 5, 6 and 13 more')
    """
    few = ", ".join(str(number) for number in numbers[:NAMED])
    more = f" and {len(numbers) - NAMED} more" if len(numbers) > NAMED else ""
    return f"line{'s' if len(numbers) > 1 else ''} {few}{more}"


def is_read(percent: float) -> bool:
    """Whether a percentage tells the charge: at their ends displays wait.

    >>> is_read(94), is_read(95), is_read(0)
    (True, False, False)
    """
    return 0.0 < percent < HIGHEST_READ


def around_unknown_work(rows: Sequence[Row]) -> list[tuple[Row, Row]]:
    """The readings of the charge next before and next after each unknown work, in order."""
    read: dict[float, Row] = {}
    for row in rows:
        if row.battery_percent is not None:
            read.setdefault(row.time_s, row)
    unknown = np.searchsorted(list(read), [row.time_s for row in rows if row.work_unknown])
    after = np.unique(unknown).tolist()
    return [pair for k, pair in enumerate(pairwise(read.values()), start=1) if k in after]


def with_observations(
    day: ForwardModel,
    posterior: Posterior,
    called_clear: Mask,
    later: bool,
) -> ForwardModel:
    """The day with all that can be used of its rows, and lines about what cannot.

    called_clear (n,) are the segments whose sky was called clear; later: other days were learned
    before, so that a display's own bend adds up.
    """
    usual = posterior.mean[:, None], np.zeros((day.nuisances, 1))
    charge, (case, _) = day.charge(*usual)[:, 0], day.scenarios(*usual)
    rows, selection = day.rows, Selection()
    with_percent = [row for row in rows if row.battery_percent is not None]
    start_s = with_percent[0].time_s if with_percent else float(day.case.edges[0])
    starts = {start_s, *(after.time_s for _, after in around_unknown_work(rows))}
    sigma = PERCENT_SIGMA_LATER if later else PERCENT_SIGMA
    _percents(with_percent, starts, sigma, selection)
    for row in rows:
        if row.time_s < start_s:
            selection.leave(row, "before the first battery_percent nothing is learned")
    within = [row for row in rows if row.time_s >= start_s]
    for row in within:
        if row.work_unknown:
            if (row.solar_w, row.solar_wh, row.load_w) != (None, None, None):
                selection.leave(row, UNKNOWN)
            continue
        at = segment_at(day.case.edges, row.time_s)
        percent = charge[at + 1] if row.battery_percent is None else row.battery_percent
        full = percent >= day.budget.plan.pack.taper_from_percent
        _solar(case, row, at, full, bool(called_clear[at]), selection)
        if row.load_w is not None and row.tool not in (None, *REST):
            _tool_load(day, posterior, row, selection)
        elif row.load_w is not None:
            _load(day, case, row, at, selection)
    _counter(day, within, selection)
    return replace(day, observed=tuple(selection.observed), notes=(*day.notes, *selection.lines()))


def _percents(read: Sequence[Row], starts: Set[float], sigma: float, selection: Selection) -> None:
    """The percentages, but for those at the `starts` [UTC s], from which the charge is followed."""
    shown: dict[float, float] = {}
    for row in read:
        percent = row.battery_percent or 0.0
        if row.time_s in shown:
            if percent != shown[row.time_s]:
                selection.leave(row, "a second battery_percent for one time; the first counts")
            continue
        if row.time_s in starts:
            pass
        elif is_read(percent):
            selection.observed.append(Observation("battery_percent", row, percent, sigma))
        else:
            bounds = f"of 0, or of {HIGHEST_READ:.0f} and more"
            selection.leave(row, f"a battery_percent {bounds}, teaches nothing")
        shown[row.time_s] = percent


def _solar(case: Case, row: Row, at: int, full: bool, clear: bool, selection: Selection) -> None:
    """Watts read of the sun, where any were to be expected and the pack takes all."""
    if row.solar_w is None:
        return
    expected = float(case.solar_w[at, 0]) * case.controller_efficiency
    if expected <= LEAST_W:
        if row.solar_w > LEAST_W:
            selection.leave(row, "solar_w where no sun on the panels is to be expected")
    elif full:
        selection.leave(row, "solar_w of a pack that is nearly full is what it wants, not the sun")
    else:
        share = SOLAR_W_CLEAR if clear else SOLAR_W
        sigma = float(np.hypot(share * expected, LEAST_W))
        selection.observed.append(Observation("solar_w", row, row.solar_w, sigma))


def _tool_load(day: ForwardModel, posterior: Posterior, row: Row, selection: Selection) -> None:
    """The watts of the one tool that the row names."""
    key = f"tool:{row.tool}"
    tasks = zip(day.tools, day.budget.plan.task, strict=True)
    task = next((task for tool, task in tasks if tool == row.tool), None)
    if task is None or key not in posterior.keys or task.kind == "trace":
        selection.leave(row, f"the watts of {row.tool} are nothing to be learned")
        return
    share = EVEN_TOOL if task.kind in EVEN_KINDS else LIVELY_TOOL
    sigma = float(np.hypot(share * task.peak_w, LEAST_W))
    figure, value = posterior.keys.index(key), row.load_w or 0.0
    selection.observed.append(Observation("tool_w", row, value, sigma, 0.0, task.peak_w, figure))


def _load(day: ForwardModel, case: Case, row: Row, at: int, selection: Selection) -> None:
    """The watts at the outlets of all that runs in the segment `at`."""
    edges, value = day.case.edges, row.load_w or 0.0
    kinds = {
        day.budget.plan.task[burst.task].kind
        for burst in day.budget.bursts
        if burst.start_s < edges[at + 1] and burst.end_s > edges[at]
    }
    if kinds and kinds <= {"steady"}:
        sigma = float(np.hypot(PLUG_METER * float(load_w(case, at, day.bus_loads)[0]), LEAST_W))
        selection.observed.append(Observation("load_w", row, value, sigma))
    elif kinds:
        selection.leave(
            row, "load_w while something runs that is not steady; name its tool beside it"
        )
    elif value > LEAST_W:
        selection.leave(row, "load_w at a time when nothing runs in the plan")


def _counter(day: ForwardModel, rows: Sequence[Row], selection: Selection) -> None:
    """The steps of the day's counter of solar watt-hours, from row to row."""
    previous: Row | None = None
    for row in rows:
        if row.solar_wh is None:
            continue
        if row.work_unknown:
            previous = row
            continue
        step, since_s = row.solar_wh, _dark_since(day, row)
        if previous is not None and previous.at.date() == row.at.date():
            step, since_s = row.solar_wh - (previous.solar_wh or 0.0), previous.time_s
        if step < 0.0:
            selection.leave(row, "solar_wh fell within the day, which its counter cannot")
            continue
        if since_s is not None and row.time_s > since_s:
            sigma = float(np.hypot(SOLAR_WH * step, LEAST_WH))
            selection.observed.append(Observation("solar_wh", row, step, sigma, since_s))
        previous = row


def _dark_since(day: ForwardModel, row: Row) -> float | None:
    """The moment before the row's day began to be light, where the span holds it."""
    rise, _ = day.budget.calendar.sun_times(row.at.date())
    start = float(day.case.edges[0])
    first = day.budget.calendar.at(("clock", 0.0), row.at.date())
    if start <= max(first, rise):
        return max(start, first)
    return None
