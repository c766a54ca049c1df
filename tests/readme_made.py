"""What the README quotes of the tool: answers, from running it.

python tests/readme_made.py        # writes all of it into the README anew

A block of console lines is run line by line, in one folder for all blocks; a block of text after a
plan is what `energy check` says of it.
"""

import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

README = Path(__file__).parents[1] / "README.md"
CONSOLE = re.compile(r"```console\n(.*?)```\n", re.DOTALL)
PLAN = re.compile(r"```toml\n(.*?)```\n.*?```text\n(.*?)```\n", re.DOTALL)
WIDTH = "80"
AT_A_TIME = """
import sys
from datetime import UTC, datetime
from energy.cli import clock
from energy.cli.main import main
clock.now = lambda: datetime(2026, 9, 13, 12, tzinfo=UTC)
main()
"""  # the commands as they answer on one day, whenever they are asked


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
