"""Reads what a person saw on the pack and wrote down: a CSV of times and whatever was seen.

Each wrong cell is one line, and what is left is kept. What the rows mean for the plan is worked
out in `counted_work`; logs of a meter are read in `log`.
"""

import hashlib
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from energy.answers.learn.component_names import tools_of
from energy.model.timeline import to_utc
from energy.plan import Plan, PlanError
from energy.plan.skies import SKIES
from energy.plan.words import meant, shown
from energy.simulation.clock_changes import skipped_words
from energy.tables import Table, parse_table, read_table, with_point
from energy.tables import number as number_in

FLAT = "flat"
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
    "panel",
)
REST = ("nothing", "inverter")  # in place of a tool: nothing ran, or the idle inverter alone
PANEL: dict[str, float | str] = {"covered": 0.0, "as planned": 1.0, "flat": FLAT}
ENERGY = {"tool", "count", "charger_w"}  # columns that say what was done since the row before
MOST_ROWS = 5000
MIDDAY = (10, 15)  # hours in which panels that are out give more than a thousandth
KILO_SLACK, DAY_SUN_H = 1.3, 8.0
MOST_W, MOST_WH, MOST_COUNT = 1e5, 1e6, 10_000
NEXT_DAY_H = 6.0  # a clock that goes back by more than this is the next day's
OFFSET = re.compile(r":\d\d\s*(Z|[+-]\d\d:?\d\d)$")  # of a time from UTC, at its end
EXAMPLE = "write 13:20, or with its date 2026-09-14 13:20"


