"""Reads a meter's log: times, and watts, volts with amps, or a counter of energy.

Headings, units, decimal commas, counters that wrap or start anew and missing stretches are sorted
out here; anything that could be read in two ways is refused with one line. What the log shows of
a tool is found in `trace`.
"""

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, NoReturn

import numpy as np
import pandas as pd

from energy.model import Array, Mask
from energy.plan import PlanError
from energy.plan.words import shown
from energy.tables import Table, parse_table, read_table, split_heading

LARGEST_BYTES = 60_000_000
MOST_W, MOST = 1e6, 1e10  # of watts; of any number here
GAP = 1.6  # steps longer than so many usual ones are gaps
UNEVEN = 0.1  # of the steps may be gaps: more is not a log at an even interval
MAINS_V = 60.0  # above it is the mains, where volts times amps are VA
FINEST_WH = 1e-6  # counters are compared so closely: finer ones show no steps
# Below COARSE of its own steps in a row a counter's rounding looks like bursts (2 is twice 1);
# ENOUGH of them keep it within a tenth.
COARSE, ENOUGH = 4, 10
DATED_S = 1e9  # seconds from 1970 on that are a date: from 2001
# Words by which loggers head their columns (common practice), and what each unit is in W, Wh, V, A
# and s.
NAMES = {
    "time": "time timestamp time_stamp datetime date_time t elapsed elapsed_time seconds",
    "date": "date day",
    "watts": "w watts watt power active_power real_power p load load_power",
    "energy": "wh kwh energy total_energy active_energy consumption",
    "volts": "v volts volt voltage u",
    "amps": "a amps amp ampere amperes current i",
}
UNITS = {
    "watts": {"w": 1.0, "kw": 1000.0, "mw": 1e-3},
    "energy": {"wh": 1.0, "kwh": 1000.0},
    "volts": {"v": 1.0, "mv": 1e-3},
    "amps": {"a": 1.0, "ma": 1e-3},
    "time": {"s": 1.0, "sec": 1.0, "seconds": 1.0, "ms": 1e-3, "min": 60.0, "h": 3600.0},
}
EVERY_UNIT = {unit for units in UNITS.values() for unit in units}
HEADLESS = ("seconds", "power")  # what a log without headings holds
STAMPS = (
    "ISO8601", "%H:%M:%S", "%H:%M:%S.%f", "%H:%M", "%d.%m.%Y %H:%M:%S", "%d.%m.%Y %H:%M",
    "%d/%m/%Y %H:%M:%S", "%d/%m/%Y %H:%M", "%m/%d/%Y %H:%M:%S", "%m/%d/%Y %H:%M",
    "%Y/%m/%d %H:%M:%S", "%Y/%m/%d %H:%M",
)  # fmt: skip
UNIT_WORDS = {"watt", "watts", "volt", "volts", "amp", "amps", "ampere", "amperes"}
WRAPS = (2.0**16, 2.0**32, *(10.0**k for k in range(2, 9)))
NO_VALUE = {"", "-", "--", "nan", "na", "n/a", "null", "none"}


@dataclass(frozen=True)
class Log:
    """A meter's log at an even interval: time_s from its first row, watts, and after which rows
    something is missing, all (n,); volts where volts and amps were logged, the steps of a counter
    [Wh]; a heading that names no unit, with the one it is taken for; its first and last day where
    it tells them; lines about what was mended."""

    name: str
    time_s: Array
    watts: Array
    gap_after: Mask
    interval_s: float
    volts: float | None
    step_wh: float
    unnamed: tuple[str, str] | None
    days: tuple[date, date] | None
    notes: tuple[str, ...]

    @property
    def mark(self) -> str:
        """A short hash by which the same values are known again, whatever the file is called."""
        values = np.round(np.append(self.watts, self.interval_s), 1)
        return hashlib.sha256(values.tobytes()).hexdigest()[:12]


@dataclass(frozen=True)
class Column:
    """A column's place and heading, what one of its unit is in W, Wh, V, A or s, and whether the
    heading names that unit."""

    place: int
    heading: str
    unit: float
    named: bool


