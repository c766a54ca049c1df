"""The sun against the SPA's published example, an ephemeris, a text book and measured data."""

from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pvlib
import pytest
from text_book_sun import zenith_azimuth

from energy.model import panel
from energy.model.sun import (
    PlaceSun,
    clear_sun,
    close_beam,
    cloud_transmission,
    diffuse_of,
    position,
    solar_noon,
    sunrise_sunset,
)


def utc(text: str) -> np.ndarray:
    return np.array([datetime.fromisoformat(text).timestamp()])


def local_noon(date: str, zone: str) -> np.ndarray:
    return np.array(
        [datetime.fromisoformat(f"{date}T12:00").replace(tzinfo=ZoneInfo(zone)).timestamp()]
    )


def seconds_off(time_s: float, date: str, clock: str, zone: str) -> float:
    wanted = datetime.fromisoformat(f"{date}T{clock}").replace(tzinfo=ZoneInfo(zone))
    return abs(time_s - wanted.timestamp())


def test_position_of_the_published_example():
    # Reda & Andreas, NREL/TP-560-34302, table A5.1; pressure and delta T as there.
    moment = pd.DatetimeIndex(["2003-10-17 12:30:30"], tz="Etc/GMT+7")
    found = pvlib.solarposition.spa_python(
        moment, 39.742476, -105.1786, altitude=1830.14, pressure=82000, temperature=11, delta_t=67
    )
    assert found.apparent_zenith.iloc[0] == pytest.approx(50.11162, abs=1e-4)
    assert found.azimuth.iloc[0] == pytest.approx(194.34024, abs=1e-4)
    incidence = pvlib.irradiance.aoi(30, 170, found.apparent_zenith.iloc[0], found.azimuth.iloc[0])
    assert incidence == pytest.approx(25.18700, abs=1e-4)


def test_our_position_keeps_to_the_published_example():
    # The same source; standard pressure and delta T of the year move it by less than 0.01 degrees.
    found = position(utc("2003-10-17T19:30:30+00:00"), 39.742476, -105.1786, 1830.14)
    assert found.zenith.iloc[0] == pytest.approx(50.1268, abs=0.01)
    assert found.azimuth.iloc[0] == pytest.approx(194.34024, abs=0.01)


# Skyfield with JPL DE421, upper limb, 34' refraction, sea level; PyEphem agrees within 3 s.
EVENTS = [
    (55.3, -160.5, "America/Anchorage", "2026-03-20", "08:43:21", "20:56:24", 20),
    (55.3, -160.5, "America/Anchorage", "2026-06-21", "06:00:30", "23:27:17", 20),
    (55.3, -160.5, "America/Anchorage", "2026-09-14", "08:12:58", "21:00:40", 20),
    (55.3, -160.5, "America/Anchorage", "2026-12-21", "10:07:12", "17:13:21", 20),
    (-43.5, 172.0, "Pacific/Auckland", "2026-03-20", "07:33:48", "19:44:35", 20),
    (-43.5, 172.0, "Pacific/Auckland", "2026-06-21", "08:05:23", "17:02:01", 20),
    (-43.5, 172.0, "Pacific/Auckland", "2026-09-14", "06:36:48", "18:19:23", 20),
    (-43.5, 172.0, "Pacific/Auckland", "2026-12-21", "05:47:00", "21:12:39", 20),
    (0.5, 36.5, "Africa/Nairobi", "2026-03-20", "06:38:13", "18:44:42", 20),
    (66.9, 25.0, "Europe/Helsinki", "2026-12-21", "11:27:44", "13:08:18", 30),
]


@pytest.mark.parametrize(
    ("latitude", "longitude", "zone", "date", "rise", "fall", "within"), EVENTS
)
def test_sunrise_and_sunset_against_an_ephemeris(
    latitude, longitude, zone, date, rise, fall, within
):
    rises, falls = sunrise_sunset(local_noon(date, zone), latitude, longitude)
    assert seconds_off(float(rises[0]), date, rise, zone) <= within
    assert seconds_off(float(falls[0]), date, fall, zone) <= within


