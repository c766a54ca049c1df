"""Weather files: the built-in typical years, the common formats, plain tables.

Files are made here from a cloudless sky (Haurwitz 1945, by pvlib) at a place of our own choice.
Mending and refusing are tested beside this file.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest

from energy.plan import PlanError
from energy.weather.readers.files import BUILTIN, read_record

DATA = Path(pvlib.__file__).parent / "data"
LATITUDE, LONGITUDE = 50.0, 10.0
PLACE = (LATITUDE, LONGITUDE)
ZONE = "Europe/Berlin"


def cloudless(start_utc: pd.DatetimeIndex, minutes: int = 60) -> np.ndarray:
    """GHI of a cloudless sky over the intervals that begin at these moments, W/m2."""
    middle = start_utc + pd.Timedelta(minutes=minutes / 2)
    zenith = pvlib.solarposition.get_solarposition(middle, LATITUDE, LONGITUDE)["apparent_zenith"]
    return pvlib.clearsky.haurwitz(zenith)["ghi"].to_numpy().round(1)


def local(begin: str, hours: int, minutes: int = 60, zone: str = ZONE) -> pd.DatetimeIndex:
    """Beginnings of intervals on the local clock."""
    rows = hours * 60 // minutes
    return pd.date_range(begin, periods=rows, freq=f"{minutes}min", tz=zone)


def plain(path: Path, start: pd.DatetimeIndex, stamps: list[str], **columns: object) -> str:
    """Write a plain table of a cloudless sky."""
    step = int((start[1] - start[0]).total_seconds() // 60)
    light = {"ghi": cloudless(start.tz_convert("UTC"), step)}
    pd.DataFrame({"time": stamps, **light, **columns}).to_csv(path, index=False)
    return str(path)


def utc_seconds(index: pd.DatetimeIndex) -> np.ndarray:
    return index.tz_convert("UTC").tz_localize(None).to_numpy("M8[s]").astype(float)


# --- the three typical years ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "means_kwh_m2"),
    [
        # kWh/m2 a day, January to December. TMY3 and TMY2 data sets of the National Solar
        # Radiation Data Base (Wilcox & Marion 2008; Marion & Urban 1995), summed on their own.
        (
            "sand-point",
            [0.58, 1.05, 1.85, 3.06, 3.28, 3.81, 5.00, 2.70, 3.04, 1.61, 0.74, 0.46],
        ),
        (
            "greensboro",
            [2.41, 3.06, 4.25, 5.41, 5.64, 6.25, 6.08, 5.61, 4.43, 3.59, 2.43, 2.24],
        ),
        ("miami", [3.49, 4.43, 5.16, 6.16, 6.03, 5.76, 5.99, 5.67, 4.91, 4.37, 3.57, 3.36]),
    ],
)
def test_a_typical_year_has_its_monthly_means(name: str, means_kwh_m2: list[float]) -> None:
    record = read_record(f"builtin:{name}", timezone="UTC")
    month = pd.date_range("2001-01-01", periods=8760, freq="h").month
    means = pd.Series(record.ghi).groupby(month).mean() * 24 / 1000
    # 1 %, and half of the last printed digit
    np.testing.assert_allclose(means, means_kwh_m2, rtol=0.01, atol=0.005)


@pytest.mark.parametrize("name", ["sand-point", "greensboro"])
def test_tmy3_gives_what_pvlib_reads(name: str) -> None:
    record = read_record(f"builtin:{name}", timezone="UTC")
    data, meta = pvlib.iotools.read_tmy3(DATA / BUILTIN[name], map_variables=True)
    np.testing.assert_array_equal(record.ghi, data["ghi"])
    np.testing.assert_array_equal(record.dhi, np.minimum(data["dhi"], data["ghi"]))
    np.testing.assert_array_equal(record.temp_air, data["temp_air"])
    np.testing.assert_array_equal(record.wind_speed, data["wind_speed"])
    np.testing.assert_allclose(record.cloud_okta, data["TotCld (tenths)"] * 8 / 10)
    assert (record.latitude_deg, record.longitude_deg) == (meta["latitude"], meta["longitude"])
    assert (record.elevation_m, record.utc_offset_s) == (meta["altitude"], 3600 * meta["TZ"])


def test_tmy2_gives_what_pvlib_reads_in_whole_units() -> None:
    record = read_record("builtin:miami", timezone="UTC")
    data, meta = pvlib.iotools.read_tmy2(DATA / BUILTIN["miami"])
    np.testing.assert_array_equal(record.ghi, data["GHI"])
    np.testing.assert_array_equal(record.dhi, np.minimum(data["DHI"], data["GHI"]))
    np.testing.assert_allclose(record.temp_air, data["DryBulb"] / 10)
    np.testing.assert_allclose(record.wind_speed, data["Wspd"] / 10)
    np.testing.assert_allclose(record.cloud_okta, data["TotCld"] * 8 / 10)
    assert record.latitude_deg == pytest.approx(meta["latitude"])
    assert record.longitude_deg == pytest.approx(meta["longitude"])


def test_a_tmy3_hour_begins_an_hour_before_its_stamp() -> None:
    record = read_record("builtin:greensboro", timezone="UTC")
    data, _ = pvlib.iotools.read_tmy3(DATA / BUILTIN["greensboro"], map_variables=True)
    # pvlib moves the stamp 24:00 of 28 February to 1 March in leap years
    rest = np.arange(8760) != 59 * 24 - 1
    np.testing.assert_array_equal(record.start_s[rest], utc_seconds(data.index)[rest] - 3600)


@pytest.mark.parametrize("name", BUILTIN)
def test_a_typical_year_begins_at_new_year_on_its_standard_clock(name: str) -> None:
    record = read_record(f"builtin:{name}", timezone="UTC")
    clock = pd.to_datetime(record.start_s + record.utc_offset_s, unit="s")
    plain_year = pd.date_range("2001-01-01", periods=8760, freq="h")
    assert record.typical
    assert clock.strftime("%m-%d %H").tolist() == plain_year.strftime("%m-%d %H").tolist()


def test_each_month_of_a_typical_year_bears_its_own_year() -> None:
    record = read_record("builtin:miami", timezone="UTC")
    lines = (DATA / BUILTIN["miami"]).read_text().splitlines()[1:]
    clock = pd.to_datetime(record.start_s + record.utc_offset_s, unit="s")
    assert clock.year.tolist() == [1900 + int(line[1:3]) for line in lines]


# --- EPW and NSRDB -------------------------------------------------------------------------


def epw(path: Path, start: pd.DatetimeIndex, **changed: object) -> str:
    """Write an EPW file of a cloudless sky; the clock is UTC+1."""
    rows = pd.DataFrame(index=range(len(start)), columns=range(35)).fillna(0)
    rows[0], rows[1], rows[2], rows[3] = start.year, start.month, start.day, start.hour + 1
    rows[6], rows[13] = 12.5, cloudless(start.tz_convert("UTC"))
    rows[15], rows[21], rows[22] = (rows[13] * 0.2).round(1), 3.0, 5
    for column, values in changed.items():
        rows[int(column[1:])] = values
    head = ["LOCATION,Sägewerk,-,INV,TMY,000000,50.0,10.0,1.0,300.0"]
    head += [f"LINE {number}" for number in range(7)]
    text = "\n".join(head) + "\n" + rows.to_csv(header=False, index=False)
    path.write_bytes(text.encode("latin-1"))
    return str(path)


@pytest.fixture(scope="module")
def year() -> pd.DatetimeIndex:
    return local("2019-01-01", 8760, zone="Etc/GMT-1")


def test_an_epw_hour_begins_an_hour_before_its_number(
    tmp_path: Path, year: pd.DatetimeIndex
) -> None:
    record = read_record(epw(tmp_path / "a.epw", year), timezone="UTC")
    np.testing.assert_array_equal(record.start_s, utc_seconds(year))
    np.testing.assert_array_equal(record.ghi, cloudless(year.tz_convert("UTC")))


def test_an_epw_of_months_from_several_years_is_a_typical_year(
    tmp_path: Path, year: pd.DatetimeIndex
) -> None:
    record = read_record(epw(tmp_path / "a.epw", year, _0=2000 + year.month), timezone="UTC")
    assert record.typical
    assert record.name == "typical year, Sägewerk"


def test_an_epw_of_a_leap_year_keeps_its_own_time(tmp_path: Path) -> None:
    leap = local("2020-01-01", 8784, zone="Etc/GMT-1")
    record = read_record(epw(tmp_path / "a.epw", leap), timezone="UTC")
    assert not record.typical
    assert len(record.ghi) == 8784


def test_sky_cover_in_tenths_comes_in_eighths(tmp_path: Path, year: pd.DatetimeIndex) -> None:
    record = read_record(epw(tmp_path / "a.epw", year), timezone="UTC")
    assert record.cloud_okta is not None
    np.testing.assert_allclose(record.cloud_okta, 4.0)


def test_air_and_wind_that_an_epw_marks_missing_are_absent(
    tmp_path: Path, year: pd.DatetimeIndex
) -> None:
    record = read_record(epw(tmp_path / "a.epw", year, _6=99.9, _21=999, _22=99), timezone="UTC")
    assert np.isnan(record.temp_air).all()
    assert np.isnan(record.wind_speed).all()
    assert record.cloud_okta is None


def nsrdb(path: Path, stamp: pd.DatetimeIndex, ghi: np.ndarray, zone: str = "1") -> str:
    """Write a file in the layout of the NSRDB's physical solar model."""
    head = (
        "Source,Location ID,City,State,Country,Latitude,Longitude,Time Zone,Elevation,"
        f"Local Time Zone\nNSRDB,1,-,-,-,{LATITUDE},{LONGITUDE},{zone},300,{zone}\n"
    )
    table = pd.DataFrame({"Year": stamp.year, "Month": stamp.month, "Day": stamp.day})
    table = table.assign(Hour=stamp.hour, Minute=stamp.minute, GHI=ghi, DHI=ghi / 4)
    table = table.assign(**{"Temperature": 7.0, "Wind Speed": 2.0})
    path.write_text(head + table.to_csv(index=False))
    return str(path)


