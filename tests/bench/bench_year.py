"""What sizing through whole years costs, as ratios in one run against a check of the same plan.

    python tests/bench/bench_year.py

The three demos, and the last of them in ten years drawn from the climate table, each as lithium and
as lead-acid. All are whole processes, by processor time; a check is the median of three. Nothing
here fails.
"""

import statistics
import tempfile

from bench_check import CHECK, cost, settings_of, show

YEAR = ["-m", "energy", "size", "--season", "year"]
AIM = "at most 15"
TEN_YEARS = ["--set", "weather={kind='climate'}"]
PLANS = (
    ("cloudy-repair", []),
    ("two-night-trip", []),
    ("january-job", []),
    ("january-job", TEN_YEARS),
)


def main() -> None:
    """Measure and print one line a plan, chemistry and way."""
    with tempfile.TemporaryDirectory() as folder:
        settings = settings_of(folder)
        cost(CHECK, settings)  # writes the bytecode
        for name, changes in PLANS:
            asked = [f"builtin:{name}", *changes]
            check_s = statistics.median(cost([*CHECK, *asked], settings).cpu_s for _ in range(3))
            for chemistry in ("lfp", "agm"):
                command = [*YEAR, *asked, "--set", f"pack.chemistry={chemistry}"]
                years = "ten years" if changes else "a year"
                ratio = cost(command, settings).cpu_s / check_s
                show(f"{name}, {years}, {chemistry}", f"{ratio:.1f} checks", AIM)


if __name__ == "__main__":
    main()
