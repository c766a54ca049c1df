"""Invented weather to hold, and what is held of where it came from; no test lives here."""

import numpy as np

from energy.weather.fetched.cache import About, Forecast
from energy.weather.record import Record

HOURS = 72

NOW_S = 1_795_618_800.0  # 2026-11-25 15:00 UTC


def a_forecast(members: int = 4, hours: int = HOURS) -> Forecast:
    rng = np.random.default_rng(1)
    ghi, temp_air, wind_speed = rng.uniform(0.0, 30.0, (3, hours, members))
    ghi[60:, 1] = np.nan
    start_s = NOW_S + 3600.0 * np.arange(hours)
    place = (50.03, 9.98, 312.0)
    return Forecast("invented runs", *place, NOW_S, start_s, ghi, temp_air, wind_speed)


def a_record(name: str = "invented years") -> Record:
    ghi, dhi, temp_air, wind_speed = np.random.default_rng(2).uniform(0.0, 30.0, (4, HOURS))
    return Record(
        name=name,
        latitude_deg=50.0,
        longitude_deg=10.0,
        elevation_m=312.0,
        start_s=NOW_S + 3600.0 * np.arange(HOURS),
        interval_s=3600.0,
        utc_offset_s=0.0,
        typical=False,
        ghi=ghi,
        dhi=np.where(dhi < 3.0, np.nan, dhi),
        temp_air=temp_air,
        wind_speed=wind_speed,
        cloud_okta=None,
        notes=("1 hour mended", "ø and ☀"),
    )


def about(latitude: float = 50.0, longitude: float = 10.0, fetched_s: float = NOW_S) -> About:
    address = "https://weather.invalid/hourly"
    return About(
        "invented", address, latitude, longitude, 312.0, fetched_s, "2016 to 2025", "free to use"
    )
