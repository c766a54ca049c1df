"""How large must panels and pack be for this job? The answer of `energy size`.

The smallest packs come from `frontier`; here lie what range to look at, what a pack's limits
forbid, and which size a sensible person would take. Real things to buy are for `kits`.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.answers.size.costs import Costs, costs
from energy.answers.size.designs import Designs, design, design_changes, designs
from energy.answers.size.frontier import Frontier, frontier
from energy.answers.size.proposal import load_and_sun
from energy.model import Array
from energy.plan import Plan
from energy.simulation.budget import Budget, budget
from energy.simulation.overloads import why_turned_away

GOALS = (80.0, 90.0, 95.0, 99.0)
PANEL_SIZES, BATTERY_STEPS = 20, 200  # about so many are looked at
MOST_PANEL = 2.5  # times the panels that just make what the job uses
MOST_DAYS = 10.0  # of load in a pack, where the job itself is longer
YEAR_MOST_DAYS = 30.0  # where it goes on through the year
LEAST_WH = 1.0  # no plan's pack is smaller
BEYOND_POWER = 1.5  # times the smallest pack that can give the power
NEARLY = 1.03  # so nearly is that one found

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure


@dataclass(frozen=True)
class Point:
    """A size that reaches a goal [percent], and what speaks for it; kg and price of both."""

    panel_w: float
    battery_wh: float
    goal: float
    kg: float
    price: float
    why: str


@dataclass(frozen=True)
class Size:
    """The frontier, the pick and a few other points worth considering.

    pick is None where nothing in the range reaches the plan's goal: `why` then says what stands
    in the way. limit says which packs cannot give the power, least_wh from which size on they can.
    """

    plan: Plan
    frontier: Frontier
    costs: Costs
    pick: Point | None
    points: tuple[Point, ...]
    budget: Budget | None = field(repr=False)
    why: str
    limit: str | None
    least_wh: float | None
    designs: Designs = field(repr=False)

    @property
    def goal(self) -> float:
        """The plan's goal [percent]."""
        return self.plan.goal.chance_percent

    @property
    def yes(self) -> bool:
        """Whether a size in the range reaches the plan's goal."""
        return self.pick is not None

    @property
    def floor_wh(self) -> float | None:
        """The smallest pack looked at, where a goal is reached with it already."""
        return self.frontier.floor_wh

    @property
    def change(self) -> dict[str, Any]:
        """What makes the plan the pick, as `Plan.replace` takes it; nothing without a pick."""
        if self.pick is None:
            return {}
        return design_changes(self.plan, self.pick.panel_w, self.pick.battery_wh)

    def _repr_html_(self) -> str:
        return str(self.table().to_html())

    def table(self) -> "pd.DataFrame":
        """The smallest pack [Wh] for each size of panel [W] and each goal; NaN where none does."""
        import pandas as pd

        columns = {f"{goal:g} %": self.frontier.battery_wh(goal) for goal in GOALS}
        index = pd.Index(self.frontier.panel_w, name="panel_w")
        return pd.DataFrame(columns, index=index, dtype=float)

    def plot(self) -> "Figure":
        """The map of the chance with the goals' lines and the pick: a matplotlib figure."""
        from energy.answers.size.picture import size_map

        return size_map(self)

    def as_dict(self) -> dict[str, Any]:
        """The answer as `--json` prints it, without kits and worksheet."""
        rows = [self.frontier.battery_wh(goal) for goal in GOALS]
        names = [f"{goal:g}" for goal in GOALS]
        p, result = self.pick, self.budget
        return {
            "goal": plain(self.goal),
            "frontier": [
                {
                    "panel_w": plain(watts),
                    "battery_wh": {n: plain(row[k]) for n, row in zip(names, rows, strict=True)},
                }
                for k, watts in enumerate(self.frontier.panel_w.tolist())
            ],
            "floor_wh": plain(self.floor_wh),
            "pick": {
                "panel_w": None if p is None else plain(p.panel_w),
                "battery_wh": None if p is None else plain(p.battery_wh),
                "kg": None if p is None else round(p.kg, 1),
                "price": None if p is None else round(p.price),
                "why": self.why,
                "chance": None if result is None else result.chance.as_dict(),
            },
        }


