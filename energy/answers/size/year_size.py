"""How large must panels and pack be for a shed that stays? `energy size --season year`.

A size reaches a goal when on so many percent of all days nothing asked is lost. Days are run in
`years`; the same few points are picked as for a job (`size`).
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.answers.size.costs import Costs, costs
from energy.answers.size.designs import Designs, design, design_changes, designs
from energy.answers.size.frontier import Frontier
from energy.answers.size.size import (
    GOALS,
    Point,
    at_size,
    pick_of,
    plain,
    points_of,
    ranges,
    within_limits,
)
from energy.answers.size.years import Years, years
from energy.model import Array, Index
from energy.plan import Plan
from energy.simulation.budget import Budget, budget
from energy.simulation.overloads import why_turned_away

if TYPE_CHECKING:
    from matplotlib.figure import Figure

PANEL_SIZES, BATTERY_SIZES = 8, 72  # a year is long: fewer sizes than for a job
FIRST_CUTS, CUTS = 8, 3  # sizes tried between two known ones: at first, and then
MIDWINTER = ((12, 21), (6, 21))  # north of the equator, and south
MONTHS = "January February March April May June July August September October November December"


@dataclass(frozen=True)
class Month:
    """A month over all years: its number, days on which the load is lost [percent], and what is
    not served on a mean day [Wh]."""

    number: int
    lost_percent: float
    unmet_wh_per_day: float

    @property
    def name(self) -> str:
        """Its name."""
        return MONTHS.split()[self.number - 1]


@dataclass(frozen=True)
class Spell:
    """Days on end on which the load is lost: first and last date, unmet energy [Wh] and the lowest
    charge above what the cold locks [percent]."""

    first: date
    last: date
    unmet_wh: float
    lowest_percent: float

    @property
    def days(self) -> int:
        """How many."""
        return (self.last - self.first).days + 1


@dataclass(frozen=True)
class Through:
    """One size through the whole years: worst is the longest spell, or where nothing is ever lost
    the day of the lowest charge (unmet 0)."""

    panel_w: float
    battery_wh: float
    years: int
    dated: bool
    lost_percent: float
    months: tuple[Month, ...]
    worst: Spell

    def as_dict(self) -> dict[str, Any]:
        """As `--json` prints it; dates without a year where the weather has none."""
        dates = (self.worst.first, self.worst.last)
        first, last = (f"{day:%Y-%m-%d}" if self.dated else f"{day:%m-%d}" for day in dates)
        return {
            "panel_w": plain(self.panel_w),
            "battery_wh": plain(self.battery_wh),
            "years": self.years,
            "lost_percent": round(self.lost_percent, 2),
            "months": [
                {
                    "month": month.number,
                    "lost_percent": round(month.lost_percent, 1),
                    "unmet_wh_per_day": round(month.unmet_wh_per_day, 1),
                }
                for month in self.months
            ],
            "worst_spell": {
                "first": first,
                "last": last,
                "days": self.worst.days if self.lost_percent > 0.0 else 0,
                "unmet_wh": round(self.worst.unmet_wh, 1),
                "lowest_percent": round(self.worst.lowest_percent, 1),
            },
        }


@dataclass(frozen=True)
class YearSize:
    """The frontier over whole years, the pick, and the plan's own size and it through them.

    budget is the plan's own span with the pick. own_limit says what the plan's own pack turns away
    whatever its charge, if anything: then `own`, which sees the energy alone, is no answer.
    """

    plan: Plan
    frontier: Frontier
    costs: Costs
    pick: Point | None
    points: tuple[Point, ...]
    own: Through
    own_limit: str | None
    picked: Through | None
    limit: str | None
    least_wh: float | None
    budget: Budget | None = field(repr=False)
    designs: Designs = field(repr=False)

    @property
    def goal(self) -> float:
        """The plan's goal [percent of all days]."""
        return self.plan.goal.chance_percent

    def plot(self) -> "Figure":
        """The map of served days with the goals' lines and the pick: a matplotlib figure."""
        from energy.answers.size.picture import size_map

        return size_map(self)

    @property
    def change(self) -> dict[str, Any]:
        """What makes the plan the pick, as `Plan.replace` takes it; nothing without a pick."""
        if self.pick is None:
            return {}
        return design_changes(self.plan, self.pick.panel_w, self.pick.battery_wh)

    @property
    def yes(self) -> bool:
        """Whether a size in the range reaches the plan's goal."""
        return self.pick is not None

    @property
    def why(self) -> str:
        """Why this pick, or what stands in the way."""
        if self.pick is not None:
            return self.pick.why
        found = self.frontier
        text = (
            f"No pack up to {found.sizes_wh[-1]:.0f} Wh serves {self.goal:g} % of all days with"
            f" panels up to {found.panel_w[-1]:.0f} W"
        )
        return text if self.limit is None else f"{text}; {self.limit}"

    @property
    def kit_notes(self) -> tuple[str, ...]:
        """That a list of candidates is not used, where the plan names one."""
        asked = self.plan.size
        if asked is None or asked.candidates is None:
            return ()
        return (
            f"{Path(asked.candidates).name} is not used: whole years are sized on a scale, without"
            " real things; leave out --season year for kits",
        )

    def as_dict(self) -> dict[str, Any]:
        """The answer as `--json` prints it; goals are percent of all days."""
        rows = [self.frontier.battery_wh(goal) for goal in GOALS]
        p = self.pick
        return {
            "season": "year",
            "goal": plain(self.goal),
            "frontier": [
                {
                    "panel_w": plain(watts),
                    "battery_wh": {
                        f"{g:g}": plain(row[k]) for g, row in zip(GOALS, rows, strict=True)
                    },
                }
                for k, watts in enumerate(self.frontier.panel_w.tolist())
            ],
            "floor_wh": plain(self.frontier.floor_wh),
            "pick": {
                "panel_w": None if p is None else plain(p.panel_w),
                "battery_wh": None if p is None else plain(p.battery_wh),
                "kg": None if p is None else round(p.kg, 1),
                "price": None if p is None else round(p.price),
                "why": self.why,
                "year": None if self.picked is None else self.picked.as_dict(),
            },
            "own": {**self.own.as_dict(), "cannot": self.own_limit},
        }


