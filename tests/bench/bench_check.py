"""What a check costs in time and memory, as ratios against a floor measured in the same run.

Run it from anywhere, with the interpreter that has the package's dependencies:

    python tests/bench/bench_check.py

It takes one to two minutes. The floor, called "bare", is `python -c "import pvlib, pandas"` as a
whole process: no answer about the sun can be had for less. Every command is a whole process too.
They take turns; each is divided by the bare of its own turn and the median counts, so that a busy
machine slows both alike. Beside the clock stands the processor time, which waiting for a free core
does not lengthen: where the two differ much, the machine was busy. All run from bytecode in a
folder of their own, written in a turn that does not count, as an installed package would be,
whatever the shell says of bytecode. Peak memory is what the kernel reports of a process that a
fresh, small parent has started. The simulation is timed alone, inside this process, best of
several, and given as a share of bare.

Each figure stands beside what was aimed at. Nothing here fails: absolute times belong to a
machine, and a ratio taken while others use the processor is worth a second look, not an alarm.
"""

import datetime
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
import timeit
from pathlib import Path
from typing import Any, NamedTuple

ROOT = Path(__file__).resolve().parents[2]
TURNS = 7
BEST_OF = 20
SMALL = """
place = { latitude_deg = 46.5, longitude_deg = 8.0 }
span = { start = 2026-10-14T08:00:00, end = 2026-10-16T18:00:00 }
panel = [{ profile = "folding-100" }]
pack = { profile = "pack-1000" }
task = [
    { tool = "angle-grinder-115", times = 12, each_s = 60, between = ["09:00", "12:00"] },
    { tool = "tool-pack-18v-4ah", charges = 2, between = ["12:00", "16:00"] },
    { tool = "led-work-light", between = ["sunset", "22:00"] }]
"""  # an invented plan of eight lines
BARE = ["-c", "import pvlib, pandas"]
CHECK = ["-m", "energy", "check", "--no-fixes"]
FIXES = ["-m", "energy", "check"]
HELP = ["-m", "energy", "--help"]
DEMOS = ("cloudy-repair", "two-night-trip", "january-job")
# A process counts its parent's memory until it becomes a program of its own, so the parent is
# this: an interpreter that has imported nothing large.
MEASURE = """
import resource, subprocess, sys
done = subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
print(done.returncode, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)
sys.stderr.write(done.stderr)
"""
KB_PER_MB = 1024 * (1024 if sys.platform == "darwin" else 1)  # macOS reports bytes


def main() -> None:
    """Measure all and print one line a figure."""
    with tempfile.TemporaryDirectory() as folder:
        settings = settings_of(folder)
        small, few, many = (
            written(Path(folder) / f"small-{futures}.toml", SMALL + weathers_of(futures))
            for futures in (None, 31, 1000)
        )
        thirty = written(Path(folder) / "thirty.toml", thirty_tasks())
        plans = [*(f"builtin:{name}" for name in DEMOS), thirty]
        demos = [[*asked, plan] for plan in plans for asked in (CHECK, FIXES)]
        commands = (BARE, CHECK, HELP, [*CHECK, small], [*CHECK, few], [*CHECK, many], *demos)
        turns = [[cost(c, settings) for c in commands] for _ in range(TURNS + 1)][1:]
        bare_s = statistics.median(turn[0].clock_s for turn in turns)
        print(f"bare: {bare_s:.3f} s, median of {TURNS} turns\n")
        print(f"{'':46}{'measured':>14}  aimed at")
        for what, at, aim in (
            ("energy check --no-fixes, the demo", 1, "at most 1.35, better 1.2"),
            ("energy --help", 2, "at most 0.35"),
            ("eight lines, 200 drawn weathers", 3, "at most 1.45"),
        ):
            clock = statistics.median(turn[at].clock_s / turn[0].clock_s for turn in turns)
            processor = statistics.median(turn[at].cpu_s / turn[0].cpu_s for turn in turns)
            show(what, f"{clock:.2f} bare", aim)
            show("    by processor time", f"{processor:.2f} bare", "")
        for number, name in enumerate([*DEMOS, "thirty tasks"]):
            at = 6 + 2 * number
            fixed = statistics.median(turn[at + 1].cpu_s / turn[at].cpu_s for turn in turns)
            aim = "at most 1.5" if name in DEMOS else "at most 4"
            show(f"with fixes, {name}", f"{fixed:.2f} x without", aim)
        more = statistics.median((t[5].clock_s - t[4].clock_s) / t[0].clock_s for t in turns)
        show("1,000 drawn weathers rather than 31", f"{more:+.2f} bare", "at most +0.25")
        month, weathers = month_plan()
        file = written(Path(folder) / "month.toml", month)
        bare_mb, check_mb, month_mb = (
            peak_mb(command, settings) for command in (BARE, CHECK, [*CHECK, file])
        )
    show("peak memory, the demo", f"bare {check_mb - bare_mb:+.0f} MB", "")
    label = f"peak memory, 31 days in {weathers} weathers"
    show(label, f"bare {month_mb - bare_mb:+.0f} MB", "at most +40 MB")
    for chemistry, aim in (("lfp", "at most 0.020"), ("agm", "")):
        best_s, size = simulation_s(chemistry)
        show(f"simulation alone, {chemistry}, {size}", f"{best_s / bare_s:.4f} bare", aim)