def read_log(path: Path | str) -> Log:
    """The log of a file; raises PlanError in one line."""
    return _log_of(read_table(Path(path), LARGEST_BYTES, HEADLESS))


def parse_log(text: str, name: str = "log") -> Log:
    """The same from text.

    >>> log = parse_log("Zeit;Time;Power (kW)\\n1;0;0,001\\n2;1;0,9\\n3;2;0,9\\n4;3;0,001\\n")
    >>> log.watts, log.interval_s
    (array([  1., 900., 900.,   1.]), 1.0)
    """
    return _log_of(parse_table(text, name, HEADLESS))


def _log_of(table: Table) -> Log:
    """The log that a table holds; raises PlanError in one line."""
    name = table.name
    lines = len(table.rows) + bool(table.headings)
    if lines < 4:
        _refuse(name, f"must hold a line of headings and three rows or more (got {lines})")
    if (wide := table.wide_row()) is not None:
        _refuse(name, f"line {wide[0]} {wide[1]}")
    columns = _columns(table.headings, name)
    notes: list[str] = []
    time_s = _times(table, columns, notes)
    days = _days(time_s)
    time_s = time_s - time_s[0]
    volts, step_wh = None, 0.0
    if "watts" in columns:
        used = [columns["watts"]]
        watts = _values(table, used[0])
    elif "volts" in columns and "amps" in columns:
        used = [columns["volts"], columns["amps"]]
        per_volt, amps = (_values(table, column) for column in used)
        watts = per_volt * amps
        volts = float(np.median(per_volt[~np.isnan(watts)])) if (watts > 0.0).any() else 0.0
    else:
        used = [columns["energy"]]
        time_s, watts, step_wh = _from_counter(time_s, _values(table, used[0]), notes, table)
    unit = "Wh" if used[0] is columns.get("energy") else "W"
    unnamed = next(((column.heading, unit) for column in used if not column.named), None)
    return _evened(
        Log(name, time_s, watts, watts > 0.0, 0.0, volts, step_wh, unnamed, days, tuple(notes))
    )


def _cells(table: Table, column: Column) -> "pd.Series[str]":
    """The cells of a column by their lines in the file."""
    return pd.Series(table.column(column.place), index=table.lines, dtype=str)


def _refuse(name: str, text: str) -> NoReturn:
    raise PlanError([f"{name}: {text}"])


def _quantity(place: int, heading: str) -> tuple[str, Column] | None:
    """What a heading is of, with its column; None where it says nothing here."""
    bare, unit = split_heading(heading, EVERY_UNIT)
    if re.search("apparent|reactive|factor", bare) or unit in ("va", "var", "kva"):
        return None
    for quantity, words in NAMES.items():
        units = UNITS.get(quantity, {})
        if bare in words.split() and (not unit or unit in units):
            named = bool(unit) or bare in UNIT_WORDS
            return quantity, Column(place, heading, units.get(unit, 1.0), named)
        if not bare and unit in units:
            return quantity, Column(place, heading, units[unit], True)
    return None


def _columns(headings: Sequence[str], name: str) -> dict[str, Column]:
    """Quantity to its column. Raises PlanError where several columns could be it."""
    listed = ", ".join(shown(heading) for heading in headings[:12])
    candidates: dict[str, list[Column]] = {}
    for place, heading in enumerate(headings):
        if (match := _quantity(place, heading)) is not None:
            candidates.setdefault(match[0], []).append(match[1])
    for quantity, columns in candidates.items():
        if len(columns) > 1:
            all_of_them = " and ".join(shown(column.heading) for column in columns)
            _refuse(
                name,
                f"columns {all_of_them} could each be the {quantity}: keep one; columns: {listed}",
            )
    if not {"time", "date"} & candidates.keys():
        _refuse(name, f"no column of times; columns: {listed}")
    if not ({"watts", "energy"} & candidates.keys() or {"volts", "amps"} <= candidates.keys()):
        _refuse(name, f"no column of watts, of volts and amps, or of Wh; columns: {listed}")
    return {quantity: columns[0] for quantity, columns in candidates.items()}


