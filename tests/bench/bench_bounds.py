"""What the dearest plans cost in time and memory, as ratios against a floor of the same run.

    python tests/bench/bench_bounds.py

It takes one to two minutes. The floor, called "bare", is `python -c "import pvlib, pandas"` as a
whole process; so is every command. Peak memory is what the kernel reports. Nothing here fails:
what bounds the cost is tested in `tests/simulation/test_costs.py` by counting. All plans are
invented.
"""

import os
import subprocess
import sys
import tempfile
import time
from datetime import datetime, timedelta
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
START = datetime(2026, 1, 1)
LAMP = '{ name = "lamp", supply = "dc12", working_w = 9, hours = 3, at = "18:00" }'
SAW = (
    '{ name = "cut", supply = "ac", kind = "intermittent", working_w = 900, times = 12,'
    ' each_s = 45, between = ["09:00", "12:00"] }'
)
COOLER = (
    '{{ name = "cooler", supply = "{}", kind = "cycling", on_w = {}, duty_percent = 30,'
    " period_min = {} }}"
)
LOST = ", ".join(
    f'{{ name = "lamp-{k}", supply = "dc12", working_w = 1, after = "lomp-{k}" }}'
    for k in range(2000)
)
OVER = ", ".join(
    f'{{ name = "heater-{k}", supply = "dc12", working_w = 900, hours = 1 }}' for k in range(2000)
)
PLANS = {
    "400 days in 31 weathers": (400, 31, f"{LAMP}, {SAW}"),
    "100 days of one-minute cycles": (100, 31, COOLER.format("dc12", 50, 1)),
    "200 days of a cooler that never fits": (200, 31, COOLER.format("ac", 5000, 20)),
    "10,000 weathers of a month: refused": (30, 10_000, LAMP),
    "2,000 names with a slip: refused": (2, 31, LOST),
    "2,000 tasks that never fit": (2, 31, OVER),
}
MEASURE = """
import resource, subprocess, sys
done = subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
print(done.returncode, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)
"""
KB_PER_MB = 1024 * (1024 if sys.platform == "darwin" else 1)  # macOS reports bytes


def main() -> None:
    """Measure all and print one line a plan."""
    bare_s, _, bare_mb = cost(["-c", "import pvlib, pandas"])
    print(f"bare: {bare_s:.2f} s, {bare_mb:.0f} MB\n")
    print(f"{'':38}{'times bare':>11}{'memory':>10}{'exit':>6}")
    with tempfile.TemporaryDirectory() as folder:
        for name, (days, futures, tasks) in PLANS.items():
            path = Path(folder) / "plan.toml"
            path.write_text(plan(days, futures, tasks))
            seconds, status, megabytes = cost(["-m", "energy", "check", "--no-fixes", str(path)])
            print(f"{name:38}{seconds / bare_s:11.1f}{megabytes:7.0f} MB{status:6}")


def plan(days: int, futures: int, tasks: str) -> str:
    """A plan of so many days at an invented place."""
    return f"""
place = {{ latitude_deg = 46.5, longitude_deg = 8.0, timezone = "Europe/Zurich" }}
span = {{ start = {START.isoformat()}, end = {(START + timedelta(days)).isoformat()} }}
weather = {{ kind = "climate", futures = {futures} }}
panel = [{{ rated_w = 200, tilt_deg = 30, facing = "S" }}]
pack = {{ profile = "pack-1000" }}
task = [{tasks}]
"""


def cost(arguments: list[str]) -> tuple[float, int, float]:
    """Seconds, exit status and peak memory [MB] of Python with some arguments."""
    settings = os.environ | {"PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-c", MEASURE, sys.executable, *arguments]
    began = time.perf_counter()
    done = subprocess.run(command, env=settings, capture_output=True, text=True, check=True)
    status, peak = done.stdout.split()
    return time.perf_counter() - began, int(status), int(peak) / KB_PER_MB


if __name__ == "__main__":
    main()