def test_an_nsrdb_file_gives_what_pvlib_reads(tmp_path: Path, year: pd.DatetimeIndex) -> None:
    stamp = year + pd.Timedelta(minutes=30)
    source = nsrdb(tmp_path / "n.csv", stamp, cloudless(year.tz_convert("UTC")))
    record = read_record(source, timezone="UTC")
    data, meta = pvlib.iotools.read_nsrdb_psm4(source)
    for name in ("ghi", "dhi", "temp_air", "wind_speed"):
        np.testing.assert_array_equal(getattr(record, name), data[name])
    np.testing.assert_array_equal(record.start_s, utc_seconds(data.index) - 1800)
    assert (record.latitude_deg, record.elevation_m) == (meta["latitude"], meta["altitude"])


def test_an_nsrdb_file_may_have_a_zone_of_half_an_hour(tmp_path: Path) -> None:
    start = local("2019-03-01", 240, 30, zone="Etc/GMT-1")
    stamp = start + pd.Timedelta(minutes=15) - pd.Timedelta(minutes=30)
    source = nsrdb(tmp_path / "n.csv", stamp, cloudless(start.tz_convert("UTC"), 30), "0.5")
    record = read_record(source, timezone="UTC")
    np.testing.assert_array_equal(record.start_s, utc_seconds(start))


