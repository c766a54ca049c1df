"""Which bursts the page's limits turn away, against Python's on random tasks and packs."""

import json
from types import SimpleNamespace

import numpy as np
import pytest
from script_answers import context

from energy.model import limits as python
from energy.model.demand import bursts
from energy.model.electronics import inverter_curve
from energy.model.timeline import grid

SPAN = (0.0, 36_000.0)
EDGES = (7200.0, 30_000.0)
ASKED = """
function limitsOf(json) {
  const { edges, wanted, tasks, order, limits, begun } = JSON.parse(json, typed);
  const of = [Float64Array.from(edges), wanted, tasks];
  const on = [limits, new Set(begun)];
  return JSON.stringify({
    fits: allFit(...of, ...on),
    overloads: overloads(...of, order, ...on)
      .map(({ burst, ...why }) => ({ burst: wanted.indexOf(burst), ...why })),
    on: [...inverterOn(...of, ...on)],
  });
}
"""


@pytest.fixture(scope="module")
def script():
    context().eval(ASKED)
    return context()


def random_tool(random):
    watts = float(random.integers(20, 500))
    return SimpleNamespace(
        supply=str(random.choice(["ac", "ac", "dc12", "usb"])),
        kind=str(random.choice(["steady", "cycling"])),
        working_w=watts,
        on_w=watts,
        off_w=1.0,
        duty_percent=40.0,
        period_min=17.0,
        power_factor=float(random.choice([1.0, 0.7])),
        start_w=float(watts * random.choice([1.0, 1.0, 2.5])),
        start_s=float(random.choice([0.2, 3.0])),
    )


def random_limits(random):
    on = random.choice(["with-tasks", "only-in-use", "always", "stated"])
    curve = inverter_curve(float(random.integers(300, 1200)), 8.0, 90.0)
    return python.Limits(
        curve=None if random.random() < 0.1 else curve,
        surge_w=2.0 * curve.rated_w,
        surge_s=1.0,
        on=[(0.0, 15_000.0), (20_000.0, 50_000.0)] if on == "stated" else str(on),
        outlet_rated_w={"dc12": 300.0, "usb": 250.0},
        outlet_efficiency={"dc12": 0.95, "usb": 0.9},
        idle_w=3.0,
        discharge_max_w=float(random.choice([500.0, 5000.0])),
        battery_max_w=float(random.choice([700.0, np.inf])),
    )


def random_bursts(random, tools):
    """Two windows of each tool, some before the span."""
    wanted = []
    for k, tool in enumerate(tools):
        for window in range(2):
            starts = np.sort(np.round(random.uniform(0.0, 18_000.0, 3), 3)) + 18_000.0 * window
            lasts_s = float(random.choice([90.0, 2000.0]))
            placed = [(t, min(t + lasts_s, after)) for t, after in zip(
                starts.tolist(), [*starts.tolist()[1:], SPAN[1]], strict=True)]  # fmt: skip
            wanted += bursts(tool, k, window, placed, EDGES)
    return wanted


def plain(burst):
    names = {"start_s": "startS", "end_s": "endS", "mean_w": "meanW", "working_w": "workingW"}
    pieces = [{names.get(k, k): v for k, v in vars(p).items()} for p in burst.pieces]
    return {"task": burst.task, "window": burst.window, "pieces": pieces,
            "startS": burst.start_s, "endS": burst.end_s}  # fmt: skip


def asked(script, edges, wanted, tools, order, limits, begun):
    question = {
        "edges": edges.tolist(),
        "wanted": [plain(burst) for burst in wanted],
        "tasks": [vars(tool) for tool in tools],
        "order": order,
        "limits": vars(limits) | {"curve": limits.curve and vars(limits.curve)},
        "begun": [f"{task} {window}" for task, window in begun],
    }
    text = json.dumps(question).replace(": Infinity", ': "Infinity"')
    return json.loads(script.call("limitsOf", text))


def test_what_is_turned_away_and_when_the_inverter_is_on_are_as_in_python(script):
    random, broken = np.random.default_rng(1), set()
    for _ in range(200):
        tools = [random_tool(random) for _ in range(int(random.integers(1, 8)))]
        limits, wanted = random_limits(random), random_bursts(random, tools)
        marks = [t for b in wanted for p in b.pieces for t in (p.start_s, p.end_s)]
        edges, order = grid(*EDGES, marks), random.permutation(len(tools)).tolist()
        begun = frozenset((k, 0) for k in range(len(tools)) if random.random() < 0.4)
        found = asked(script, edges, wanted, tools, order, limits, begun)
        expected = python.overloads(edges, wanted, tools, order, limits, begun)
        numbers = {id(burst): k for k, burst in enumerate(wanted)}
        assert [(o["burst"], o["limit"]) for o in found["overloads"]] == [
            (numbers[id(o.burst)], o.limit) for o in expected
        ]
        for mine, other in zip(found["overloads"], expected, strict=True):
            assert [mine["asked"], mine["allowed"]] == pytest.approx([other.asked, other.allowed])
        assert found["fits"] == python.all_fit(edges, wanted, tools, limits, begun)
        on = python.inverter_on(edges, wanted, tools, limits, begun)
        assert found["on"] == on.astype(int).tolist()
        broken |= {o.limit for o in expected}
    assert broken == {"no-inverter", "inverter-off", "inverter", "surge", "surge-time", "dc12",
                      "usb", "discharge", "battery"}  # fmt: skip
