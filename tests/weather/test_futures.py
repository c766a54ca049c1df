"""The many weathers: a record's own days, days moved within the year, stated skies, and what
overlapping windows are worth. Expected values: the published records as pvlib reads them, pvlib's
clear sky, simulated correlated days, SciPy's intervals.
"""

from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest
from scipy.stats import binomtest

from energy.plan import Plan, PlanError
from energy.simulation.budget import budget
from energy.simulation.case import calendar_of, days_of
from energy.simulation.success import wilson
from energy.weather.readers.files import Record, read_record
from energy.weather.recorded import independent_scenarios
from energy.weather.resampled import resampled_rows
from energy.weather.scenarios import weathers
from energy.weather.source import elevation_of, record_of
from energy.weather.weathers import Weathers

SAND_POINT = {"latitude_deg": 55.317, "longitude_deg": -160.517, "elevation_m": 7}
ALASKA = {**SAND_POINT, "timezone": "America/Anchorage"}
ALPS = {"latitude_deg": 47.0, "longitude_deg": 9.0, "elevation_m": 400, "timezone": "Europe/Zurich"}
FILE = {"kind": "file", "file": "builtin:sand-point"}
LAMP = {"name": "lamp", "supply": "dc12", "working_w": 5}


def plan(start: datetime, days: float, weather: dict, place: dict = ALASKA) -> Plan:
    return Plan.from_dict(
        {
            "place": place,
            "span": {"start": start, "end": start + timedelta(days=days)},
            "weather": weather,
            "pack": {"capacity_wh": 1000},
            "task": [LAMP],
        }
    )


def seen(plan: Plan) -> tuple[Weathers, np.ndarray]:
    """The weathers of a plan and the edges of the cells they are given on."""
    calendar, record = calendar_of(plan), record_of(plan)
    span = tuple(
        t.replace(tzinfo=calendar.zone).timestamp() for t in (plan.span.start, plan.span.end)
    )
    days = days_of(plan, record, calendar, span)
    found, *_ = weathers(days)
    return found, days.cells


