"""How large must panels and pack be for a shed that stays? `energy size --season year`.

A size reaches a goal when on so many percent of all days nothing asked is lost. Days are run in
`years`; the same few points are picked as for a job (`size`).
"""

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
from energy.plan import Plan, PlanError, require_plan
from energy.plan.dates import starting
from energy.simulation.budget import budget
from energy.simulation.bursts import days_of
from energy.simulation.case import calendar_of
from energy.simulation.overloads import why_turned_away

PANEL_SIZES, BATTERY_SIZES = 8, 72  # a year is long: fewer sizes than for a job
FIRST_CUTS, CUTS = 5, 3  # sizes tried between two known ones: at first, and then
MIDWINTER = ((12, 21), (6, 21))  # north of the equator, and south


def year_size(plan: Plan, progress: Callable[[int, int], None] | None = None) -> Size:
    """The smallest packs that serve so many percent of all days of whole years, and the pick.

    plan: what is to be served, its days repeated over and over; its `[size]` table may state which
        sizes to look at.
    progress: is told (days run, of about how many).

    Raises PlanError as `years` does.

    >>> lamp = {"name": "lamp", "supply": "dc12", "working_w": 9}
    >>> shed = Plan.read("builtin:cloudy-repair").replace(
    ...     weather={"kind": "clear", "futures": 1}, task=[lamp],
    ...     size={"panel_w": [400, 400], "battery_wh": [2000, 2000]})
    >>> answer = year_size(shed)
    >>> answer.whole_years.own.lost_percent >= 0.0
    True
    """
    require_plan(plan)
    weather = year_weather(plan)
    designs = make_designs(_in_midwinter(plan))
    panel_w, sizes_wh = (
        _thinned(sizes, most)
        for sizes, most in zip(
            ranges(designs, stays=True), (PANEL_SIZES, BATTERY_SIZES), strict=True
        )
    )
    goals = goals_of(plan)
    rounds = _Rounds(progress, 1 if designs.overloads else 3)
    smallest = np.full((panel_w.size, len(goals)), sizes_wh.size)
    if not designs.overloads:
        smallest = _smallest(weather, panel_w, sizes_wh, goals, rounds.tell)
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
    """Progress over rounds of years, whose number is only about known."""

    progress: Callable[[int, int], None] | None
    expected: int
    done: int = 0

    def tell(self, day: int, days: int) -> None:
        """A day of a round; the last one is that in which the pick is looked at."""
        if self.progress is not None:
            self.progress(self.done * days + day, max(self.expected, self.done + 2) * days)
        self.done += day == days

    def last(self, day: int, days: int) -> None:
        """A day of the last round."""
        self.expected = self.done + 1
        self.tell(day, days)


def _in_midwinter(plan: Plan) -> Plan:
    """The plan's span moved to the darkest days, which decide how large a range is sensible; its
    own where its work cannot be done then, for want of daylight."""
    month, day = MIDWINTER[plan.place.latitude_deg < 0.0]
    moved = plan.replace(**starting(plan, plan.span.start.date().replace(month=month, day=day)))
    try:
        days_of(moved, calendar_of(moved))
    except PlanError:
        return plan
    return moved


def _thinned(values: Array, most: int) -> Array:
    """At most so many of rising values, both ends kept."""
    at = np.round(np.linspace(0, values.size - 1, most)).astype(int)
    return np.asarray(values[np.unique(at)])


def _smallest(
    weather: YearWeather,
    panel_w: Array,
    sizes_wh: Array,
    goals: tuple[float, ...],
    progress: Callable[[int, int], None],
) -> Index:
    """The smallest pack that serves each share of days, (p, goals).

    Searched in averages first; what comes of that is where the whole years are looked at.
    """

    def served(averages: bool) -> Callable[[Index, Index], Array]:
        def of(panel: Index, step: Index) -> Array:
            sizes = panel_w[panel], sizes_wh[step]
            run = run_years(weather, *sizes, None if averages else progress, False, averages)
            return np.asarray(100.0 - run.lost_percent)

        return of

    shape = panel_w.size, sizes_wh.size
    guess = _search(served(averages=True), *shape, goals)
    return _search(served(averages=False), *shape, goals, guess)


def _search(
    served: Callable[[Index, Index], Array],
    panels: int,
    count: int,
    goals: tuple[float, ...],
    guess: Index | None = None,
) -> Index:
    """The smallest of `count` packs that serves each share of days, (p, goals), by rounds of a few
    sizes each, begun with those about a guess.

    served: the percent of days on which the load is served, of numbers of panel sizes and packs.

    A larger pack that never fills may lose more days, its reserve being larger too: what is found
    is a size that does while the next smaller does not.
    """
    low = np.full((panels, len(goals)), -1)
    high = np.full_like(low, count)
    cuts = FIRST_CUTS
    percent: dict[tuple[int, int], float] = {}
    while (open_ := high - low > 1).any():
        asked: set[tuple[int, int]] = set()
        for p, g in np.argwhere(open_).tolist():
            near = None if guess is None else int(guess[p, g])
            asked |= {(p, step) for step in _cuts(low[p, g], high[p, g], cuts, count, near)}
        panel, step = np.array(sorted(asked)).T
        percent |= dict(zip(sorted(asked), served(panel, step).tolist(), strict=True))
        for enough in (True, False):
            bound = high if enough else low
            for (p, size), share in percent.items():
                for g, goal in enumerate(goals):
                    inside = low[p, g] < size < high[p, g]
                    if inside and (share >= goal - 1e-9) == enough:
                        bound[p, g] = size
        cuts = CUTS
    return high


def _cuts(low: int, high: int, cuts: int, count: int, near: int | None = None) -> list[int]:
    """Some sizes between two, evenly in their number, or those about the one that is near; with
    the largest where none is known to do.

    >>> _cuts(-1, 10, 4, 10), _cuts(3, 5, 4, 10), _cuts(3, 4, 4, 10)
    ([1, 3, 6, 8, 9], [4], [])
    >>> _cuts(-1, 10, 4, 10, 4), _cuts(4, 10, 4, 10, 4), _cuts(-1, 3, 4, 10, 4)
    ([3, 4], [5], [2])
    >>> _cuts(5, 10, 4, 10, 4), _cuts(-1, 6, 4, 10, 8)
    ([6, 7], [4, 5])
    """
    if near is None:
        inner = np.linspace(low, high, cuts + 2)[1:-1].round().astype(int).tolist()
        inner += [count - 1] if high == count else []
    elif low < near - 1 < high or low < near < high:
        inner = [near - 1, near]
    elif near <= low:
        inner = [low + 1, 2 * low + 1 - near]
    else:
        inner = [high - 1, 2 * high - near]
    return sorted({int(step) for step in inner if low < step < high})
