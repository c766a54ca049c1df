"""Answers as files: written beside their place and moved in, never half-written.

JSON and CSV for other programs, plans and pictures for people.
"""

import json
import os
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from energy.plan import PlanError

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def as_json(answer: object) -> str:
    """An answer as JSON text, keys in their stable order.

    >>> print(as_json({"chance": 87.1}))
    {
      "chance": 87.1
    }
    """
    return json.dumps(answer, indent=2, ensure_ascii=False, allow_nan=False)


def refuse_the_same(plan: str | None, *outputs: Path | None) -> None:
    """Raise PlanError where an output would replace the plan, or one output another."""
    taken = {Path(plan).resolve()} if plan is not None else set()
    for output in outputs:
        if output is not None:
            if output.resolve() in taken:
                raise PlanError([f"{output}: is the plan, or another output; choose another name"])
            taken.add(output.resolve())


def write_safely(path: Path, write: Callable[[Path], Any], *, replace: bool = True) -> None:
    """Let `write` fill a file beside `path` and move it in; on failure the place is as before.

    Raises PlanError with one line where the place cannot be written, or where the file is there
    and may not be replaced.
    """
    path = Path(path)
    if not replace and path.exists():
        raise PlanError([f"{path}: is there already; choose another name or remove it first"])
    if path.is_dir():
        raise PlanError([f"{path}: is a folder; give the name of a file"])
    beside = None
    try:
        handle, name = tempfile.mkstemp(
            prefix=f".{path.stem}-", suffix=path.suffix, dir=path.parent or Path()
        )
        os.close(handle)
        beside = Path(name)
        write(beside)
        umask = os.umask(0)
        os.umask(umask)
        beside.chmod(0o666 & ~umask)
        beside.replace(path)
    except OSError as error:
        raise PlanError([f"{path}: cannot be written ({error.strerror or error})"]) from None
    finally:
        if beside is not None:
            beside.unlink(missing_ok=True)


def write_text(path: Path, text: str, *, replace: bool = True) -> None:
    """Write a text file safely, UTF-8."""
    write_safely(path, lambda beside: beside.write_text(text, encoding="utf-8"), replace=replace)


def write_timeline(answer: Any, path: Path) -> None:
    """Write an answer's time series as CSV: the start, then a row a segment's end.

    Times are ISO on the plan's clock with their offset; the start's flows are empty.
    """
    frame = answer.timeline()
    frame.index = [moment.isoformat() for moment in frame.index]
    text = frame.round(3).to_csv(index_label="time", lineterminator="\n")
    write_text(path, text)


KINDS = ("png", "svg", "pdf")


def save(figure: "Figure", path: Path | str) -> None:
    """Write a picture as png, svg or pdf, by the suffix of its name; never half of it.

    Raises PlanError with one line for another suffix or a place that cannot be written.

    >>> import tempfile
    >>> from energy.show.page import new_page
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     save(new_page(), f"{folder}/empty.svg")
    """
    path = Path(path)
    kind = path.suffix.lower().removeprefix(".")
    if kind not in KINDS:
        got = f'"{path.suffix}"' if path.suffix else "none"
        raise PlanError([f"{path}: a picture's name must end in .png, .svg or .pdf (got {got})"])
    write_safely(path, lambda beside: figure.savefig(beside, format=kind, dpi=figure.dpi))
