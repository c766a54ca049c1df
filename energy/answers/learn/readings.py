"""Reads what a person saw on the pack and wrote down: a CSV of times and whatever was seen.

Each wrong cell is one line, and what is left is kept. What the rows mean for the plan is worked
out in `lived_day`; logs of a meter are read in `log`.
"""

import csv
import hashlib
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from energy.answers.learn.kit_names import tools_of
from energy.model.timeline import to_utc
from energy.plan import Plan, PlanError
from energy.plan.documents import read_text
from energy.plan.schema import SKIES
from energy.plan.words import meant, shown

COLUMNS = (
    "time",
    "battery_percent",
    "solar_w",
    "solar_wh",
    "load_w",
    "tool",
    "count",
    "sky",
    "charger_w",
)
MOST_ROWS = 5000
MOST_W, MOST_WH, MOST_COUNT = 1e5, 1e6, 10_000
NEXT_DAY_H = 6.0  # a clock that goes back by more than this is the next day's
EXAMPLE = "write 13:20, or with its date 2026-09-14 13:20"


@dataclass(frozen=True)
class Row:
    """What was seen at one moment; None where nothing was written.

    at is the moment on the plan's clock, time_s the same in UTC seconds; battery_percent of
    charge; solar_w into the pack; solar_wh of the day so far; load_w at the outlets; `count` of
    `tool` were done since the row before; sky in eighths of cloud; charger_w since the row before.
    """

    number: int
    at: datetime
    time_s: float
    battery_percent: float | None = None
    solar_w: float | None = None
    solar_wh: float | None = None
    load_w: float | None = None
    tool: str | None = None
    count: int | None = None
    sky: int | None = None
    charger_w: float | None = None

    @property
    def mark(self) -> str:
        """A short hash by which the same row is known again."""
        seen = (
            self.at.isoformat(),
            self.battery_percent,
            self.solar_w,
            self.solar_wh,
            self.load_w,
            self.tool,
            self.count,
            self.sky,
            self.charger_w,
        )
        return hashlib.sha256(repr(seen).encode()).hexdigest()[:12]


@dataclass(frozen=True)
class Readings:
    """The rows of a file in order, and a line for each thing wrong with it."""

    name: str
    rows: tuple[Row, ...]
    problems: tuple[str, ...] = ()


def read_readings(path: Path | str, plan: Plan) -> Readings:
    """Read a file of readings made while `plan` was under way; times are on the plan's clock.

    Raises PlanError where the file as a whole cannot be used.
    """
    path = Path(path)
    return parse_readings(read_text(path), plan, path.name)


def parse_readings(text: str, plan: Plan, name: str = "readings") -> Readings:
    """The same from text. A tool may be named by its profile or by the task's own name.

    >>> plan = Plan.read("builtin:cloudy-repair")
    >>> found = parse_readings("time,battery_percent\\n09:00,98\\n12:10,140\\n15:00,71", plan)
    >>> [row.battery_percent for row in found.rows]
    [98.0, None, 71.0]
    >>> found.problems[0]
    'readings: row 2: battery_percent must lie between 0 and 100 (got 140)'
    """
    header, lines = _cells(text, name)
    problems = [f"{name}: {line}" for line in _unknown(header)]
    if "time" not in header:
        raise PlanError([f"{name}: no column time; columns: {', '.join(map(shown, header))}"])
    if len(lines) > MOST_ROWS:
        raise PlanError([f"{name}: must hold at most {MOST_ROWS} rows (got {len(lines)})"])
    rows: list[Row] = []
    for number, cells in enumerate(lines, start=1):
        table = dict(zip(header, cells, strict=False))
        try:
            row = _row(number, table, plan, rows[-1] if rows else None, problems, name)
        except ValueError as error:
            problems.append(f"{name}: row {number}: {error}")
            continue
        rows.append(row)
    return Readings(name, tuple(rows), tuple(problems))


def _cells(text: str, name: str) -> tuple[list[str], list[list[str]]]:
    """Header and rows; semicolons and tabs are known, so are decimal commas between them."""
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    if not lines:
        raise PlanError([f"{name}: is empty"])
    mark = next((mark for mark in ";\t" if mark in lines[0]), ",")
    try:
        table = [[cell.strip() for cell in row] for row in csv.reader(lines, delimiter=mark)]
    except csv.Error as error:
        raise PlanError([f"{name}: cannot be read as columns ({error})"]) from None
    header = [heading.lower().replace(" ", "_") for heading in table[0]]
    wide = next((k for k, row in enumerate(table[1:], 1) if len(row) > len(header)), None)
    if wide is not None:
        raise PlanError(
            [
                f"{name}: row {wide} has {len(table[wide])} cells under {len(header)} headings; a"
                " decimal comma needs semicolons between the cells"
            ]
        )
    if mark != ",":
        table = [[re.sub(r"^(-?\d+),(\d+)$", r"\1.\2", cell) for cell in row] for row in table]
    return header, table[1:]