def size(plan: Plan, progress: Callable[[int, int], None] | None = None) -> Size:
    """The smallest packs for panels of many sizes, in all weathers of the plan's season.

    `progress` is told how many of the panel sizes times goals are settled. Raises PlanError as
    `budget` does.

    >>> answer = size(Plan.read("builtin:cloudy-repair"))
    >>> answer.pick is not None and answer.budget.yes
    True
    """
    of = designs(plan)
    panel_w, sizes_wh = ranges(of)
    goals = tuple(sorted({*GOALS, plan.goal.chance_percent}))
    if of.overloads:
        nothing = np.full((panel_w.size, len(goals)), sizes_wh.size)
        none = np.full((panel_w.size, of.groups[0].success.size), sizes_wh.size)
        found = Frontier(panel_w, sizes_wh, goals, nothing, (none,), 0)
    else:
        found = frontier(of, panel_w, sizes_wh, goals, progress)
    found, limit, least_wh = within_limits(of, found)
    lines = costs(plan)
    pick = pick_of(found, plan.goal.chance_percent, lines)
    if pick is None:
        why = _out_of_range(of, found, limit)
        return Size(plan, found, lines, None, (), None, why, limit, least_wh, of)
    chosen = budget(design(of.plan, pick.panel_w, pick.battery_wh), known=of.with_ends)
    return Size(
        plan=plan,
        frontier=found,
        costs=lines,
        pick=pick,
        points=points_of(found, pick, lines),
        budget=chosen,
        why=pick.why,
        limit=limit,
        least_wh=least_wh,
        designs=of,
    )


# --- what to look at ----------------------------------------------------------------------------


def ranges(of: Designs, stays: bool = False) -> tuple[Array, Array]:
    """Panel sizes [W] and pack sizes [Wh] to look at: the plan's own ranges, else from the load.

    Panels from none to two and a half times those that make what the job uses in its mean
    weather; packs from next to nothing up to one that carries the whole job, or ten days of it,
    without any sun (for a shed that stays: thirty days), and well past the one that can give the
    power.

    >>> watts, sizes = ranges(designs(Plan.read("builtin:january-job")))
    >>> watts[[0, -1]].tolist(), sizes[[0, 1, -1]].tolist()
    ([400.0, 1600.0], [1500.0, 1520.0, 8000.0])
    """
    asked = of.plan.size
    load_wh, sun_wh, days = load_and_sun(of.groups[0])
    load_wh = max(load_wh, 1.0)  # other charging may bring more than is asked
    pack = of.plan.pack
    if asked is not None and asked.panel_w is not None:
        panel = asked.panel_w
    else:
        makes_w = load_wh / max(sun_wh, 1e-9) * of.base_w
        most_w = min(max(MOST_PANEL * makes_w, of.base_w), 20.0 * of.base_w)
        each = round_step(most_w / PANEL_SIZES, up=True)
        panel = 0.0, math.ceil(most_w / each) * each
    if asked is not None and asked.battery_wh is not None:
        battery = asked.battery_wh
    else:
        cold_unavailable = float(of.groups[0].cold_unavailable_percent.max()) + pack.reserve_percent
        usable = (
            max(pack.start_percent - cold_unavailable, 10.0) / 100.0 * pack.health_percent / 100.0
        )
        held = YEAR_MOST_DAYS / days if stays else min(1.5, 1.5 * MOST_DAYS / days)
        carries = held * load_wh / usable
        most = max(carries, pack.capacity_wh)
        if not of.overloads:
            most = BEYOND_POWER * strong_enough_wh(of, most / BEYOND_POWER)
        each = round_step(most / BATTERY_STEPS)
        low, high = (math.ceil(wh / each) * each for wh in (max(each, LEAST_WH), most))
        battery = low, high
    return _between(*panel, PANEL_SIZES, up=True), _between(*battery, BATTERY_STEPS)


def round_step(value: float, up: bool = False) -> float:
    """The nearest of 1, 2 and 5 tens below a value, or above it.

    >>> round_step(32.0), round_step(80.0, up=True)
    (20.0, 100.0)
    """
    tens = 10.0 ** math.floor(math.log10(value))
    steps = [k * tens for k in (1.0, 2.0, 5.0, 10.0)]
    if up:
        return next(s for s in steps if s >= value * (1.0 - 1e-9))
    return max(s for s in steps if s <= value * (1.0 + 1e-9))


