"""What the search takes to be quick must say the same as the plain way.

Limits for many bursts at once against watts counted second by second; passes side by side, without
books and with fewer segments against the budget of each choice. All plans are invented.
"""

from types import SimpleNamespace

import numpy as np
import pytest

from energy.answers.choose.batch import Batch
from energy.answers.fix.fix import fixes
from energy.model.demand import bursts
from energy.model.electronics import inverter_curve
from energy.model.limits import Limits, all_fit, inverter_on, overloads, room
from energy.model.simulate import simulate
from energy.plan import Plan
from energy.simulation.budget import budget, changed, with_bursts

SECONDS = 60
CURVE = inverter_curve(1000.0, 8.0, 90.0)


def tool(random):
    """A tool of any outlet, some with a start of half a second."""
    working_w = float(random.integers(1, 8)) * 60.0
    start_w = working_w * float(random.choice([1.0, 1.0, 2.5]))
    return SimpleNamespace(
        supply=str(random.choice(["ac", "ac", "dc12", "usb"])),
        kind="steady",
        working_w=working_w,
        power_factor=float(random.choice([1.0, 0.6])),
        start_w=start_w,
        start_s=0.5,
    )


def wanted(seed):
    """Tools, bursts of them in whole seconds of a minute, and limits that some such sets break."""
    random = np.random.default_rng(seed)
    tools = [tool(random) for _ in range(4)]
    some = []
    for task, one in enumerate(tools):
        for window in range(2):
            starts = np.sort(random.choice(SECONDS // 2 - 6, 2, replace=False)) + window * 30.0
            placed = [(starts[0], starts[0] + 1.0), (starts[1], starts[1] + 5.0)]
            some += bursts(one, task, window, placed, (0.0, float(SECONDS)))
    on = ["with-tasks", "only-in-use", "always", [(0.0, 50.0)]][int(random.integers(4))]
    limits = Limits(CURVE, float(random.integers(9, 25)) * 100.0, 1.0, on,
                    {"dc12": 700.0, "usb": 700.0}, {"dc12": 0.95, "usb": 0.9}, 3.0, 1900.0,
                    1900.0)  # fmt: skip
    return tools, some, limits


def on_at(second, tools, some, limits):
    """Whether the inverter is on in a second."""
    mains = [burst for burst in some if tools[burst.task].supply == "ac"]
    if limits.on == "always":
        return True
    if not isinstance(limits.on, str):
        return any(start <= second < end for start, end in limits.on)
    if limits.on == "only-in-use":
        return any(burst.start_s <= second < burst.end_s for burst in mains)
    of = {}
    for burst in mains:
        of.setdefault((burst.task, burst.window), []).append(burst)
    return any(
        min(b.start_s for b in mine) <= second < max(b.end_s for b in mine) for mine in of.values()
    )


def broken_at(second, tools, some, limits):
    """Whether what runs in a second passes a limit, counted by hand."""
    runs = [burst for burst in some if burst.start_s <= second < burst.end_s]
    watts = dict.fromkeys(("ac", "dc12", "usb"), 0.0)
    va = surge_w = 0.0
    for burst in runs:
        one = tools[burst.task]
        watts[one.supply] += one.working_w
        if one.supply == "ac":
            va += one.working_w / one.power_factor
            surge_w += (one.start_w - one.working_w) * (burst.start_s == second)
    on = on_at(second, tools, some, limits)
    asked = limits.idle_w + watts["dc12"] / 0.95 + watts["usb"] / 0.9
    asked += float(CURVE.input_w(np.array([watts["ac"]]))[0]) * on
    return (
        watts["dc12"] > 700.0
        or watts["usb"] > 700.0
        or va > 1000.0
        or watts["ac"] + surge_w > limits.surge_w
        or (watts["ac"] > 0.0 and not on)
        or asked > limits.discharge_max_w
    )


def test_many_bursts_fit_together_where_no_second_passes_a_limit():
    fitting = 0
    for seed in range(150):
        tools, some, limits = wanted(seed)
        edges = np.arange(SECONDS + 1.0)
        broken = any(broken_at(t, tools, some, limits) for t in range(SECONDS))
        assert all_fit(edges, some, tools, limits) == (not broken), seed
        assert bool(overloads(edges, some, tools, range(4), limits)) == broken, seed
        fitting += not broken
    assert 20 < fitting < 130


def test_the_inverter_is_on_second_by_second_as_its_bursts_ask():
    for seed in range(50):
        tools, some, limits = wanted(seed)
        on = inverter_on(np.arange(SECONDS + 1.0), some, tools, limits)
        assert on.tolist() == [on_at(t, tools, some, limits) for t in range(SECONDS)], seed


def test_there_is_room_in_the_seconds_in_which_one_more_passes_no_limit():
    for seed in range(50):
        tools, some, limits = wanted(seed)
        accepted = some[::3]
        if isinstance(limits.on, str) and limits.on == "with-tasks":
            accepted = []  # one more would keep it on from its own first to its last
        more = SimpleNamespace(**{**vars(tools[0]), "start_w": tools[0].working_w})
        free = room(np.arange(SECONDS + 1.0), accepted, tools, limits, more, more.working_w, False)
        beside = [*tools, more]
        runs = [t for t in range(SECONDS) if not broken_at(t, tools, accepted, limits)]
        for t in runs:
            one = bursts(more, 4, 0, [(float(t), t + 1.0)], (0.0, float(SECONDS)))
            broken = broken_at(t, beside, [*accepted, *one], limits)
            assert free[t] == (not broken), (seed, t)


PLANS = [
    ("builtin:cloudy-repair", {}),
    ("builtin:cloudy-repair", {"pack.chemistry": "agm", "pack.charge_max_w": 150}),
    ("builtin:cloudy-repair", {"pack.inverter.on": [["08:00", "17:00"]]}),
    ("builtin:cloudy-repair", {"charger": [{"watts": 60, "between": ["11:10", "12:25"]}]}),
    ("builtin:two-night-trip", {"pack.inverter.on": "only-in-use"}),
    ("builtin:january-job", {}),
]


@pytest.mark.parametrize(("name", "change"), PLANS)
def test_choices_side_by_side_go_as_each_of_them_alone(name, change):
    known = budget(Plan.read(name).replace(**change))
    random = np.random.default_rng(0)
    sets = [
        [burst for burst in known.running if random.random() < part]
        for part in (0.0, 0.3, 0.6, 1.0)
    ]
    margins = Batch(known).margins(sets)
    within = 1e-9 if known.case.battery.lithium else 1e-3  # its two wells ask for a step's length
    for some, found in zip(sets, margins, strict=True):
        alone = with_bursts(known, some)
        height = alone.lowest_percent - alone.cold_unavailable_at_lowest_percent
        height -= known.plan.pack.reserve_percent
        assert ((found >= 0.0) == alone.success).all()
        assert np.abs(found - height)[alone.success].max(initial=0.0) < within


def test_a_pass_without_books_goes_as_one_with_them():
    case = budget(Plan.read("builtin:january-job")).case
    plain, quick = simulate(case), simulate(case, books=False)
    assert np.array_equal(plain.store_wh, quick.store_wh)
    assert np.array_equal(plain.first_short_s, quick.first_short_s)
    assert plain.ran_short.any()


def test_a_fix_comes_with_the_whole_budget_of_its_plan():
    known = budget(Plan.read("builtin:cloudy-repair"))
    for fix in fixes(known).found:
        whole = changed(known, fix.change)
        assert whole.ledger_wh["delivered"].min() > 0.0
        for name, wh in whole.ledger_wh.items():
            assert np.array_equal(fix.budget.ledger_wh[name], wh), (fix.kind, name)
