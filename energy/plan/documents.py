"""Files a person names: text and TOML, never read without bound.

Each raises PlanError with one line that says why a file cannot be used.
"""

import re
import tomllib
from calendar import monthrange
from pathlib import Path
from typing import Any

from energy.plan.words import LONGEST_LINE, PlanError, shown

LARGEST_BYTES = 2_000_000
LONGEST_PATH = 300
# A key of so many steps is no plan's, and tomllib's time grows with their square.
_ENDLESS_KEY = re.compile(r"""(?<![\w-])(?:(?:[\w-]+|"[^"\n]*"|'[^'\n]*')[ \t]*\.[ \t]*){50}""")


def read_text(file: Path, largest: int = LARGEST_BYTES) -> str:
    """The text of a file of at most `largest` bytes.

    >>> read_text(Path("."))
    Traceback (most recent call last):
    energy.plan.words.PlanError: .: is a folder, not a file
    """
    name = short_path(file)
    try:
        if file.is_dir():
            raise PlanError([f"{name}: is a folder, not a file"])
        if file.exists() and not file.is_file():
            raise PlanError([f"{name}: is not an ordinary file"])
        with file.open("rb") as source:
            content = source.read(largest + 1)
        if len(content) > largest:
            raise PlanError([f"{name}: is too large (at most {largest / 1e6:g} MB)"])
        if b"\0" in content:
            raise PlanError([f"{name}: is not a text file"])
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise PlanError([f"{name}: is not a text file in UTF-8"]) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise PlanError([f"{name}: cannot be read ({reason})"]) from None


def is_there(file: Path) -> bool:
    """Whether there is anything of that name. Raises PlanError in one line where that cannot be
    told, as in a loop of links.

    >>> is_there(Path("not-there.toml"))
    False
    """
    try:
        file.stat()
    except FileNotFoundError:
        return False
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise PlanError([f"{short_path(file)}: cannot be read ({reason})"]) from None
    return True


def short_path(file: Path) -> str:
    """A path as messages show it."""
    name = str(file)
    return name if len(name) <= LONGEST_PATH else "…" + name[-LONGEST_PATH:]


def parse(text: str, origin: str) -> dict[str, Any]:
    """TOML text as tables.

    >>> parse("a = ", "my-plan.toml")
    Traceback (most recent call last):
    energy.plan.words.PlanError: my-plan.toml: is not valid TOML: Invalid value (at end of document)
    """
    try:
        if _ENDLESS_KEY.search(text):
            raise RecursionError
        return tomllib.loads(text)
    except RecursionError:
        raise PlanError([f"{origin}: is nested too deeply"]) from None
    except ValueError as error:  # TOMLDecodeError is one, and so is a number of 5000 digits
        raise PlanError([f"{origin}: is not valid TOML: {error}{_meant_in(text, error)}"]) from None


_END = r"\s*(#.*)?$"
SLIPS = (  # how people write what TOML writes otherwise
    (re.compile(r"=\s*[+-]?\d+,\d+\s*([,}#].*)?$"), "a decimal point, such as 54.2"),
    (
        re.compile(r"=\s*\[.*\d,\d+\s+[+-]?\d+,\d"),
        "decimal points, and a comma between two numbers",
    ),
    (re.compile(rf"=\s*(yes|no|on|off|True|False){_END}"), "true or false"),
    (
        re.compile(r"=\s*\d{1,2}([./]\d{1,2}[./]|\.?\s*[A-Za-z]{3,9}\.?\s+)\d{4}"),
        "the date as 2026-09-14T07:30:00",
    ),
    (re.compile(rf"=\s*\d{{1,2}}:\d{{2}}(:\d{{2}})?{_END}"), 'a time in quotes, such as "09:30"'),
    (
        re.compile(rf"=\s*[+-]?\d+([.,]\d+)?\s*(%|°?[A-Za-z][A-Za-z0-9/]*){_END}"),
        "the number alone, without a unit",
    ),
    (re.compile(rf"=\s*[A-Za-z_][\w -]*{_END}"), 'words in quotes, such as "S"'),
)
_DATE = re.compile(r"=\s*(\d{4})\s*-\s*(\d{1,2})\s*-\s*(\d{1,2})(?:[T\s]+(\d{1,2}):(\d{2}))?")


def _date_in(line: str) -> str | None:
    """How a date with a time is written, or why the one of a line is none; None without one.

    >>> _date_in("start = 2026-9-4  7:30")
    'the date as 2026-09-04T07:30:00'
    """
    written = _DATE.search(line)
    if written is None:
        return None
    year, month, day, hour, minute = (int(part or 0) for part in written.groups())
    if not 1 <= month <= 12:
        return f"a date that there is: a year has no month {month}"
    if year and not 1 <= day <= monthrange(year, month)[1]:
        return f"a date that there is: {year:04}-{month:02} has no day {day}"
    if hour > 23 or minute > 59:
        return f"a time that there is: a day has no {hour}:{minute:02}"
    return f"the date as {year:04}-{month:02}-{day:02}T{hour:02}:{minute:02}:00"


def _meant_in(text: str, error: ValueError) -> str:
    """The line that cannot be read, and what was probably meant.

    >>> _meant_in("latitude_deg = 54,2", ValueError("no number (at line 1, column 18)"))
    '; the line is "latitude_deg = 54,2": write a decimal point, such as 54.2'
    """
    at = re.search(r"at line (\d+)", str(error))
    lines = text.splitlines()
    if at is None or int(at[1]) > len(lines):
        return ""
    line = lines[int(at[1]) - 1].strip()[:LONGEST_LINE]
    slip = next((words for pattern, words in SLIPS if pattern.search(line)), None)
    wanted = slip or _date_in(line)
    return f"; the line is {shown(line)}" + ("" if wanted is None else f": write {wanted}")
