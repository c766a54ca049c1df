"""What sizing costs, as ratios against floors measured in the same run.

Run it from anywhere, with the interpreter that has the package's dependencies:

    python tests/bench/bench_size.py

It takes about a minute. The frontier is timed against the same answer read off a grid of designs
that go through the same simulation; one step of many designs at once against the plain loop below,
written out for one design with the same rules; whole processes, by processor time, against
`energy check` without fixes. Nothing fails: absolute times belong to a
machine, and a ratio taken while others use the processor is worth a second look, not an alarm.
"""

import math
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from energy.answers.size.designs import Designs, make_designs  # noqa: E402
from energy.answers.size.frontier import frontier  # noqa: E402
from energy.answers.size.size import GOALS  # noqa: E402
from energy.answers.size.years import years  # noqa: E402
from energy.model.case import Case  # noqa: E402
from energy.model.simulate import ENTRIES, simulate  # noqa: E402
from energy.plan import Plan  # noqa: E402
from energy.simulation.success import needed  # noqa: E402

TURNS, SIDE = 5, 64
DEMO = str(ROOT / "profiles" / "plans" / "january-job.toml")
CHECK = ["-m", "energy", "check", DEMO, "--no-fixes"]
SIZE = ["-m", "energy", "size", DEMO]
MEASURE = """
import resource, subprocess, sys
subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL)
print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)
"""
KB_PER_MB = 1024 * (1024 if sys.platform == "darwin" else 1)  # macOS reports bytes


def main() -> None:
    """Measure all and print one line a figure."""
    print(f"{'':58}{'measured':>10}  aimed at")
    of = make_designs(Plan.read("builtin:january-job"))
    panel_w, sizes_wh = np.linspace(400.0, 1600.0, SIDE), np.linspace(1500.0, 8000.0, SIDE)
    found_s, grid_s, same = frontier_against_grid(of, panel_w, sizes_wh)
    show(f"frontier, {SIDE} panels x 4 goals: grid / frontier", grid_s / found_s, "at least 10")
    show("    the same answer on so many of 256", float(same), "256")
    many_s, one_s = many_against_one(of)
    show("a step of one design: plain Python / NumPy, 512 scenarios", one_s / many_s, "at least 20")
    start = time.perf_counter()
    year = years(Plan.read("builtin:january-job"), np.full(100, 800.0), np.linspace(2e3, 1e4, 100))
    show(f"a whole year of 100 designs, {year.lost.shape[0]} days [s]", clock(start), "")
    print()
    with tempfile.TemporaryDirectory() as folder:
        settings = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
        settings |= {"PYTHONPATH": str(ROOT), "PYTHONPYCACHEPREFIX": folder}
        turns = [[process_s(c, settings) for c in (CHECK, SIZE)] for _ in range(TURNS + 1)][1:]
        ratio = statistics.median(sized / checked for checked, sized in turns)
        show("energy size / energy check --no-fixes, whole processes", ratio, "at most 1.3")
        show("energy size, peak memory [MB]", peak_mb(SIZE, settings), "at most 500")
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / KB_PER_MB
    show("this process, grid and year, peak memory [MB]", own, "at most 500")


def frontier_against_grid(
    of: Designs, panel_w: np.ndarray, sizes_wh: np.ndarray
) -> tuple[float, float, int]:
    """Seconds of the frontier and of the grid, and on how many sizes both agree."""
    frontier(of, panel_w[:2], sizes_wh, GOALS)  # caches warm
    start = time.perf_counter()
    found = frontier(of, panel_w, sizes_wh, GOALS)
    found_s, start = clock(start), time.perf_counter()
    windows = of.groups[0].success.size
    window = np.tile(np.arange(windows), SIDE)
    label = np.repeat(sizes_wh, windows)
    least = [needed(goal, windows) for goal in GOALS]
    same = 0
    for p, watts in enumerate(panel_w.tolist()):
        ok, _ = of.tried(0, np.full(window.size, watts), label, window)
        enough = ok.reshape(SIDE, windows).sum(axis=1)[:, None] >= least
        first = np.where(enough.any(axis=0), enough.argmax(axis=0), SIDE)
        same += int((first == found.smallest[p]).sum())
    return found_s, clock(start), same


