"""Reads a meter's log: times, and watts, volts with amps, or a counter of energy.

Headings, units, decimal commas, counters that wrap or start anew and missing stretches are sorted
out here; anything that could be read in two ways is refused with one line. What the log shows of
a tool is found in `traces`.
"""

import csv
import io
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

import numpy as np
import pandas as pd

from energy.model import Array, Mask
from energy.plan import PlanError
from energy.plan.documents import read_text
from energy.plan.words import shown

LARGEST_BYTES = 60_000_000
MOST_W = 1e6
GAP = 1.6  # steps longer than so many usual ones are gaps
UNEVEN = 0.1  # of the steps may be gaps: more is not a log at an even interval
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
STAMPS = (
    "ISO8601", "%H:%M:%S", "%H:%M:%S.%f", "%H:%M", "%d.%m.%Y %H:%M:%S", "%d.%m.%Y %H:%M",
    "%d/%m/%Y %H:%M:%S", "%d/%m/%Y %H:%M", "%m/%d/%Y %H:%M:%S", "%m/%d/%Y %H:%M",
    "%Y/%m/%d %H:%M:%S", "%Y/%m/%d %H:%M",
)  # fmt: skip
WRAPS = (2.0**16, 2.0**32, *(10.0**k for k in range(2, 9)))
NO_VALUE = {"", "-", "--", "nan", "na", "n/a", "null", "none"}


@dataclass(frozen=True)
class Log:
    """A meter's log at an even interval: time_s from its first row, watts, and after which rows
    something is missing, all (n,); volts where they were logged; lines about what was mended."""

    name: str
    time_s: Array
    watts: Array
    gap_after: Mask
    interval_s: float
    volts: float | None
    notes: tuple[str, ...]


def read_log(path: Path | str) -> Log:
    """The log of a file; raises PlanError in one line."""
    path = Path(path)
    return parse_log(read_text(path, LARGEST_BYTES), path.name)


def parse_log(text: str, name: str = "log") -> Log:
    """The same from text.

    >>> log = parse_log("Zeit;Time;Power (kW)\\n1;0;0,001\\n2;1;0,9\\n3;2;0,9\\n4;3;0,001\\n")
    >>> log.watts, log.interval_s
    (array([  1., 900., 900.,   1.]), 1.0)
    """
    header, table = _table(text, name)
    columns = _columns(header, name)
    time_s = _times(table, columns, header, name)
    notes: list[str] = []
    if "watts" in columns:
        watts, volts = _values(table, columns["watts"], header, name), None
    elif "volts" in columns and "amps" in columns:
        per_volt = _values(table, columns["volts"], header, name)
        watts = per_volt * _values(table, columns["amps"], header, name)
        volts = float(np.nanmedian(per_volt))
    else:
        counted = _values(table, columns["energy"], header, name)
        time_s, watts, volts = *_from_counter(time_s, counted, notes), None
    return _evened(time_s, watts, volts, notes, name)


def _refuse(name: str, text: str) -> NoReturn:
    raise PlanError([f"{name}: {text}"])


def _table(text: str, name: str) -> tuple[list[str], Any]:
    """Headings, and the cells as text; a log without headings holds seconds and watts."""
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    if len(lines) < 4:
        _refuse(name, f"must hold a line of headings and three rows or more (got {len(lines)})")
    mark = next((mark for mark in ";\t" if mark in lines[0]), ",")
    header = [cell.strip() for cell in next(csv.reader([lines[0]], delimiter=mark), [])]
    first = [cell.strip() for cell in next(csv.reader([lines[1]], delimiter=mark), [])]
    body = lines[1:]
    if all(re.fullmatch(r"-?\d+([.,]\d+)?", cell) for cell in header) and len(header) == 2:
        header, body = ["seconds", "watts"], lines
    if len(first) > len(header):
        _refuse(
            name,
            f"its first row has {len(first)} cells under {len(header)} headings; a decimal comma"
            " needs semicolons between the cells",
        )
    try:
        table = pd.read_csv(
            io.StringIO("\n".join(body)),
            sep=mark,
            header=None,
            names=range(len(header)),
            dtype=str,
            index_col=False,
            keep_default_na=False,
        )
    except (pd.errors.ParserError, ValueError) as error:
        _refuse(name, f"cannot be read as columns ({error})")
    return header, table.fillna("")


