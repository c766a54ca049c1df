"""A table in lines of text, at any width: long words fold, the columns least needed go.

Numbers stand on the right with their units; no column is narrower than its longest word while
there is another way.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from rich.cells import cell_len

from energy.show.layout import TIE, folded, tied

GAP = "  "


@dataclass(frozen=True)
class Column:
    """A column: its heading, and a cell a row.

    right: numbers, which stand on the right and never fold.
    drop: when it goes where room lacks, 1 first; 0 never.
    """

    heading: str
    cells: Sequence[str]
    right: bool = False
    drop: int = 0

    def widest(self) -> int:
        """The columns that it takes unfolded."""
        return max(map(cell_len, (self.heading, *self.cells)))

    def least(self) -> int:
        """The columns below which a number, or a word, would break."""
        cells = self.cells if self.right else [word for cell in self.cells for word in _words(cell)]
        return max(map(cell_len, (*_words(self.heading), *cells)), default=0)


def rows(columns: Sequence[Column], width: int) -> list[list[str]]:
    """The heading's lines, then each row's.

    >>> task = Column("task", ["angle grinder, 115 mm", "tea"])
    >>> needs = Column("needs", ["36 Wh", "120 Wh"], right=True)
    >>> for row in rows([task, needs], 22): print(*row, sep="\\n")
    task             needs
    angle grinder,   36 Wh
    115 mm
    tea             120 Wh
    """
    kept = [column for column in columns if column.cells]
    while kept and _total([column.least() for column in kept]) > width:
        going = [column for column in kept if column.drop]
        if not going:
            break
        kept.remove(min(going, key=lambda column: column.drop))
    widths = _widths(kept, width)
    table = [[column.heading for column in kept]]
    table += [list(cells) for cells in zip(*(column.cells for column in kept), strict=True)]
    return [_row(kept, cells, widths) for cells in table]


def lines(columns: Sequence[Column], width: int) -> list[str]:
    """The lines of a table, all rows one after another.

    >>> lines([Column("task", ["tea"]), Column("needs", ["120 Wh"], right=True)], 40)
    ['task   needs', 'tea   120 Wh']
    """
    return [line for row in rows(columns, width) for line in row]


def _words(text: str) -> list[str]:
    return [word.replace(TIE, " ") for word in tied(text).split(" ")]


def _total(widths: Sequence[int]) -> int:
    return sum(widths) + len(GAP) * (len(widths) - 1)


def _widths(columns: Sequence[Column], width: int) -> list[int]:
    """Columns as wide as they wish, or narrowed from the widest on, not below their least."""
    widths = [column.widest() for column in columns]
    least = [column.least() for column in columns]
    while _total(widths) > width:
        spare = [wide - low for wide, low in zip(widths, least, strict=True)]
        if max(spare) <= 0:  # words must be cut
            spare = [
                wide - 1 if not c.right else 0 for wide, c in zip(widths, columns, strict=True)
            ]
            if max(spare) <= 0:
                break
        widths[spare.index(max(spare))] -= 1
    return widths


def _row(columns: Sequence[Column], cells: Sequence[str], widths: Sequence[int]) -> list[str]:
    cell_lines = [folded(cell, wide) for cell, wide in zip(cells, widths, strict=True)]
    height = max(map(len, cell_lines))
    lines = []
    for n in range(height):
        texts = [
            _set(lines_of[n] if n < len(lines_of) else "", wide, column.right)
            for lines_of, wide, column in zip(cell_lines, widths, columns, strict=True)
        ]
        lines.append(GAP.join(texts).rstrip())
    return lines


def _set(text: str, width: int, right: bool) -> str:
    blanks = " " * max(width - cell_len(text), 0)
    return blanks + text if right else text + blanks
