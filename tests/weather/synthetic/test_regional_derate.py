"""How much of the climate table's light is taken where: in western and central Europe less.

The derate there was fitted on every second of the places in `european_light`, and is held here
against the others.
"""

import numpy as np
import pytest
from european_light import DAYS, fitted_and_left_out

from energy.weather.synthetic.climate import clearness_at, derate_at
from energy.weather.synthetic.synthetic import extraterrestrial_day_wh

SEASONS = {"winter": (11, 0, 1), "spring": (2, 3, 4), "summer": (5, 6, 7), "autumn": (8, 9, 10)}
MONTH = np.repeat(np.arange(12), DAYS)
NEAR = np.log(1.08)


def table_wh(north, east, derate):
    """Monthly means [Wh/m2 a day] by the table."""
    flat = extraterrestrial_day_wh(north, np.arange(1.0, 366.0) + 0.5 - east / 360.0)
    return derate * clearness_at(north, east) * np.bincount(MONTH, flat) / DAYS


def year_of(daily_wh):
    return daily_wh @ DAYS if daily_wh.size == 12 else daily_wh[0] * 365.0


def log_ratios(places, derate=None):
    """A year's light by the table over the recorded, as logarithms."""
    ratios = []
    for north, east, light in places.values():
        table = table_wh(north, east, derate or derate_at(north, east))
        ratios.append(year_of(table) / year_of(light))
    return np.log(ratios)


@pytest.fixture(scope="module", params=["fitted", "left out"])
def inside(request):
    """Places well inside the region."""
    places = dict(zip(("fitted", "left out"), fitted_and_left_out(), strict=True))[request.param]
    return {name: p for name, p in places.items() if derate_at(*p[:2]) < 0.865}


def test_inside_the_region_the_table_is_neither_too_bright_nor_too_dull(inside):
    before, after = log_ratios(inside, 0.89), log_ratios(inside)
    for name, was, found in zip(inside, np.exp(before), np.exp(after), strict=True):
        print(f"{name}: {was:.2f} without the region, {found:.2f} with it")
    share = np.mean(np.abs(after) < NEAR)
    print(f"{after.size} places: mean {after.mean():+.3f} (was {before.mean():+.3f})")
    print(f"within 8 %: {share:.2f} (was {np.mean(np.abs(before) < NEAR):.2f})")
    assert before.mean() > 0.06  # what the region is for
    assert abs(after.mean()) < 0.02
    assert share > 0.85
    assert np.abs(after).max() < np.log(1.15)


def test_inside_the_region_no_season_is_much_too_bright(inside):
    # The north is too dull in winter (the safe side) and somewhat bright in summer: the sources of
    # the places differ by as much as a tenth in a season, so that one factor serves all months.
    for name, months in SEASONS.items():
        ratio = []
        for north, east, light in inside.values():
            if light.size == 12:
                table = table_wh(north, east, derate_at(north, east))
                days = DAYS[list(months)]
                ratio.append((table[list(months)] @ days) / (light[list(months)] @ days))
        print(name, f"mean {np.mean(ratio):.2f}, {np.min(ratio):.2f} to {np.max(ratio):.2f}")
        assert 0.9 < np.exp(np.log(ratio).mean()) < 1.08


def test_all_european_places_left_out_lie_nearer():
    _, left_out = fitted_and_left_out()
    before, after = log_ratios(left_out, 0.89), log_ratios(left_out)
    assert np.sqrt((after**2).mean()) < 0.8 * np.sqrt((before**2).mean())


@pytest.mark.parametrize(
    "place",
    [(46.5, 8.0), (47.05, 8.3), (57.0, 10.0), (51.0, 30.0), (52.0, -12.0), (36.1, -79.95),
     (55.317, -160.517), (-33.9, 18.4), (50.0, -100.0), (50.0, 120.0), (52.0, -172.0)],
)  # fmt: skip
def test_elsewhere_and_at_its_edge_nothing_changes(place):
    assert derate_at(*place) == pytest.approx(0.89, abs=1e-12)


def test_there_is_no_step_at_an_edge_or_between_neighbours():
    north, east = np.arange(45.0, 60.0, 0.25), np.arange(-15.0, 33.0, 0.25)
    derate = np.array([[derate_at(n, e) for e in east] for n in north])
    assert 0.79 < derate.min() < 0.81
    assert derate.max() == pytest.approx(0.89)
    # 10 % over a degree at the steepest
    assert np.abs(np.diff(derate, axis=0)).max() < 0.03
    assert np.abs(np.diff(derate, axis=1)).max() < 0.03
