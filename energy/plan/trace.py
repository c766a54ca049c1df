"""A tool's trace, seconds and watts, read from a file."""

from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

from energy.plan.words import PlanError, shown

TRACE_COLUMNS = ("seconds", "watts")
MOST_WATTS = 1e6
LONGEST_TRACE_S = 400 * 86_400.0


def read_trace(file: Path) -> tuple[tuple[float, float], ...]:
    """Points (seconds, watts) of a file with these two columns; a header line may be left out."""
    from energy.tables import number, read_table  # which needs this package to be loaded

    table = read_table(file, headless=TRACE_COLUMNS)
    headings = [heading.lower() for heading in table.headings]
    if headings and headings[:2] != [*TRACE_COLUMNS]:
        raise PlanError([f"{file.name}: the columns must be seconds,watts (got {shown(headings)})"])
    if (wide := table.wide_row()) is not None:
        raise PlanError([f"{file.name}: line {wide[0]} {wide[1]}"])
    points: list[tuple[float, float]] = []
    for line, cells, record in zip(table.lines, table.rows, table.records(), strict=True):
        seconds, watts, *_ = *map(number, record.values()), None, None
        if seconds is None or watts is None:
            got = shown(",".join(cells))
            raise PlanError([f"{file.name}: line {line} must be seconds,watts (got {got})"])
        points.append((seconds, watts))
    _check_trace(points, table.lines, file.name)
    return tuple(points)


def _check_trace(points: list[tuple[float, float]], lines: Sequence[int], name: str) -> None:
    if len(points) < 2:
        raise PlanError([f"{name}: must hold two rows or more (got {len(points)})"])
    for line, (seconds, watts) in zip(lines, points, strict=True):
        if not 0.0 <= watts <= MOST_WATTS:
            allowed = f"watts must lie between 0 and {MOST_WATTS:g}"
            raise PlanError([f"{name}: line {line}: {allowed} (got {watts:g})"])
        if not abs(seconds) <= LONGEST_TRACE_S:
            raise PlanError([f"{name}: line {line}: seconds must be finite (got {seconds:g})"])
    for line, (before, after) in zip(lines[1:], pairwise(points), strict=True):
        if not after[0] > before[0]:
            raise PlanError(
                [f"{name}: line {line}: seconds must rise (got {after[0]:g} after {before[0]:g})"]
            )
