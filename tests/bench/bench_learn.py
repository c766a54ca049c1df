"""What learning from a day with ten readings costs, as a ratio against a check of the same plan.

Run it from anywhere, with the interpreter that has the package's dependencies:

    python tests/bench/bench_learn.py

Both are timed inside this process, turn and turn about, from the plan's text to the answer as
words; the check is without fixes. The whole processes differ less, as both spend most of their
time on imports. Nothing here fails: a ratio taken while others use the processor is worth a
second look, not an alarm.
"""

import os
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TURNS = 15
TIMES = ("07:30", "09:20", "10:00", "10:40", "11:20", "12:00", "13:00", "15:00", "16:00", "18:00")


def main() -> None:
    """Time both, turn and turn about, and print the median ratio."""
    from told import told

    from energy.answers.caution.cautions import cautions
    from energy.answers.caution.words import care_part
    from energy.answers.check import words as text
    from energy.answers.check.check import check
    from energy.answers.learn import words as learning
    from energy.answers.learn.learn import learn
    from energy.answers.learn.readings import parse_readings
    from energy.plan import Plan

    readings = of_a_middling_day()

    def check_it() -> None:
        answer = check(Plan.read("builtin:cloudy-repair"))
        told(lambda width: text.sheet(answer, width))
        care_part(cautions(answer.budget), 100, every=False)

    def learn_it() -> None:
        plan = Plan.read("builtin:cloudy-repair")
        answer = learn(plan, parse_readings(readings, plan))
        told(lambda width: learning.learned_sheet(answer, width))

    check_it()
    learn_it()
    turns = [(seconds(check_it), seconds(learn_it)) for _ in range(TURNS)]
    for what, at in (("check, without fixes", 0), ("learn, ten readings", 1)):
        print(f"{what:24}{1000.0 * statistics.median(t[at] for t in turns):8.0f} ms")
    ratio = statistics.median(learned / checked for checked, learned in turns)
    print(f"{'ratio':24}{ratio:8.2f}     aimed at: at most 3")


def seconds(ask: Callable[[], None]) -> float:
    """How long one call takes."""
    start = time.perf_counter()
    ask()
    return time.perf_counter() - start


def of_a_middling_day() -> str:
    """What the display would read on the demo's first day in its middling weather (invented)."""
    import numpy as np

    from energy.plan import Plan
    from energy.simulation.budget import budget

    result = budget(Plan.read("builtin:cloudy-repair"))
    clock = {f"{result.local(t):%d %H:%M}": t for t in np.arange(*result.time_s[[0, -1]], 60.0)}
    day = f"{result.calendar.first:%d}"
    percent = [
        np.interp(clock[f"{day} {time}"], result.time_s, result.middle_charge_percent)
        for time in TIMES
    ]
    rows = [f"{time},{round(read)}" for time, read in zip(TIMES, percent, strict=True)]
    return "\n".join(["time,battery_percent", *rows]) + "\n"


if __name__ == "__main__":
    os.environ["OPENBLAS_NUM_THREADS"] = "1"  # read when NumPy is first imported
    sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "shared")]
    main()
