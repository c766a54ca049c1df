"""Many plans from what a person has: a table of places for one plan, or a folder of plans."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from energy.answers.many.asking import Named
from energy.answers.many.row import LONGEST_NAME
from energy.plan import Plan, PlanError
from energy.plan.assignments import assignments, moved_to
from energy.plan.documents import parse, read_text, short_path
from energy.plan.read import only_known
from energy.plan.words import meant, shown
from energy.tables import Table, number, read_table, split_heading

NEEDED = ("name", "latitude", "longitude")
ALIASES = {"lat": "latitude", "lon": "longitude", "lng": "longitude"}
GIVEN_BY = {
    "title": "name",
    "place": "latitude",
    "place.latitude_deg": "latitude",
    "place.longitude_deg": "longitude",
}
LARGEST_BYTES = 50_000_000
MOST_LINES = 40
LIMITS_DEG = {"latitude": 90.0, "longitude": 180.0}
OF_ONE_PLACE = {  # kinds of weather
    "file": "its weather file is of one place",
    "monthly": "its sun hours are those of one place",
}
ELSEWHERE = (
    "for others add --set weather.kind=climate, or history or forecast where that is fetched for"
    " each, or a column such as weather.file"
)
A_PLAN_HAS = {"place", "span", "pack", "task"}  # one of these tables at least


@dataclass(frozen=True)
class Place:
    """A place of a table, and what it changes in the plan, as `Plan.replace` takes it."""

    name: str
    changes: dict[str, Any]


def read_places(file: Path | str, plan: Plan) -> tuple[Place, ...]:
    """The places of a table: name, latitude and longitude [degrees, decimal], and any key of a plan
    as a further column; an empty cell leaves the plan's own.

    Raises PlanError with one line a problem, all of them, for what the plan does not bear too.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder) / "places.csv"
    ...     text = "name,latitude,longitude,pack.capacity_wh\\nhut,46.5,8.0,700\\n"
    ...     _ = path.write_text(text)
    ...     plan = Plan.read("builtin:two-night-trip").replace(weather={"kind": "climate"})
    ...     (hut,) = read_places(path, plan)
    >>> hut.name, hut.changes["place.latitude_deg"], hut.changes["pack.capacity_wh"]
    ('hut', 46.5, 700)
    """
    table = read_table(Path(file), LARGEST_BYTES)
    if not table.headings:
        raise PlanError([f"{table.name}: is empty; the first row must name the columns"])
    columns = [_column(heading) for heading in table.headings]
    if problems := _wrong_columns(table, columns, plan):
        raise PlanError(problems)
    if not table.rows:
        raise PlanError([f"{table.name}: holds no place"])
    of_one_place = OF_ONE_PLACE.get(plan.weather.kind, "")
    if of_one_place and not any(column.startswith("weather") for column in columns):
        raise PlanError([f"{plan.origin}: {of_one_place}; {ELSEWHERE}"])
    lines: dict[str, int] = {}  # of the table, by name
    refused: dict[tuple[str, ...], list[str]] = {}  # values tried, and what is wrong with them
    places: list[Place] = []
    for line, cells in zip(table.lines, table.records(), strict=True):
        row = dict(zip(columns, cells.values(), strict=False))
        changes, wrong = _changes(row, plan)
        wrong += _wrong_name(row.get("name", ""), lines)
        if of_one_place and changes and not any(key.startswith("weather") for key in changes):
            wrong.append(f"gives no weather, and of the plan {of_one_place}")
        values = tuple(cell for key, cell in row.items() if key not in NEEDED)
        if not wrong:
            if values not in refused:
                refused[values] = _refused(changes, plan)
            wrong = refused[values]
        problems += [f"{table.name}: line {line}: {text}" for text in wrong]
        if not wrong:
            lines[row["name"]] = line
            places.append(Place(row["name"], changes))
    if problems:
        more = len(problems) - MOST_LINES
        last = [f"{table.name}: and {more} more problems"] if more > 0 else []
        raise PlanError([*problems[:MOST_LINES], *last])
    return tuple(places)


def keys_that_differ(places: Sequence[Place]) -> list[str]:
    """The plan's keys, but for where it is, that are not the same at all places.

    >>> hut = Place("hut", {"place.latitude_deg": 46.5, "pack.capacity_wh": 700})
    >>> keys_that_differ([hut, Place("yard", {"place.latitude_deg": 52.0})])
    ['pack.capacity_wh']
    """
    at = moved_to(0.0, 0.0).keys()
    keys = dict.fromkeys(key for place in places for key in place.changes if key not in at)
    values = {key: [place.changes.get(key) for place in places] for key in keys}
    return [key for key in keys if any(value != values[key][0] for value in values[key])]


@dataclass(frozen=True)
class PlansAt:
    """A plan at each of many places that it bears, by the place's name."""

    plan: Plan
    places: Sequence[Place]

    def __len__(self) -> int:
        return len(self.places)

    def __iter__(self) -> Iterator[Named]:
        for place in self.places:
            yield place.name, self.plan.replace(**place.changes)


