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
READINGS = """time,battery_percent,solar_w,tool,count
07:30,97,,,
09:20,93,40,,
10:00,88,52,angle-grinder-115,4
10:40,83,63,angle-grinder-115,4
11:20,79,75,angle-grinder-115,4
12:00,75,84,angle-grinder-115,4
13:00,76,96,,
15:00,70,71,drill-10,24
16:00,64,55,,
18:00,58,20,,
"""  # invented


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

    def check_it() -> None:
        answer = check(Plan.read("builtin:cloudy-repair"))
        told(lambda width: text.sheet(answer, width))
        care_part(cautions(answer.budget), 100, every=False)

    def learn_it() -> None:
        plan = Plan.read("builtin:cloudy-repair")
        answer = learn(plan, parse_readings(READINGS, plan))
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


if __name__ == "__main__":
    os.environ["OPENBLAS_NUM_THREADS"] = "1"  # read when NumPy is first imported
    sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "shared")]
    main()
