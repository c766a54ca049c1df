"""Answers as files: written beside their place and moved in, never half-written.

JSON and CSV for other programs, plans and pictures for people.
"""

import glob
import json
import os
import stat
import tempfile
import time
import zlib
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

from energy.plan import PlanError
from energy.plan.documents import short_path

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MARK = "offgrid-workshop-energy"  # in every file that is written here, but for tables
HEADING = "time,charge_percent,"  # what tables of charge over time begin with
LONGEST_WAIT_S = 120.0  # for another run that changes the same file
LONGEST_WRITE_S = 600.0  # what a killed run left beside is swept after this
MARK_WITHIN = 65_536  # bytes, from the beginning or the end
KINDS = ("png", "svg", "pdf")
METADATA: dict[str, dict[str, str | None]] = {  # who wrote it, and not when
    "png": {"Software": MARK},
    "svg": {"Creator": MARK, "Date": None},
    "pdf": {"Creator": MARK, "CreationDate": None},
}


def as_json(answer: object) -> str:
    """An answer as JSON text, keys in their stable order.

    >>> print(as_json({"chance": 87.1}))
    {
      "chance": 87.1
    }
    """
    return json.dumps(answer, indent=2, ensure_ascii=False, allow_nan=False)


def refuse_outputs(
    outputs: Iterable[Path | None], inputs: Iterable[Path] = (), *, force: bool = False
) -> None:
    """Raise PlanError where an output cannot be, or would replace what is read, another output,
    or, without `force`, a file that this tool did not write.

    Files are told by what they are, not by how their names are spelled.
    """
    taken = {path_id(path): "is read for this answer" for path in inputs}
    problems = []
    for output in filter(None, outputs):
        try:
            place_of(output)
        except PlanError as error:
            problems += error.problems
            continue
        if path_id(output) in taken:
            problems.append(f"{output}: {taken[path_id(output)]}; choose another name")
        elif not (force or may_be_replaced(output)):
            problems.append(f"{output}: is there, not written by energy; --force replaces it")
        taken[path_id(output)] = "is another output too"
    if problems:
        raise PlanError(problems)


def path_id(path: Path) -> tuple[int, int] | str:
    """What tells a file from all others: device and number, or its whole path where it is not
    there."""
    try:
        status = os.stat(path)
        return status.st_dev, status.st_ino
    except (OSError, ValueError):
        return os.path.realpath(path)


def may_be_replaced(path: Path) -> bool:
    """Whether a file is not there, is none of the ordinary ones, is empty or tells that this tool
    wrote it: by its mark, or a table by its heading."""
    try:
        if not path.is_file() or path.stat().st_size == 0:
            return True
        with path.open("rb") as file:
            begins = file.read(MARK_WITHIN)
            file.seek(max(path.stat().st_size - MARK_WITHIN, 0))
            text = begins + file.read(MARK_WITHIN)
    except (OSError, ValueError):
        return True  # what is wrong with it is said when it is written
    return MARK.encode() in text or begins.startswith(HEADING.encode())


def place_of(path: Path) -> Path:
    """Where a file is written: what a path leads to through all its links. Raises PlanError where
    no file can be, and for a lone dash, which stands for a stream elsewhere."""
    name = short_path(path)
    if name == "-":
        raise PlanError(["-: give the name of a file; standard output is for the answer alone"])
    try:
        with suppress(FileNotFoundError):
            os.stat(path)
        target = Path(os.path.realpath(path))
        if target.is_dir():
            raise PlanError([f"{name}: is a folder; give the name of a file"])
        if not target.parent.is_dir():
            raise PlanError([f"{name}: cannot be written (there is no such folder)"])
    except (OSError, ValueError) as error:
        raise PlanError([f"{name}: cannot be written ({reason(error)})"]) from None
    return target


@contextmanager
def held_alone(path: Path | None) -> Iterator[None]:
    """Hold a file from reading it to writing it changed; another run that wants it waits.

    Held is a lock beside it, which is gone afterwards. Nothing is held for None. Raises PlanError
    with one line where the file is no ordinary one, or is not free in time.
    """
    if path is None:
        yield
        return
    from filelock import FileLock, Timeout

    name, target = short_path(path), place_of(path)
    if target.exists() and not target.is_file():
        raise PlanError([f"{name}: is not an ordinary file"])
    lock = _lock_of(target)
    try:
        tempfile.TemporaryFile(dir=target.parent).close()  # a lock that cannot be is waited for
        holding = FileLock(lock).acquire(timeout=LONGEST_WAIT_S)
    except Timeout:
        raise PlanError([f"{name}: another run of energy is changing it; try again"]) from None
    except (OSError, ValueError) as error:
        raise PlanError([f"{name}: cannot be written ({reason(error)})"]) from None
    with holding:
        try:
            yield
        finally:
            with suppress(OSError):  # Windows lets nobody remove it yet, and does so itself
                lock.unlink()


