"""A person's own kit as a file: profiles of what was learned, and a record of what taught it.

Any plan may name the file in `profiles`. The profiles are made in `kit_profiles`; here the file is
read, added to, joined with others and worded as TOML.
"""

import copy
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    FiniteFloat,
    PlainSerializer,
    ValidationError,
    model_validator,
)

from energy.answers.learn.posterior import AGE_PER_MONTH, EMPTY, Posterior
from energy.answers.learn.readings import Row
from energy.plan import Plan, PlanError
from energy.plan.documents import is_there, parse, read_text
from energy.plan.profiles import KINDS, Table, sorted_into_kinds
from energy.plan.words import shown

OWN = "your own readings"  # how the source of a learned figure begins
MONTH_DAYS = 30.44
HEAD = (
    'Your own kit, written by `energy learn`. Name it in a plan: profiles = ["NAME"].',
    "Learning again rewrites it; comments made by hand are not kept.",
)
Short = Annotated[
    float, Field(allow_inf_nan=False), PlainSerializer(lambda value: float(f"{value:.8g}"))
]
Positive = Annotated[Short, Field(gt=0.0, le=1e9)]
Points = Annotated[float, Field(ge=-100.0, le=100.0)]  # of charge


class Record(BaseModel):
    """A table below [learned]; keys that are not known here are kept."""

    model_config = ConfigDict(frozen=True, extra="allow")


class ReadingsRecord(Record):
    """The rows of a file of readings that were learned from, by their marks; first and last are
    the moments of the first and last of them, as text."""

    file: str
    first: str
    last: str
    rows: list[str]


class ScoreRecord(Record):
    """The rows of a file that a prediction was compared with, what came of it [points of charge],
    and on which days and where."""

    file: str
    first: str
    last: str
    typical_points: Points
    bias_points: Points
    days: list[str] = []
    latitude_deg: FiniteFloat | None = None
    longitude_deg: FiniteFloat | None = None
    rows: list[str]


class LogRecord(Record):
    """A meter's log of a tool; its first and last day where the log tells them."""

    file: str
    tool: str
    first: date | None = None
    last: date | None = None


class Figures(Record):
    """A posterior as of a day, in lists of floats (see `Posterior`)."""

    updated: date | None = None
    names: list[str]
    base: list[Positive]
    mean: list[Positive]
    first_spread: list[Positive]
    covariance: list[list[Short]]

    @model_validator(mode="after")
    def _fits_together(self) -> "Figures":
        count = len(self.names)
        kinds = {name.partition(":")[0] for name in self.names}
        if not (kinds <= AGE_PER_MONTH.keys() and all(map(str.isprintable, self.names))):
            raise ValueError("names must be those of figures that readings can teach")
        if len(set(self.names)) < count:
            raise ValueError("names must differ")
        if not len(self.base) == len(self.mean) == len(self.first_spread) == count:
            raise ValueError("base, mean and first_spread must be as many as names")
        if np.shape(self.covariance) != (count, count):
            raise ValueError("covariance must be of each name with each")
        covariance = np.array(self.covariance)
        try:
            np.linalg.cholesky(covariance)
            symmetric = np.allclose(covariance, covariance.T, atol=1e-9)
        except np.linalg.LinAlgError:
            symmetric = False
        if not symmetric:
            raise ValueError("covariance must be symmetric and positive definite")
        return self


class Learned(Record):
    """What was learned, and what taught it: each record by the mark of its rows or log."""

    figures: Figures | None = None
    readings: dict[str, ReadingsRecord] = {}
    scores: dict[str, ScoreRecord] = {}
    logs: dict[str, LogRecord] = {}


