"""Every bench in this folder, one after another: all that is measured, as ratios in one run each.

    python tests/bench/all.py

It takes some fifteen minutes. A bench is a file named `bench_*.py` that prints its figures; one
that breaks down is named at the end.
"""

import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent


def main() -> None:
    """Run all and print what each prints under its name."""
    broken = []
    for bench in sorted(HERE.glob("bench_*.py")):
        print(f"\n== {bench.name}", flush=True)
        if subprocess.run([sys.executable, bench], check=False).returncode != 0:
            broken.append(bench.name)
    if broken:
        sys.exit(f"\nbroke down: {', '.join(broken)}")


if __name__ == "__main__":
    main()
