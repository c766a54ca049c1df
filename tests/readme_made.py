"""What the README quotes of the tool: answers, from running it.

python tests/readme_made.py        # writes all of it into the README anew

A block of console lines is run line by line, in one folder for all blocks; a block of text after a
plan is what `energy check` says of it.
"""

import io
import os
import re
import shlex
import subprocess
import tempfile
from contextlib import chdir, redirect_stderr, redirect_stdout
from datetime import UTC, datetime
from pathlib import Path
from unittest.mock import patch

from energy.cli import clock, ending
from energy.cli.main import app

README = Path(__file__).parents[1] / "README.md"
CONSOLE = re.compile(r"```console\n(.*?)```\n", re.DOTALL)
PLAN = re.compile(r"```toml\n(.*?)```\n.*?```text\n(.*?)```\n", re.DOTALL)
WIDTH = "80"
AT = datetime(2026, 9, 13, 12, tzinfo=UTC)  # as answered on one day, whenever it is asked


def asked(command: str, folder: Path) -> str:
    """What a line that begins with `energy` says, asked in this process."""
    said = io.StringIO()
    with (
        chdir(folder),
        redirect_stdout(said),
        redirect_stderr(said),
        patch.dict(os.environ, COLUMNS=WIDTH, NO_COLOR="1"),
        patch.object(clock, "now", lambda: AT),
    ):
        words = shlex.split(command)[1:]
        ending.status_of(lambda: app(words, prog_name="energy", standalone_mode=False))
    return said.getvalue()


def printed(line: str, folder: Path) -> str:
    """What a line of the shell prints: an `energy` command, and what its answer is piped into."""
    command, _, pipe = line.partition(" | ")
    text = asked(command, folder)
    if pipe:
        text = subprocess.run(
            ["bash", "-c", pipe], input=text, capture_output=True, text=True, check=True
        ).stdout
    return "".join(f"{row.rstrip()}\n" for row in text.splitlines())


def walked(text: str) -> str:
    """The README's console blocks as they come out today."""
    with tempfile.TemporaryDirectory() as folder:

        def again(block: re.Match[str]) -> str:
            asked = [line for line in block[1].splitlines() if line.startswith("$ ")]
            ran = (f"{line}\n{printed(line[2:], Path(folder))}" for line in asked)
            return f"```console\n{''.join(ran)}```\n"

        return CONSOLE.sub(again, text)


def answered(text: str) -> str:
    """The README's first plan with its answer as it comes out today."""
    found = PLAN.search(text)
    assert found is not None
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "plan.toml").write_text(found[1], encoding="utf-8")
        answer = printed("energy check plan.toml", Path(folder))
    return text[: found.start(2)] + answer + text[found.end(2) :]


if __name__ == "__main__":
    made = walked(answered(README.read_text(encoding="utf-8")))
    README.write_text(made, encoding="utf-8")
