"""What the page's script costs: each part of an answer as a ratio against a bare loop over as many
cells in the same V8.

    python tests/bench/bench_page_script.py

It takes about half a minute. A cell is a segment in a weather; the bare loop adds and multiplies
once in each. They take turns; each is divided by the bare of its own turn and the median counts.
Nothing here fails: a ratio taken while others use the processor is worth a second look, not an
alarm.
"""

import json
import statistics
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(ROOT / "tests" / "shared")]

import page_script  # noqa: E402

from energy import Plan, budget  # noqa: E402
from energy.answers.page.carried import carried  # noqa: E402

TURNS, REPEATS = 9, 10
TIMED = """
let kit, asked, answer, setup;
function carry(json) {
  kit = decode(JSON.parse(json));
  asked = { tasks: kit.data.tasks, nowS: null, percent: null, done: {}, sky: null };
  answer = ask(kit, asked);
  setup = answer.cases[0];
  return (setup.edges.length - 1) * setup.count * answer.cases.length;
}
function bare() {
  const { count, edges, chargerW } = setup;
  const storeWh = new Float64Array(edges.length * count * answer.cases.length);
  const cells = storeWh.length - count;
  for (let cell = 0; cell < cells; cell++) storeWh[cell + count] = storeWh[cell] * 0.999 + 1.0;
  return storeWh;
}
const parts = {
  bare,
  "the whole answer": () => ask(kit, asked),
  "laying it out": () => layOut(kit, asked),
  "powers": () => answer.cases.map(ratesOf),
  "the battery": () => answer.cases.map((one) => simulate(one, undefined, false)),
  "all checkpoints": () => checkpointsOf(kit, answer),
};
function timed(name, repeats) {
  const begun = Date.now();
  for (let k = 0; k < repeats; k++) parts[name]();
  return (Date.now() - begun) / repeats;
}
"""
CLIMATE = {"kind": "climate", "temp_air_c": [6, 12], "futures": 64}
PLANS = {
    "three days, 31 weathers": ("two-night-trip", {}),
    "a day, the low end too": ("cloudy-repair", {"weather": CLIMATE}),
    "five days": ("january-job", {}),
}
PARTS = ("the whole answer", "laying it out", "powers", "the battery", "all checkpoints")


def main() -> None:
    """Print a table."""
    for words, (name, changes) in PLANS.items():
        page = carried(budget(Plan.read(f"builtin:{name}").replace(**changes)))
        context = page_script.loaded(TIMED)
        cells = context.call("carry", json.dumps(page.data()))
        turns = []
        for _ in range(TURNS):
            bare_ms = context.call("timed", "bare", 20 * REPEATS)
            spent = {part: context.call("timed", part, REPEATS) for part in PARTS}
            turns.append({part: ms / bare_ms for part, ms in spent.items()})
        print(f"{words}: {cells:,} cells, bare {bare_ms:.2f} ms")
        for part in PARTS:
            ratio = statistics.median(turn[part] for turn in turns)
            print(f"  {part:18} {ratio:6.1f} x bare {ratio * bare_ms:7.1f} ms")


if __name__ == "__main__":
    main()
