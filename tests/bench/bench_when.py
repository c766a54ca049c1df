"""What a year of start days costs, as ratios against `energy check` measured in the same run.

Run it from anywhere, with the interpreter that has the package's dependencies:

    python tests/bench/bench_when.py

It takes some minutes. A year is `energy when --year`: 73 start days, the fixes of its dullest
month included. Beside it stands `energy check` of the same plan, a whole process too, as it is and
without fixes: the dearest start-up for the least work. They take turns, and the median of the
ratios of processor time counts, which waiting for a free core does not lengthen. Nothing here
fails: a ratio taken while others use the processor is worth a second look, not an alarm.
"""

import os
import resource
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

from bench_check import SMALL

ROOT = Path(__file__).resolve().parents[2]
TURNS = 3
MOST = 8  # checks that a year of three days in 31 weathers may cost
THREE_DAYS = SMALL.replace("46.5, longitude_deg = 8.0", "36.1, longitude_deg = -79.9")
WEATHERS = {
    "a typical year, 31 weathers": 'weather = { kind = "file", file = "builtin:greensboro" }\n',
    "the climate table, 31 weathers": 'weather = { kind = "climate", futures = 31 }\n',
    "the climate table, 200 weathers": "",
}


def main() -> None:
    """Measure all and print one line a figure."""
    print(f"a year of three days beside one check, median of {TURNS} turns; at most {MOST}\n")
    with tempfile.TemporaryDirectory() as folder:
        kept = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
        settings = kept | {"PYTHONPATH": str(ROOT), "PYTHONPYCACHEPREFIX": folder}
        for what, weather in WEATHERS.items():
            path = Path(folder) / "plan.toml"
            path.write_text(THREE_DAYS + weather, encoding="utf-8")
            cpu_s(["check", str(path), "--no-fixes"], settings)  # writes the bytecode
            turns = [[cpu_s(command, settings) for command in commands(path)] for _ in range(TURNS)]
            checks, bare = (
                statistics.median(turn[0] / turn[at] for turn in turns) for at in (1, 2)
            )
            print(f"{what:36}{checks:6.1f} checks, {bare:.1f} without fixes")


def commands(path: Path) -> list[list[str]]:
    """A year, a check, and one without fixes."""
    year = ["when", str(path), "--from", "2026-01-01", "--year"]
    return [year, ["check", str(path)], ["check", str(path), "--no-fixes"]]


def cpu_s(arguments: list[str], settings: dict[str, str]) -> float:
    """The processor time of one command as a whole process."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(
        [sys.executable, "-m", "energy", *arguments],
        env=settings, cwd=ROOT, capture_output=True, text=True,
    )  # fmt: skip
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    if done.returncode not in (0, 1) or "Traceback" in done.stderr:  # 1 alone is the answer no
        sys.exit(f"energy {' '.join(arguments)} ended with {done.returncode}:\n{done.stderr}")
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


if __name__ == "__main__":
    main()
