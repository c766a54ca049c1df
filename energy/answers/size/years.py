"""A shed that stays: on which days of whole years the load is lost, with any sizes at once.

Every year is run day by day from a state that is carried on. Worth: at once, the store of 64
designs through ten years of the January demo (184,000 segments each) would take 0.9 GB;
`test_years` holds the days against a span in one go. Which sizes to take is for `year_size`.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from energy.answers.size.designs import Designs
from energy.answers.size.year_weather import YEAR_DAYS, FewYears, YearWeather, year_weather
from energy.model import Array, Mask
from energy.model.compiled import Sweep, laid_out, repaid
from energy.model.simulate import Case, simulate
from energy.plan import Plan
from energy.simulation.success import lowest_point

Progress = Callable[[int, int], None]
_Days = Iterator[tuple[Mask, Array, Array]]  # ran short, unmet [Wh], lowest [share of C]


@dataclass(frozen=True)
class Years:
    """Designs run through whole years day by day: d days, m designs, y years.

    panel_w, battery_wh: the designs [W, Wh], (m,).
    dates: on the plan's clock, (d, y); of no year in particular where `dated` is False.
    lost: the charge fell below the reserve that day or something asked was not served, (d, m, y).
    unmet_wh: what was not served that day [Wh], (d, m, y).
    lowest: the day's lowest charge above what the cold holds back [share of C], (d, m, y).
    """

    panel_w: Array
    battery_wh: Array
    dates: NDArray[np.datetime64]
    dated: bool
    lost: Mask
    unmet_wh: Array
    lowest: Array

    @property
    def lost_percent(self) -> Array:
        """The share of all days on which each design loses its load [percent], (m,)."""
        return np.asarray(100.0 * self.lost.mean(axis=(0, 2)))


def years(plan: Plan, panel_w: Array, battery_wh: Array, progress: Progress | None = None) -> Years:
    """Run designs through every whole year that the plan's weather holds.

    plan: its days are repeated through the year.
    panel_w, battery_wh: the labels of each design [W, Wh], (m,).
    progress: is told (days done, of how many).

    Raises PlanError as `budget` does, and for a forecast or a record without one whole year.

    >>> year = years(Plan.read("builtin:cloudy-repair"), np.array([900.0]), np.array([4000.0]))
    >>> year.lost.shape, year.dated
    ((365, 1, 1), False)
    """
    return run_years(year_weather(plan), panel_w, battery_wh, progress)


def run_years(
    weather: YearWeather, panel_w: Array, battery_wh: Array, progress: Progress | None = None
) -> Years:
    """As `years`, in weather that is laid out: for round after round of designs."""
    days, total = [], len(weather.pieces) * YEAR_DAYS
    for number, piece in enumerate(weather.pieces):

        def day_done(day: int, before: int = number * YEAR_DAYS) -> None:
            if progress is not None:
                progress(before + day, total)

        days.append((piece.dates, *_day_by_day(piece, panel_w, battery_wh, day_done)))
    dates, lost, unmet_wh, lowest = (
        np.concatenate(several, axis=-1) for several in zip(*days, strict=True)
    )
    return Years(panel_w, battery_wh, dates, weather.dated, lost, unmet_wh, lowest)


def _day_by_day(
    years: FewYears, panel_w: Array, battery_wh: Array, day_done: Callable[[int], None]
) -> tuple[Mask, Array, Array]:
    """Lost, unmet [Wh] and lowest [share of C] of each day, (d, m, y)."""
    designs, case = years.designs, years.designs.cases[0]
    reserve = designs.plan.pack.reserve_percent / 100.0
    shape = (years.midnights.size - 1, panel_w.size, case.factor.shape[1])
    lost, unmet_wh, lowest = np.zeros(shape, dtype=bool), np.zeros(shape), np.zeros(shape)
    edges = np.searchsorted(case.edges, years.midnights).tolist()
    steps = (edges[-1] - edges[0]) * panel_w.size * shape[2]
    through = _compiled if repaid(case.battery, steps) else _simulated
    days = (case.between(first, last) for first, last in pairwise(edges))
    for day, (short, unmet, low) in enumerate(through(designs, days, panel_w, battery_wh)):
        lost[day] = short | (low < reserve - 1e-11)
        unmet_wh[day], lowest[day] = unmet, low
        day_done(day + 1)
    return lost, unmet_wh, lowest


def _simulated(designs: Designs, days: Iterable[Case], panel_w: Array, battery_wh: Array) -> _Days:
    """Each design through day after day in every year, (m, y)."""
    count = designs.cases[0].factor.shape[1]
    year = np.tile(np.arange(count), panel_w.size)
    watts, labels = np.repeat(panel_w, count), np.repeat(battery_wh, count)
    state = None
    for today in days:
        case = designs.scaled(today, watts, labels, year)
        simulated = simulate(case, state=state)
        state = simulated.end
        _, above_percent = lowest_point(case, simulated)
        shape = panel_w.size, count
        unmet_wh = simulated.unmet_wh.sum(axis=0).reshape(shape)
        yield simulated.ran_short.reshape(shape), unmet_wh, above_percent.reshape(shape) / 100.0


def _compiled(designs: Designs, days: Iterable[Case], panel_w: Array, battery_wh: Array) -> _Days:
    """As `_simulated`, by machine code."""
    case, count = designs.cases[0], designs.cases[0].factor.shape[1]
    year = np.arange(count)
    # What a cable loses, and an input limited in amps takes, is not in proportion to the panels:
    # each size of them is a sweep of its own.
    alike = designs.one_limit and not designs.plan.run
    parts, number = np.unique([designs.base_w] if alike else panel_w, return_inverse=True)
    sweeps = []
    for k, watts in enumerate(parts.tolist()):
        at = np.flatnonzero(np.broadcast_to(number == k, panel_w.shape))
        packs = designs.battery(case, np.tile(battery_wh[at], count), np.repeat(year, at.size))
        limit_w = designs.limit_w(watts) * case.controller_efficiency
        share = panel_w[at] / watts if alike else np.ones(at.size)  # of no panel as well
        sweeps.append((watts, at, Sweep(packs, share, limit_w)))
    for today in days:
        low, unmet, hours = np.zeros((3, panel_w.size, count))
        laid = laid_out(today)
        for watts, at, sweep in sweeps:
            solar_w = designs.solar_w(today, np.full(count, watts), year)
            passed = sweep.run(replace(today, solar_w=solar_w), laid)
            low[at], unmet[at], hours[at] = (
                values.T for values in (passed.lowest, passed.unmet_wh, passed.hours_without)
            )
        yield hours > 0.0, unmet, low
