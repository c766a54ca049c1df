"""Drawn weather against the typical years it is given the means of, and against its own rules."""

from datetime import datetime

import numpy as np
import pytest

from energy.budget import budget
from energy.model.timeline import to_utc
from energy.plan import Plan
from energy.scene import calendar_of, cells_of
from energy.weather.drawn import extraterrestrial_day_wh
from energy.weather.files import read_record
from energy.weather.futures import weathers

# Monthly means on the flat, kWh/m2 a day, of the typical years that pvlib installs (TMY3, TMY2).
SITES = {
    "sand-point": (55.317, -160.517, "America/Anchorage", 7),
    "greensboro": (36.1, -79.95, "America/New_York", 270),
    "miami": (25.8, -80.267, "America/New_York", 2),
}


def sun_hours(year: str) -> tuple[list[float], np.ndarray, np.ndarray]:
    """Monthly means, and each day's energy [Wh/m2] with its month, of a typical year."""
    record = read_record(f"builtin:{year}", timezone="UTC")
    daily = record.ghi.reshape(365, 24).sum(axis=1)
    clock = (record.start_s + record.utc_offset_s).astype("datetime64[s]")
    month = clock.astype("datetime64[M]").astype(int).reshape(365, 24)[:, 0] % 12
    return [round(daily[month == m].mean() / 1000.0, 3) for m in range(12)], daily, month


def plan(site: str, start: str, end: str, **weather) -> Plan:
    latitude, longitude, zone, height = SITES[site]
    return Plan.from_dict(
        {
            "place": {
                "latitude_deg": latitude,
                "longitude_deg": longitude,
                "timezone": zone,
                "elevation_m": height,
            },
            "span": {"start": start, "end": end},
            "weather": weather,
            "panel": [{"rated_w": 200}],
            "pack": {"capacity_wh": 1000, "temperature": 20},
            "task": [{"name": "lamp", "supply": "dc12", "working_w": 10, "hours": 5}],
        }
    )


def drawn_days(plan: Plan) -> np.ndarray:
    """Energy on the flat [Wh/m2] of each whole local day of the span, (days, m)."""
    calendar = calendar_of(plan)
    span = tuple(to_utc(t, calendar.zone) for t in (plan.span.start, plan.span.end))
    cells = cells_of(plan, calendar, span, None)
    found, *_ = weathers(plan, None, calendar, cells, span)
    widths = np.diff(cells)[found.lit] / 3600.0
    middles = (cells[found.lit] + cells[found.lit + 1]) / 2.0
    day = np.floor((middles + plan.place.longitude_deg * 240.0) / 86400.0)
    first = np.floor((span[0] + 43200.0 + plan.place.longitude_deg * 240.0) / 86400.0)
    count = (plan.span.end - plan.span.start).days
    total = np.zeros((count, found.ghi.shape[1]))
    for k in range(count):
        rows = day == first + k
        total[k] = (found.ghi[rows] * widths[rows, None]).sum(axis=0)
    return total


SEASONS = ((11, 0, 1), (2, 3, 4), (5, 6, 7), (8, 9, 10))