def _heading(text: str) -> tuple[str, str]:
    """A heading without case and unit; and its unit.

    >>> _heading("Active Power [kW]"), _heading("power_kw"), _heading("kWh")
    (('active_power', 'kw'), ('power', 'kw'), ('', 'kwh'))
    """
    found = re.search(r"[\[(](.*?)[\])]", text)
    bare = re.sub(r"[\[(].*?[\])]", "", text).lower().strip()
    bare = re.sub(r"[^a-z0-9]+", "_", bare).strip("_")
    unit = found.group(1).lower().strip() if found else ""
    every = {unit for units in UNITS.values() for unit in units}
    if not unit and (last := bare.rsplit("_", 1)[-1]) in every and len(last) > 0:
        bare, unit = bare[: -len(last)].strip("_"), last
    return bare, unit


def _quantity(text: str) -> tuple[str, float] | None:
    """What a heading is of, and what one of its unit is; None where nothing here."""
    bare, unit = _heading(text)
    if re.search("apparent|reactive|factor", bare) or unit in ("va", "var", "kva"):
        return None
    for quantity, words in NAMES.items():
        units = UNITS.get(quantity, {})
        if bare in words.split() and (not unit or unit in units):
            return quantity, units.get(unit, 1.0)
        if not bare and unit in units:
            return quantity, units[unit]
    return None


def _columns(header: list[str], name: str) -> dict[str, tuple[int, float]]:
    """Quantity to its column and unit. Raises PlanError where columns could both be it."""
    found: dict[str, list[tuple[int, float]]] = {}
    for place, heading in enumerate(header):
        if (known := _quantity(heading)) is not None:
            found.setdefault(known[0], []).append((place, known[1]))
    listed = ", ".join(shown(heading) for heading in header[:12])
    columns = {}
    for quantity, several in found.items():
        exact = [one for one in several if header[one[0]].lower() == quantity]
        if len(several) > 1 and len(exact) != 1:
            both = " and ".join(shown(header[place]) for place, _ in several)
            _refuse(name, f"columns {both} could each be the {quantity}; name one {quantity}")
        columns[quantity] = (exact or several)[0]
    if not {"time", "date"} & set(columns):
        _refuse(name, f"no column of times; columns: {listed}")
    if not ({"watts", "energy"} & set(columns) or {"volts", "amps"} <= set(columns)):
        _refuse(name, f"no column of watts, of volts and amps, or of Wh; columns: {listed}")
    return columns


def _values(table: Any, column: tuple[int, float], header: list[str], name: str) -> Array:
    """A column as numbers in its base unit, NaN where nothing was logged."""
    place, unit = column
    cells = table[place].str.strip()
    if cells.str.contains(",", regex=False).any():
        if cells.str.contains(".", regex=False).any():
            _refuse(name, f"column {shown(header[place])} has both decimal commas and points")
        cells = cells.str.replace(",", ".", regex=False)
    numbers = pd.to_numeric(cells, errors="coerce").to_numpy(float, na_value=np.nan)
    wrong = np.flatnonzero(np.isnan(numbers) & ~cells.str.lower().isin(NO_VALUE).to_numpy())
    if wrong.size:
        row = int(wrong[0])
        _refuse(name, f"row {row + 1}, {shown(header[place])}: {shown(cells[row])} is not a number")
    return np.asarray(numbers * unit, dtype=float)