@dataclass(frozen=True)
class Row:
    """What was seen at one moment; None where nothing was written.

    number is that of its line in the file, from 1; at is the moment on the plan's clock, time_s the
    same in UTC seconds; battery_percent of charge; solar_w into the pack; solar_wh of the day so
    far; load_w at the outlets. Since the row before: `count` of `tool` were done, or nothing ran
    (see REST); sky in eighths of cloud; charger_w. panel holds until the next row: the share of the
    light as planned that reached the panels, or FLAT where they lay flat. work_unknown: something
    that was written of the time since the row before could not be used, so that nothing is learned
    of it.
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
    panel: float | str | None = None
    work_unknown: bool = field(default=False, compare=False)

    @property
    def mark(self) -> str:
        """A short hash by which the same row is known again; that of a row without a panel is as
        it was when there was no such column."""
        *columns, panel = COLUMNS[1:]
        values = (self.at.isoformat(), *(getattr(self, column) for column in columns))
        values += () if self.panel is None else (getattr(self, panel),)
        return hashlib.sha256(repr(values).encode()).hexdigest()[:12]


@dataclass(frozen=True)
class Readings:
    """The rows of a file in order, and a line for each thing wrong with it; with_offset: all times
    are written with their offset from UTC; moved: a line for each time that the clock skips."""

    name: str
    rows: tuple[Row, ...]
    problems: tuple[str, ...] = ()
    with_offset: bool = False
    moved: tuple[str, ...] = ()


def read_readings(path: Path | str, plan: Plan) -> Readings:
    """Read a file of readings made while `plan` was under way; times are on the plan's clock.

    Raises PlanError where the file as a whole cannot be used.
    """
    return _readings(read_table(Path(path)), plan)


def parse_readings(text: str, plan: Plan, name: str = "readings") -> Readings:
    """The same from text. A tool may be named by its profile or by the task's own name.

    >>> plan = Plan.read("builtin:cloudy-repair")
    >>> readings = parse_readings("time,battery_percent\\n09:00,98\\n12:10,140\\n15:00,71", plan)
    >>> [row.battery_percent for row in readings.rows]
    [98.0, None, 71.0]
    >>> readings.problems[0]
    'readings: line 3: battery_percent must lie between 0 and 100 (got 140)'
    """
    return _readings(parse_table(text, name), plan)


def _readings(table: Table, plan: Plan) -> Readings:
    """The rows of a table of readings; raises PlanError where it cannot be used as a whole."""
    name = table.name
    if not table.headings:
        raise PlanError([f"{name}: is empty"])
    if (wide := table.wide_row()) is not None:
        raise PlanError([f"{name}: line {wide[0]} {wide[1]}"])
    headings = tuple(heading.lower().replace(" ", "_") for heading in table.headings)
    if "time" not in headings:
        raise PlanError([f"{name}: no column time; columns: {', '.join(map(shown, headings))}"])
    if len(table.rows) > MOST_ROWS:
        raise PlanError([f"{name}: must hold at most {MOST_ROWS} rows (got {len(table.rows)})"])
    problems = [f"{name}: {line}" for line in _unknown(headings)]
    rows: list[Row] = []
    moved: list[str] = []
    with_offset, unknown = True, False
    records = replace(table, headings=headings).records()
    for line, cells in zip(table.lines, records, strict=True):
        try:
            row, wrong = _row(line, cells, plan, rows[-1] if rows else None)
        except ValueError as error:
            problems.append(f"{name}: line {line}: {error}")
            unknown = True
            continue
        problems += [f"{name}: line {line}: {text}" for text in wrong.values()]
        skipped, row = _as_the_clock_goes(row, plan)
        moved += [f"{name}: line {line}: {text}" for text in skipped]
        rows.append(replace(row, work_unknown=unknown or bool(ENERGY & wrong.keys())))
        unknown = "panel" in wrong  # which holds until the next row
        with_offset &= OFFSET.search(cells.get("time", "")) is not None
    _refuse_other_units(name, rows, plan)
    return Readings(name, tuple(rows), tuple(problems), with_offset, tuple(moved))


def _refuse_other_units(name: str, rows: Sequence[Row], plan: Plan) -> None:
    """Raise PlanError where a whole column can only be in another unit: a line a column."""
    problems = []
    percents = _values(rows, "battery_percent")
    if percents and max(percents) <= 1.0 and any(percent % 1.0 for percent in percents):
        example = next(percent for percent in percents if percent % 1.0)
        problems.append(
            f"battery_percent is percent: did you mean {100.0 * example:g}? (got {example:g})"
        )
    rated_w = sum(panel.rated_w * panel.count for panel in plan.panel)
    noon = [row for row in rows if MIDDAY[0] <= row.at.hour < MIDDAY[1] and row.panel is None]
    for column, unit, most in (
        ("solar_w", "kW", KILO_SLACK * rated_w / 1000.0),
        ("solar_wh", "kWh", KILO_SLACK * rated_w * DAY_SUN_H / 1000.0),
    ):
        there, of_noon = _values(rows, column), _values(noon, column)
        if of_noon and 0.0 < max(there) <= most:
            problems.append(
                f"{column} looks like {unit}: at most {max(there):g} from panels of {rated_w:g} W;"
                f" write {unit[1:]}"
            )
    if problems:
        raise PlanError([f"{name}: {line}" for line in problems])


def _values(rows: Sequence[Row], column: str) -> list[float]:
    """What was written in a column."""
    return [value for row in rows if (value := getattr(row, column)) is not None]


def _unknown(headings: Sequence[str]) -> list[str]:
    """A line for each heading that says nothing here, and for those that stand twice."""
    unknown = [
        f"column {shown(heading)} is not known and left out{meant(heading, COLUMNS)}"
        for heading in dict.fromkeys(headings)
        if heading and heading not in COLUMNS
    ]
    twice = sorted({heading for heading in headings if heading and headings.count(heading) > 1})
    return unknown + [f"column {shown(heading)} stands twice; the last counts" for heading in twice]


def _row(
    number: int, cells: dict[str, str], plan: Plan, previous: Row | None
) -> tuple[Row, dict[str, str]]:
    """One row, and by column a line for each of its cells that cannot be used and is left out.
    Raises ValueError where the row as a whole cannot be used."""
    at = _moment(cells.get("time", ""), plan, previous)
    span = plan.span
    if not span.start <= at <= span.end:
        raise ValueError(
            f"{at:%Y-%m-%d %H:%M} lies outside the plan's span, {span.start:%Y-%m-%d %H:%M} to"
            f" {span.end:%Y-%m-%d %H:%M}"
        )
    if previous is not None and at < previous.at:
        raise ValueError(f"times must not run backwards (got {at:%H:%M} after {previous.at:%H:%M})")
    readers: dict[str, Callable[[str], object]] = {
        "battery_percent": _between(0.0, 100.0),
        "solar_w": _between(0.0, MOST_W),
        "solar_wh": _between(0.0, MOST_WH),
        "load_w": _between(0.0, MOST_W),
        "charger_w": _between(0.0, MOST_W),
        "tool": lambda text: _tool(text, plan),
        "count": _count,
        "sky": _sky,
        "panel": _panel,
    }
    values: dict[str, Any] = {}
    problems = {}
    for column, read in readers.items():
        if text := cells.get(column, ""):
            try:
                values[column] = read(text)
            except ValueError as error:
                problems[column] = f"{column} {error}"
    if "count" in values and "tool" not in values:
        if not cells.get("tool", ""):
            problems["count"] = "count needs a tool beside it"
        del values["count"]
    if values.get("tool") in REST and values.pop("count", None) is not None:
        problems["count"] = f"count: {values['tool']} is not counted"
    return Row(number, at, to_utc(at, ZoneInfo(plan.place.timezone)), **values), problems


def _as_the_clock_goes(row: Row, plan: Plan) -> tuple[list[str], Row]:
    """A row, at the time that is taken where the clock skips its own, and a line that says so."""
    zone = ZoneInfo(plan.place.timezone)
    taken = datetime.fromtimestamp(row.time_s, zone).replace(tzinfo=None)
    return skipped_words({row.at: taken} if taken != row.at else {}), replace(row, at=taken)


def _moment(text: str, plan: Plan, previous: Row | None) -> datetime:
    """A cell as a moment on the plan's clock; a time of day is that of the row before, or of the
    next day where the clock goes far back."""
    start = previous.at if previous is not None else plan.span.start
    if clock := re.fullmatch(r"(\d{1,2}):(\d{2})(?::(\d{2}))?", text):
        hour, minute, second = (int(part or 0) for part in clock.groups())
        if hour < 24 and minute < 60 and second < 60:
            at = datetime(start.year, start.month, start.day, hour, minute, second)
            return at + timedelta(days=1) if start - at > timedelta(hours=NEXT_DAY_H) else at
    try:
        at = datetime.fromisoformat(text)
        if at.tzinfo is not None:
            at = at.astimezone(ZoneInfo(plan.place.timezone)).replace(tzinfo=None)
    except (ValueError, OverflowError):  # the latter beyond the ends of the calendar
        raise ValueError(f"{shown(text)} is not a time; {EXAMPLE}") from None
    return at


def _between(low: float, high: float) -> Callable[[str], float]:
    def read(text: str) -> float:
        bare = re.sub(r"\s*(%|W|Wh)$", "", text)
        value = number_in(bare)
        if value is None:
            raise ValueError(f"must be a number (got {shown(text)}){_without_comma(bare)}")
        if not low <= value <= high:
            raise ValueError(f"must lie between {low:g} and {high:g} (got {value:g})")
        return value

    return read


def _without_comma(text: str) -> str:
    """What to write in place of a number with a comma; nothing for what is none.

    >>> _without_comma("88,5"), _without_comma("1,250"), _without_comma("full")
    ('; write 88.5', '; write 1250 or 1.250', '')
    """
    if (pointed := with_point(text)) == text:
        return ""
    thousands = f"{text.replace(',', '')} or " if re.search(r"\d,\d{3}$", text) else ""
    return f"; write {thousands}{pointed}"


def _count(text: str) -> int:
    value = _between(0, MOST_COUNT)(text)
    if value != int(value):
        raise ValueError(f"must be a whole number (got {shown(text)})")
    return int(value)


def _sky(text: str) -> int:
    word = text.lower()
    if word in SKIES:
        return SKIES[word].eighths
    if re.fullmatch("[0-8]", word):
        return int(word)
    raise ValueError(
        f"must be {', '.join(SKIES)}, or eighths from 0 to 8 (got {shown(text)})"
        f"{meant(word, SKIES)}"
    )


def _panel(text: str) -> float | str:
    """The share of their light that reached the panels, or FLAT.

    >>> _panel("covered"), _panel("40 %"), _panel("flat")
    (0.0, 0.4, 'flat')
    """
    word = " ".join(text.lower().split())
    if word in PANEL:
        return PANEL[word]
    try:
        percent = _between(0.0, 100.0)(text)
    except ValueError as error:
        words = f"must be {', '.join(PANEL)} or percent of its light"
        raise ValueError(
            f"{words}, from 0 to 100 (got {shown(text)}){meant(word, PANEL)}"
        ) from error
    if 0.0 < percent < 1.0:
        raise ValueError(f"is percent of its light: did you mean {100.0 * percent:g}? (got {text})")
    return percent / 100.0


def _tool(text: str, plan: Plan) -> str:
    """The name by which figures of this tool are kept in the kit file, or one of REST."""
    if text.casefold() in REST:
        return text.casefold()
    tools = tools_of(plan)
    names = {task.name: tool for tool, task in zip(tools, plan.task, strict=True)}
    names |= {task.tool: tool for tool, task in zip(tools, plan.task, strict=True) if task.tool}
    names |= {tool: tool for tool in tools}
    tool = {name.casefold(): tool for name, tool in names.items()}.get(text.casefold())
    if tool is None:
        raise ValueError(f"{shown(text)} is not in the plan{meant(text, [*names, *REST])}")
    return tool
