"""How a size fares through whole years: the days on which the load is lost, and the worst spell.

The days are run in `years`.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np

from energy.answers.size.figures import json_number
from energy.answers.size.years import Years

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
        """Its English name."""
        return MONTHS.split()[self.number - 1]


@dataclass(frozen=True)
class Spell:
    """Days on end on which the load is lost: first and last date, unmet energy [Wh] and the lowest
    charge above what the cold holds back [percent]."""

    first: date
    last: date
    unmet_wh: float
    lowest_percent: float

    @property
    def days(self) -> int:
        """How many days it lasts."""
        return (self.last - self.first).days + 1


@dataclass(frozen=True)
class Through:
    """How one size [W, Wh] fares through whole years.

    years: how many.
    dated: whether the weather's years are those of a calendar.
    lost_percent: on how many of all days the load is lost.
    worst: the longest spell, or where nothing is ever lost the day of the lowest charge (unmet 0).
    """

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
            "panel_w": json_number(self.panel_w),
            "battery_wh": json_number(self.battery_wh),
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
class WholeYears:
    """How the plan's own size and the pick fare through whole years.

    own_limit: what the plan's own pack turns away whatever its charge, if anything: then `own`,
        which sees the energy alone, is no answer.
    pick: None where no size in the range reaches the goal.
    notes: lines that the answer should say.
    """

    own: Through
    own_limit: str | None
    pick: Through | None
    notes: tuple[str, ...]


def through_years(years: Years, design: int) -> Through:
    """One of the designs run: its months and its worst spell."""
    lost, unmet = years.lost[:, design], years.unmet_wh[:, design]
    month = years.dates.astype("datetime64[M]").astype(int) % 12 + 1
    months = []
    for number in range(1, 13):
        days = month == number
        percent, wh = (100.0 * lost[days].mean(), unmet[days].mean()) if days.any() else (0.0, 0.0)
        months.append(Month(number, float(percent), float(wh)))
    return Through(
        panel_w=float(years.panel_w[design]),
        battery_wh=float(years.battery_wh[design]),
        years=lost.shape[1],
        dated=years.dated,
        lost_percent=float(years.lost_percent[design]),
        months=tuple(months),
        worst=_worst(years, design),
    )


def _worst(years: Years, design: int) -> Spell:
    """The longest spell of lost days (of equals the one with most unmet), else the lowest day."""
    lost, unmet = years.lost[:, design], years.unmet_wh[:, design]
    lowest = years.lowest[:, design]
    spells: list[tuple[int, float, int, int]] = []  # days, Wh, year, first day
    for year in range(lost.shape[1]):
        turn = np.diff(np.concatenate([[0], lost[:, year].astype(int), [0]]))
        firsts, lasts = (np.flatnonzero(turn == way).tolist() for way in (1, -1))
        for first, end in zip(firsts, lasts, strict=True):
            spells.append((end - first, float(unmet[first:end, year].sum()), year, first))
    if not spells:
        first_low, year_low = divmod(int(lowest.argmin()), lowest.shape[1])
        spells.append((1, 0.0, year_low, first_low))
    length, energy, year, first = max(spells, key=lambda spell: spell[:2])
    days = years.dates[first : first + length, year].astype(object)
    low = 100.0 * float(lowest[first : first + length, year].min())
    return Spell(days[0], days[0] + timedelta(days=length - 1), energy, low)