# --- plain tables --------------------------------------------------------------------------


@pytest.mark.parametrize("minutes", [5, 15, 60])
@pytest.mark.parametrize(("marks", "share"), [("start", 0.0), ("middle", 0.5), ("end", 1.0)])
def test_a_stamp_marks_what_the_plan_says(
    tmp_path: Path, minutes: int, marks: str, share: float
) -> None:
    start = local("2024-07-01", 72, minutes)
    stamps = (start + pd.Timedelta(minutes=share * minutes)).strftime("%Y-%m-%d %H:%M:%S")
    source = plain(tmp_path / "log.csv", start, list(stamps))
    record = read_record(source, timezone=ZONE, stamps=marks)
    assert record.interval_s == 60 * minutes
    np.testing.assert_array_equal(record.start_s, utc_seconds(start))


def test_hours_labelled_at_their_half_are_taken_so(tmp_path: Path) -> None:
    start = local("2024-07-01", 72)
    stamps = (start + pd.Timedelta(minutes=30)).strftime("%Y-%m-%d %H:%M")
    record = read_record(plain(tmp_path / "log.csv", start, list(stamps)), timezone=ZONE)
    np.testing.assert_array_equal(record.start_s, utc_seconds(start))
    assert record.notes == ("stamps at half past taken as the middle of their hours",)


