"""How large must panels and pack be for a shed that stays? `energy size --season year`.

A size reaches a goal when on so many percent of all days nothing asked is lost. Days are run in
`years`; the same few points are picked as for a job (`size`).
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from energy.answers.size.designs import design, make_designs
from energy.answers.size.frontier import Frontier
from energy.answers.size.ranges import ranges
from energy.answers.size.size import Size, goals_of, recommended
from energy.answers.size.through import WholeYears, through_years
from energy.answers.size.year_weather import YearWeather, year_weather
from energy.answers.size.years import run_years
from energy.model import Array, Index
from energy.plan import Plan
from energy.simulation.budget import budget
from energy.simulation.overloads import why_turned_away

PANEL_SIZES, BATTERY_SIZES = 8, 72  # a year is long: fewer sizes than for a job
FIRST_CUTS, CUTS = 8, 3  # sizes tried between two known ones: at first, and then
MIDWINTER = ((12, 21), (6, 21))  # north of the equator, and south


def year_size(plan: Plan, progress: Callable[[int, int], None] | None = None) -> Size:
    """The smallest packs that serve so many percent of all days of whole years, and the pick.

    plan: what is to be served, its days repeated over and over; its `[size]` table may state which
        sizes to look at.
    progress: is told (days run, of about how many).

    Raises PlanError as `years` does.

    >>> shed = Plan.read("builtin:january-job").replace(
    ...     size={"panel_w": [400, 400], "battery_wh": [2000, 2000]})
    >>> answer = year_size(shed)
    >>> answer.whole_years.own.lost_percent >= 0.0
    True
    """
    weather = year_weather(plan)
    designs = make_designs(_in_midwinter(plan))
    panel_w, sizes_wh = (
        _thinned(sizes, most)
        for sizes, most in zip(
            ranges(designs, stays=True), (PANEL_SIZES, BATTERY_SIZES), strict=True
        )
    )
    goals = goals_of(plan)
    rounds = _Rounds(progress, 0 if designs.overloads else sizes_wh.size)
    smallest = np.full((panel_w.size, len(goals)), sizes_wh.size)
    if not designs.overloads:
        smallest = _search(weather, panel_w, sizes_wh, goals, rounds)
    words = f"serves {plan.goal.chance_percent:g} % of all days"
    reached = Frontier(panel_w, sizes_wh, goals, smallest)
    answer = recommended(plan, designs, reached, words)
    sizes = [(designs.base_w, plan.pack.capacity_wh)]
    sizes += [] if answer.pick is None else [answer.pick.sizes]
    watts, labels = np.array(sizes).T
    through = run_years(weather, watts, labels, rounds.last)
    own = designs.at_size(plan.pack.capacity_wh)
    whole_years = WholeYears(
        own=through_years(through, 0),
        own_limit=why_turned_away(own) if own.overloads else None,
        pick=None if answer.pick is None else through_years(through, 1),
        notes=_candidates_unused(plan),
    )
    with_pick = None if answer.pick is None else budget(design(plan, *answer.pick.sizes))
    return replace(answer, budget=with_pick, whole_years=whole_years)


def _candidates_unused(plan: Plan) -> tuple[str, ...]:
    """That a list of candidates is not used, where the plan names one."""
    if plan.size is None or plan.size.candidates is None:
        return ()
    return (
        f"{Path(plan.size.candidates).name} is not used: whole years are sized on a scale, without"
        " real things; leave out --season year for kits",
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
    weather: YearWeather,
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
        panel, step = (np.array(values) for values in zip(*asked, strict=True))
        lost = run_years(weather, panel_w[panel], sizes_wh[step], rounds.next).lost_percent
        served |= dict(zip(asked, (100.0 - lost).tolist(), strict=True))
        for enough in (True, False):
            bound = high if enough else low
            for (p, size), percent in served.items():
                for g, goal in enumerate(goals):
                    inside = low[p, g] < size < high[p, g]
                    if inside and (percent >= goal - 1e-9) == enough:
                        bound[p, g] = size
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
