"""What a choice of tasks costs, as ratios in one run against a check of the same plan.

    python tests/bench/bench_choose.py

The plan is invented: two days, thirty tasks, the 31 weathers of a typical year. Both are whole
processes that take turns; the median of their ratios counts. Nothing here fails.
"""

import statistics
import sys
import tempfile
from pathlib import Path
from typing import Any

from bench_check import CHECK, FIXES, ROOT, cost, settings_of, show, written

TURNS = 5
CHOOSE = ["-m", "energy", "choose"]


def thirty_tasks() -> dict[str, Any]:
    """Two days of the demo with its tasks and twenty more, some of them flexible."""
    from energy.plan import Plan

    tables = Plan.read("builtin:cloudy-repair").source
    tables["span"]["end"] = tables["span"]["start"].replace(day=16, hour=8)
    for k in range(20):
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


def main() -> None:
    """Measure and print one line a figure."""
    sys.path.insert(0, str(ROOT))
    import tomlkit

    with tempfile.TemporaryDirectory() as folder:
        settings = settings_of(folder)
        plan = written(Path(folder) / "thirty.toml", tomlkit.dumps(thirty_tasks()))
        commands = ([*CHECK, plan], [*FIXES, plan], [*CHOOSE, plan])
        turns = [[cost(c, settings) for c in commands] for _ in range(TURNS + 1)][1:]
    for what, at, aim in (
        ("choose, 30 tasks, two days", 2, "at most 3"),
        ("check with fixes, the same plan", 1, "at most 1.5"),
    ):
        ratio = statistics.median(turn[at].clock_s / turn[0].clock_s for turn in turns)
        show(what, f"{ratio:.2f} checks", aim)


if __name__ == "__main__":
    main()