def _values(table: Table, column: Column) -> Array:
    """A column as numbers in its base unit, NaN where nothing was logged."""
    name, heading = table.name, shown(column.heading)
    cells = _cells(table, column)
    if cells.str.contains(",", regex=False).any():
        if cells.str.contains(".", regex=False).any():
            _refuse(name, f"column {heading} has both decimal commas and points")
        cells = cells.str.replace(",", ".", regex=False)
    numbers = pd.to_numeric(cells, errors="coerce").to_numpy(float, na_value=np.nan)
    missing = np.isnan(numbers) & cells.str.lower().isin(NO_VALUE).to_numpy()
    wrong = np.flatnonzero(~missing & ~(np.abs(numbers) < MOST))
    if wrong.size:
        row = int(wrong[0])
        fault = "is not a number" if np.isnan(numbers[row]) else "is more than any meter shows"
        _refuse(name, f"line {cells.index[row]}, {heading}: {shown(cells.iloc[row])} {fault}")
    return np.asarray(numbers * column.unit, dtype=float)


def _times(table: Table, columns: dict[str, Column], notes: list[str]) -> Array:
    """Seconds, from 1970 on where there are dates; a clock without them may pass midnight."""
    column = columns.get("time") or columns["date"]
    name, cells = table.name, _cells(table, column)
    if "date" in columns and "time" in columns and len(cells.iloc[0]) < len("12:00:00 2026"):
        cells = _cells(table, columns["date"]) + " " + cells
    numbers = pd.to_numeric(cells.str.replace(",", ".", regex=False), errors="coerce")
    if numbers.notna().iloc[0]:
        unit = 1e-3 if float(numbers.iloc[0]) > 1e11 else column.unit
        seconds = numbers.to_numpy(float) * unit
        _refuse_no_times(~(np.abs(seconds) < MOST), cells, name)
    else:
        seconds = _stamps(cells, notes, name)
    back = np.flatnonzero(np.diff(seconds) < 0.0)
    if back.size:
        row = int(back[0]) + 1
        _refuse(name, f"line {cells.index[row]}: times must rise (got {shown(cells.iloc[row])}"
                f" after {shown(cells.iloc[row - 1])})")  # fmt: skip
    return np.asarray(seconds, dtype=float)


def _days(seconds: Array) -> tuple[date, date] | None:
    """The first and last day of a log that tells them."""
    if seconds[0] < DATED_S:
        return None
    first, last = (datetime.fromtimestamp(float(at), UTC).date() for at in seconds[[0, -1]])
    return first, last


def _refuse_no_times(wrong: Mask, cells: Any, name: str) -> None:
    """Raise PlanError for the first cell that is no time."""
    if wrong.any():
        row = int(np.flatnonzero(wrong)[0])
        _refuse(name, f"line {cells.index[row]}: {shown(cells.iloc[row])} is not a time; write"
                " seconds, or 2026-09-14 13:20:05")  # fmt: skip


def _stamps(cells: Any, notes: list[str], name: str) -> Array:
    """Moments in the first form that reads them all and lets them rise [s from 1970]."""
    readable: list[Array] = []
    for form in STAMPS:
        moments = pd.to_datetime(cells, format=form, errors="coerce", utc=True)
        if moments.notna().all():
            seconds = moments.to_numpy("M8[ns]").astype(np.int64) / 1e9
            if form.startswith("%H"):
                seconds = seconds + 86_400.0 * np.cumsum(
                    np.diff(seconds, prepend=seconds[0]) < -43_200
                )
            readable.append(seconds)
    if not readable:
        moments = pd.to_datetime(cells, format="ISO8601", errors="coerce", utc=True)
        _refuse_no_times(moments.isna().to_numpy(), cells, name)
    rising = [seconds for seconds in readable if (np.diff(seconds) >= 0.0).all()]
    first, *others = rising or readable[:1]
    if any(seconds[0] != first[0] for seconds in others):
        notes.append("day and month of its dates could be either: it counts as of today")
        first = first - first[0]
    return first