def _between(low: float, high: float, steps: int, up: bool = False) -> Array:
    """Both ends and all round figures between them, about so many; one where the ends are one."""
    if low == high:
        return np.array([low])
    each = round_step((high - low) / steps, up)
    first = math.floor(low / each) + 1
    inner = each * np.arange(first, math.ceil(high / each - 1e-9))
    return np.unique(np.round(np.concatenate([[low], inner, [high]]), 6))


# --- what limits forbid -------------------------------------------------------------------------


def within_limits(of: Designs, found: Frontier) -> tuple[Frontier, str | None, float | None]:
    """The frontier without packs that cannot give the power, which those are in words, and the
    smallest size that can: of the list, or about that where none of the list can."""
    count = found.sizes_wh.size
    if of.overloads:
        return found, f"no pack size serves the plan: {why_turned_away(of.groups[0])}", None
    low, high = min(int(found.smallest.min()), count - 1), count
    if not at_size(of, found.sizes_wh[low]).overloads:
        return found, None, None
    while high - low > 1:
        middle = (low + high) // 2
        weak = at_size(of, found.sizes_wh[middle]).overloads
        low, high = (middle, high) if weak else (low, middle)
    smallest = np.where(found.smallest < count, np.maximum(found.smallest, high), count)
    begins = tuple(
        np.where(group < count, np.maximum(group, high), count) for group in found.begins
    )
    why = why_turned_away(at_size(of, found.sizes_wh[low]))
    text = f"{figure(found.sizes_wh[low])} Wh and less is too weak: {why}"
    if high < count:
        least_wh = float(found.sizes_wh[high])
    else:
        least_wh = strong_enough_wh(of, float(found.sizes_wh[-1]))
        text += f"; power enough comes from about {figure(least_wh)} Wh on"
    return replace(found, smallest=smallest, begins=begins), text, least_wh


def at_size(of: Designs, battery_wh: float) -> Budget:
    """The plan with a pack of this label and its own panels, in the plan's own weathers."""
    return budget(design(of.plan, of.base_w, battery_wh), known=replace(of.groups[0], bounds=()))


def strong_enough_wh(of: Designs, least_wh: float) -> float:
    """The smallest pack from least_wh on, to within a few percent, that can give the power.

    No task may be turned away whatever the size (see `Designs.overloads`).
    """
    low, high = least_wh, least_wh
    while at_size(of, high).overloads:
        low, high = high, 2.0 * high
    while high > NEARLY * low:
        middle = math.sqrt(low * high)
        low, high = (middle, high) if at_size(of, middle).overloads else (low, middle)
    each = round_step(high * (NEARLY - 1.0))
    return math.ceil(high / each) * each if high > least_wh else least_wh


def _out_of_range(of: Designs, found: Frontier, limit: str | None) -> str:
    text = (
        f"No pack up to {figure(found.sizes_wh[-1])} Wh reaches"
        f" {of.plan.goal.chance_percent:g} % with panels up to {figure(found.panel_w[-1])} W"
    )
    pack, cold_unavailable = of.plan.pack, float(of.groups[0].cold_unavailable_percent[0].max())
    cold = (of.groups[0].cold_unavailable_percent > 99.9).any(axis=0).mean()
    if limit is None and cold > 1.0 - of.plan.goal.chance_percent / 100.0:
        limit = f"{100.0 * cold:.0f} % of the weathers are too cold to give: no size helps"
    if limit is None and pack.start_percent <= pack.reserve_percent + cold_unavailable:
        limit = (
            f"the pack starts at {pack.start_percent:g} %, and the reserve"
            f"{' above what the cold locks' if cold_unavailable > 0.0 else ''} ends at"
            f" {pack.reserve_percent + cold_unavailable:.0f} %: no size helps"
        )
    return text if limit is None else f"{text}; {limit}"


# --- which to take ------------------------------------------------------------------------------


