"""24 years of daily light measured at one place, and days drawn from monthly means for it.

The years 1976 to 1999 of daily global irradiation at Wageningen, Netherlands (51 58 N, 5 40 E,
7 m): files NL1.976 to NL1.999 among the test data of the registry package `pcse` (EUPL-1.2),
collected by the university's meteorologists. By the files' own words single missing days from 1987
on were filled from the station De Bilt; September to December 1991 are not there, and one day that
would be brighter than the light above the air, 8 March 1988, counts as missing.
"""

from functools import cache
from importlib.util import find_spec
from pathlib import Path

import numpy as np
from scipy.special import ndtr

from energy.model.sun import clear_sun
from energy.weather.synthetic.climate import day_spread_at
from energy.weather.synthetic.generator import (
    DAY_TO_DAY,
    between_months,
    daily_clearness,
    highest_clearness,
    how_alike,
    month_knots,
    noons,
    normal_scores,
)
from energy.weather.synthetic.synthetic import FIGURES_SIGMA, extraterrestrial_day_wh

LATITUDE, LONGITUDE, ELEVATION_M = 51.97, 5.67, 7.0
DATES = np.arange("1976-01-01", "2000-01-01", dtype="datetime64[D]")
YEAR = DATES.astype("datetime64[Y]").astype(int) + 1970
MONTH = DATES.astype("datetime64[M]").astype(int) % 12
DAY_OF_YEAR = (DATES - DATES.astype("datetime64[Y]")).astype(int) + 1


@cache
def measured_wh() -> np.ndarray:
    """Global light on the flat of each day of DATES [Wh/m2], NaN where there is none."""
    spec = find_spec("pcse")  # its data alone are wanted: nothing of it is imported
    assert spec is not None
    assert spec.origin is not None
    folder = Path(spec.origin).parent / "tests" / "test_data"
    light = np.full(DATES.size, np.inf)
    for year in range(1976, 2000):
        for line in (folder / f"NL1.{year - 1000}").read_text(encoding="ascii").splitlines():
            fields = line.split()
            # Comments begin with a star, remarks on a day's quality with -999; the line of the
            # place is shorter. Columns: station, year, day of the year, kJ/m2, ...
            if len(fields) == 9 and fields[0] == "1":
                assert int(fields[1]) == year
                date = np.datetime64(f"{year}-01-01") + int(fields[2]) - 1
                light[(date - DATES[0]).astype(int)] = float(fields[3]) / 3.6
    return np.where(light < flat_wh(), light, np.nan)


@cache
def flat_wh() -> np.ndarray:
    """Light on the flat above the air of each day of DATES [Wh/m2]."""
    return extraterrestrial_day_wh(LATITUDE, DAY_OF_YEAR + 0.5 - LONGITUDE / 360.0)


def monthly_means_wh(light: np.ndarray, chosen: np.ndarray) -> np.ndarray:
    """Mean daily light of the twelve months over the chosen days that have any."""
    held = chosen & ~np.isnan(light)
    return np.bincount(MONTH[held], light[held]) / np.bincount(MONTH[held])


Place = tuple[float, float, float]  # degrees north and east, height [m]


@cache
def year_of(place: Place) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Dates of 2026, their light above the air [Wh/m2] and the clear sky's share of it."""
    latitude, longitude, elevation_m = place
    dates = np.arange("2026-01-01", "2027-01-01", dtype="datetime64[D]")
    flat = extraterrestrial_day_wh(latitude, np.arange(1.0, 366.0) + 0.5 - longitude / 360.0)
    midnight_s = dates[0].astype("datetime64[s]").astype(float) - longitude * 240.0
    quarters = midnight_s + 900.0 * np.arange(365 * 96.0)
    clear = clear_sun(quarters + 450.0, latitude, longitude, elevation_m).ghi
    return dates, flat, clear.reshape(365, 96).sum(axis=1) / 4.0 / flat


def drawn_wh(
    means_wh: np.ndarray,
    seed: int,
    years: int,
    place: Place = (LATITUDE, LONGITUDE, ELEVATION_M),
    doubt: float = 0.0,
) -> np.ndarray:
    """Days of `years` years without 29 February, (365, years) [Wh/m2], from monthly means, at a
    point of the doubt about them [standard deviations]."""
    dates, flat, clear = year_of(place)
    month = dates.astype("datetime64[M]").astype(int) % 12
    clearness = means_wh / (np.bincount(month, flat) / np.bincount(month))
    months = between_months(noons(dates))
    mean, spread = months @ month_knots(clearness), months @ day_spread_at(*place[:2])
    highest = highest_clearness(mean, clear, flat)
    alike = how_alike(mean, highest, spread)[:, None]
    doubtful = mean[:, None] * np.exp(FIGURES_SIGMA * doubt)
    chance = ndtr(normal_scores(seed, "days", 365, years, DAY_TO_DAY))
    return flat[:, None] * daily_clearness(doubtful, highest[:, None], alike, chance)


def keeps_going(light: np.ndarray, need: np.ndarray) -> np.ndarray:
    """Whether a store lasts through days of light, (days, m), for needs, (n,): (n, m).

    The store holds one day's need and leaves full: the day's light goes in, the day's need goes
    out, what the store cannot hold is lost. The measured days have no hours: hours invented for
    them and for the drawn days alike would test nothing more than their sums do.
    """
    need = need[:, None]
    store = np.broadcast_to(need, (need.size, light.shape[1]))
    lasts = np.full(store.shape, True)
    for day in light:
        store = np.minimum(store + day, 2.0 * need) - need
        lasts &= store >= 0.0
    return lasts
