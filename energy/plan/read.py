"""Read a plan: TOML, profiles merged in, everything checked, every problem one line.

The way from a file to a `Plan`, and from a change to a new one; the steps lie in `documents`,
`merge`, `checks`, `messages` and `write`.
"""

import copy
from collections.abc import Collection, Iterable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any, TypeGuard

from pydantic import PrivateAttr, ValidationError

from energy.plan import profiles
from energy.plan.checks import check
from energy.plan.documents import is_there, parse, read_text
from energy.plan.merge import MOST, PlanFiles, merge, merged_tool
from energy.plan.messages import Problem, from_models, lines, place_of, unknown_key
from energy.plan.places import place_of as place_in_words
from energy.plan.schema import Tables
from energy.plan.task import Task
from energy.plan.words import PlanError, meant, shown, visible
from energy.plan.write import built_in_text, edit


class Plan(Tables):
    """A plan, whole and checked; build one with `Plan.read` or `Plan.from_dict`."""

    _source: dict[str, Any] = PrivateAttr(default_factory=dict)
    _files: PlanFiles = PrivateAttr()
    _origin: str = PrivateAttr(default="plan")
    _replaced: bool = PrivateAttr(default=False)
    _file: Path | None = PrivateAttr(default=None)

    @property
    def origin(self) -> str:
        """The file's name, as messages show it."""
        return self._origin

    @property
    def name(self) -> str:
        """Its title, or its file's name where it has none."""
        return self.title or self.origin

    @property
    def replaced(self) -> bool:
        """Whether keys were changed since it was read."""
        return self._replaced

    @property
    def files(self) -> tuple[Path, ...]:
        """Every file that the plan reads: itself, profiles, traces, weather and candidates."""
        mine = [] if self._file is None else [self._file]
        named = [self._files.folder / name for name in self.profiles]
        others = (self.weather.file, None if self.size is None else self.size.candidates)
        named += [Path(name) for name in others if name and not name.startswith("builtin:")]
        return (*mine, *named, *self._files.traces)

    @property
    def folder(self) -> Path:
        """From where the paths in it count."""
        return self._files.folder

    @property
    def source(self) -> dict[str, Any]:
        """The tables as the person wrote them, profiles not merged in: a copy."""
        return copy.deepcopy(self._source)

    def merged(self, key: str) -> Any:
        """A table of the plan, or a list of them, with its profiles merged in, as TOML has it.

        >>> Plan.read("builtin:cloudy-repair").merged("pack")["solar_input"]["max_v"]
        60
        """
        return merge(self.source, self._files).tables[key]

    def tools(self) -> dict[str, Task]:
        """Every tool that a task of the plan may name, the person's own first, each as a task
        without an amount; a profile that is no whole tool is left out.

        >>> Plan.read("builtin:cloudy-repair").tools()["kettle-small"].supply
        'ac'
        """
        tools = {}
        for name in {**self._files.own["tools"], **profiles.built_in("tools")}:
            with suppress(ValidationError, PlanError):
                tools[name] = Task.model_validate(merged_tool(name, self._files))
        return tools

    @classmethod
    def read(cls, path: str | Path) -> "Plan":
        """Read a plan file, or a built-in demo as "builtin:NAME".

        Raises PlanError with one line a problem, all of them.

        >>> Plan.read("builtin:cloudy-repair").place.timezone
        'America/Anchorage'
        """
        name = str(path)
        if name.startswith("builtin:"):
            return cls.from_dict(parse(built_in_text(name), name), name)
        file = Path(path)
        try:
            text = read_text(file)
        except PlanError as error:
            demos = [] if is_there(file) else [f"builtin:{demo}" for demo in profiles.plans()]
            raise PlanError([f"{line}{meant(name, demos)}" for line in error.problems]) from None
        plan = cls.from_dict(parse(text, file.name), file.name, file.parent)
        plan._file = file
        return plan

    @classmethod
    def from_dict(
        cls, tables: Mapping[str, Any], origin: str = "plan", folder: Path | None = None
    ) -> "Plan":
        """Build a plan from tables as TOML gives them; paths in them count from `folder`.

        >>> plan = Plan.from_dict({
        ...     "place": {"latitude_deg": 50.0, "longitude_deg": 8.0, "timezone": "Europe/Berlin"},
        ...     "span": {"start": "2026-06-01T08:00", "end": "2026-06-01T18:00"},
        ...     "weather": {"kind": "clear"},
        ...     "pack": {"capacity_wh": 500},
        ...     "task": [{"name": "lamp", "supply": "dc12", "working_w": 5, "hours": 2}]})
        >>> plan.pack.charge_max_w
        250.0
        """
        if not isinstance(tables, Mapping):
            got = type(tables).__name__
            raise TypeError(f"tables as TOML gives them are needed, a dict (got {got})")
        try:
            source = copy.deepcopy(dict(tables))
        except RecursionError:
            raise PlanError([f"{origin}: is nested too deeply"]) from None
        return cls._build(source, *_own_files(source, folder or Path()), origin)

    @classmethod
    def _build(
        cls,
        source: dict[str, Any],
        files: PlanFiles,
        problems: list[Problem],
        origin: str,
        before: Collection[str] = (),
    ) -> "Plan":
        """Build a plan; `before` names the tasks of the one of which it is a change."""
        place, wrong = _spelled_out(source.get("place"))
        source, problems = source | place, [*problems, *wrong]
        merged = merge(source, files)
        tables = merged.tables
        if before and _are_tables(tables.get("task")):
            left = [task.get("name") for task in tables["task"]]
            gone = {name for name in before if name not in left}
            for either in (source, tables):
                _drop_loose_ends(either, gone)
        problems = [*problems, *merged.problems, *check(tables, merged.lacking)]
        try:
            plan = cls.model_validate(tables)
        except ValidationError as error:
            problems += from_models(error, tables, source, merged.lacking)
        if problems:
            raise PlanError(lines(problems, tables, origin))
        plan._source, plan._files, plan._origin = source, files, visible(origin)
        return plan

    def replace(self, **changes: Any) -> "Plan":
        """The plan with some keys changed: dotted keys, list items by number from 1, None drops.

        Everything is checked anew and what follows from the keys follows: a cable to a task that is
        dropped goes with it, and so do the keys `with` and `after` that named it. No file is read
        again but one that a change names. Raises PlanError.

        >>> plan = Plan.read("builtin:cloudy-repair")
        >>> plan.replace(**{"pack.capacity_wh": 700}).pack.capacity_wh
        700.0
        """
        source = self.source
        only_known(changes)
        edit(source, changes)
        files: tuple[PlanFiles, list[Problem]] = self._files, []
        if source.get("profiles") != self._source.get("profiles"):
            files = _own_files(source, self._files.folder)
        before = {task.name for task in self.task}
        plan = type(self)._build(source, *files, self._origin, before)
        plan._replaced = True
        plan._file = self._file
        return plan