def test_sunrise_and_sunset_of_the_published_example():
    # Reda & Andreas, NREL/TP-560-34302: 06:12:43 and 17:20:19 for 17 October 2003. They count by
    # the UT date, on which the sunset (00:20 UT) is that of the local evening before;
    # the day's own delta T and the crossing by bisection leave a second or two.
    zone = "Etc/GMT+7"
    rises, _ = sunrise_sunset(local_noon("2003-10-17", zone), 39.742476, -105.1786)
    _, falls = sunrise_sunset(local_noon("2003-10-16", zone), 39.742476, -105.1786)
    assert seconds_off(float(rises[0]), "2003-10-17", "06:12:43", zone) <= 2
    assert seconds_off(float(falls[0]), "2003-10-16", "17:20:19", zone) <= 2


def test_polar_day_lasts_from_midnight_to_midnight_of_the_sun():
    rises, falls = sunrise_sunset(local_noon("2026-06-21", "Europe/Helsinki"), 66.9, 25.0)
    assert float(falls[0] - rises[0]) == 86400.0


def test_polar_night_is_empty_at_noon():
    noon = local_noon("2026-12-21", "Europe/Oslo")
    rises, falls = sunrise_sunset(noon, 78.2, 15.6)
    assert float(rises[0]) == float(falls[0]) == float(solar_noon(noon, 78.2, 15.6)[0])


@pytest.mark.parametrize(
    ("longitude", "zone"), [(-157.4, "Pacific/Kiritimati"), (178.4, "Pacific/Fiji")]
)
def test_noon_at_the_date_line_belongs_to_the_local_date(longitude, zone):
    noon = local_noon("2026-06-01", zone)
    found = datetime.fromtimestamp(float(solar_noon(noon, -17.0, longitude)[0]), ZoneInfo(zone))
    assert str(found.date()) == "2026-06-01"


def test_a_clear_day_is_symmetrical_about_noon():
    noon = solar_noon(local_noon("2026-06-21", "UTC"), 50.0, 0.0)[0]
    away = np.arange(600.0, 25000.0, 600.0)
    before, after = clear_sun(noon - away, 50.0, 0.0), clear_sun(noon + away, 50.0, 0.0)
    assert np.allclose(before.ghi, after.ghi, rtol=0.01, atol=1.0)


def test_extraterrestrial_day_and_hour_of_a_text_book():
    # Duffie & Beckman, Solar Engineering of Thermal Processes, ex. 1.10.1 and 1.10.2:
    # 15 April, 43 N: 33.8 MJ/m2 a day, 3.79 MJ/m2 between 10 and 11 solar time.
    noon = solar_noon(
        np.array([datetime.fromisoformat("2026-04-15T12:00+00:00").timestamp()]), 43.0, 0.0
    )[0]
    times = noon + np.arange(-43200.0 + 30.0, 43200.0, 60.0)
    sun = clear_sun(times, 43.0, 0.0)
    flat = np.maximum(np.cos(np.radians(sun.zenith)), 0.0) * sun.dni_extra * 60.0 / 1e6
    assert flat.sum() == pytest.approx(33.8, rel=0.01)
    hour = (times > noon - 7200.0) & (times < noon - 3600.0)
    assert flat[hour].sum() == pytest.approx(3.79, rel=0.01)


def test_incidence_and_beam_ratio_of_a_text_book():
    # Duffie & Beckman, ex. 1.6.1 (35 degrees) and 1.8.1 (beam ratio 1.66): 43 N, 13 February,
    # 10:30 solar, tilt 45, facing 15 degrees west of south.
    zenith, azimuth = zenith_azimuth(-14.0, 43.0, -22.5)
    assert pvlib.irradiance.aoi(45, 195, zenith, azimuth) == pytest.approx(35.0, abs=0.5)
    on_plane = pvlib.irradiance.aoi_projection(45, 195, zenith, azimuth)
    assert on_plane / np.cos(np.radians(zenith)) == pytest.approx(1.66, abs=0.02)


