"""Drawn weather against the typical years it is given the means of, and against its own rules."""

from datetime import datetime

import numpy as np
import pytest
from scipy.stats import norm, rankdata

from energy.model.timeline import to_utc
from energy.plan import Plan, PlanError
from energy.simulation.budget import DOUBTS, budget
from energy.simulation.case import calendar_of, days_of, span_of
from energy.weather.readers.files import read_record
from energy.weather.scenarios import weathers
from energy.weather.synthetic.climate import clearness_at
from energy.weather.synthetic.synthetic import extraterrestrial_day_wh, solar_clock_offset_s

# The typical years that pvlib installs (TMY3, TMY2): degrees north and east, clock, height [m].
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


def drawn_light(plan: Plan):
    """The weathers of a plan; length [h], middle [UTC s] and solar day of each lit cell."""
    calendar = calendar_of(plan)
    span = tuple(to_utc(t, calendar.zone) for t in (plan.span.start, plan.span.end))
    days = days_of(plan, None, calendar, span)
    found, *_ = weathers(days)
    start, end = days.cells[found.light.lit], days.cells[found.light.lit + 1]
    middle = (start + end) / 2.0
    offset_s = solar_clock_offset_s(plan.place.longitude_deg)
    return found, (end - start) / 3600.0, middle, np.floor((middle + offset_s) / 86400.0)


def summed(power: np.ndarray, hours: np.ndarray, number: np.ndarray) -> np.ndarray:
    """Energy [Wh/m2] of the rows of each number, which come in order: (numbers, m)."""
    _, first = np.unique(number, return_index=True)
    return np.add.reduceat(power * hours[:, None], first, axis=0)


def drawn_days(plan: Plan) -> np.ndarray:
    """Energy on the flat [Wh/m2] of each day of the span, (days, m)."""
    found, hours, _, day = drawn_light(plan)
    dates = np.array([plan.span.start, plan.span.end], dtype="datetime64[D]").astype(int)
    inside = (day >= dates[0]) & (day < dates[1])
    return summed(found.light.ghi[inside], hours[inside], day[inside])


SEASONS = ((11, 0, 1), (2, 3, 4), (5, 6, 7), (8, 9, 10))
YEARS = 500  # fewer leave a month's mean uncertain by a percent


OFTEN = [
    "sand-point",
    *(pytest.param(s, marks=pytest.mark.oracle) for s in ("greensboro", "miami")),
]


