"""The list of things that may be bought: packs and panels, read from a CSV file and checked.

Each wrong row is one line: file, row, column, what was found, what is allowed.
"""

from dataclasses import dataclass, replace
from pathlib import Path

from energy.plan import PlanError
from energy.plan.words import meant, shown
from energy.tables import Table, number, read_table

KINDS = ("panel", "pack")
NUMBERS = (
    "rated_w",
    "capacity_wh",
    "inverter_w",
    "surge_w",
    "solar_max_w",
    "charge_max_w",
    "discharge_max_w",
    "kg",
    "price",
)
COLUMNS = ("name", "kind", *NUMBERS, "count_max")
NEEDED = {"panel": "rated_w", "pack": "capacity_wh"}
OF_THE_OTHER = {"panel": NUMBERS[1:7], "pack": NUMBERS[:1]}
MAY_BE_0 = ("kg", "price")
LARGEST, MOST_OF_ONE, MOST_ROWS = 1e6, 100, 500


@dataclass(frozen=True)
class Candidate:
    """One thing of the list; None where its row says nothing. count_max: at most so many."""

    name: str
    kind: str
    rated_w: float | None = None
    capacity_wh: float | None = None
    inverter_w: float | None = None
    surge_w: float | None = None
    solar_max_w: float | None = None
    charge_max_w: float | None = None
    discharge_max_w: float | None = None
    kg: float | None = None
    price: float | None = None
    count_max: int = 1


def read_candidates(file: Path | str) -> tuple[Candidate, ...]:
    """Read a list of candidates.

    The first row names the columns; name and kind are required, the others may be left out. Lines
    that begin with # are passed over. Raises PlanError with one line a problem, all of them.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder) / "kit.csv"
    ...     _ = path.write_text("name,kind,capacity_wh\\nsmall,pack,256\\n")
    ...     read_candidates(path)[0].capacity_wh
    256.0
    """
    table = read_table(Path(file))
    name = table.name
    if not table.headings:
        raise PlanError([f"{name}: is empty; the first row must name the columns"])
    if (count := 1 + len(table.rows)) > MOST_ROWS:
        raise PlanError([f"{name}: holds {count} rows, at most {MOST_ROWS} are allowed"])
    table = replace(table, headings=tuple(heading.lower() for heading in table.headings))
    if problems := _wrong_columns(table):
        raise PlanError(problems)
    candidates: dict[str, Candidate] = {}
    for line, cells, record in zip(table.lines, table.rows, table.records(), strict=True):
        where = f"{name}: line {line}"
        if len(cells) > len(table.headings):
            width = len(table.headings)
            problems.append(f"{where}: has {len(cells)} cells, the first row names {width}")
            continue
        candidate, wrong = _candidate(record)
        problems += [f"{where}: {text}" for text in wrong]
        if candidate is not None and candidate.name in candidates:
            problems.append(f"{where}: name: {shown(candidate.name)} is there already")
        elif candidate is not None:
            candidates[candidate.name] = candidate
    if not problems and all(candidate.kind != "pack" for candidate in candidates.values()):
        problems.append(f"{name}: holds no pack")
    if problems:
        raise PlanError(problems)
    return tuple(candidates.values())


def _wrong_columns(table: Table) -> list[str]:
    """What is wrong with the columns that the first row names."""
    where, columns = f"{table.name}: line {table.first_line}", table.headings
    problems = [
        f"{where}: {shown(column)} is no column{meant(column, COLUMNS)}; allowed are"
        f" {', '.join(COLUMNS)}"
        for column in columns
        if column not in COLUMNS
    ]
    problems += [
        f"{where}: the column {column} is there twice"
        for column in COLUMNS
        if columns.count(column) > 1
    ]
    problems += [
        f"{where}: the column {column} is required"
        for column in ("name", "kind")
        if column not in columns
    ]
    return problems


def _candidate(row: dict[str, str]) -> tuple[Candidate | None, list[str]]:
    """One row as a candidate, or what is wrong with it."""
    problems = []
    name, kind = row.get("name", ""), row.get("kind", "").lower()
    if not name or len(name) > 200 or not name.isprintable():
        problems.append(f"name: must be one line of text (got {shown(name)})")
    if kind not in KINDS:
        problems.append(
            f"kind: must be panel or pack (got {shown(row.get('kind', ''))}){meant(kind, KINDS)}"
        )
    values: dict[str, float] = {}
    for key in NUMBERS:
        text = row.get(key, "")
        if not text:
            continue
        value = number(text)
        least = "from 0" if key in MAY_BE_0 else "more than 0"
        if value is None or not 0.0 <= value <= LARGEST or (value == 0.0 and "more" in least):
            problems.append(f"{key}: must be {least} to {LARGEST:,.0f} (got {shown(text)})")
        else:
            values[key] = value
    count = number(row.get("count_max", "") or "1")
    if count is None or not 1 <= count <= MOST_OF_ONE or count != int(count):
        got = shown(row.get("count_max", ""))
        problems.append(f"count_max: must be a whole number, 1 to {MOST_OF_ONE} (got {got})")
    if kind in KINDS:
        if not row.get(NEEDED[kind]):
            problems.append(f"{NEEDED[kind]}: is required for a {kind}")
        problems += [
            f"{key}: is not for a {kind}; leave it empty (got {shown(row[key])})"
            for key in OF_THE_OTHER[kind]
            if row.get(key)
        ]
    if problems or count is None:
        return None, problems
    return Candidate(name, kind, count_max=int(count), **values), []