def hourly(w: Weathers, cells: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Hours [UTC s] that the cells cover and the mean of the lit values over each, (h, m)."""
    hours = np.arange(cells[0], cells[-1], 3600.0)
    width = np.diff(cells)[w.light.lit] / 3600.0
    where = ((cells[:-1][w.light.lit] - cells[0]) // 3600).astype(int)
    mean = np.zeros((hours.size, values.shape[1]))
    np.add.at(mean, where, values * width[:, None])
    return hours, mean


def sand_point_ghi() -> np.ndarray:
    """The 8760 hours of the typical year as pvlib reads them (TMY3, Wilcox & Marion 2008)."""
    path = Path(pvlib.__file__).parent / "data" / "703165TY.csv"
    return pvlib.iotools.read_tmy3(path, map_variables=True)[0]["ghi"].to_numpy(float)


def hour_of_year(utc_s: np.ndarray, utc_offset_h: float) -> np.ndarray:
    local = pd.to_datetime(utc_s + 3600 * utc_offset_h, unit="s")
    leap_day_later = local.is_leap_year & (local.day_of_year > 59)
    return ((local.day_of_year - 1 - leap_day_later) * 24 + local.hour).to_numpy()


# --- the file's own days -----------------------------------------------------------------------


@pytest.mark.parametrize("day", [(2026, 6, 20), (2026, 9, 14), (2026, 12, 31), (2028, 2, 28)])
def test_the_unmoved_window_gives_the_files_own_hours_back(day: tuple[int, int, int]) -> None:
    w, cells = seen(plan(datetime(*day), 2, FILE))
    hours, mean = hourly(w, cells, w.light.ghi)
    lit = hourly(w, cells, w.light.sun.ghi[:, None])[1][:, 0] > 5.0
    assert w.shift_days[0] == 0.0
    assert lit.sum() >= 6
    expected = sand_point_ghi()[hour_of_year(hours[lit], -9.0)]
    assert mean[lit, 0] == pytest.approx(expected, rel=1e-9, abs=1e-9)


def test_a_moved_hour_is_never_above_1_2_of_a_clear_sky() -> None:
    w, cells = seen(plan(datetime(2026, 4, 10), 3, FILE))
    hours, mean = hourly(w, cells, w.light.ghi)
    moments = pd.to_datetime(
        (hours[:, None] + np.arange(150, 3600, 300)).ravel(), unit="s", utc=True
    )
    place = pvlib.location.Location(
        SAND_POINT["latitude_deg"], SAND_POINT["longitude_deg"], altitude=SAND_POINT["elevation_m"]
    )
    clear = place.get_clearsky(moments)["ghi"].to_numpy().reshape(hours.size, -1).mean(axis=1)
    moved = mean[:, w.shift_days != 0.0]
    assert (moved <= 1.2 * clear[:, None] * 1.005 + 0.5).all()
    assert moved.max() > 100.0


# --- which rows --------------------------------------------------------------------------------


def rows_of(first: date, days: int, record: Record, futures: int | None = None) -> tuple:
    begin = pd.Timestamp(first).timestamp() - record.utc_offset_s
    hours = begin + 3600.0 * np.arange(24 * days)
    return resampled_rows(record, hours, futures)


@pytest.fixture(scope="module")
def typical() -> Record:
    return read_record("builtin:sand-point", timezone="UTC")


def test_shifts_come_nearest_first_and_later_before_earlier(typical: Record) -> None:
    _, shift, _ = rows_of(date(2026, 6, 15), 1, typical)
    near_first = sorted(range(-15, 16), key=lambda s: (abs(s), -s))
    assert shift.tolist() == near_first


def test_a_typical_year_holds_31_weathers_and_never_more(typical: Record) -> None:
    assert rows_of(date(2026, 6, 15), 1, typical, 500)[1].size == 31


def test_29_february_takes_the_hours_of_the_28th(typical: Record) -> None:
    rows, _, _ = rows_of(date(2028, 2, 28), 3, typical)
    the_28th = 24 * (31 + 27) + np.arange(24)
    assert rows[:, 0].tolist() == [*the_28th, *the_28th, *(the_28th + 24)]


def test_a_window_across_31_december_wraps(typical: Record) -> None:
    rows, _, _ = rows_of(date(2026, 12, 31), 2, typical)
    assert rows[:, 0].tolist() == [*range(8736, 8760), *range(24)]


@pytest.fixture(scope="module")
def two_years(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An invented record of 2022 and 2023, hourly in UTC: a clear sky made duller day by day."""
    hours = pd.date_range("2022-01-01", "2023-12-31 23:00", freq="h", tz="UTC")
    sun = pvlib.solarposition.get_solarposition(hours + pd.Timedelta("30min"), 47.0, 9.0)
    clear = pvlib.clearsky.haurwitz(sun["apparent_zenith"])["ghi"].to_numpy()
    dull = 0.9 - 0.6 * (hours.day_of_year.to_numpy() % 7) / 7.0
    table = pd.DataFrame(
        {"time": hours.strftime("%Y-%m-%dT%H:%M:%SZ"), "ghi": (clear * dull).round(1)}
    )
    path = tmp_path_factory.mktemp("record") / "two-years.csv"
    table.to_csv(path, index=False)
    return path


def test_two_measured_years_make_62_weathers(two_years: Path) -> None:
    weather = {"kind": "file", "file": str(two_years)}
    assert budget(plan(datetime(2026, 6, 15), 1, weather, ALPS)).chance.scenarios == 62


def test_years_without_29_february_take_none(two_years: Path) -> None:
    record = read_record(str(two_years), timezone="UTC", place=(47.0, 9.0))
    rows, shift, _ = rows_of(date(2028, 2, 28), 2, record)
    begins = pd.to_datetime(record.start_s[rows[::24, shift == 0.0]].T.ravel(), unit="s")
    days = [str(day.date()) for day in begins]
    assert days == ["2022-02-28", "2022-03-01", "2023-02-28", "2023-03-01"]


def test_a_record_too_short_for_the_span_is_a_plan_error(two_years: Path, tmp_path: Path) -> None:
    rows = two_years.read_text().splitlines()
    short = tmp_path / "short.csv"
    short.write_text("\n".join(rows[: 24 * 5 + 1]) + "\n")
    weather = {"kind": "file", "file": str(short)}
    with pytest.raises(PlanError) as caught:
        budget(plan(datetime(2026, 1, 2), 9, weather, ALPS))
    assert "short.csv" in caught.value.problems[0]


# --- what overlapping windows are worth --------------------------------------------------------


@pytest.mark.parametrize("days", [1, 2, 3, 5])
def test_31_windows_are_worth_what_their_spread_says(days: int) -> None:
    # Lag-1 0.29 of daily clearness: Graham, Hollands & Unny 1988 (from memory). A window succeeds
    # when its sum is above the median; so many independent ones would have p (1 - p) / n.
    normal = np.random.default_rng(1).standard_normal((20_000, 31 + days - 1))
    day = normal.copy()
    for k in range(1, day.shape[1]):
        day[:, k] = 0.29 * day[:, k - 1] + np.sqrt(1.0 - 0.29**2) * normal[:, k]
    window = np.lib.stride_tricks.sliding_window_view(day, days, axis=1).sum(axis=2)
    worth = 0.25 / (window > 0.0).mean(axis=1).var()
    assert 1.4 * independent_scenarios(days, 31, 1) == pytest.approx(worth, rel=0.05)


def test_years_multiply_what_windows_are_worth() -> None:
    one, ten = (independent_scenarios(3, 31, years) for years in (1, 10))
    assert ten == pytest.approx(10 * one)


@pytest.mark.parametrize(("hits", "tries"), [(27, 31), (0, 12), (8, 8), (1, 200)])
def test_the_range_is_wilsons(hits: int, tries: int) -> None:
    expected = binomtest(hits, tries).proportion_ci(method="wilson")
    assert wilson(hits / tries, tries) == pytest.approx((expected.low, expected.high), abs=1e-12)


def test_the_range_shown_rests_on_the_independent_scenarios() -> None:
    chance = budget(Plan.read("builtin:cloudy-repair")).chance
    low, high = wilson(chance.percent / 100, independent_scenarios(2, 31, 1))  # 25 hours: 2 days
    assert (chance.low, chance.high) == pytest.approx((100 * low, 100 * high))


# --- stated skies ------------------------------------------------------------------------------


def test_no_cloud_is_the_clear_sky_itself() -> None:
    clear, none = (
        seen(plan(datetime(2026, 6, 10), 1, weather, ALPS))[0]
        for weather in ({"kind": "clear"}, {"kind": "sky", "sky": [0], "futures": 1})
    )
    for part in ("ghi", "dni", "dhi"):
        assert np.array_equal(getattr(clear.light, part), getattr(none.light, part))


def test_overcast_is_a_quarter_of_clear() -> None:
    # Kasten & Czeplak, Solar Energy 24 (1980) 177: 1 - 0.75 at eight eighths.
    w, _ = seen(
        plan(datetime(2026, 6, 10), 1, {"kind": "sky", "sky": "overcast", "futures": 1}, ALPS)
    )
    assert w.light.ghi[:, 0] == pytest.approx(0.25 * w.light.sun.ghi)


def test_each_local_date_has_its_own_cloud() -> None:
    # On this island the local date changes at 10:00 UTC, and the sun is up at both UTC midnights.
    island = {
        "latitude_deg": 1.87,
        "longitude_deg": -157.4,
        "elevation_m": 3,
        "timezone": "Pacific/Kiritimati",
    }
    w, cells = seen(
        plan(datetime(2026, 6, 10), 2, {"kind": "sky", "sky": [0, 8], "futures": 1}, island)
    )
    middle = ((cells[1:] + cells[:-1]) / 2)[w.light.lit]
    local = pd.to_datetime(middle, unit="s", utc=True).tz_convert("Pacific/Kiritimati")
    bright = w.light.sun.ghi > 1.0
    inside = bright & (local.day >= 10) & (local.day <= 11)
    share = (w.light.ghi[inside, 0] / w.light.sun.ghi[inside]).round(9)
    assert share.tolist() == np.where(local.day[inside] == 10, 1.0, 0.25).tolist()


def test_the_air_keeps_to_the_stated_range_with_its_high_in_the_afternoon() -> None:
    w, cells = seen(plan(datetime(2026, 6, 10), 1, {"kind": "clear", "temp_air_c": [4, 18]}, ALPS))
    middle = (cells[1:] + cells[:-1]) / 2
    air = w.air.temp_air
    warmest = pd.Timestamp(middle[air[:, 0].argmax()], unit="s") + pd.Timedelta(hours=9 / 15)
    assert (air.min(), air.max()) == pytest.approx((4.0, 18.0), abs=0.05)
    assert abs((warmest - warmest.normalize()) - pd.Timedelta(hours=15)) < pd.Timedelta("10min")


def test_a_files_own_height_is_used_where_the_plan_gives_none() -> None:
    place = {key: value for key, value in ALASKA.items() if key != "elevation_m"}
    tale = plan(datetime(2026, 6, 10), 1, FILE, place)
    assert elevation_of(tale, record_of(tale)) == (7.0, "the weather file")
