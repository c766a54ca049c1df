"""Rows in a file, one a line, in the order of the plans: a run that ended early is taken up again.

A line is added when all plans before it are answered, so that what stands there is always the
beginning of the whole. Each line ends with its row's fingerprint, by which it is recognised.
"""

import csv
import io
from collections.abc import Iterator
from dataclasses import astuple
from pathlib import Path
from typing import Any

from energy.answers.many.row import COLUMNS, Row
from energy.plan import PlanError
from energy.plan.documents import short_path
from energy.show.files import place_of, reason, write_text

HEADING = (",".join([*COLUMNS, "fingerprint"]) + "\n").encode()
FIRST_COLUMNS = b"name,latitude,longitude,answer"
NUMBERS = ("latitude", "longitude", "chance", "low", "high", "lowest")
OTHERS = "answers other plans or another question; choose another name, or --force begins it anew"


class RowsFile:
    """A file of rows that is read from the top while its rows are those asked for, and then added
    to; the next row lies `at` so many bytes, on line `number`.

    Raises PlanError in one line where it cannot be read or written, or holds anything else, and
    leaves it as it is; `force` begins it anew instead.
    """

    def __init__(self, path: Path, *, force: bool = False):
        self.name, self.target = short_path(path), place_of(path)
        self.at, self.number, self.ended = len(HEADING), 2, False
        if self.target.exists() and not self.target.is_file():
            raise PlanError([f"{self.name}: is not an ordinary file"])
        begins = self._bytes(0, len(HEADING))
        if not (force or HEADING.startswith(begins)):
            other = begins.startswith(FIRST_COLUMNS)
            whose = "by another version of energy many" if other else "not by energy many"
            line = f"{self.name}: is there, written {whose}: choose another name, or --force"
            raise PlanError([f"{line} replaces it"])
        if force or begins != HEADING:
            write_text(path, HEADING.decode())

    def kept(self, mark: str) -> Row | None:
        """The next row, where the file holds it; None from the file's end on, where a torn line is
        dropped. Raises PlanError for the row of another plan or question."""
        if self.ended:
            return None
        line = self._bytes(self.at, -1)
        if not line.endswith(b"\n"):
            self._cut()
            return None
        row, marked = _row(line)
        if row is None or marked != mark:
            raise PlanError([f"{self.name}: line {self.number} {OTHERS}"])
        self.at, self.number = self.at + len(line), self.number + 1
        return row

    def add(self, row: Row, mark: str) -> None:
        """Add a row; where that fails, the file ends with the row before."""
        text = io.StringIO()
        csv.writer(text, lineterminator="\n").writerow([*astuple(row), mark])
        line = text.getvalue().encode()
        try:
            with self.target.open("ab") as file:
                file.write(line)
        except OSError as error:
            self._cut()
            raise PlanError([f"{self.name}: cannot be written ({reason(error)})"]) from None
        self.at, self.number = self.at + len(line), self.number + 1

    def refuse_more(self) -> None:
        """Raise PlanError where the file holds rows beyond those asked for; a torn line is
        dropped."""
        line = b"" if self.ended else self._bytes(self.at, -1)
        if line.endswith(b"\n"):
            raise PlanError([f"{self.name}: line {self.number} {OTHERS}"])
        if line:
            self._cut()

    def _bytes(self, start: int, most: int) -> bytes:
        """A line, or its beginning, from so many bytes on; nothing where there is no file."""
        try:
            with self.target.open("rb") as file:
                file.seek(start)
                return file.readline(most)
        except FileNotFoundError:
            return b""
        except OSError as error:
            raise PlanError([f"{self.name}: cannot be read ({reason(error)})"]) from None

    def _cut(self) -> None:
        """End the file after its last whole row."""
        with self.target.open("r+b") as file:
            file.truncate(self.at)
        self.ended = True


def rows_in(path: Path) -> Iterator[Row]:
    """The rows of a file, one at a time.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = RowsFile(Path(folder) / "rows.csv")
    ...     file.add(Row("hut", 46.5, 8.0, "yes", 97.0), "a mark")
    ...     list(rows_in(Path(folder) / "rows.csv"))[0].chance
    97.0
    """
    with path.open("rb") as file:
        file.readline()
        for line in file:
            row, _ = _row(line)
            if row is not None:
                yield row


def _row(line: bytes) -> tuple[Row | None, str]:
    """A line as a row and its mark; None for what is no row."""
    try:
        (cells,) = csv.reader([line.decode().rstrip("\n")], strict=True)
        *values, mark = cells
        columns = dict(zip(COLUMNS, values, strict=True))
        said: dict[str, Any] = {
            key: (float(text) if key in NUMBERS else text) if text else None
            for key, text in columns.items()
        }
    except (ValueError, csv.Error):  # text in another encoding is a ValueError
        return None, ""
    return Row(**said | {key: columns[key] for key in ("name", "answer")}), mark
