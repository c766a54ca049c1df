"""A shed that stays: on which days of whole years the load is lost, with any sizes at once.

Days are run side by side (`model/stretches`); `test_years` holds them against a span in one go.
Which sizes to take is for `year_size`.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from energy.answers.size.year_weather import YEAR_DAYS, FewYears, YearWeather, year_weather
from energy.model import Array, Mask
from energy.model.stretches import NEARLY, SAME, Stretches
from energy.plan import Plan

Progress = Callable[[int, int], None]
Pair = tuple[float, float]


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

    >>> lamp = {"name": "lamp", "supply": "dc12", "working_w": 9}
    >>> shed = Plan.read("builtin:cloudy-repair").replace(
    ...     weather={"kind": "clear", "futures": 1}, task=[lamp])
    >>> year = years(shed, np.array([900.0]), np.array([4000.0]))
    >>> year.lost.shape, year.dated
    ((365, 1, 1), False)
    """
    return run_years(year_weather(plan), panel_w, battery_wh, progress)


def run_years(
    weather: YearWeather,
    panel_w: Array,
    battery_wh: Array,
    progress: Progress | None = None,
    unmet: bool = True,
    averages: bool = False,
) -> Years:
    """As `years`, in weather that is laid out: for round after round of designs.

    unmet: whether what is not served is asked for; else it is 0.
    averages: take the averages of half hours for a guess, in a seventh of the time.
    """
    days, total = [], len(weather.pieces) * YEAR_DAYS
    for number, piece in enumerate(weather.pieces):

        def day_done(day: int, before: int = number * YEAR_DAYS) -> None:
            if progress is not None:
                progress(before + day, total)

        packs = _side_by_side(piece, panel_w, battery_wh, averages)
        through = packs.run(unmet, day_done)
        ways = np.split(packs.way, panel_w.size, axis=2)
        piece.ways.update(zip(_pairs(panel_w, battery_wh), ways, strict=True))
        reserve = piece.designs.plan.pack.reserve_percent / 100.0
        lost = through.ran_short | (through.lowest < reserve - 1e-11)
        days.append((piece.dates, lost, through.unmet_wh, through.lowest))
    dates, *several = (np.concatenate(each, axis=-1) for each in zip(*days, strict=True))
    return Years(panel_w, battery_wh, dates, weather.dated, *several)


def _side_by_side(piece: FewYears, panel_w: Array, battery_wh: Array, averages: bool) -> Stretches:
    """Each design in every year, by the step of the simulation."""
    case = piece.designs.cases[0]
    years = case.factor.shape[1]
    sizes, size = np.unique(panel_w, return_inverse=True)
    suns = [piece.sun_w(watts) for watts in sizes.tolist()]
    rows, same = piece.rows, SAME
    if averages:
        (rows, mean), same = piece.averages, NEARLY
        suns = [mean(sun) for sun in suns]
    year = np.tile(np.arange(years), panel_w.size)
    packs = piece.designs.battery(case, np.repeat(battery_wh, years), year)
    return Stretches(rows, np.stack(suns), size, packs, same, _way(piece, panel_w, battery_wh))


def _way(piece: FewYears, panel_w: Array, battery_wh: Array) -> Array | None:
    """A guess at how designs go, each as that which is nearest to it of those that have run."""
    if not piece.ways:
        return None
    designs = _pairs(panel_w, battery_wh)
    nearest = (min(piece.ways, key=lambda ran: _apart(ran, design)) for design in designs)
    return np.concatenate([piece.ways[ran] for ran in nearest], axis=2)


def _apart(design: Pair, other: Pair) -> Pair:
    """How far two designs differ, in their panels above all [W, Wh]."""
    return abs(design[0] - other[0]), abs(design[1] - other[1])


def _pairs(panel_w: Array, battery_wh: Array) -> list[Pair]:
    return list(zip(panel_w.tolist(), battery_wh.tolist(), strict=True))
