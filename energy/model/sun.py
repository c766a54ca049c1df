"""Where the sun stands, what a clear sky gives, and how clouds split it: pvlib on plain arrays.

Times are UTC seconds since 1970. Weather records and panels live elsewhere.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pvlib

from energy.model import Array, Index

SUNRISE_ZENITH_DEG = 90.833  # upper limb on a flat horizon: 16' radius + 34' refraction
LOW_SUN_DEG = 3.0  # below this height the light of a cloudy sky is taken as all diffuse


@dataclass(frozen=True)
class Sun:
    """The sun and its clear sky at some moments; every array has shape (n,).

    zenith (true) serves closure and the diffuse split, apparent_zenith (refracted) the panel
    [degrees]; azimuth in degrees clockwise from north; ghi, dni, dhi [W/m2] are those of a clear
    sky; airmass (relative) is NaN while the sun is down.
    """

    time_s: Array
    zenith: Array
    apparent_zenith: Array
    azimuth: Array
    airmass: Array
    dni_extra: Array
    ghi: Array
    dni: Array
    dhi: Array

    def rows(self, rows: Index) -> "Sun":
        """The same at some of the moments only."""
        return Sun(**{name: values[rows] for name, values in vars(self).items()})


def utc_index(time_s: Array) -> pd.DatetimeIndex:
    """Turn UTC seconds into the index that pvlib's functions take.

    >>> str(utc_index(np.array([0.0]))[0])
    '1970-01-01 00:00:00+00:00'
    """
    nanoseconds = np.round(np.asarray(time_s) * 1000.0).astype(np.int64) * 1_000_000
    return pd.DatetimeIndex(nanoseconds.view("datetime64[ns]"), tz="UTC")


def position(
    time_s: Array, latitude: float, longitude: float, altitude: float = 0.0
) -> pd.DataFrame:
    """Sun position by NREL's SPA (Reda & Andreas 2004, doi:10.1016/j.solener.2003.12.003).

    time_s [s], shape (n,); latitude, longitude [degrees]; altitude [m]. Returns pvlib's frame
    (zenith, apparent_zenith, azimuth ... in degrees).

    >>> moment = np.array([1066419030.0])  # 2003-10-17 19:30:30 UTC
    >>> position(moment, 39.742476, -105.1786, 1830.14).azimuth.round(2).tolist()
    [194.34]
    """
    pressure = pvlib.atmosphere.alt2pres(altitude)
    return pvlib.solarposition.spa_python(
        utc_index(time_s), latitude, longitude, altitude=altitude, pressure=pressure
    )


def clear_sun(time_s: Array, latitude: float, longitude: float, altitude: float = 0.0) -> Sun:
    """The sun and the Ineichen clear sky with pvlib's turbidity climatology.

    Ineichen & Perez 2002, doi:10.1016/S0038-092X(02)00045-2. Units as in `Sun`.

    >>> noon = clear_sun(np.array([1781956800.0]), 0.0, 0.0)
    >>> 800 < float(noon.ghi[0]) < 1100
    True
    """
    index = utc_index(time_s)
    place = position(time_s, latitude, longitude, altitude)
    apparent_zenith = place["apparent_zenith"].to_numpy()
    airmass = pvlib.atmosphere.get_relative_airmass(apparent_zenith)
    absolute = pvlib.atmosphere.get_absolute_airmass(airmass, pvlib.atmosphere.alt2pres(altitude))
    turbidity = pvlib.clearsky.lookup_linke_turbidity(index, latitude, longitude).to_numpy()
    dni_extra = np.asarray(pvlib.irradiance.get_extra_radiation(index), dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):  # the formula divides by cos z at night
        clear = pvlib.clearsky.ineichen(
            apparent_zenith, absolute, turbidity, altitude=altitude, dni_extra=dni_extra
        )
    up = apparent_zenith < 90.0
    return Sun(
        time_s=np.asarray(time_s, dtype=float),
        zenith=place["zenith"].to_numpy(),
        apparent_zenith=apparent_zenith,
        azimuth=place["azimuth"].to_numpy(),
        airmass=airmass,
        dni_extra=dni_extra,
        ghi=np.where(up, clear["ghi"], 0.0),
        dni=np.where(up, clear["dni"], 0.0),
        dhi=np.where(up, clear["dhi"], 0.0),
    )


class PlaceSun:
    """The sun and its clear sky over one place, each moment worked out once.

    latitude, longitude [degrees]; altitude [m].

    >>> sun = PlaceSun(0.0, 0.0)
    >>> sun.at(np.array([1781956800.0])).ghi == clear_sun(np.array([1781956800.0]), 0.0, 0.0).ghi
    array([ True])
    """

    def __init__(self, latitude: float, longitude: float, altitude: float = 0.0):
        self._place = latitude, longitude, altitude
        self._known: Sun | None = None  # ascending in time

    def at(self, time_s: Array) -> Sun:
        """As `clear_sun`, at moments [UTC s], (n,)."""
        new_s = np.unique(time_s)
        if self._known is not None:
            new_s = np.setdiff1d(new_s, self._known.time_s, assume_unique=True)
        if new_s.size:
            new = clear_sun(new_s, *self._place)
            self._known = new if self._known is None else _merged(self._known, new)
        assert self._known is not None
        return self._known.rows(np.searchsorted(self._known.time_s, time_s))


def _merged(sun: Sun, other: Sun) -> Sun:
    """Two suns over one place at different moments as one, ascending in time."""
    order = np.argsort(np.concatenate([sun.time_s, other.time_s]), kind="stable")
    return Sun(
        **{
            name: np.concatenate([values, getattr(other, name)])[order]
            for name, values in vars(sun).items()
        }
    )


def cloud_transmission(okta: Array) -> Array:
    """Share of the clear-sky global light that passes a sky of so many eighths of cloud.

    Kasten & Czeplak, Solar Energy 24 (1980) 177 (from memory). A mean over many skies:
    single overcast days lie anywhere from 0.1 to 0.4.

    >>> cloud_transmission(np.array([0.0, 8.0]))
    array([1.  , 0.25])
    """
    return np.asarray(1.0 - 0.75 * (np.asarray(okta) / 8.0) ** 3.4)


def diffuse_of(sun: Sun, ghi: Array) -> Array:
    """Diffuse light [W/m2] of a cloudy sky by Erbs, as made continuous by Driesse.

    Driesse et al. 2024, doi:10.1016/j.solener.2023.112093. ghi [W/m2], shape (n,) or (n,
    scenarios); a sun lower than 3 degrees gives diffuse light only.

    >>> s = clear_sun(np.array([1781956800.0]), 0.0, 0.0)
    >>> bool(0.9 < diffuse_of(s, 0.2 * s.ghi)[0] / (0.2 * s.ghi[0]) < 1.0)
    True
    """
    column = (slice(None),) + (None,) * (np.ndim(ghi) - 1)
    zenith, extra = sun.zenith[column], sun.dni_extra[column]
    parts = pvlib.irradiance.erbs_driesse(ghi, zenith, dni_extra=extra)
    return np.where(90.0 - zenith >= LOW_SUN_DEG, parts["dhi"], ghi)


def close_beam(sun: Sun, ghi: Array, dhi: Array, dni_limit: Array) -> tuple[Array, Array]:
    """Beam from global and diffuse, dni = (ghi - dhi) / cos z; what passes the limit is diffuse.

    All in W/m2; dni_limit has shape (n,), ghi and dhi (n,) or (n, scenarios). Returns (dni, dhi),
    which close to ghi wherever the sun is up; with the sun down all light is diffuse.

    >>> s = clear_sun(np.array([1781956800.0]), 0.0, 0.0)
    >>> dni, dhi = close_beam(s, np.array([500.0]), np.array([500.0]), s.dni)
    >>> float(dni[0]), float(dhi[0])
    (0.0, 500.0)
    """
    column = (slice(None),) + (None,) * (np.ndim(ghi) - 1)
    cosine = np.cos(np.radians(sun.zenith))[column]
    up = cosine > 1e-3
    beam = np.where(up, (ghi - dhi) / np.where(up, cosine, 1.0), 0.0)
    dni = np.clip(beam, 0.0, dni_limit[column])
    return dni, np.where(up, ghi - dni * cosine, ghi)


def solar_noon(near_s: Array, latitude: float, longitude: float) -> Array:
    """The transit of the sun nearest to each given moment [UTC s], to about a second.

    >>> t = solar_noon(np.array([1781956800.0]), 51.5, 0.0)  # 2026-06-20 12:00 UTC
    >>> 0 < float(t[0]) - 1781956800.0 < 240
    True
    """
    noon = np.asarray(near_s, dtype=float)
    for _ in range(2):
        minutes = position(noon, latitude, longitude)["equation_of_time"].to_numpy()
        solar_clock_s = noon + longitude * 240.0 + minutes * 60.0
        noon = noon - (solar_clock_s % 86400.0 - 43200.0)
    return noon


def sunrise_sunset(near_noon_s: Array, latitude: float, longitude: float) -> tuple[Array, Array]:
    """Sunrise and sunset [UTC s] around the solar noons nearest to the given moments.

    The crossing of zenith 90.833 degrees on a flat horizon. Where the sun never comes up both
    are noon; where it never sets they are 12 hours before and after it.

    >>> rise, fall = sunrise_sunset(np.array([1774008000.0]), 0.0, 0.0)  # an equinox day
    >>> 12.0 < float(fall[0] - rise[0]) / 3600 < 12.2
    True
    """
    noon = solar_noon(near_noon_s, latitude, longitude)
    centre = np.concatenate([noon, noon])
    side = np.repeat([-1.0, 1.0], noon.size)
    event = np.arange(centre.size)
    low, high = np.zeros(centre.size), np.full(centre.size, 43200.0)  # seconds away from noon
    for turn in range(2):  # 12 h -> 15 min -> 19 s, then a straight line
        away = low + (high - low) * np.linspace(0.0, 1.0, 49)[:, None]
        frame = position((centre + side * away).ravel(), latitude, longitude)
        zenith = frame["zenith"].to_numpy().reshape(away.shape)
        if turn == 0:
            never_up, never_down = (zenith[k] > SUNRISE_ZENITH_DEG for k in (0, -1))
        after = np.maximum((zenith > SUNRISE_ZENITH_DEG).argmax(axis=0), 1)
        low, high = away[after - 1, event], away[after, event]
    z0, z1 = zenith[after - 1, event], zenith[after, event]
    crossing = low + (high - low) * (SUNRISE_ZENITH_DEG - z0) / np.where(z1 > z0, z1 - z0, 1.0)
    event_s = centre + side * np.where(never_up, 0.0, np.where(never_down, crossing, 43200.0))
    return event_s[: noon.size], event_s[noon.size :]