def settings_of(folder: str) -> dict[str, str]:
    """The environment in which all run: bytecode of their own, in a folder."""
    kept = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    return kept | {"PYTHONPATH": str(ROOT), "PYTHONPYCACHEPREFIX": folder}


def written(path: Path, text: str) -> str:
    """Write a plan and return its path as an argument."""
    path.write_text(text, encoding="utf-8")
    return str(path)


def weathers_of(futures: int | None) -> str:
    """The table that sets how many weathers are drawn; nothing for the default."""
    return "" if futures is None else f"weather = {{ futures = {futures} }}\n"


def show(what: str, measured: str, aim: str) -> None:
    """Print one figure beside what was aimed at."""
    print(f"{what:46}{measured:>14}  {aim}")


class Cost(NamedTuple):
    """What one whole process took, in seconds on the clock and of the processor."""

    clock_s: float
    cpu_s: float


def cost(arguments: list[str], settings: dict[str, str]) -> Cost:
    """Run one command as a whole process."""
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    done = run(arguments, settings)
    clock_s, after = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
    must_have_answered(arguments, done.returncode, done.stderr)
    return Cost(clock_s, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)


def peak_mb(arguments: list[str], settings: dict[str, str]) -> float:
    """Peak resident memory of one whole process."""
    done = run(["-S", "-c", MEASURE, sys.executable, *arguments], settings)
    status, peak = done.stdout.split()
    must_have_answered(arguments, int(status), done.stderr)
    return int(peak) / KB_PER_MB


def run(arguments: list[str], settings: dict[str, str]) -> subprocess.CompletedProcess[str]:
    """Run this interpreter from the repository's top and keep what it prints."""
    return subprocess.run(
        [sys.executable, *arguments], env=settings, cwd=ROOT, capture_output=True, text=True
    )


def must_have_answered(arguments: list[str], status: int, errors: str) -> None:
    """A command that broke down costs something else than one that answered: stop."""
    if status not in (0, 1) or "Traceback" in errors:  # 1 alone is the answer no
        sys.exit(f"python {' '.join(arguments)} ended with status {status}:\n{errors}")


def demo_tables(days: int) -> dict[str, Any]:
    """The demo's own tables with a span of so many whole days."""
    from energy.plan import Plan

    tables = Plan.read("builtin:cloudy-repair").source
    start = tables["span"]["start"]
    tables["span"]["end"] = start + datetime.timedelta(days=days)
    return tables


def month_plan() -> tuple[str, int]:
    """A plan of 31 days, every task on each of them, as TOML; in how many weathers it runs."""
    import tomlkit

    from energy.plan import Plan
    from energy.simulation.budget import budget

    tables = demo_tables(days=31)
    weathers = budget(Plan.from_dict(tables)).chance.scenarios
    return tomlkit.dumps(tables), weathers


def thirty_tasks() -> str:
    """A plan of thirty tasks on a larger pack, the demo's own again and again, as TOML."""
    import tomlkit

    tables = demo_tables(days=1)
    own = tables["task"]
    for k in range(30 - len(own)):
        again = {key: value for key, value in own[k].items() if key not in ("with", "after")}
        own.append(again | {"name": f"task {k}"})
    tables["pack"]["capacity_wh"] = 2500
    return tomlkit.dumps(tables)


def simulation_s(chemistry: str) -> tuple[float, str]:
    """Best seconds of the simulation alone for three days of ten tasks, and its size in words."""
    from energy.model.simulate import simulate
    from energy.plan import Plan
    from energy.simulation.budget import budget

    tables = demo_tables(days=3)
    tables["task"].append({"tool": "fan-12v", "between": ["22:00", "06:00"]})
    tables["pack"]["chemistry"] = chemistry
    case = budget(Plan.from_dict(tables)).case
    count, scenarios = case.edges.size - 1, case.factor.shape[1]
    best = min(timeit.repeat(lambda: simulate(case), number=1, repeat=BEST_OF))
    return best, f"{case.factor.shape[0]} tasks, {count} x {scenarios}"


if __name__ == "__main__":
    os.environ["OPENBLAS_NUM_THREADS"] = "1"  # read when NumPy is first imported, below
    sys.path.insert(0, str(ROOT))
    main()