def year_size(plan: Plan, progress: Callable[[int, int], None] | None = None) -> YearSize:
    """The smallest packs that serve so many percent of all days of whole years, and the pick.

    `progress` is told (days run, of about how many). Raises PlanError as `years` does.
    """
    of = designs(_in_midwinter(plan))
    panel_w, sizes_wh = (
        _thinned(all_, most)
        for all_, most in zip(ranges(of, stays=True), (PANEL_SIZES, BATTERY_SIZES), strict=True)
    )
    goals = tuple(sorted({*GOALS, plan.goal.chance_percent}))
    smallest = np.full((panel_w.size, len(goals)), sizes_wh.size)
    rounds = _Rounds(progress, 0 if of.overloads else sizes_wh.size)
    if not of.overloads:
        smallest = _search(plan, panel_w, sizes_wh, goals, rounds)
    found = Frontier(panel_w, sizes_wh, goals, smallest, (), 0)
    found, limit, least_wh = within_limits(of, found)
    lines = costs(of.plan)
    pick = pick_of(found, plan.goal.chance_percent, lines)
    sizes = [(of.base_w, plan.pack.capacity_wh)]
    sizes += [] if pick is None else [(pick.panel_w, pick.battery_wh)]
    watts, labels = (np.array(values) for values in zip(*sizes, strict=True))
    through = years(plan, watts, labels, rounds.last)
    as_it_is = at_size(of, plan.pack.capacity_wh)
    return YearSize(
        plan=plan,
        frontier=found,
        costs=lines,
        pick=pick,
        points=() if pick is None else points_of(found, pick, lines),
        own=through_years(through, 0),
        own_limit=why_turned_away(as_it_is) if as_it_is.overloads else None,
        picked=None if pick is None else through_years(through, 1),
        limit=limit,
        least_wh=least_wh,
        budget=None if pick is None else budget(design(plan, pick.panel_w, pick.battery_wh)),
        designs=of,
    )


@dataclass
class _Rounds:
    """Progress over rounds of years, whose number is only about known: those that the cuts of so
    many sizes take, and one for the pick."""

    progress: Callable[[int, int], None] | None
    sizes: int
    done: int = 0

    def next(self, day: int, days: int) -> None:
        """A day of one of the search's rounds."""
        narrowed = math.log(max(self.sizes / (FIRST_CUTS + 1), 1.0)) / math.log(CUTS + 1)
        expected = 2 + math.ceil(narrowed) if self.sizes else 1
        self._tell(day, days, max(expected, self.done + 2))

    def last(self, day: int, days: int) -> None:
        """A day of the round in which the pick is looked at."""
        self._tell(day, days, self.done + 1)

    def _tell(self, day: int, days: int, rounds: int) -> None:
        if self.progress is not None:
            self.progress(self.done * days + day, rounds * days)
        self.done += day == days


