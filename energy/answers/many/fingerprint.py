"""What tells a row from all others when a run is taken up again: its plan and the question."""

import functools
import hashlib
import json
from pathlib import Path

from energy.answers.many.row import Question
from energy.plan import Plan, PlanError
from energy.version import __version__
from energy.weather.fetched.cache import file_near

DIGITS = 16
FETCHED = {"history": ("history",), "forecast": ("forecast", "history")}  # which may carry on


def fingerprint(question: Question, name: str, plan: Plan | PlanError) -> str:
    """A row's mark: of the tool's version, the question, the plan's name and keys, and the bytes of
    every file that it names and of the fetched weather that it rests on.

    Paths do not count, nor comments; a question is told by its module and name, and its arguments
    where it is a `functools.partial`.

    >>> plan = Plan.read("builtin:cloudy-repair")
    >>> ours = fingerprint(print, "hut", plan)
    >>> ours == fingerprint(print, "hut", plan.replace(title=plan.title))
    True
    >>> ours == fingerprint(print, "hut", plan.replace(**{"pack.capacity_wh": 700}))
    False
    """
    module = asked_function(question).__module__
    parts = [__version__, module, question_name(question), name]
    if isinstance(plan, PlanError):
        parts += plan.problems
    else:
        parts.append(json.dumps(plan.source, sort_keys=True, default=str))
        parts += [_digest(file) for file in _files(plan)]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:DIGITS]


def question_name(question: Question) -> str:
    """A question by its name, with what a partial one has been given.

    >>> question_name(functools.partial(print, "tea", end="."))
    "print('tea', end='.')"
    """
    if isinstance(question, functools.partial):
        given = [repr(value) for value in question.args]
        given += [f"{key}={value!r}" for key, value in sorted(question.keywords.items())]
        return f"{question_name(question.func)}({', '.join(given)})"
    return getattr(question, "__qualname__", type(question).__qualname__)


def asked_function(question: Question) -> Question:
    """The function itself, of one that has been given arguments too.

    >>> asked_function(functools.partial(print, "tea")) is print
    True
    """
    return asked_function(question.func) if isinstance(question, functools.partial) else question


def _files(plan: Plan) -> list[Path]:
    """What is read for a plan's answer, but for the plan itself."""
    files = [file for file in plan.files if file != plan.folder / plan.origin]
    at = plan.place.latitude_deg, plan.place.longitude_deg
    fetched = (file_near(kind, *at) for kind in FETCHED.get(plan.weather.kind, ()))
    return [*files, *(file for file in fetched if file is not None)]


def _digest(file: Path) -> str:
    """A file's content in short, or why it cannot be read."""
    try:
        stands = file.stat()
        return _digest_of(file, stands.st_mtime_ns, stands.st_size)
    except OSError as error:
        return error.strerror or str(error)


@functools.lru_cache(maxsize=256)
def _digest_of(file: Path, written_ns: int, size: int) -> str:
    """The same, worked out once for as long as the file is not written again."""
    with file.open("rb") as content:
        return hashlib.file_digest(content, "sha256").hexdigest()