@dataclass(frozen=True)
class KitFile:
    """What a file of a person's own kit holds: the tables of its profiles, as a profile file has
    them, and what was learned."""

    profiles: Table = field(default_factory=dict)
    learned: Learned = field(default_factory=Learned)

    @cached_property
    def posterior(self) -> Posterior:
        """The posterior in the file; an empty one where nothing was learned."""
        figures = self.learned.figures
        if figures is None:
            return EMPTY
        return Posterior(
            keys=tuple(figures.names),
            base=np.array(figures.base),
            mean=np.array(figures.mean),
            covariance=np.array(figures.covariance),
            first_sd=np.array(figures.first_spread),
        )

    @property
    def updated(self) -> date | None:
        """The day of the last reading or log; None where nothing was learned."""
        return None if self.learned.figures is None else self.learned.figures.updated

    def aged(self, day: date) -> Posterior:
        """The posterior as it stands on a later day."""
        if self.updated is None:
            return self.posterior
        return self.posterior.aged((day - self.updated).days / MONTH_DAYS)

    def with_learned(self, **tables: Any) -> "KitFile":
        """The same with other tables below [learned], by their names."""
        return replace(self, learned=self.learned.model_copy(update=tables))


def as_kit_file(kit_file: "KitFile | Path | str | None") -> "KitFile":
    """The same, or as read from its path; an empty one for None. Raises PlanError as
    `read_kit_file` does."""
    if isinstance(kit_file, KitFile):
        return kit_file
    return KitFile() if kit_file is None else read_kit_file(Path(kit_file))


def read_kit_file(path: Path) -> KitFile:
    """The kit file at a path; an empty one where there is none. Raises PlanError.

    >>> read_kit_file(Path("not-there.toml")) == KitFile()
    True
    """
    if not is_there(path):
        return KitFile()
    profiles = parse(read_text(path), path.name)
    sorted_into_kinds(profiles, path.name)  # for what it refuses
    try:
        return KitFile(profiles, Learned.model_validate(profiles.pop("learned", {})))
    except ValidationError as error:
        line = f"{path.name}: {_wrong(error)}; learn anew into another file"
        raise PlanError([line]) from None


def _wrong(error: ValidationError) -> str:
    """The table and key that cannot be used, and what was found there."""
    fault = error.errors(include_url=False)[0]
    tables = 1 if fault["loc"][:1] == ("figures",) else 2
    where, keys = fault["loc"][:tables], fault["loc"][tables:]
    table = f"[{'.'.join(['learned', *map(str, where)])}]"
    key = " item ".join(str(k + 1) if isinstance(k, int) else k for k in keys)
    if fault["type"] == "value_error":
        return f"{table}: {fault['ctx']['error']}"
    problem = "is missing" if fault["type"] == "missing" else f"cannot be {shown(fault['input'])}"
    return f"{table}: {key} {problem}" if key else f"{table} {problem}"


def named_by(plan: Plan, folder: Path, written: Path | None = None) -> KitFile:
    """The kit files among the profile files that a plan names, as one; an empty one for none.

    folder is the plan's. written is the file that will be written: where it exists it counts too,
    as the last, whether the plan names it or not. Raises PlanError.
    """
    last = {written.resolve()} if written is not None and is_there(written) else set()
    files = dict.fromkeys((folder / name).resolve() for name in plan.profiles)
    read = [(read_kit_file(file), file) for file in (*(files.keys() - last), *last)]
    kit_files = [
        kit_file for kit_file, file in read if kit_file.learned != Learned() or file in last
    ]
    if len(kit_files) < 2:
        return kit_files[0] if kit_files else KitFile()
    return _merged(kit_files)


def _merged(kit_files: Sequence[KitFile]) -> KitFile:
    """Several kit files as one. Of two profiles of one name the later file's counts; posteriors
    are merged as of the latest day (see `Posterior.merge`)."""
    tables: Table = {}
    for kit_file in kit_files:
        for key, table in copy.deepcopy(kit_file.profiles).items():
            tables[key] = tables.get(key, {}) | table if key in KINDS else table
    records = {
        kind: {
            mark: record
            for kit_file in kit_files
            for mark, record in getattr(kit_file.learned, kind).items()
        }
        for kind in ("readings", "scores", "logs")
    }
    posterior, day = EMPTY, max(kit_file.updated or date.min for kit_file in kit_files)
    for kit_file in kit_files:
        posterior = posterior.merge(kit_file.aged(day))
    merged = KitFile(tables).with_learned(**records)
    return with_posterior(merged, posterior, day) if posterior.keys else merged


