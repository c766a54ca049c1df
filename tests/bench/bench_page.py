"""What the page weighs, and what its script costs in a browser slowed four times, as ratios against
a bare loop over as many cells there.

    python tests/bench/bench_page.py

It takes about a minute and needs Debian's chromium. A cell is a segment in a weather; the bare loop
adds and multiplies once in each. They take turns; each is divided by the bare of its own turn and
the median counts. Sizes are exact. Nothing here fails: a ratio taken while others use the processor
is worth a second look, not an alarm.
"""

import statistics
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "shared")]

from browser import browser  # noqa: E402

from energy import Plan, page  # noqa: E402

SLOWED, TURNS, REPEATS = 4, 7, 5
TIMED = """
({ turns, repeats }) => {
  const kit = decode(JSON.parse(document.getElementById("data").textContent));
  const asked = { tasks: kit.data.tasks, nowS: null, percent: null, done: {}, sky: null };
  const answer = ask(kit, asked);
  const setup = answer.cases[0];
  const cells = (setup.edges.length - 1) * setup.count * answer.cases.length;
  const storeWh = new Float64Array(cells + setup.count);
  const bare = () => {
    for (let cell = 0; cell < cells; cell++)
      storeWh[cell + setup.count] = storeWh[cell] * 0.999 + 1.0;
  };
  const more = [...document.querySelectorAll("#tasks button")].find((b) => b.textContent === "+");
  const parts = {
    "one action, shown": () => more.click(),
    "the whole answer": () => ask(kit, asked),
    "laying it out": () => layOut(kit, asked),
    "the battery": () => answer.cases.map((one) => simulate(one, undefined, false)),
    "all checkpoints": () => checkpointsOf(kit, answer),
  };
  const timed = (part, times) => {
    const begun = performance.now();
    for (let k = 0; k < times; k++) part();
    return (performance.now() - begun) / times;
  };
  const rows = [];
  for (let turn = 0; turn < turns; turn++) {
    const row = { bare: timed(bare, 20 * repeats) };
    for (const [name, part] of Object.entries(parts)) row[name] = timed(part, repeats);
    rows.push(row);
  }
  return { cells, rows };
}
"""
CLIMATE = {"kind": "climate", "temp_air_c": [6, 12], "futures": 64}
MONTH = {"span.end": Plan.read("builtin:two-night-trip").span.start.replace(month=11, day=9)}
PLANS = {
    "three days, 31 weathers": ("two-night-trip", {}),
    "three days, the low end too": ("two-night-trip", {"weather": CLIMATE}),
    "five days, 64 weathers": ("january-job", {}),
    "31 days, 31 weathers": ("two-night-trip", MONTH),
}


def main() -> None:
    """Print a table."""
    with browser() as chromium, tempfile.TemporaryDirectory() as folder:
        for words, (name, changes) in PLANS.items():
            plan = Plan.read(f"builtin:{name}")
            page(plan.replace(**changes)).write(file := Path(folder) / f"{len(words)}.html")
            print(f"{words}: {file.stat().st_size:,} bytes")
            tab = chromium.new_page()
            tab.clock.install(time=plan.span.start)
            tab.goto(file.as_uri())
            slow = tab.context.new_cdp_session(tab)
            slow.send("Emulation.setCPUThrottlingRate", {"rate": SLOWED})
            measured = tab.evaluate(TIMED, {"turns": TURNS, "repeats": REPEATS})
            table(measured["cells"], measured["rows"])
            tab.close()


def table(cells: int, rows: list[dict[str, float]]) -> None:
    """Each part's median ratio, and what that was here."""
    bare_ms = statistics.median(row["bare"] for row in rows)
    print(f"  {cells:,} cells, bare {bare_ms:.2f} ms slowed {SLOWED} times")
    for part in rows[0]:
        if part != "bare":
            ratio = statistics.median(row[part] / row["bare"] for row in rows)
            print(f"  {part:18} {ratio:7.1f} x bare {ratio * bare_ms:7.1f} ms")


if __name__ == "__main__":
    main()