def _unknown(header: list[str]) -> list[str]:
    """A line for each heading that says nothing here, and for those that stand twice."""
    found = [
        f"column {shown(heading)} is not known and left out{meant(heading, COLUMNS)}"
        for heading in dict.fromkeys(header)
        if heading and heading not in COLUMNS
    ]
    twice = sorted({heading for heading in header if heading and header.count(heading) > 1})
    return found + [f"column {shown(heading)} stands twice; the last counts" for heading in twice]


def _row(
    number: int,
    cells: dict[str, str],
    plan: Plan,
    before: Row | None,
    problems: list[str],
    name: str,
) -> Row:
    """One row; a cell that cannot be used is reported and left out. Raises ValueError where the
    row as a whole cannot be used."""
    at = _moment(cells.get("time", ""), plan, before)
    span = plan.span
    if not span.start <= at <= span.end:
        raise ValueError(
            f"{at:%Y-%m-%d %H:%M} lies outside the plan's span, {span.start:%Y-%m-%d %H:%M} to"
            f" {span.end:%Y-%m-%d %H:%M}"
        )
    if before is not None and at < before.at:
        raise ValueError(f"times must not run backwards (got {at:%H:%M} after {before.at:%H:%M})")
    row = Row(number, at, to_utc(at, ZoneInfo(plan.place.timezone)))

    def read(key: str, as_value: Callable[[str], object]) -> object:
        text = cells.get(key, "")
        if not text:
            return None
        try:
            return as_value(text)
        except ValueError as error:
            problems.append(f"{name}: row {number}: {key} {error}")
            return None

    values = {
        "battery_percent": read("battery_percent", _between(0.0, 100.0)),
        "solar_w": read("solar_w", _between(0.0, MOST_W)),
        "solar_wh": read("solar_wh", _between(0.0, MOST_WH)),
        "load_w": read("load_w", _between(0.0, MOST_W)),
        "charger_w": read("charger_w", _between(0.0, MOST_W)),
        "tool": read("tool", lambda text: _tool(text, plan)),
        "count": read("count", _count),
        "sky": read("sky", _sky),
    }
    if values["count"] is not None and values["tool"] is None:
        if not cells.get("tool", ""):
            problems.append(f"{name}: row {number}: count needs a tool beside it")
        values["count"] = None
    return replace(row, **values)  # type: ignore[arg-type]


def _moment(text: str, plan: Plan, before: Row | None) -> datetime:
    start = before.at if before is not None else plan.span.start
    if found := re.fullmatch(r"(\d{1,2}):(\d{2})(?::(\d{2}))?", text):
        hour, minute, second = (int(part or 0) for part in found.groups())
        if hour < 24 and minute < 60 and second < 60:
            at = datetime(start.year, start.month, start.day, hour, minute, second)
            back = start - at
            return at + timedelta(days=1) if back > timedelta(hours=NEXT_DAY_H) else at
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{shown(text)} is not a time; {EXAMPLE}") from None
    if at.tzinfo is not None:
        at = at.astimezone(ZoneInfo(plan.place.timezone)).replace(tzinfo=None)
    return at


def _between(low: float, high: float) -> Callable[[str], float]:
    def read(text: str) -> float:
        bare = re.sub(r"\s*(%|W|Wh)$", "", text)
        try:
            value = float(bare)
        except ValueError:
            raise ValueError(f"must be a number (got {shown(text)})") from None
        if not low <= value <= high:
            raise ValueError(f"must lie between {low:g} and {high:g} (got {value:g})")
        return value

    return read


def _count(text: str) -> int:
    value = _between(0, MOST_COUNT)(text)
    if value != int(value):
        raise ValueError(f"must be a whole number (got {shown(text)})")
    return int(value)


def _sky(text: str) -> int:
    word = text.lower()
    if word in SKIES:
        return SKIES[word]
    if re.fullmatch("[0-8]", word):
        return int(word)
    raise ValueError(
        f"must be {', '.join(SKIES)}, or eighths from 0 to 8 (got {shown(text)})"
        f"{meant(word, SKIES)}"
    )


def _tool(text: str, plan: Plan) -> str:
    """The name by which figures of this tool are kept in the kit."""
    tools = tools_of(plan)
    several = list(zip(tools, plan.task, strict=True))
    names = {task.name: key for key, task in several}
    names |= {task.tool: key for key, task in several if task.tool} | {key: key for key in tools}
    by_lower = {name.casefold(): key for name, key in names.items()}
    key = by_lower.get(text.casefold())
    if key is None:
        raise ValueError(f"{shown(text)} is not in the plan{meant(text, names)}")
    return key