@pytest.mark.parametrize(
    "form",
    [
        "%Y-%m-%d %H:%M",
        "%Y-%m-%dT%H:%M:%S",
        "%d.%m.%Y %H:%M",
        "%m/%d/%Y %H:%M",
        "%d/%m/%Y %H:%M",
        "%Y/%m/%d %H:%M:%S",
        "%m/%d/%Y %I:%M %p",
    ],
)
def test_common_ways_to_write_a_time_are_read(tmp_path: Path, form: str) -> None:
    start = local("2024-07-01", 24 * 20)
    record = read_record(
        plain(tmp_path / "log.csv", start, list(start.strftime(form))), timezone=ZONE, place=PLACE
    )
    np.testing.assert_array_equal(record.start_s, utc_seconds(start))


def test_day_and_month_are_told_apart_by_even_spacing(tmp_path: Path) -> None:
    start = local("2024-07-03", 24 * 5)
    source = plain(tmp_path / "log.csv", start, list(start.strftime("%d/%m/%Y %H:%M")))
    record = read_record(source, timezone=ZONE)
    np.testing.assert_array_equal(record.start_s, utc_seconds(start))


def test_a_date_that_reads_two_ways_is_refused(tmp_path: Path) -> None:
    start = local("2024-07-03", 24)
    source = plain(tmp_path / "log.csv", start, list(start.strftime("%d/%m/%Y %H:%M")))
    with pytest.raises(PlanError, match="day and month cannot be told apart"):
        read_record(source, timezone=ZONE)


@pytest.mark.parametrize("zone", ["Asia/Kathmandu", "UTC", "America/St_Johns"])
def test_an_offset_in_the_stamp_outranks_the_plans_zone(tmp_path: Path, zone: str) -> None:
    start = local("2024-07-01", 48, zone=zone)
    source = plain(tmp_path / "log.csv", start, [moment.isoformat() for moment in start])
    np.testing.assert_array_equal(read_record(source, timezone=ZONE).start_s, utc_seconds(start))


@pytest.mark.parametrize("mark", ["Z", " UTC"])
def test_utc_may_be_said_in_each_stamp(tmp_path: Path, mark: str) -> None:
    start = local("2024-07-01", 48, zone="UTC")
    stamps = [text + mark for text in start.strftime("%Y-%m-%d %H:%M:%S")]
    record = read_record(plain(tmp_path / "log.csv", start, stamps), timezone=ZONE)
    np.testing.assert_array_equal(record.start_s, utc_seconds(start))


def test_utc_may_be_said_in_the_heading(tmp_path: Path) -> None:
    start = local("2024-07-01", 48, zone="UTC")
    source = Path(plain(tmp_path / "log.csv", start, list(start.strftime("%Y-%m-%d %H:%M"))))
    source.write_text(source.read_text().replace("time", "Time (UTC)", 1))
    record = read_record(str(source), timezone=ZONE)
    np.testing.assert_array_equal(record.start_s, utc_seconds(start))


@pytest.mark.parametrize("minutes", [30, 60])
@pytest.mark.parametrize("begin", ["2024-03-29", "2024-10-25"])
def test_a_clock_put_forward_or_back_leaves_no_gap(
    tmp_path: Path, begin: str, minutes: int
) -> None:
    start = local(begin, 96, minutes)  # summer time began 31 March and ended 27 October 2024
    source = plain(tmp_path / "log.csv", start, list(start.strftime("%Y-%m-%d %H:%M")))
    record = read_record(source, timezone=ZONE)
    np.testing.assert_array_equal(record.start_s, utc_seconds(start))


