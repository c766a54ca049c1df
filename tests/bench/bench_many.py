"""What many plans cost in time and memory, as ratios in one run.

    python tests/bench/bench_many.py             # some minutes
    python tests/bench/bench_many.py 10000       # and so many plans in a row: how memory grows

A hundred plans (one kit at a hundred places, 200 drawn weathers each) are asked in one process and
in two, by turns, each time with the start of the processes; then as the cost of one plan more
(the difference of a long and a short run, divided by the plans between) against `energy check
--no-fixes` of such a plan as a whole process. Beside the clock stands the processor time, which
waiting for a free core does not lengthen. Where other work is on the machine, two processes do not
have two cores: the clock's ratio stands beside that of two plain loops against one that does the
work of both, and beside what the processor time says, that of one process over the longer of two
that share it evenly.
"""

import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from bench_check import SMALL

from energy import Plan, check, many

TURNS, LONG, SHORT = 3, 100, 20
LOOPS = 100_000_000
CHEAP = {"weather": {"kind": "clear", "temp_air_c": [9, 9]}, "span.end": "2026-10-14T20:00:00"}


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "plan.toml"
        file.write_text(SMALL, encoding="utf-8")
        plan = Plan.read(file)
        print(f"load of the machine before: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
        turns = [speeds(plan, file) for _ in range(TURNS)]
        loops = statistics.median(plain_loops() for _ in range(TURNS))
        print(f"{'two plain loops against one, by the clock':62}{loops:6.2f}")
        for what, at, aim in (
            ("two processes against one, by the clock", 0, "at least 1.7"),
            ("  the same by processor time, were there two free cores", 1, "at least 1.7"),
            ("a plan more against `energy check --no-fixes`, by the clock", 2, "at most 0.25"),
            ("  the same by processor time", 3, "at most 0.25"),
        ):
            print(f"{what:62}{statistics.median(turn[at] for turn in turns):6.2f}   {aim}")
        if sys.argv[1:]:
            memory(plan, int(sys.argv[1]), Path(folder) / "rows.csv")


def places(plan: Plan, count: int) -> list[Plan]:
    """The plan at so many places."""
    return [plan.replace(**{"place.latitude_deg": 40.0 + 0.1 * k}) for k in range(count)]


def cost(command: object) -> tuple[float, float]:
    """Seconds by the clock and of the processor, of this process and those that it has ended."""
    before, began = processor_s(), time.perf_counter()
    command()  # type: ignore[operator]
    return time.perf_counter() - began, processor_s() - before


def processor_s() -> float:
    """Processor time of this process and of those that it has started and seen end."""
    return sum(
        use.ru_utime + use.ru_stime
        for use in map(resource.getrusage, (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    )


def speeds(plan: Plan, file: Path) -> tuple[float, float, float, float]:
    """The four ratios of one turn."""
    asked = places(plan, LONG)
    here_s = cost(lambda: places(plan, LONG))[1]  # what this process does, whoever answers
    one_clock, one_s = cost(lambda: many(check, asked, 1))
    two_clock, two_s = cost(lambda: many(check, asked, 2))
    short_clock, short_s = cost(lambda: many(check, asked[:SHORT], 1))
    alone = [sys.executable, "-m", "energy", "check", "--no-fixes", str(file)]
    alone_clock, alone_s = cost(
        lambda: subprocess.run(alone, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    )
    more = LONG - SHORT
    return (
        one_clock / two_clock,
        (one_s + here_s) / (two_s / 2.0 + here_s),
        (one_clock - short_clock) / more / alone_clock,
        (one_s - short_s) / more / alone_s,
    )


def plain_loops() -> float:
    """How much sooner two processes do what one does, of nothing but arithmetic."""

    def clock_s(share: int, processes: int) -> float:
        loop = [sys.executable, "-c", f"for _ in range({LOOPS // share}): 1.0 * 1.0"]
        began = time.perf_counter()
        for run in [subprocess.Popen(loop) for _ in range(processes)]:
            run.wait()
        return time.perf_counter() - began

    return clock_s(1, 1) / clock_s(2, 2)


def memory(plan: Plan, count: int, rows: Path) -> None:
    """How the memory of this process and of its worker grows over many cheap plans."""
    cheap = plan.replace(**CHEAP)
    asked = (cheap.replace(**{"pack.idle_w": 1.0 + k / count}) for k in range(count))

    def look(done: int, _: int | None) -> None:
        if done in (count // 10, count // 2, count):
            worker = max(map(resident_mb, children()))
            print(
                f"after {done:6} plans: {resident_mb(os.getpid()):6.1f} MB here,"
                f" {worker:6.1f} MB in the largest worker",
                flush=True,
            )

    many(check, asked, 2, rows, progress=look)
    print(f"rows: {rows.stat().st_size / count:.0f} bytes a plan")


def children() -> list[int]:
    """The processes that this one has started, as /proc of Linux tells."""
    return [int(pid) for pid in Path(f"/proc/self/task/{os.getpid()}/children").read_text().split()]


def resident_mb(pid: int) -> float:
    """The memory that a process holds."""
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 1e6


if __name__ == "__main__":
    main()