def _lock_of(target: Path) -> Path:
    """The lock beside a file: one for each, the same however a place that takes capitals for small
    letters is told its name.

    >>> _lock_of(Path("rows.csv")) == _lock_of(Path("rows.toml"))
    False
    """
    return target.with_name(
        f".{target.stem[:40]}-{zlib.crc32(os.fsencode(target.name.lower())):x}.lock"
    )


def write_safely(path: Path, write: Callable[[Path], Any], *, replace: bool = True) -> None:
    """Let `write` fill a file beside `path` and move it in; on failure the place is as before.

    A link is followed, and what it leads to is replaced; mode and owner of what stands there are
    kept. A device or a FIFO is written to. Raises PlanError with one line where the place cannot be
    written, or where the file is there and may not be replaced.
    """
    path, name = Path(path), short_path(path)
    if not replace and os.path.lexists(path):
        raise PlanError([f"{name}: is there already; choose another name or remove it first"])
    target = place_of(path)
    ordinary = target.is_file() or not target.exists()
    unfinished = None
    try:
        handle, part = tempfile.mkstemp(
            prefix=_beside(target),
            suffix=path.suffix,
            dir=target.parent if ordinary else None,
        )
        os.close(handle)
        unfinished = Path(part)
        write(unfinished)
        if ordinary:
            _sweep(target)
            _like(target, unfinished)
            unfinished.replace(target)
        else:
            with target.open("wb", buffering=0) as place:
                place.write(unfinished.read_bytes())
    except (OSError, ValueError) as error:
        raise PlanError([f"{name}: cannot be written ({reason(error)})"]) from None
    finally:
        if unfinished is not None:
            unfinished.unlink(missing_ok=True)


def _beside(target: Path) -> str:
    """How the names of the files begin that are filled beside a place."""
    return f".{target.stem[:40]}.{MARK}-"


def _sweep(target: Path) -> None:
    """Remove what writes that were killed have left beside a place."""
    for left in target.parent.glob(f"{glob.escape(_beside(target))}*"):
        with suppress(OSError):  # another may sweep, too
            if time.time() - left.stat().st_mtime > LONGEST_WRITE_S:
                left.unlink()


def reason(error: Exception) -> str:
    """Why the system could not do it."""
    return getattr(error, "strerror", None) or str(error)


def _like(target: Path, unfinished: Path) -> None:
    """Give the new file mode and owner of the one that it replaces, else those of a new one."""
    if target.exists():
        status = target.stat()
        with suppress(OSError):  # only root may give a file away
            os.chown(unfinished, status.st_uid, status.st_gid)
        unfinished.chmod(stat.S_IMODE(status.st_mode))
    else:
        umask = os.umask(0)
        os.umask(umask)
        unfinished.chmod(0o666 & ~umask)


def write_text(path: Path, text: str, *, replace: bool = True) -> None:
    """Write a text file safely, UTF-8."""
    write_safely(path, lambda place: place.write_text(text, encoding="utf-8"), replace=replace)


def write_timeline(answer: Any, path: Path) -> None:
    """Write an answer's time series as CSV: the start, then a row a segment's end.

    Times are ISO on the plan's clock with their offset; the start's flows are empty.
    """
    frame = answer.timeline()
    frame.index = [moment.isoformat() for moment in frame.index]
    text = frame.round(3).to_csv(index_label="time", lineterminator="\n")
    write_text(path, text)


def picture_kind(path: Path) -> str:
    """How a picture is written, by the suffix of its name. Raises PlanError for another.

    >>> picture_kind(Path("charge.SVG"))
    'svg'
    """
    kind = path.suffix.lower().removeprefix(".")
    if kind not in KINDS:
        got = f'"{path.suffix}"' if path.suffix else "none"
        raise PlanError([f"{path}: a picture's name must end in .png, .svg or .pdf (got {got})"])
    return kind


def save(figure: "Figure", path: Path | str) -> None:
    """Write a picture as png, svg or pdf, by the suffix of its name; never half of it. The same
    picture gives the same bytes.

    Raises PlanError with one line for another suffix or a place that cannot be written.

    >>> from energy.show.page import new_page
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     save(new_page(), f"{folder}/empty.svg")
    """
    path = Path(path)
    kind = picture_kind(path)
    from matplotlib import rc_context

    how: dict[str, Any] = {"format": kind, "dpi": figure.dpi, "metadata": METADATA[kind]}
    picture = BytesIO()  # whole before it is written: a full disk is no fault of the drawing
    with rc_context({"svg.hashsalt": MARK}):
        figure.savefig(picture, **how)
    write_safely(path, lambda place: place.write_bytes(picture.getvalue()))