def refuse_known_rows(
    kit_file: KitFile, rows: Sequence[Row], kind: Literal["readings", "scores"], why: str = ""
) -> None:
    """Raise PlanError where rows are among those on record of that kind; `why` is a clause that
    says what is wrong with that."""
    records = getattr(kit_file.learned, kind).values()
    last = {mark: record.last for record in records for mark in record.rows}
    again = [row for row in rows if row.mark in last]
    if again:
        word = "learned" if kind == "readings" else "scored"
        raise PlanError(
            [
                f"{len(again)} of {len(rows)} rows were {word} before, with those to"
                f" {last[again[-1].mark]}; {why}leave them out"
            ]
        )


def with_readings(kit_file: KitFile, name: str, rows: Sequence[Row]) -> KitFile:
    """The kit file with a record of rows that were learned from, of the file `name`."""
    record = ReadingsRecord(**source_of(name, rows))
    return kit_file.with_learned(
        readings={**kit_file.learned.readings, f"from-{rows[-1].mark}": record}
    )


def with_score(kit_file: KitFile, record: ScoreRecord) -> KitFile:
    """The kit file with a record of a day that was scored."""
    scores = {**kit_file.learned.scores, f"from-{record.rows[-1]}": record}
    return kit_file.with_learned(scores=scores)


def source_of(name: str, rows: Sequence[Row]) -> dict[str, Any]:
    """What a record says of the rows it is made from, of the file `name`."""
    return {
        "file": name,
        "first": rows[0].at.isoformat(timespec="minutes"),
        "last": rows[-1].at.isoformat(timespec="minutes"),
        "rows": [row.mark for row in rows],
    }


def refuse_known_log(kit_file: KitFile, name: str, mark: str) -> None:
    """Raise PlanError where a meter's log of that mark was learned before."""
    if (record := kit_file.learned.logs.get(f"from-{mark}")) is not None:
        raise PlanError([f"{name}: was learned before, as {record.file} of {record.tool}"])


def with_log(kit_file: KitFile, mark: str, record: LogRecord) -> KitFile:
    """The kit file with a record of a meter's log; mark is a short hash of the log's values, by
    which it is known again."""
    return kit_file.with_learned(logs={**kit_file.learned.logs, f"from-{mark}": record})


def with_posterior(kit_file: KitFile, posterior: Posterior, day: date) -> KitFile:
    """The kit file with another posterior, as of a day. Raises PlanError where its figures are none
    that a kit can have."""
    try:
        figures = Figures(
            updated=max(day, kit_file.updated or day),
            names=list(posterior.keys),
            base=posterior.base.tolist(),
            mean=posterior.mean.tolist(),
            first_spread=posterior.first_sd.tolist(),
            covariance=posterior.covariance.tolist(),
        )
    except ValidationError as error:
        where = ".".join(map(str, error.errors(include_url=False)[0]["loc"]))
        line = f"nothing is learned: the figures come out as none that a kit can have ({where})"
        raise PlanError([line]) from None
    return kit_file.with_learned(figures=figures)


def as_toml(kit_file: KitFile, name: str) -> str:
    """The kit file as text; `name` is that of the file it will stand in."""
    import tomlkit

    tables = dict(kit_file.profiles)
    if learned := kit_file.learned.model_dump(exclude_defaults=True):
        tables["learned"] = learned
    document = tomlkit.document()
    for line in HEAD:
        document.add(tomlkit.comment(line.replace("NAME", name)))
    for key, value in tables.items():
        document.add(key, tomlkit.item(value))
    note = f"{OWN}, to {kit_file.updated}"
    for kind, keys in (("packs", ("capacity_wh", "idle_w")), ("panels", ("condition_percent",))):
        for table in document.get(kind, {}).values():
            for key in keys:
                if key in table:
                    table[key].comment(note)
    return tomlkit.dumps(document)