def many_against_one(of: Designs) -> tuple[float, float]:
    """Seconds a step takes: of one design among 512, and in a plain loop over one."""
    scenarios = np.arange(512)
    case = of.scaled(
        of.cases[0], 400.0 + 2.0 * scenarios, 2000.0 + 10.0 * scenarios, scenarios % 31
    )
    steps = case.edges.size - 1
    simulate(case)
    start = time.perf_counter()
    simulate(case)
    many_s = clock(start) / steps / scenarios.size
    solar = case.controller_efficiency * np.append(case.solar_w[:, 0], 0.0)[case.solar_row]
    running: list[list[tuple[str, float]]] = [[] for _ in range(steps)]
    for draw in case.loads:
        factor = float(case.factor[draw.task, 0])
        for row, watts in zip(draw.rows.tolist(), draw.watts.tolist(), strict=True):
            running[row].append((draw.supply, watts * factor))
    hours = (np.diff(case.edges) / 3600.0).tolist()
    air = case.temp_pack[case.temp_row, 0].tolist()
    on = case.inverter_on.tolist()
    rows = list(zip(hours, solar.tolist(), running, on, air, strict=True))
    start = time.perf_counter()
    plain_loop(rows, case)
    return many_s, clock(start) / steps


def plain_loop(rows: list[Any], case: Case) -> dict[str, float]:
    """One design step by step: outlets, inverter, cold, resistive loss, leak, taper, spill and
    unmet, with the same books."""
    battery, inverter = case.battery, case.inverter
    assert inverter is not None
    capacity, h = float(battery.capacity_wh[0]), battery.resistive_h
    ceiling, slope = float(battery.charge_ceiling[0]), float(battery.taper_per_h[0])
    leak, share, store = battery.self_discharge_per_h, battery.coulombic, capacity
    books = dict.fromkeys((*ENTRIES, "unmet"), 0.0)
    for hours, solar, running, on, air_c in rows:
        watts = {"ac": 0.0, "dc12": 0.0, "usb": 0.0}
        for supply, asked in running:
            watts[supply] += asked
        load = sum(watts[s] / case.outlet_efficiency[s] for s in ("dc12", "usb"))
        ac = watts["ac"]
        idle = on * inverter.idle_w
        load += idle + on * ac * (1.0 + inverter.a + inverter.b * ac / inverter.rated_w)
        net = solar - load - case.idle_w
        floor = capacity * max(0.0, (25.0 - air_c) * 0.004)  # a straight line for the cold
        if net > 0.0 and air_c < 0.0 and not battery.heated:
            rate = 0.0
        else:
            root = math.sqrt(max(1.0 + 4.0 * h * min(net, 1e4) / capacity, 0.0))
            rate = 2.0 * net / (1.0 + root)
        before, keep = store, math.exp(-leak * hours)
        if rate > 0.0:
            rate *= share
            taken = min(rate, ceiling)
            store = store * keep + taken * hours
            meets = capacity - taken / slope
            if store > meets:
                until = max(meets - before, 0.0) / taken
                away = capacity - max(before, meets)
                store = capacity - away * math.exp(-slope * max(hours - until, 0.0))
            lost = leak * hours * (store + before) / 2.0
            gained = (store - before + lost) / share / hours
            used = min((gained + h * gained * gained / capacity) * hours, net * hours)
            books["charge_loss"] += used - (store - before + lost)
            books["spilled"] += (net * hours - used) / case.controller_efficiency
        else:
            wanted = store * keep + rate * hours
            store = max(wanted, min(before, floor))
            lost = leak * hours * before
            books["unmet"] += store - wanted
            books["discharge_loss"] += before - store - lost + net * hours
        asked = ac + watts["dc12"] + watts["usb"]
        books["idle"] += (case.idle_w + idle) * hours + lost
        books["conversion_loss"] += (load - idle - asked) * hours
        books["delivered"] += asked * hours
        books["stored_change"] += store - before
    return books


def process_s(arguments: list[str], settings: dict[str, str]) -> float:
    """Run one command as a whole process; seconds of the processor."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(
        [sys.executable, *arguments], env=settings, stdout=subprocess.DEVNULL, check=False
    )
    if done.returncode not in (0, 1):
        raise SystemExit(f"energy {' '.join(arguments[2:])} ended with {done.returncode}")
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def peak_mb(arguments: list[str], settings: dict[str, str]) -> float:
    """Peak memory of one command, started by a fresh, small parent."""
    command = [sys.executable, "-c", MEASURE, sys.executable, *arguments]
    done = subprocess.run(command, env=settings, capture_output=True, text=True, check=True)
    return int(done.stdout) / KB_PER_MB


def clock(start: float) -> float:
    """Seconds since a moment of the performance counter."""
    return time.perf_counter() - start


def show(what: str, measured: float, aim: str) -> None:
    """Print one figure beside what was aimed at."""
    print(f"{what:58}{measured:>10.2f}  {aim}", flush=True)


if __name__ == "__main__":
    main()
