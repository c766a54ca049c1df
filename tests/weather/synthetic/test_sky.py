"""Stated skies: the mean after eighths of cloud, and how far real days lie about it."""

from functools import cache

import numpy as np
import pytest

from energy import Plan
from energy.model.sun import clear_sun, cloud_transmission
from energy.model.timeline import to_utc
from energy.simulation.budget import budget
from energy.simulation.case import calendar_of, days_of
from energy.weather.readers.files import read_record
from energy.weather.scenarios import weathers
from energy.weather.synthetic.sky import daily_transmission

SITES = ("sand-point", "greensboro", "miami")


@cache
def days_of_the_files():
    """Share of clear-sky light and eighths of cloud of each day, weighted by the clear light.

    The three typical years inside pvlib (TMY3 and TMY2); most of their hours are modelled.
    """
    shares, cloud = [], []
    for site in SITES:
        record = read_record(f"builtin:{site}", timezone="UTC")
        moments = (record.start_s[:, None] + np.arange(450, 3600, 900)).ravel()
        clear = clear_sun(moments, record.latitude_deg, record.longitude_deg, record.elevation_m)
        hourly = clear.ghi.reshape(-1, 4).mean(axis=1)
        day = np.arange(8760) // 24
        whole = np.bincount(day, hourly)
        shares.append(np.bincount(day, record.ghi) / whole)
        cloud.append(np.bincount(day, hourly * record.cloud_okta) / whole)
    return np.concatenate(shares), np.concatenate(cloud)


@pytest.mark.parametrize("okta", range(9))
def test_days_spread_as_far_about_the_mean_as_in_the_typical_years(okta):
    share, cloud = days_of_the_files()
    of_these = np.abs(cloud - okta) <= (0.5 if okta < 8 else 0.1)
    measured = np.std((share - cloud_transmission(cloud))[of_these])
    chance = (np.arange(4000) + 0.5) / 4000
    drawn = daily_transmission(np.array([[float(okta)]]), chance[None, :])[0]
    print(f"{okta} eighths: {of_these.sum()} days, spread {measured:.3f}, drawn {drawn.std():.3f}")
    assert drawn.std() == pytest.approx(measured, rel=0.2)


@pytest.mark.parametrize(
    ("okta", "mean"), [(0, 1.0), (2, 0.993), (4, 0.929), (6, 0.718), (7, 0.524), (8, 0.25)]
)
def test_the_mean_of_the_drawn_days_is_kasten_and_czeplaks(okta, mean):
    # Kasten & Czeplak, Solar Energy 24 (1980) 177: 1 - 0.75 (N/8)^3.4, from memory.
    chance = (np.arange(4000) + 0.5) / 4000
    days = daily_transmission(np.array([[float(okta)]]), chance[None, :])
    assert days.mean() == pytest.approx(mean, abs=2e-3)
    assert days.min() > 0.0
    assert days.max() <= 1.1


def overcast(sky="overcast", **weather):
    return Plan.from_dict(
        {
            "place": {"latitude_deg": -43.5, "longitude_deg": 172.0, "elevation_m": 20},
            "span": {"start": "2026-03-10T06:00", "end": "2026-03-12T20:00"},
            "weather": {"kind": "sky", "sky": sky, **weather},
            "panel": [{"rated_w": 200}],
            "pack": {"capacity_wh": 600, "reserve_percent": 30},
            "task": [{"tool": "led-work-light", "hours": 6, "between": ["08:00", "18:00"]}],
        }
    )


def test_a_stated_sky_is_drawn_in_200_futures_about_the_plain_formulas_sun():
    drawn, plain = budget(overcast()), budget(overcast(futures=1))
    assert (drawn.chance.scenarios, plain.chance.scenarios) == (200, 1)
    assert (drawn.chance.low, drawn.chance.high, drawn.chance.effective_sample_size) == (None,) * 3
    sun = drawn.ledger_wh["sun_on_panel"]
    assert sun.mean() == pytest.approx(plain.ledger_wh["sun_on_panel"][0], rel=0.1)
    assert 0.2 < sun.std() / sun.mean() < 0.45


def test_the_first_ten_skies_of_a_thousand_are_those_of_ten():
    few, many = (budget(overcast(futures=n)) for n in (10, 1000))
    assert few.charge_percent == pytest.approx(many.charge_percent[:, :10], abs=1e-9)


def test_each_local_date_is_drawn_about_its_own_sky():
    plan = overcast(sky=["clear", 8, "clear"])
    calendar = calendar_of(plan)
    span = tuple(to_utc(t, calendar.zone) for t in (plan.span.start, plan.span.end))
    days = days_of(plan, None, calendar, span)
    found, *_ = weathers(days)
    middle = ((days.cells[1:] + days.cells[:-1]) / 2)[found.light.lit]
    date = np.array([calendar.local(np.array([t]))[0].astype("datetime64[D]") for t in middle])
    share = {
        int(str(day)[-2:]): (
            found.light.ghi[date == day].sum(axis=0) / found.light.sun.ghi[date == day].sum()
        ).mean()
        for day in np.unique(date)
    }
    assert share[10] == pytest.approx(1.0, abs=0.02)
    assert share[11] == pytest.approx(0.25, abs=0.03)
    assert share[12] == pytest.approx(1.0, abs=0.02)