def _in_midwinter(plan: Plan) -> Plan:
    """The plan's span moved to the darkest days, which decide how large a range is sensible."""
    if plan.weather.kind == "forecast":
        return plan  # refused with a reason where the years are laid out
    month, day = MIDWINTER[plan.place.latitude_deg < 0.0]
    start = plan.span.start.replace(month=month, day=day)
    return plan.replace(
        **{"span.start": start, "span.end": start + (plan.span.end - plan.span.start)}
    )


def _thinned(values: Array, most: int) -> Array:
    """At most so many of rising values, both ends kept."""
    at = np.round(np.linspace(0, values.size - 1, most)).astype(int)
    return np.asarray(values[np.unique(at)])


def _search(
    plan: Plan,
    panel_w: Array,
    sizes_wh: Array,
    goals: tuple[float, ...],
    rounds: "_Rounds",
) -> Index:
    """The smallest pack that serves each share of days, (p, goals), by rounds of a few sizes each.

    A larger pack that never fills may lose more days, its reserve being larger too: what is found
    is a size that does while the next smaller does not.
    """
    count = sizes_wh.size
    low = np.full((panel_w.size, len(goals)), -1)
    high = np.full_like(low, count)
    cuts = FIRST_CUTS
    served: dict[tuple[int, int], float] = {}
    while (high - low > 1).any():
        asked = [
            (p, int(step))
            for p in range(panel_w.size)
            for step in sorted(
                {s for g in range(len(goals)) for s in _cuts(low[p, g], high[p, g], cuts, count)}
            )
        ]
        p, step = (np.array(values) for values in zip(*asked, strict=True))
        lost = years(plan, panel_w[p], sizes_wh[step], rounds.next).lost_percent
        served |= dict(zip(asked, (100.0 - lost).tolist(), strict=True))
        for (k, size), share in served.items():
            for g, goal in enumerate(goals):
                if low[k, g] < size < high[k, g] and share >= goal - 1e-9:
                    high[k, g] = size
        for (k, size), share in served.items():
            for g, goal in enumerate(goals):
                if low[k, g] < size < high[k, g] and share < goal - 1e-9:
                    low[k, g] = size
        cuts = CUTS
    return high


def _cuts(low: int, high: int, cuts: int, count: int) -> list[int]:
    """Some sizes between two, evenly in their number; with the largest where none is known to do.

    >>> _cuts(-1, 10, 4, 10), _cuts(3, 5, 4, 10), _cuts(3, 4, 4, 10)
    ([1, 3, 6, 8, 9], [4], [])
    """
    inner = np.linspace(low, high, cuts + 2)[1:-1].round().astype(int).tolist()
    inner += [count - 1] if high == count else []
    return sorted({int(step) for step in inner if low < step < high})


def through_years(found: Years, design: int) -> Through:
    """One design of those run: its months and its worst spell."""
    lost, unmet = found.lost[:, design], found.unmet_wh[:, design]
    month = found.dates.astype("datetime64[M]").astype(int) % 12 + 1
    months = [
        Month(
            k,
            100.0 * float(lost[month == k].mean()) if (month == k).any() else 0.0,
            float(unmet[month == k].mean()) if (month == k).any() else 0.0,
        )
        for k in range(1, 13)
    ]
    return Through(
        panel_w=float(found.panel_w[design]),
        battery_wh=float(found.battery_wh[design]),
        years=lost.shape[1],
        dated=found.dated,
        lost_percent=float(found.lost_percent[design]),
        months=tuple(months),
        worst=_worst(found, design),
    )


def _worst(found: Years, design: int) -> Spell:
    """The longest spell of lost days (of equals the one with most unmet), else the lowest day."""
    lost, unmet = found.lost[:, design], found.unmet_wh[:, design]
    lowest = found.lowest[:, design]
    spells: list[tuple[int, float, int, int]] = []  # days, Wh, year, first day
    for year in range(lost.shape[1]):
        edge = np.diff(np.concatenate([[0], lost[:, year].astype(int), [0]]))
        firsts, ends = (np.flatnonzero(edge == turn).tolist() for turn in (1, -1))
        for first, end in zip(firsts, ends, strict=True):
            spells.append((end - first, float(unmet[first:end, year].sum()), year, first))
    if not spells:
        first_low, year_low = divmod(int(lowest.argmin()), lowest.shape[1])
        spells.append((1, 0.0, year_low, first_low))
    length, energy, year, first = max(spells, key=lambda s: s[:2])
    days = found.dates[first : first + length, year].astype(object)
    low = 100.0 * float(lowest[first : first + length, year].min())
    return Spell(days[0], days[0] + timedelta(days=length - 1), energy, low)