def _from_counter(
    time_s: Array, counted: Array, notes: list[str], table: Table
) -> tuple[Array, Array, float]:
    """Times and mean watts from a counter of Wh, with its wraps and new starts; and its steps."""
    good = ~np.isnan(counted) & np.append(np.diff(time_s) > 0.0, True)
    time_s, counted, lines = time_s[good], counted[good], np.array(table.lines)[good]
    step = np.diff(counted)
    if (step < 0.0).sum() > (step > 0.0).sum():
        _refuse(table.name, "its counter falls; turn the meter round")
    usual = float(np.percentile(step[step >= 0.0], 99)) if (step >= 0.0).any() else 0.0
    for k in np.flatnonzero(step < 0.0).tolist():
        over = [wrap - counted[k] + counted[k + 1] for wrap in WRAPS if wrap > counted[k]]
        fits = [more for more in over if 0.0 <= more <= max(3.0 * usual, 1.0)]
        step[k] = fits[0] if fits else np.nan
        turn = "wraps" if fits else "starts anew"
        notes.append(f"the counter {turn} after line {lines[k]}" + ("" if fits else ": a gap"))
    long = np.diff(time_s)
    logged = step[(long <= GAP * np.median(long)) & ~np.isnan(step)] if long.size else step
    step_wh, several = _steps_together(counted, logged, table.name)
    if several > 1:
        size = step.size // several * several
        time_s, step = time_s[: size + 1 : several], step[:size].reshape(-1, several).sum(axis=1)
        notes.append(
            f"it counts in steps of {step_wh:g} Wh: taken as a value in"
            f" {np.median(np.diff(time_s)):g} s, what is shorter is not seen"
        )
    return time_s[:-1], 3600.0 * step / np.diff(time_s), step_wh


def _steps_together(counted: Array, step: Array, name: str) -> tuple[float, int]:
    """A counter's own step [Wh], and how many rows together hold enough of them, 1 where its
    rounding does not show. Raises PlanError where too little was drawn for it.

    >>> counted = np.array([1.5 * k // 1.0 for k in range(80)])
    >>> _steps_together(counted, np.diff(counted), "log")
    (1.0, 7)
    """
    units = np.rint(step / FINEST_WH).astype(np.int64)
    own = int(np.gcd.reduce(np.rint(counted / FINEST_WH).astype(np.int64)))
    up = np.sign(np.diff(units))
    rounded = bool((up[:-1] * up[1:] < 0).any())
    if units.size == 0 or units.max() >= COARSE * own or not rounded:
        return own * FINEST_WH, 1
    total = np.append(0, units.cumsum())
    until = np.searchsorted(total, total + ENOUGH * own)
    several = int((until - np.arange(total.size))[until < total.size].min(initial=step.size))
    if step.size // several < 3:
        _refuse(
            name,
            f"it counts in steps of {own * FINEST_WH:g} Wh, too coarse for the"
            f" {total[-1] * FINEST_WH:g} Wh drawn; log watts, or for longer",
        )
    return own * FINEST_WH, several


def _evened(log: Log) -> Log:
    """The log without rows that hold nothing, its interval, and where something is missing."""
    name, time_s, watts = log.name, log.time_s, log.watts
    keep = ~np.isnan(watts) & np.append(np.diff(time_s) > 0.0, True)
    time_s, watts = time_s[keep], watts[keep]
    if time_s.size < 3:
        _refuse(name, f"must hold three values or more (got {time_s.size})")
    steps = np.diff(time_s)
    interval = float(np.median(steps))
    gap = np.append(steps > GAP * interval, False)
    outlier = (steps < interval / GAP) | (steps > GAP * interval)
    if outlier.mean() > UNEVEN:
        _refuse(
            name,
            f"its steps run from {steps.min():g} to {steps.max():g} s: log at an even interval",
        )
    if watts.max() > MOST_W:
        _refuse(name, f"watts must lie below {MOST_W:g} (got {watts.max():g}); are they mW?")
    if watts.min() < -0.05 * max(float(watts.max()), 1.0):
        _refuse(name, f"watts must not be negative (got {watts.min():g}); turn the meter round")
    notes = log.notes
    if gap.any():
        lost = float((steps[gap[:-1]] - interval).sum())
        notes += (f"gaps in the log: {int(gap.sum())}, {lost:.0f} s in all; nothing is made up",)
    return replace(
        log, time_s=time_s, watts=np.maximum(watts, 0.0), gap_after=gap, interval_s=interval,
        notes=notes,
    )  # fmt: skip