@pytest.mark.parametrize(
    ("okta", "share"), [(0, 1.0), (2, 0.993), (4, 0.929), (6, 0.718), (7, 0.524), (8, 0.250)]
)
def test_cloud_transmission(okta, share):
    # Kasten & Czeplak, Solar Energy 24 (1980) 177, from memory.
    assert cloud_transmission(np.array([float(okta)]))[0] == pytest.approx(share, abs=1e-3)


def test_a_low_sun_is_all_diffuse_under_cloud():
    times = np.array([datetime.fromisoformat("2026-03-20T06:10+00:00").timestamp()])
    sun = clear_sun(times, 0.0, 0.0)
    assert 87.0 < sun.zenith[0] < 90.0
    assert diffuse_of(sun, np.array([20.0]))[0] == 20.0


def test_global_light_closes_with_beam_and_diffuse():
    times = utc("2026-06-21T09:00:00+00:00")
    sun = clear_sun(times, 50.0, 0.0)
    ghi = np.array([500.0])
    dni, dhi = close_beam(sun, ghi, np.array([100.0]), np.array([300.0]))
    assert dni[0] == 300.0
    assert dhi[0] + 300.0 * np.cos(np.radians(sun.zenith[0])) == pytest.approx(500.0)


def test_plane_of_array_against_measured_light():
    # pvanalytics 0.2.2 (MIT), data of the reference station of NREL: 5-minute means, four days
    # of February 2019 (3 February is empty); tilt 40 south. Beam and diffuse sum to 1.057 of the
    # measured global light there, so 6 % and 70 W/m2 are what a right model reaches.
    import pvanalytics

    folder = pvanalytics.__path__[0]
    data = pd.read_csv(f"{folder}/data/irradiance_RMIS_NREL.csv", index_col=0)
    data.index = pd.to_datetime(data.index).tz_localize("Etc/GMT+7", ambiguous="NaT")
    columns = {c.split("__")[0].removeprefix("irradiance_"): c for c in data.columns}
    ghi, dni, dhi, poa = (data[columns[k]].to_numpy(float) for k in ("ghi", "dni", "dhi", "poa"))
    stamps = data.index.as_unit("ns").asi8 / 1e9
    zenith = position(stamps, 39.7423, -105.1785, 1829.0)["zenith"].to_numpy()
    known = ~np.isnan(data["pvlib_zenith"].to_numpy(float))
    assert np.abs(zenith - data["pvlib_zenith"].to_numpy(float))[known].max() < 0.01
    use = (zenith < 87.0) & ~np.isnan(ghi + dni + dhi + poa)
    sun = clear_sun(stamps[use] - 150.0, 39.7423, -105.1785, 1829.0)
    light = panel.light_on_plane(
        sun,
        panel.sky_above(sun, (ghi[use, None], dni[use, None], dhi[use, None])),
        np.full(use.sum(), 40.0),
        np.full(use.sum(), 180.0),
        0.2,
    ).total[:, 0]
    assert use.sum() > 400
    assert light.sum() / poa[use].sum() == pytest.approx(1.0, abs=0.06)
    assert np.sqrt(np.mean((light - poa[use]) ** 2)) < 70.0


def test_a_place_s_sun_is_that_of_each_moment_in_any_order_and_worked_out_once(monkeypatch):
    asked = []

    def counted(time_s, *place):
        asked.extend(time_s.tolist())
        return clear_sun(time_s, *place)

    monkeypatch.setattr("energy.model.sun.clear_sun", counted)
    place = 47.0, 9.0, 500.0
    sun, hours = PlaceSun(*place), 1.78e9 + 3600.0 * np.arange(40.0)
    for moments in (hours[10:20], hours[[30, 12, 5, 12]], hours[::-1]):
        for name, values in vars(sun.at(moments)).items():
            alone = getattr(clear_sun(moments, *place), name)
            assert values == pytest.approx(alone, rel=1e-12, nan_ok=True), name
    assert sorted(asked) == hours.tolist()