@dataclass(frozen=True)
class PlansOf:
    """Each file's plan as it is read, or why there is none, by the file's name."""

    files: Sequence[Path]
    read: Callable[[Path], Plan]

    def __len__(self) -> int:
        return len(self.files)

    def __iter__(self) -> Iterator[Named]:
        for file in self.files:
            try:
                yield file.name, self.read(file)
            except PlanError as error:
                yield file.name, error


def plan_files(folder: Path) -> tuple[list[Path], list[Path]]:
    """The plans of a folder by name, and the other .toml files (kits and tools of one's own).

    Raises PlanError in one line where it holds no plan or cannot be read.
    """
    try:
        files = sorted(file for file in folder.iterdir() if file.suffix == ".toml")
    except OSError as error:
        raise PlanError([f"{short_path(folder)}: cannot be read ({error.strerror})"]) from None
    plans = [file for file in files if _is_plan(file)]
    if not plans:
        raise PlanError([f"{short_path(folder)}: holds no plan (*.toml)"])
    return plans, [file for file in files if file not in plans]


def _is_plan(file: Path) -> bool:
    """Whether a file holds a plan, or nothing that can be read."""
    try:
        return not A_PLAN_HAS.isdisjoint(parse(read_text(file), file.name))
    except PlanError:
        return True


def _column(heading: str) -> str:
    """What a column gives: name, latitude, longitude, or the key of a plan."""
    bare, _ = split_heading(heading, ["deg"])
    bare = ALIASES.get(bare, bare)
    return bare if bare in NEEDED else heading


def _wrong_columns(table: Table, columns: Sequence[str], plan: Plan) -> list[str]:
    """What is wrong with the columns that the first row names."""
    where = f"{table.name}: line {table.first_line}"
    problems = [f"{where}: the column {name} is required" for name in NEEDED if name not in columns]
    for column in dict.fromkeys(columns):
        if columns.count(column) > 1:
            problems.append(f"{where}: the column {shown(column)} is there twice")
        elif column in GIVEN_BY:
            problems.append(f"{where}: {column} is given by the column {GIVEN_BY[column]}")
        elif column not in NEEDED:
            problems += [f"{where}: {text}" for text in _wrong_key(column, plan)]
    if (wide := table.wide_row()) is not None:
        line, text = wide
        problems.append(f"{table.name}: line {line}: {text}")
    return problems


def _wrong_key(column: str, plan: Plan) -> list[str]:
    """Why a column is no key of the plan."""
    try:
        only_known(assignments([f"{column}=none"], plan))
    except PlanError as error:
        near = meant(column.lower(), NEEDED)
        return [f"{text.removeprefix('--set ')}{near}" for text in error.problems]
    return []


def _wrong_name(name: str, lines: Mapping[str, int]) -> list[str]:
    """What is wrong with a place's name; lines: where the names before it stand."""
    if not name or len(name) > LONGEST_NAME or not name.isprintable():
        return [f"name must be one line of text (got {shown(name)})"]
    return [f"name {shown(name)} is in line {lines[name]} already"] if name in lines else []


def _changes(row: Mapping[str, str], plan: Plan) -> tuple[dict[str, Any], list[str]]:
    """What a row changes in the plan, and what is wrong with it."""
    problems = []
    at: dict[str, float] = {}
    for key, most_deg in LIMITS_DEG.items():
        value = number(row.get(key, ""))
        if value is None or not abs(value) <= most_deg:
            got = shown(row.get(key, ""))
            limits = f"in degrees from -{most_deg:g} to {most_deg:g}"
            problems.append(f"{key} must be a number {limits} (got {got})")
        else:
            at[key] = value
    given = [f"{key}={cell}" for key, cell in row.items() if cell and key not in NEEDED]
    try:
        others = assignments(given, plan)
    except PlanError as error:
        problems += [text.removeprefix("--set ") for text in error.problems]
    if problems:
        return {}, problems
    return moved_to(at["latitude"], at["longitude"]) | others, []


def _refused(changes: Mapping[str, Any], plan: Plan) -> list[str]:
    """What is wrong with a plan so changed."""
    try:
        plan.replace(**changes)
    except PlanError as error:
        return [text.removeprefix(f"{plan.origin}: ") for text in error.problems]
    return []