@pytest.mark.parametrize("site", SITES)
def test_the_drawn_months_keep_the_given_means_and_the_days_their_spread(site):
    given, daily, month = sun_hours(site)
    latitude, longitude = SITES[site][:2]
    flat = extraterrestrial_day_wh(latitude, np.arange(1.0, 366.0) + 0.5 - longitude / 360.0)
    means, drawn = [], []
    for m in range(12):
        start = datetime(2026, m + 1, 1)
        end = datetime(2026 + (m + 1) // 12, (m + 1) % 12 + 1, 1)
        days = drawn_days(
            plan(site, start.isoformat(), end.isoformat(), kind="monthly", sun_hours=given)
        )
        means.append(days.mean() / 1000.0)
        drawn.append((days / flat[month == m][:, None]).ravel())
    seasons = [
        np.concatenate([drawn[m] for m in season]).std()
        / (daily / flat)[np.isin(month, season)].std()
        for season in SEASONS
    ]
    year = np.concatenate(drawn).std() / (daily / flat).std()
    print(site, "mean", np.round(np.array(means) / given, 3))
    print(site, "sd of daily clearness", np.round(seasons, 2), round(year, 2))
    # 200 synthetic years: within 3 % over the year, 4 % in a single month. The spread of days,
    # which real months with two humps leave wider: within 20 % over the year; of single seasons
    # autumn at Sand Point is the widest, 29 to 31 % by the seed.
    assert np.mean(means) == pytest.approx(np.mean(given), rel=0.03)
    assert np.array(means) == pytest.approx(np.array(given), rel=0.04)
    assert seasons == pytest.approx([1.0] * 4, abs=0.32)
    assert year == pytest.approx(1.0, abs=0.20)


@pytest.mark.parametrize("site", SITES)
def test_dull_spells_of_three_days_are_as_dull_as_the_years(site):
    given, daily, month = sun_hours(site)
    ratios = []
    for season in ((12, 1, 2), (3, 4, 5), (6, 7, 8), (9, 10, 11)):
        drawn, real = [], []
        for m in season:
            start = datetime(2026, m, 1)
            days = drawn_days(
                plan(site, start.isoformat(), datetime(2026, m, 28).isoformat(),
                     kind="monthly", sun_hours=given)
            )  # fmt: skip
            drawn.append((days[:-2] + days[1:-1] + days[2:]).ravel())
            own = daily[month == m - 1]
            real.append(own[:-2] + own[1:-1] + own[2:])
        ratios.append(
            np.percentile(np.concatenate(drawn), 10) / np.percentile(np.concatenate(real), 10)
        )
    print(site, "10th percentile of 3-day sums, drawn over real:", np.round(ratios, 2))
    assert np.abs(np.array(ratios) - 1.0).max() < 0.30
    assert np.mean(ratios) == pytest.approx(1.0, abs=0.18)


def test_the_first_ten_weathers_of_a_thousand_are_those_of_ten():
    few, many = (
        budget(plan("greensboro", "2026-01-10T08:00", "2026-01-12T18:00", futures=n))
        for n in (10, 1000)
    )
    assert few.charge_percent == pytest.approx(many.charge_percent[:, :10], abs=1e-9)


def test_nothing_drawn_is_brighter_than_cloud_edges_allow():
    asked = plan("greensboro", "2026-04-10T00:00", "2026-04-13T00:00")
    calendar = calendar_of(asked)
    span = tuple(to_utc(t, calendar.zone) for t in (asked.span.start, asked.span.end))
    found, *_ = weathers(asked, None, calendar, cells_of(asked, calendar, span, None), span)
    high = found.sun.ghi > 100.0
    assert (found.ghi[high] / found.sun.ghi[high, None]).max() < 1.5
    hourly = found.ghi[high].mean(axis=0) / found.sun.ghi[high].mean()
    assert hourly.max() < 1.15


def test_a_plan_with_nothing_but_coordinates_gets_a_chance_with_its_range():
    found = budget(plan("sand-point", "2026-09-14T08:00", "2026-09-16T18:00"))
    assert found.weather.kind == "climate"
    assert found.chance.futures == 200
    assert found.chance.low <= found.chance.percent <= found.chance.high


def test_a_rough_table_says_yes_only_where_its_low_end_reaches_the_goal():
    found = budget(plan("sand-point", "2026-09-14T08:00", "2026-09-16T18:00"))
    low = found.plan.replace(**{"goal.chance_percent": min(found.chance.low + 0.1, 100.0)})
    assert not budget(low).yes or found.chance.low == 100.0


@pytest.mark.parametrize(
    ("latitude", "day"), [(66.0, "2026-12-21"), (66.0, "2026-06-21"), (-54.8, "2026-06-21")]
)
def test_polar_seasons_and_the_south_are_drawn_too(latitude, day):
    asked = plan("greensboro", f"{day}T00:00", f"{day}T23:00").replace(
        **{"place.latitude_deg": latitude, "place.longitude_deg": -68.0 if latitude < 0 else 25.0}
    )
    found = budget(asked)
    assert np.isfinite(found.charge_percent).all()
    balance = found.ledger_wh["sun_on_panel"] + found.ledger_wh["other_charging"]
    assert (balance >= 0.0).all()
