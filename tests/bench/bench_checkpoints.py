"""What the checkpoints of a plan cost, as ratios in one run against a check of the same plan.

    python tests/bench/bench_checkpoints.py

A check here is the budget of the plan from scratch. Both are timed in turns inside this process, by
processor time; the median of the turns' ratios counts. Nothing here fails.
"""

import os
import statistics
import sys
import time
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

from bench_check import ROOT, show

if TYPE_CHECKING:
    from energy.plan import Plan

TURNS = 9
ROUGH = {"kind": "climate", "temp_air_c": [6, 12]}  # judged at the low end as well


def main() -> None:
    """Measure and print one line a plan."""
    for name, plan, aim in plans():
        show(name, f"{ratio(plan):.2f} checks", aim)


def plans() -> "Iterator[tuple[str, Plan, str]]":
    """The built-in demos, and the first of them in drawn weather and with a lead-acid battery."""
    from energy.plan import Plan

    demo = Plan.read("builtin:cloudy-repair")
    yield "the demo, 31 weathers", demo, "at most 0.5"
    for name in ("two-night-trip", "january-job"):
        yield name, Plan.read(f"builtin:{name}"), ""
    yield "the demo in the climate table", demo.replace(weather=ROUGH), ""
    yield "the demo with a lead-acid battery", demo.replace(**{"pack.chemistry": "agm"}), ""


def ratio(plan: "Plan") -> float:
    """How many times the processor time of a check its checkpoints take."""
    from energy.answers.check.checkpoints import checkpoints
    from energy.simulation.budget import budget

    turns = []
    for _ in range(TURNS + 1):
        check_s, result = seconds(lambda: budget(plan))
        turns.append(seconds(lambda result=result: checkpoints(result))[0] / check_s)
    return statistics.median(turns[1:])  # the first one reads what later ones find in memory


def seconds(call: Callable[[], Any]) -> tuple[float, Any]:
    """Processor time of a call [s], and what it returns."""
    before = time.process_time()
    answer = call()
    return time.process_time() - before, answer


if __name__ == "__main__":
    os.environ["OPENBLAS_NUM_THREADS"] = "1"  # read when NumPy is first imported, below
    sys.path.insert(0, str(ROOT))
    main()
