"""What the README quotes of the tool: options from the commands, answers from running them.

python tests/readme_made.py        # writes all of it into the README anew

A block of console lines is run line by line, in one folder for all blocks; a block of text after a
plan is what `energy check` begins with on it.
"""

import os
import re
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import typer

from energy.cli.main import app

README = Path(__file__).parents[1] / "README.md"
BEGIN, END = "<!-- options: made by tests/readme_made.py -->\n", "<!-- end of options -->\n"
CONSOLE = re.compile(r"```console\n(.*?)```\n", re.DOTALL)
PLAN = re.compile(r"```toml\n(.*?)```\n.*?```text\n(.*?)```\n", re.DOTALL)
WIDTH = "96"
AT_A_TIME = """
import sys
from datetime import UTC, datetime
from energy.cli import clock
from energy.cli.main import main
clock.now = lambda: datetime(2026, 9, 13, 12, tzinfo=UTC)
main()
"""  # the commands as they answer on one day, whenever they are asked


def options() -> str:
    """A line a command: what it answers, and every option with its own help."""
    lines = []
    for name, command in commands(typer.main.get_command(app)):
        lines.append(f"- `energy {name}`: {command.help}\n")
        for parameter in command.params:
            if parameter.param_type_name == "option" and parameter.name != "help":
                shown = max(parameter.opts, key=len)
                value = "" if parameter.is_flag else f" {parameter.metavar or 'VALUE'}"
                lines.append(f"  - `{shown}{value}` {parameter.help}\n")
    return "".join(lines)


def commands(group: Any, before: str = "") -> Iterator[tuple[str, Any]]:
    """Every command that answers, by its whole name, those of a group after one another."""
    for name, command in sorted(group.commands.items()):
        if hasattr(command, "commands"):
            yield from commands(command, f"{before}{name} ")
        else:
            yield f"{before}{name}", command


def printed(line: str, folder: Path) -> str:
    """What a line of the shell prints, with `energy` as this Python's own."""
    here = f"energy() {{ '{sys.executable}' -c '{AT_A_TIME}' \"$@\"; }}\n"
    paths = {"PYTHONPATH": str(README.parent), "COLUMNS": WIDTH, "NO_COLOR": "1"}
    run = subprocess.run(
        ["bash", "-c", here + line],
        cwd=folder,
        env=os.environ | paths,
        capture_output=True,
        text=True,
        check=False,
    )
    lines = (one.rstrip() for one in (run.stdout + run.stderr).splitlines())
    return "".join(f"{one}\n" for one in lines)


def walked(text: str) -> str:
    """The README's console blocks as they come out today."""
    with tempfile.TemporaryDirectory() as folder:

        def again(block: re.Match[str]) -> str:
            asked = [line for line in block[1].splitlines() if line.startswith("$ ")]
            ran = (f"{line}\n{printed(line[2:], Path(folder))}" for line in asked)
            return f"```console\n{''.join(ran)}```\n"

        return CONSOLE.sub(again, text)


def answered(text: str) -> str:
    """The README's first plan with the beginning of its answer as it comes out today."""
    found = PLAN.search(text)
    assert found is not None
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "plan.toml").write_text(found[1], encoding="utf-8")
        answer = printed("energy check plan.toml", Path(folder))
    begins = answer.split("\n", 1)[1].split("\n\n", 1)[0] + "\n"  # without the title
    return text[: found.start(2)] + begins + text[found.end(2) :]


def listed(text: str) -> str:
    """The README with every option as the commands have it."""
    before, rest = text.split(BEGIN)
    return before + BEGIN + options() + END + rest.split(END)[1]


if __name__ == "__main__":
    made = listed(walked(answered(README.read_text(encoding="utf-8"))))
    README.write_text(made, encoding="utf-8")
