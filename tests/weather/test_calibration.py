"""Whether chances come true: three-day plans judged by the weathers that the product would show
them, and by the days that really came.

From twelve figures: 24 measured years (Wageningen, from the registry package `pcse`), each year
left out in turn and foretold from the means of the others. From a file: the typical years that
pvlib installs (TMY3, TMY2), through the whole simulation.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta

import measured_days as measured
import numpy as np
import pytest
from measured_days import YEAR, keeps_going
from scipy.stats import binom

from energy.plan import Plan
from energy.simulation.budget import budget
from energy.weather.synthetic.synthetic import extraterrestrial_day_wh

DAYS, EVERY = 3, 5  # a plan's length, and how often one starts [days]
STARTS = np.arange(0, 365, EVERY)
NEAR = 3  # windows moved by no more than this share the plan's days, or nearly
BINS = np.linspace(0.0, 1.0, 6)
LEAST = 10  # plans in a bin that is judged
# What a plan needs in a day, of the light above the air (of what the panel's label makes of it):
# between these, chosen without a look at any weather, so that some plans are sure to work and some
# sure to fail.
NEED = (0.1, 0.9)
PANEL_W = 100.0

SITES = {
    "sand-point": (55.317, -160.517, "America/Anchorage", 7),
    "greensboro": (36.1, -79.95, "America/New_York", 270),
    "miami": (25.8, -80.267, "America/New_York", 2),
}

Fates = tuple[np.ndarray, np.ndarray]


@pytest.fixture(scope="module")
def drawn() -> dict[int, np.ndarray]:
    """Days of 200 years for each measured year, from the means of the others."""
    light = measured.measured_wh()
    return {
        year: measured.drawn_wh(measured.monthly_means_wh(light, year != YEAR), year, 200)
        for year in range(1976, 2000)
    }


def fates(drawn: dict[int, np.ndarray], year: int, start: int, need: np.ndarray) -> Fates:
    """Chances of plans of a measured year with these needs, (n,), and whether they worked.

    Empty where a day of the plan was not measured. need: of the light above the air.
    """
    window = slice(start, start + DAYS)
    real = measured.measured_wh()[year == YEAR][window, None]
    if np.isnan(real).any():
        return np.zeros(0), np.zeros(0, dtype=bool)
    need_wh = need * measured.flat_wh()[year == YEAR][start]
    return keeps_going(drawn[year][window], need_wh).mean(axis=1), keeps_going(real, need_wh)[:, 0]


def together(parts: Iterable[Fates]) -> Fates:
    foretold, happened = zip(*parts, strict=True)
    return np.concatenate(foretold), np.concatenate(happened)


@pytest.fixture(scope="module")
def twelve_figures(drawn: dict[int, np.ndarray]) -> Fates:
    """219 plans, nine or ten a year 40 days apart: together every fifth day of the year thrice.

    Three of them fall where nothing was measured.
    """
    needs = np.random.default_rng(24)
    return together(
        fates(drawn, year, start, needs.uniform(*NEED, 1))
        for year in range(1976, 2000)
        for start in STARTS[year % 8 :: 8]
    )


def small_plan(site: str, start: datetime, need_wh: float) -> Plan:
    """Three nights of light from a pack that holds one day's need above its reserve of 15 %."""
    latitude, longitude, zone, height = SITES[site]
    return Plan.from_dict(
        {
            "place": {
                "latitude_deg": latitude,
                "longitude_deg": longitude,
                "timezone": zone,
                "elevation_m": height,
            },
            "span": {"start": start, "end": start + timedelta(days=DAYS)},
            "weather": {"kind": "file", "file": f"builtin:{site}"},
            "panel": [{"rated_w": PANEL_W}],
            "pack": {
                "capacity_wh": 2.0 * need_wh,
                "start_percent": 65,
                "charge_max_w": 500,
                "idle_w": 0,
                "temperature": 20,
            },
            "task": [
                {
                    "name": "lamp",
                    "supply": "dc12",
                    "working_w": need_wh / 10.0,
                    "hours": 10,
                    "between": ["20:00", "08:00"],
                }
            ],
        }
    )


@pytest.fixture(scope="module")
def file() -> Fates:
    """The chance of each plan of the typical years, and whether it worked on its own days."""
    needs = np.random.default_rng(3)
    foretold, happened = [], []
    for site, (latitude, *_) in SITES.items():
        for start in STARTS:
            flat_wh = extraterrestrial_day_wh(latitude, np.array([start + 1.0]))[0]
            need_wh = needs.uniform(*NEED) * PANEL_W / 1000.0 * flat_wh
            begin = datetime(2026, 1, 1, 8) + timedelta(days=int(start))
            found = budget(small_plan(site, begin, need_wh))
            assert not found.overloads
            shift = np.abs(found.weather.shift_days)
            foretold.append(found.success[shift > NEAR].mean())
            happened.append(found.success[shift == 0][0])
    return np.array(foretold), np.array(happened)


def bins(plans: Fates) -> list[tuple[int, float, int]]:
    """Plans, mean chance and number that worked, of five bins of chance."""
    foretold, happened = plans
    number = np.clip(np.digitize(foretold, BINS[1:-1]), 0, 4)
    return [
        (int(own.sum()), float(foretold[own].mean()), int(happened[own].sum()))
        for own in (number == k for k in range(5))
        if own.any()
    ]


def show(name: str, plans: Fates) -> None:
    foretold, happened = plans
    print(f"{name}: {foretold.size} plans, Brier score {((foretold - happened) ** 2).mean():.3f}")
    for number, chance, worked in bins(plans):
        print(f"  foretold {chance:.2f}, happened {worked / number:.2f} of {number}")


# A perfect forecaster passes 99 times in 100 per bin: the number that worked lies in the 99 % band
# of as many independent plans with the bin's mean chance.
@pytest.mark.parametrize(
    "source", ["twelve_figures", pytest.param("file", marks=pytest.mark.oracle)]
)
def test_what_was_foretold_happened_as_often(source, request):
    plans = request.getfixturevalue(source)
    show(source, plans)
    for number, chance, worked in bins(plans):
        if number >= LEAST:
            low, high = binom.interval(0.99, number, chance)
            assert low <= worked <= high, f"{worked} of {number}, {low:.0f} to {high:.0f} expected"


def test_over_all_measured_plans_the_chance_is_right_within_four_points(drawn):
    # Every plan of the 24 years with 24 needs each: what happened is then known to about a point
    # and a half (the spread between months), which 4 points leave room for.
    needs = NEED[0] + (NEED[1] - NEED[0]) * (np.arange(24) + 0.5) / 24.0
    plans = together(fates(drawn, y, s, needs) for y in range(1976, 2000) for s in STARTS)
    show("all measured plans", plans)
    for number, chance, worked in bins(plans):
        assert worked / number == pytest.approx(chance, abs=0.04)