def require_plan(given: object) -> None:
    """Raise TypeError, and say how to come by a plan, for whatever is none.

    >>> require_plan("hut.toml")
    Traceback (most recent call last):
    TypeError: a Plan is needed (got "hut.toml"): Plan.read reads it
    """
    if isinstance(given, Plan):
        return
    got, way = type(given).__name__, ""
    if isinstance(given, str | Path):
        got, way = shown(str(given)), ": Plan.read reads it"
    elif isinstance(given, Mapping):
        way = ": Plan.from_dict makes one"
    elif isinstance(given, Iterable):
        way = ": many(question, plans) asks several"
    raise TypeError(f"a Plan is needed (got {got}){way}")


def _own_files(source: dict[str, Any], folder: Path) -> tuple[PlanFiles, list[Problem]]:
    """The profiles that a plan names, and what is wrong with them."""
    names = source.get("profiles")
    named = names[: MOST["profiles"]] if isinstance(names, list | tuple) else []
    own, wrong = profiles.read_own([n for n in named if isinstance(n, str) and n], folder)
    return PlanFiles(folder, own), [Problem((), f"profiles: {line}") for line in wrong]


def _spelled_out(place: Any) -> tuple[dict[str, Any], list[Problem]]:
    """A place in one line as its table, under its key, and what is wrong with it; nothing for a
    table."""
    if not isinstance(place, str):
        return {}, []
    try:
        latitude, longitude = place_in_words(place)
    except PlanError as error:
        anywhere = {"latitude_deg": 0.0, "longitude_deg": 0.0, "timezone": "UTC"}
        return {"place": anywhere}, [Problem(("place",), line) for line in error.problems]
    return {"place": {"latitude_deg": latitude, "longitude_deg": longitude}}, []


def _drop_loose_ends(tables: dict[str, Any], gone: set[str]) -> None:
    """Take out what names a task that is no more: cables to it, and the keys of tasks that went
    with or after it."""
    tasks, runs = tables.get("task"), tables.get("run")
    for task in tasks if _are_tables(tasks) else ():
        for key in ("with", "after"):
            if isinstance(task.get(key), str) and task[key] in gone:
                del task[key]
    if _are_tables(runs):  # whatever else they are, the models will say so
        ends = {f"task:{name}" for name in gone}
        tables["run"] = [r for r in runs if not ends & {str(r.get("from")), str(r.get("to"))}]


def _are_tables(items: Any) -> TypeGuard[list[dict[str, Any]]]:
    return isinstance(items, list) and all(isinstance(item, dict) for item in items)


def only_known(changes: Mapping[str, Any]) -> None:
    """Raise PlanError for changes to keys that no plan has, dropped ones too."""
    problems = []
    for key in changes:
        steps = [
            int(step) - 1 if step.isascii() and step.isdigit() and len(step) < 7 else step
            for step in key.split(".")
        ]
        _, inside, model = place_of(tuple(steps))
        word = inside.split(" item ")[0]
        names = {field.alias or name for name, field in model.model_fields.items()}
        if word and word not in names:
            problems.append(f"{key}: {unknown_key(word, model)}")
    if problems:
        raise PlanError(problems)
