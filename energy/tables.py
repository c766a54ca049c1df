"""The one reader of tables that people write or export: cells by row and heading, as text.

Separators, decimal commas, byte-order marks, quotes, notes and empty lines are dealt with here.
What the columns mean, and which are required, is for those who ask.
"""

import csv
import re
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from energy.plan.documents import LARGEST_BYTES, read_text
from energy.plan.words import PlanError

_NUMBER = re.compile(r"-?\d+([.,]\d+)?")
_DECIMAL_COMMA = re.compile(r"(-?\d+),(\d+)")


@dataclass(frozen=True)
class Table:
    """A table as it was written: the headings of its columns and the cells of its rows, as text.

    name is the file's; first_line and lines say on which lines of it, counted from 1, the first row
    and each of `rows` stand; separator is the character between cells. A row may be shorter than
    the headings, or longer (see `wide_row`). Both are empty where the file holds nothing.
    """

    name: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    first_line: int
    lines: tuple[int, ...]
    separator: str

    def records(self) -> Iterator[dict[str, str]]:
        """Each row as heading -> cell, decimal commas made points where they can be nothing else.

        >>> list(parse_table("time;watts\\n9:00;1,5\\n").records())
        [{'time': '9:00', 'watts': '1.5'}]
        """
        for row in self.rows:
            cells = row if self.separator == "," else [with_point(cell) for cell in row]
            yield dict(zip(self.headings, cells, strict=False))

    def column(self, place: int) -> list[str]:
        """The cells of the column at a place counted from 0; empty text where a row is short."""
        return [row[place] if place < len(row) else "" for row in self.rows]

    def wide_row(self) -> tuple[int, str] | None:
        """The line of the first row with more cells than headings, and what is wrong with it; None
        where there is none."""
        width = len(self.headings)
        for line, row in zip(self.lines, self.rows, strict=True):
            if len(row) > width:
                return line, (
                    f"has {len(row)} cells under {width} headings; a decimal comma needs semicolons"
                    " between the cells"
                )
        return None


def read_table(
    file: Path, largest_bytes: int = LARGEST_BYTES, headless: Sequence[str] = ()
) -> Table:
    """The table in a file of at most so many bytes; `headless` as for `parse_table`.

    Raises PlanError in one line where the file cannot be read, or not as columns.
    """
    return parse_table(read_text(file, largest_bytes), file.name, headless)


def parse_table(text: str, name: str = "table", headless: Sequence[str] = ()) -> Table:
    """The same from text; `name` stands in messages.

    `headless` names the columns of a table that begins with a number instead of headings. Lines
    that begin with # or hold no cell are passed over. Raises PlanError where a quote is not closed.

    >>> table = parse_table("# my list\\nname,kg\\nsaw,2.5\\n")
    >>> table.headings, table.rows, table.lines
    (('name', 'kg'), (('saw', '2.5'),), (3,))
    """
    numbered = [
        (number, line)
        for number, line in enumerate(text.splitlines(), start=1)
        if line.strip(" ,;\t") and not line.startswith("#")
    ]
    if not numbered:
        return Table(name, (), (), 0, (), ",")
    first = numbered[0][1]
    separator = next((mark for mark in ";\t" if mark in first), ",")
    reader = csv.reader((line for _, line in numbered), delimiter=separator, strict=True)
    rows, lines = [], []
    try:
        for row in reader:
            rows.append(tuple(cell.strip() for cell in row))
            lines.append(numbered[reader.line_num - 1][0])
    except csv.Error as error:
        number = numbered[reader.line_num - 1][0]
        raise PlanError([f"{name}: line {number}: cannot be read as columns ({error})"]) from None
    if headless and _NUMBER.fullmatch(rows[0][0]):
        return Table(name, tuple(headless), tuple(rows), lines[0], tuple(lines), separator)
    return Table(name, rows[0], tuple(rows[1:]), lines[0], tuple(lines[1:]), separator)


def split_heading(text: str, units: Collection[str]) -> tuple[str, str]:
    """A heading without case, punctuation and unit; and its unit, in brackets or one of `units` at
    its end, in lower case.

    >>> split_heading("Active Power [kW]", ["kw"]), split_heading("power_kw", ["kw"])
    (('active_power', 'kw'), ('power', 'kw'))
    """
    bracketed = re.search(r"[\[(](.*?)[\])]", text)
    bare = re.sub(r"[\[(].*?[\])]", "", text).lower().strip()
    bare = re.sub(r"[^a-z0-9]+", "_", bare).strip("_")
    unit = bracketed.group(1).lower().strip() if bracketed else ""
    last = bare.rsplit("_", 1)[-1]
    if not unit and last and last in units:
        return bare[: -len(last)].strip("_"), last
    return bare, unit


def number(text: str) -> float | None:
    """A cell as a number, infinite or NaN where it says so; None where it is no number.

    >>> number("12.5"), number("a dozen")
    (12.5, None)
    """
    try:
        return float(text)
    except ValueError:
        return None


def with_point(cell: str) -> str:
    """A cell with the decimal comma of its number made a point.

    >>> with_point("88,5"), with_point("a, b")
    ('88.5', 'a, b')
    """
    parts = _DECIMAL_COMMA.fullmatch(cell)
    return f"{parts[1]}.{parts[2]}" if parts else cell