def pick_of(found: Frontier, goal: float, lines: Costs) -> Point | None:
    """The size at which weight and price, each against the best there is, are least together."""
    column = found.battery_wh(goal)
    sizes = [(w, c) for w, c in zip(found.panel_w.tolist(), column, strict=True) if c is not None]
    if not sizes:
        return None
    kg = np.array([lines.kg(*one) for one in sizes])
    price = np.array([lines.price(*one) for one in sizes])
    k = int(np.argmin(kg / max(kg.min(), 1e-9) + price / max(price.min(), 1e-9)))
    words = [_beside(sizes[k], sizes[j], lines) for j in (k - 1, k + 1) if 0 <= j < len(sizes)]
    why = (
        f"Of all that reach {goal:g} % it has the best of weight and price together"
        f"{': ' if words else ''}{'; '.join(words)}"
    )
    if k == len(sizes) - 1 and len(sizes) > 1:
        why += "; the range of panels ends here, larger ones may be better still"
    if sizes[k][1] == found.floor_wh:
        why += f"; {figure(sizes[k][1])} Wh is the smallest pack looked at: smaller ones may do"
    return Point(*sizes[k], goal, float(kg[k]), float(price[k]), why)


def _beside(taken: tuple[float, float], other: tuple[float, float], lines: Costs) -> str:
    """What the next panel size would change.

    >>> _beside((300.0, 900.0), (400.0, 880.0), Costs(0.05, 0.01, 1.0, 0.6, ()))
    '100 W more panel saves only 20 Wh of pack: 4.8 kg and 88 in price more'
    """
    watts, label = other[0] - taken[0], other[1] - taken[1]
    kg, price = (cost(*other) - cost(*taken) for cost in (lines.kg, lines.price))
    pack = f"{figure(abs(label))} Wh" if abs(label) >= 0.5 else ""
    if watts > 0.0:
        saves = f"only {pack} of pack" if pack else "no pack"
        text = f"{figure(watts)} W more panel saves {saves}"
    else:
        text = f"{figure(-watts)} W less panel needs {pack or 'no'} more pack"
    ways = [
        f"{abs(v):.{d}f} {unit} {'more' if v > 0 else 'less'}"
        for v, d, unit in ((kg, 1, "kg"), (price, 0, "in price"))
    ]
    if (kg > 0.0) == (price > 0.0):
        ways[0] = ways[0].rsplit(" ", 1)[0]
    return f"{text}: {' and '.join(ways)}"


def points_of(found: Frontier, pick: Point, lines: Costs) -> tuple[Point, ...]:
    """The pick, and the few sizes beside it that someone may have a reason for."""

    def point(k: int, goal: float, why: str) -> Point | None:
        watts, label = float(found.panel_w[k]), found.battery_wh(goal)[k]
        if label is None:
            return None
        return Point(watts, label, goal, lines.kg(watts, label), lines.price(watts, label), why)

    every = range(found.panel_w.size)
    same = [p for k in every if (p := point(k, pick.goal, "")) is not None]
    at = int(np.searchsorted(found.panel_w, pick.panel_w))
    small = min(same, key=lambda p: p.battery_wh)
    smallest = f"smallest pack{' looked at' if small.battery_wh == found.floor_wh else ''}"
    wished = [
        replace(pick, why="the pick"),
        replace(min(same, key=lambda p: p.kg), why="lightest"),
        replace(min(same, key=lambda p: p.price), why="cheapest"),
        replace(min(same, key=lambda p: p.panel_w), why="least panel"),
        replace(small, why=smallest),
    ]
    wished += [
        surer
        for goal in found.goals
        if goal > pick.goal and (surer := point(at, goal, "surer")) is not None
    ]
    points: dict[tuple[float, float], Point] = {}
    for one in wished:
        key = one.panel_w, one.battery_wh
        if key in points:
            why = points[key].why if one.why == "surer" else f"{points[key].why}, {one.why}"
            points[key] = replace(points[key], why=why, goal=max(points[key].goal, one.goal))
        else:
            points[key] = one
    return tuple(points.values())


def figure(value: float) -> str:
    """A size as people write it: whole from 20 on, else three figures.

    >>> figure(1234.0), figure(1.28), figure(0.0)
    ('1234', '1.28', '0')
    """
    return f"{value:.0f}" if value >= 20.0 else f"{value:.3g}"


def plain(value: float | None) -> float | int | None:
    """A whole number without its point.

    >>> plain(200.0), plain(0.5)
    (200, 0.5)
    """
    if value is None:
        return None
    return int(value) if value == int(value) else round(value, 2)
