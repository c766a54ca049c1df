"""What a choice of tasks costs, as ratios in one run against a check of the same plan.

    python tests/bench/bench_choose.py

The plans are invented: thirty tasks on two days in the 31 weathers of a typical year, nine tasks in
200 drawn ones, eighty tasks. All are whole processes that take turns; the median of their ratios
counts. Nothing here fails.
"""

import statistics
import sys
import tempfile
from pathlib import Path
from typing import Any

from bench_check import CHECK, FIXES, ROOT, cost, settings_of, show, written

TURNS = 5
CHOOSE = ["-m", "energy", "choose"]


def many_tasks(more: int) -> dict[str, Any]:
    """Two days of the demo with its nine tasks and so many more, some of them flexible."""
    from energy.plan import Plan

    tables = Plan.read("builtin:cloudy-repair").source
    tables["span"]["end"] = tables["span"]["start"].replace(day=16, hour=8)
    for k in range(more):
        hour = 8 + k % 9
        task: dict[str, Any] = {
            "name": f"job {k}",
            "supply": "ac" if k % 2 else "dc12",
            "working_w": 10 + 7 * k % 25,
            "priority": 1 + k % 3,
            "flexible": k % 4 == 0,
            "between": [f"{hour:02d}:00", f"{hour + 3:02d}:00"],
        }
        task |= {"minutes": 40} if k % 5 == 0 else {"times": 3 + k % 6, "each_min": 8}
        tables["task"].append(task)
    return tables


def nine_drawn() -> dict[str, Any]:
    """The demo's nine tasks in 200 weathers drawn from twelve sun-hour figures."""
    from energy.plan import Plan

    tables = Plan.read("builtin:cloudy-repair").source
    sun_hours = [0.8, 1.6, 2.7, 3.9, 4.4, 4.5, 4.1, 3.3, 2.5, 1.6, 0.9, 0.6]
    tables["weather"] = {"kind": "monthly", "sun_hours": sun_hours, "futures": 200}
    return tables


CASES = (
    ("thirty", lambda: many_tasks(21), "30 tasks, two days, 31 weathers", "at most 3"),
    ("nine", nine_drawn, "9 tasks in 200 drawn weathers", "at most 8"),
    ("eighty", lambda: many_tasks(71), "80 tasks, two days, 31 weathers", "at most 20"),
)


def main() -> None:
    """Measure and print one line a figure."""
    sys.path.insert(0, str(ROOT))
    import tomlkit

    with tempfile.TemporaryDirectory() as folder:
        settings = settings_of(folder)
        for name, tables, what, aim in CASES:
            plan = written(Path(folder) / f"{name}.toml", tomlkit.dumps(tables()))
            commands = ([*CHECK, plan], [*FIXES, plan], [*CHOOSE, plan])
            turns = [[cost(c, settings) for c in commands] for _ in range(TURNS + 1)][1:]
            for at, asked, at_most in (
                (2, f"choose, {what}", aim),
                (1, "check with fixes, the same plan", "at most 4"),
            ):
                ratio = statistics.median(turn[at].cpu_s / turn[0].cpu_s for turn in turns)
                show(asked, f"{ratio:.2f} checks", at_most)


if __name__ == "__main__":
    main()