@pytest.fixture(scope="module", params=OFTEN)
def against(request):
    """A site with its months: days drawn for its own sun hours (days, years), and its real days,
    both as clearness, and how the drawn means compare with the given ones."""
    site = request.param
    given, daily, month = sun_hours(site)
    latitude, longitude = SITES[site][:2]
    flat = extraterrestrial_day_wh(latitude, np.arange(1.0, 366.0) + 0.5 - longitude / 360.0)
    drawn, means = [], []
    for m in range(12):
        start = datetime(2026, m + 1, 1)
        end = datetime(2026 + (m + 1) // 12, (m + 1) % 12 + 1, 1)
        # A seed for each month: with one for all, the twelve would share their luck.
        asked = plan(site, start.isoformat(), end.isoformat(), kind="monthly", sun_hours=given,
                     futures=YEARS, seed=m)  # fmt: skip
        days = drawn_days(asked)
        means.append(days.mean() / 1000.0 / given[m])
        drawn.append(days / flat[month == m][:, None])
    real = [(daily / flat)[month == m][:, None] for m in range(12)]
    return site, drawn, real, np.array(means)


def test_the_drawn_months_keep_the_given_means(against):
    site, _, _, means = against
    print(site, "mean, drawn over given", np.round(means, 3))
    assert means == pytest.approx(np.ones(12), abs=0.03)


def test_the_drawn_days_keep_the_spread(against):
    site, drawn, real, _ = against

    def spread(months):
        inside = (np.concatenate([of[m].ravel() for m in months]).std() for of in (drawn, real))
        return float(np.divide(*inside))

    seasons, year = [spread(months) for months in SEASONS], spread(range(12))
    print(site, "sd of daily clearness, drawn over real", np.round(seasons, 3), round(year, 2))
    # The three typical years, modelled or half modelled, are less varied than the measured records
    # that the generator was fitted to; autumn at Sand Point has two humps.
    assert 0.85 < min(seasons) <= max(seasons) < 1.4
    assert 0.90 < year < 1.3


def lag_one(months):
    """Correlation of the normal scores of days that follow one another, within months."""
    pairs = []
    for days in months:
        ranks = rankdata(days.ravel()).reshape(days.shape) / (days.size + 1.0)
        scores = norm.ppf(ranks)
        pairs.append(np.stack([scores[:-1].ravel(), scores[1:].ravel()]))
    return float(np.corrcoef(np.concatenate(pairs, axis=1))[0, 1])


def test_one_drawn_day_follows_another_as_in_the_year(against):
    site, drawn, real, _ = against
    lags = [
        lag_one([drawn[m] for m in months]) - lag_one([real[m] for m in months])
        for months in (*SEASONS, range(12))
    ]
    print(site, "lag-1, drawn less real: seasons and year", np.round(lags, 2))
    # A season of one year knows it to 0.1. These years are mostly modelled, and their days follow
    # one another less closely than those of eight measured records: 0.27 against 0.30 to 0.48.
    assert np.abs(lags[:4]).max() < 0.35
    assert abs(lags[4]) < 0.15


def dull_tenth(months, days):
    """The 10th percentile of the sums of clearness of `days` days on end, within months."""
    sums = [sum(of[k : of.shape[0] - days + 1 + k] for k in range(days)).ravel() for of in months]
    return np.percentile(np.concatenate(sums), 10)


@pytest.mark.parametrize(("days", "season", "mean"), [(3, 0.30, 0.20), (5, 0.25, 0.15)])
def test_dull_spells_are_as_dull_as_the_years(against, days, season, mean):
    site, drawn, real, _ = against
    # Single days are printed only: Sand Point gets too many dull ones, the safe side.
    single, ratios = (
        np.array([
            dull_tenth([drawn[m] for m in months], n) / dull_tenth([real[m] for m in months], n)
            for months in SEASONS
        ])
        for n in (1, days)
    )  # fmt: skip
    print(site, "10th percentile, drawn over real: single days", np.round(single, 2),
          f"{days}-day sums", np.round(ratios, 2), round(ratios.mean(), 2))  # fmt: skip
    assert np.abs(ratios - 1.0).max() < season
    assert ratios.mean() == pytest.approx(1.0, abs=mean)


def test_the_first_ten_weathers_of_a_thousand_are_those_of_ten():
    few, many = (
        budget(plan("greensboro", "2026-01-10T08:00", "2026-01-12T18:00", futures=n))
        for n in (10, 1000)
    )
    assert few.charge_percent == pytest.approx(many.charge_percent[:, :10], abs=1e-9)


@pytest.fixture(scope="module")
def spring():
    """Three days of April in 1000 weathers."""
    return drawn_light(plan("greensboro", "2026-04-10T00:00", "2026-04-13T00:00", futures=1000))


def test_an_hour_passes_its_clear_sky_by_15_percent_or_by_little_more_than_its_day(spring):
    found, hours, middle, day = spring
    clear = found.light.sun.ghi[:, None]
    hour = np.floor(middle / 3600.0)
    over_hour = summed(found.light.ghi, hours, hour) / summed(clear, hours, hour)
    over_day = summed(found.light.ghi, hours, day) / summed(clear, hours, day)
    _, first = np.unique(hour, return_index=True)
    day_of_hour = np.searchsorted(np.unique(day), day[first])
    most = np.maximum(1.15, 1.04 * over_day[day_of_hour])
    assert over_hour.max() > 1.10
    assert (over_hour / most).max() <= 1.0 + 5e-3  # hours under 5 W/m2 are not held to theirs


def test_ten_minutes_pass_their_clear_sky_by_no_more_than_half(spring):
    # Over minutes the edges of clouds add up to half: Gueymard, Solar Energy 153 (2017) 755 (from
    # memory). A sun under 50 W/m2 is left out: an hour's mean there hangs on the minutes it is up.
    found, hours, _, _ = spring
    assert hours.max() <= 1.0 / 6.0 + 1e-9
    high = found.light.sun.ghi > 50.0
    assert (found.light.ghi[high] / found.light.sun.ghi[high, None]).max() <= 1.5


def test_a_plan_with_nothing_but_coordinates_gets_a_chance_with_its_range():
    found = budget(plan("sand-point", "2026-09-14T08:00", "2026-09-16T18:00"))
    assert found.plan.weather.kind == "climate"
    assert found.chance.scenarios == 200
    assert found.chance.low <= found.chance.percent <= found.chance.high


# Shares at the 5 and 95 % points: +-13 % for a person's figures, -20 and +26 % for the table.
@pytest.mark.parametrize(("kind", "apart"), [("monthly", 1.13**2), ("climate", 1.26 / 0.794)])
def test_the_ends_of_the_range_have_means_so_far_apart(kind, apart):
    given = {"sun_hours": sun_hours("greensboro")[0]} if kind == "monthly" else {}
    asked = plan("greensboro", "2026-04-14T08:00", "2026-04-16T18:00", kind=kind, **given)
    days = days_of(asked, None, calendar_of(asked), span_of(asked))
    _, low, high = (found.light.ghi.mean() for found in weathers(days, DOUBTS))
    assert high / low == pytest.approx(apart, rel=0.03)


def test_a_rough_table_says_yes_only_where_its_low_end_reaches_the_goal():
    found = budget(plan("sand-point", "2026-09-14T08:00", "2026-09-16T18:00"))
    low = found.plan.replace(**{"goal.chance_percent": min(found.chance.low + 0.1, 100.0)})
    assert not budget(low).yes or found.chance.low == 100.0


def far_plan(latitude: float, longitude: float, day: str) -> Plan:
    """A day under the built-in climate table in 1000 weathers, by the clock of the place."""
    asked = plan("greensboro", f"{day}T00:00", f"{day}T23:00", futures=1000)
    place = {"latitude_deg": latitude, "longitude_deg": longitude, "timezone": None}
    return asked.replace(**{f"place.{name}": value for name, value in place.items()})


# Degrees north and east, and what is taken of the table's light: reanalysis is 11 % too bright
# under cloud, and in Europe brighter still (fits).
FAR = {
    "north": (66.0, 25.0, 0.89),
    "south": (-54.8, -68.0, 0.89),
    "western Europe": (52.0, 8.0, 0.801),
}


@pytest.fixture(scope="module", params=FAR)
def far(request):
    """A place on a day of June: light on the flat of its solar days [Wh/m2], drawn (days, 1000),
    under a clear sky and above the air (days, 1), and the mean clearness taken from the table."""
    (latitude, longitude, taken), day = FAR[request.param], "2026-06-21"
    found, hours, _, number = drawn_light(far_plan(latitude, longitude, day))
    up = np.maximum(np.cos(np.radians(found.light.sun.zenith)), 0.0)
    light, clear, above = (
        summed(power, hours, number)
        for power in (
            found.light.ghi,
            found.light.sun.ghi[:, None],
            (found.light.sun.dni_extra * up)[:, None],
        )
    )
    middle_of_year = datetime.fromisoformat(day).timetuple().tm_yday / 365.0 * 12.0 - 0.5
    table = np.interp(middle_of_year, np.arange(12.0), clearness_at(latitude, longitude))
    return light, clear, above, taken * float(table)


def test_far_days_are_as_dull_as_overcast_and_no_duller(far):
    light, _, above, _ = far
    dullest = (light / above).min()
    # Hours under 5 W/m2, at the ends of the day, are not brought to their mean: 0.2 % of 5 %.
    assert 0.05 * (1.0 - 5e-3) < dullest < 0.055


def test_far_days_pass_a_clear_sky_by_little_the_more_the_less_light_they_have(far):
    light, clear, above, _ = far
    low_sun = np.maximum(1.0 - above / 11000.0, 0.0)
    assert 1.0 < (light / clear).max() < (1.08 + 0.43 * low_sun.max()) * (1.0 + 1e-3)


def test_far_days_have_the_mean_of_the_table(far):
    light, _, above, mean = far
    print("mean clearness, drawn over expected", round(float((light / above).mean() / mean), 3))
    assert (light / above).mean() == pytest.approx(mean, rel=0.05)


def test_a_midwinter_day_with_hardly_any_sun_gets_no_more_than_its_clear_sky():
    found, hours, _, number = drawn_light(far_plan(66.0, 25.0, "2026-12-21"))
    clear = summed(found.light.sun.ghi[:, None], hours, number)
    assert 0.0 < clear.max() < 10.0
    assert (summed(found.light.ghi, hours, number) <= 1.15 * clear).all()


def test_a_polar_night_charges_nothing():
    found = budget(far_plan(67.5, 25.0, "2026-12-21"))
    assert np.isfinite(found.charge_percent).all()
    assert (found.ledger_wh["sun_on_panel"] == 0.0).all()


# Invented figures; of a steep slope, December has more than a clear sky leaves on the flat.
SUN_HOURS = [0.8, 1.6, 2.9, 3.9, 4.4, 4.5, 4.2, 3.8, 3.0, 1.9, 1.0]


@pytest.mark.parametrize(
    ("december", "said"),
    [
        (1.0, "December has 1 kWh/m2 a day, and a clear sky leaves 0."),
        (5.0, "December has 5 kWh/m2 a day, and at 55.317 degrees at most 1.1 reach the ground"),
    ],
)
def test_sun_hours_that_no_sky_gives_are_refused(december, said):
    given = [*SUN_HOURS, december]
    with pytest.raises(PlanError) as caught:
        budget(plan("sand-point", "2026-12-14T08:00", "2026-12-16T18:00", sun_hours=given))
    (line,) = caught.value.problems
    assert said in line
    assert "on the flat" in line


@pytest.mark.parametrize("site", SITES)
def test_sun_hours_of_a_real_year_are_taken_in_every_month(site):
    given, *_ = sun_hours(site)
    for month in (1, 4, 6, 9, 12):
        asked = plan(site, f"2026-{month:02}-14T08:00", f"2026-{month:02}-14T18:00",
                     sun_hours=given, futures=2)  # fmt: skip
        assert budget(asked).charge_percent.shape[1] == 2


@pytest.mark.parametrize("november", [0.0, 0.05, 0.1])
def test_the_last_digit_of_a_month_of_hardly_any_sun_brightens_no_day_before_it(november):
    """At 69.65 N 0.16 kWh/m2 a day lie above the air in November (Duffie & Beckman, eq. 1.10.3): a
    figure of one digit says next to nothing of its clouds, and the end of October stays as cloudy
    as its middle."""
    hours = [0.0, 0.3, 1.4, 3.0, 4.4, 4.7, 4.4, 3.1, 1.7, 0.6, november, 0.0]
    north = {"latitude_deg": 69.65, "longitude_deg": 18.95, "elevation_m": 0}
    light = []
    for date in ("2026-10-15", "2026-10-29"):
        asked = plan(
            "miami", f"{date}T03:00:00", f"{date}T21:00:00", kind="monthly", sun_hours=hours
        ).replace(place={**north, "timezone": "Europe/Oslo"})
        found, length, *_ = drawn_light(asked)
        light.append(float((found.light.ghi * length[:, None]).sum(axis=0).mean()))
    above = extraterrestrial_day_wh(69.65, np.array([288.5, 302.5]))
    assert light[0] == pytest.approx(600.0, rel=0.1)  # the middle of its month, as it was given
    assert light[1] / light[0] == pytest.approx(above[1] / above[0], rel=0.1)