def _times(
    table: Any, columns: dict[str, tuple[int, float]], header: list[str], name: str
) -> Array:
    """Seconds from the first row on; a clock without a date may pass midnight."""
    cells = table[columns.get("time", columns.get("date", (0, 1.0)))[0]].str.strip()
    if "date" in columns and "time" in columns and len(cells.iloc[0]) < len("12:00:00 2026"):
        cells = table[columns["date"][0]].str.strip() + " " + cells
    numbers = pd.to_numeric(cells.str.replace(",", ".", regex=False), errors="coerce")
    if numbers.notna().all():
        unit = columns["time"][1] if "time" in columns else 1.0
        seconds = numbers.to_numpy(float) * (1e-3 if float(numbers.iloc[0]) > 1e11 else unit)
    else:
        seconds = _stamps(cells, name)
    back = np.flatnonzero(np.diff(seconds) < 0.0)
    if back.size:
        row = int(back[0]) + 2
        _refuse(name, f"row {row}: times must rise (got {shown(cells.iloc[row - 1])} after"
                f" {shown(cells.iloc[row - 2])})")  # fmt: skip
    return np.asarray(seconds - seconds[0], dtype=float)


def _stamps(cells: Any, name: str) -> Array:
    """Moments in the first form that reads them all and lets them rise."""
    found: list[Array] = []
    for form in STAMPS:
        moments = pd.to_datetime(cells, format=form, errors="coerce", utc=True)
        if moments.notna().all():
            seconds = moments.to_numpy("M8[ns]").astype(np.int64) / 1e9
            if form.startswith("%H"):
                seconds = seconds + 86_400.0 * np.cumsum(
                    np.diff(seconds, prepend=seconds[0]) < -43_200
                )
            found.append(seconds)
    if not found:
        moments = pd.to_datetime(cells, format="ISO8601", errors="coerce", utc=True)
        row = int(np.flatnonzero(moments.isna())[0])
        _refuse(name, f"row {row + 1}: {shown(cells.iloc[row])} is not a time; write seconds, or"
                " 2026-09-14 13:20:05")  # fmt: skip
    return next((s for s in found if (np.diff(s) >= 0.0).all()), found[0])


def _from_counter(time_s: Array, counted: Array, notes: list[str]) -> tuple[Array, Array]:
    """Times and mean watts from a counter of Wh, with its wraps and new starts."""
    good = ~np.isnan(counted)
    time_s, counted = time_s[good], counted[good]
    step = np.diff(counted)
    usual = float(np.percentile(step[step >= 0.0], 99)) if (step >= 0.0).any() else 0.0
    for k in np.flatnonzero(step < 0.0).tolist():
        over = [wrap - counted[k] + counted[k + 1] for wrap in WRAPS if wrap > counted[k]]
        fits = [more for more in over if 0.0 <= more <= max(3.0 * usual, 1.0)]
        step[k] = fits[0] if fits else np.nan
        what = "wraps" if fits else "starts anew"
        notes.append(f"the counter {what} after row {k + 1}" + ("" if fits else ": a gap"))
    watts = 3600.0 * step / np.maximum(np.diff(time_s), 1e-9)
    return time_s[:-1], watts


def _evened(time_s: Array, watts: Array, volts: float | None, notes: list[str], name: str) -> Log:
    """The log without rows that hold nothing, its interval, and where something is missing."""
    keep = ~np.isnan(watts) & np.append(np.diff(time_s) > 0.0, True)
    time_s, watts = time_s[keep], watts[keep]
    if time_s.size < 3:
        _refuse(name, f"must hold three values or more (got {time_s.size})")
    steps = np.diff(time_s)
    interval = float(np.median(steps))
    gap = np.append(steps > GAP * interval, False)
    odd = (steps < interval / GAP) | (steps > GAP * interval)
    if odd.mean() > UNEVEN:
        _refuse(
            name,
            f"its steps run from {steps.min():g} to {steps.max():g} s: log at an even interval",
        )
    if watts.max() > MOST_W:
        _refuse(name, f"watts must lie below {MOST_W:g} (got {watts.max():g}); are they mW?")
    if watts.min() < -0.05 * max(float(watts.max()), 1.0):
        _refuse(name, f"watts must not be negative (got {watts.min():g}); turn the meter round")
    if gap.any():
        lost = float((steps[gap[:-1]] - interval).sum())
        notes.append(f"gaps in the log: {int(gap.sum())}, {lost:.0f} s in all; nothing is made up")
    return Log(name, time_s, np.maximum(watts, 0.0), gap, interval, volts, tuple(notes))