@pytest.mark.parametrize("begin", ["2024-03-29", "2024-10-25"])
def test_a_logger_left_on_standard_time_is_noticed(tmp_path: Path, begin: str) -> None:
    start = local(begin, 96, zone="Etc/GMT-1")
    source = plain(tmp_path / "log.csv", start, list(start.strftime("%Y-%m-%d %H:%M")))
    record = read_record(source, timezone=ZONE)
    np.testing.assert_array_equal(record.start_s, utc_seconds(start))
    assert record.notes == ("its clock knows no summer time: UTC+1",)


def test_a_plain_table_of_8760_hours_is_a_year_that_wraps(
    tmp_path: Path, year: pd.DatetimeIndex
) -> None:
    months_of_years = [f"{2000 + t.month}{t:-%m-%d %H:%M}" for t in year]
    source = plain(tmp_path / "log.csv", year, months_of_years)
    assert read_record(source, timezone=ZONE, place=PLACE).typical


def test_semicolons_and_decimal_commas_are_read(tmp_path: Path) -> None:
    start = local("2024-07-01", 48)
    table = pd.DataFrame({"Datum; Zeit": start.strftime("%d.%m.%Y %H:%M")})
    table.columns = ["timestamp"]
    table["Global radiation (W/m2)"] = cloudless(start.tz_convert("UTC"))
    table["T amb [°C]"] = 21.5
    path = tmp_path / "log.csv"
    table.to_csv(path, index=False, sep=";", decimal=",")
    record = read_record(str(path), timezone=ZONE)
    np.testing.assert_array_equal(record.ghi, cloudless(start.tz_convert("UTC")))
    np.testing.assert_array_equal(record.temp_air, 21.5)


def test_date_and_time_may_stand_in_two_columns(tmp_path: Path) -> None:
    start = local("2024-07-01", 48)
    table = pd.DataFrame({"Date": start.strftime("%Y-%m-%d"), "Time": start.strftime("%H:%M")})
    table.assign(GHI=cloudless(start.tz_convert("UTC"))).to_csv(tmp_path / "l.csv", index=False)
    record = read_record(str(tmp_path / "l.csv"), timezone=ZONE)
    np.testing.assert_array_equal(record.start_s, utc_seconds(start))


def test_year_month_day_and_hour_may_stand_in_columns(tmp_path: Path) -> None:
    start = local("2024-07-01", 48)
    table = pd.DataFrame({name: getattr(start, name) for name in ("year", "month", "day", "hour")})
    table.assign(GHI=cloudless(start.tz_convert("UTC"))).to_csv(tmp_path / "l.csv", index=False)
    record = read_record(str(tmp_path / "l.csv"), timezone=ZONE)
    np.testing.assert_array_equal(record.start_s, utc_seconds(start))


def test_diffuse_is_the_global_less_the_beam(tmp_path: Path) -> None:
    start = local("2024-07-01", 48)
    source = plain(tmp_path / "log.csv", start, list(start.strftime("%Y-%m-%d %H:%M")), dni=500.0)
    record = read_record(source, timezone=ZONE, place=PLACE)
    middle = start + pd.Timedelta(minutes=30)
    zenith = pvlib.solarposition.get_solarposition(middle, *PLACE)["zenith"].to_numpy()
    high = zenith < 80
    beam = 500 * np.cos(np.radians(zenith[high]))
    np.testing.assert_allclose(record.dhi[high], np.clip(record.ghi[high] - beam, 0, None), atol=3)


def test_a_table_that_pandas_wrote_needs_no_name_for_its_times(tmp_path: Path) -> None:
    start = local("2024-07-01", 48)
    pd.DataFrame({"ghi": cloudless(start.tz_convert("UTC"))}, index=start).to_csv(
        tmp_path / "log.csv"
    )
    record = read_record(str(tmp_path / "log.csv"), timezone="UTC")
    np.testing.assert_array_equal(record.start_s, utc_seconds(start))
