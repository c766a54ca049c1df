"""From sky to panel watts: where a panel points, the light on it, its cells' heat, its DC power.

pvlib does each published step; the poses, the horizon and the shade are ours. What the controller
makes of the power lives in `electronics`. Rows are daylight moments, columns the scenarios.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import pvlib

from energy.model import Array, Index, Mask
from energy.model.sun import SUNRISE_ZENITH_DEG, Sun

SWING_HEADINGS = 24  # a swinging boat's panel is the mean over so many headings
LOWEST_SUN_ZENITH_DEG = 85.0  # the glow of a lower sun grows no more (Perez)
WIND_10M_TO_1M = 0.1**0.2  # power law with exponent 0.2 (common practice): x 0.63
FAIMAN = {"open": (25.0, 6.84), "laid-down": (15.0, 3.4)}  # u0, u1; laid-down: common practice
# The low-light curve of a crystalline panel, from pvlib's example of Driesse & Stein,
# SAND2020-3877 (2020).
ADR = {"k_a": 1.0, "k_d": -6.0, "tc_d": 0.02, "k_rs": 0.05, "k_rsh": 0.10}


@dataclass(frozen=True)
class Light:
    """Light on a tilted plane by where it comes from [W/m2], each of shape (n, scenarios).

    direct is the beam with the circumsolar glow, behind the horizon zero; sky, band and ground
    the isotropic dome, the brighter band along the horizon, and what the ground throws back.
    """

    direct: Array
    sky: Array
    band: Array
    ground: Array

    @property
    def total(self) -> Array:
        """Plane-of-array irradiance [W/m2]."""
        return np.maximum(self.direct + self.sky + self.band + self.ground, 0.0)


def horizon_height(horizon: Sequence[tuple[float, float]], azimuth: Array) -> Array:
    """Height of the skyline [degrees] at each azimuth: straight lines between the given points.

    >>> horizon_height([(90.0, 10.0), (270.0, 0.0)], np.array([90.0, 180.0, 0.0]))
    array([10.,  5.,  5.])
    """
    if not horizon:
        return np.zeros_like(azimuth)
    points = sorted((azimuth_deg % 360.0, height_deg) for azimuth_deg, height_deg in horizon)
    where, height = zip(*points, strict=True)
    return np.asarray(np.interp(azimuth % 360.0, where, height, period=360.0))


def pose(
    aim: str, tilt_deg: float, facing_deg: float, sun: Sun, aimed_at: Sun | None = None
) -> tuple[Array, Array]:
    """Tilt and azimuth of a panel at each of the sun's moments, both (n,) in degrees.

    `flat` ignores the tilt and `follow` stands square to the sun. `re-aimed` points at the sun
    at each moment of `aimed_at` (ascending) and holds that pose, overnight too; it starts as
    stated, and a moment with the sun down changes nothing.

    >>> from energy.model.sun import clear_sun
    >>> tilt, _ = pose("flat", 30.0, 180.0, clear_sun(np.array([1781956800.0]), 50.0, 0.0))
    >>> tilt
    array([0.])
    """
    if aim == "follow":
        return np.minimum(sun.apparent_zenith, 90.0), sun.azimuth
    tilts = np.array([0.0 if aim == "flat" else tilt_deg])
    azimuths = np.array([facing_deg])
    latest = np.zeros(sun.time_s.size, dtype=np.intp)
    if aim == "re-aimed" and aimed_at is not None:
        up = aimed_at.zenith <= SUNRISE_ZENITH_DEG + 0.01  # sunrise itself counts as up
        tilts = np.append(tilts, np.minimum(aimed_at.apparent_zenith[up], 90.0))
        azimuths = np.append(azimuths, aimed_at.azimuth[up])
        latest = np.searchsorted(aimed_at.time_s[up], sun.time_s, side="right")
    return tilts[latest], azimuths[latest]


@dataclass(frozen=True)
class Sky:
    """The light of the sky before it meets a plane [W/m2], each (n, scenarios): on the flat and of
    the beam, then of the dome, the glow about the sun and the band along the horizon (Perez).

    seen (n, 1): whether the sun stands above the skyline; open_sky: the share of dome and band that
    it leaves.
    """

    ghi: Array
    dni: Array
    dome: Array
    glow: Array
    band: Array
    seen: Mask
    open_sky: float

    def rows(self, rows: Index) -> "Sky":
        """The same at some of the moments only."""
        return replace(
            self,
            ghi=self.ghi[rows],
            dni=self.dni[rows],
            dome=self.dome[rows],
            glow=self.glow[rows],
            band=self.band[rows],
            seen=self.seen[rows],
        )


def sky_above(
    sun: Sun,
    light: tuple[Array, Array, Array],
    horizon: Sequence[tuple[float, float]] = (),
) -> Sky:
    """The sky's parts by Perez-Driesse, for any plane beneath them.

    Driesse et al. 2024, doi:10.1016/j.solener.2023.112093. light = (ghi, dni, dhi) [W/m2], each
    (n, scenarios). The horizon [(azimuth, height) in degrees] blocks beam and glow and thins dome
    and band by the mean of cos^2(height); ground light stays.

    >>> from energy.model.sun import clear_sun
    >>> s = clear_sun(np.array([1781956800.0]), 50.0, 0.0)
    >>> sky = sky_above(s, (s.ghi[:, None], s.dni[:, None], s.dhi[:, None]))
    >>> bool(abs(sky.dome + sky.glow - s.dhi)[0, 0] < 1e-9)
    True
    """
    ghi, dni, dhi = light
    if not ghi.size:
        return Sky(*light, dhi, dhi, np.zeros((0, 1), dtype=bool), 1.0)
    upright = pvlib.irradiance.perez_driesse(  # sees half the dome and all of the band
        90.0,
        0.0,
        dhi,
        dni,
        sun.dni_extra[:, None],
        sun.apparent_zenith[:, None],
        sun.azimuth[:, None],
        airmass=sun.airmass[:, None],
        return_components=True,
    )
    dome = 2.0 * upright["poa_isotropic"]
    skyline = horizon_height(horizon, sun.azimuth)
    around = horizon_height(horizon, np.arange(0.5, 360.0))
    return Sky(
        ghi,
        dni,
        dome,
        dhi - dome,
        upright["poa_horizon"],
        seen=(90.0 - sun.apparent_zenith > skyline)[:, None],
        open_sky=float(np.mean(np.cos(np.radians(around)) ** 2)),
    )


def light_on_plane(sun: Sun, sky: Sky, tilt: Array, azimuth: Array, albedo: float) -> Light:
    """Plane-of-array light with its parts kept apart; tilt, azimuth (n,) [degrees].

    >>> from energy.model.sun import clear_sun
    >>> s = clear_sun(np.array([1781956800.0]), 50.0, 0.0)
    >>> sky = sky_above(s, (s.ghi[:, None], s.dni[:, None], s.dhi[:, None]))
    >>> flat = light_on_plane(s, sky, np.array([0.0]), np.array([180.0]), 0.2)
    >>> bool(abs(flat.total[0, 0] - s.ghi[0]) < 3.0)
    True
    """
    tilt, azimuth = tilt[:, None], azimuth[:, None]
    zenith = sun.apparent_zenith[:, None]
    facing_sun = np.maximum(
        pvlib.irradiance.aoi_projection(tilt, azimuth, zenith, sun.azimuth[:, None]), 0.0
    )
    dome = sky.dome * (0.5 * (1.0 + np.cos(np.radians(tilt))))
    band = sky.band * np.sin(np.radians(tilt))
    glow = sky.glow * (facing_sun / np.cos(np.radians(np.minimum(zenith, LOWEST_SUN_ZENITH_DEG))))
    # A strongly negative band would make the diffuse light negative: the sum stops at zero.
    diffuse = dome + band + glow
    band = np.where(diffuse < 0.0, band - diffuse, band)
    return Light(
        direct=np.where(sky.seen, sky.dni * facing_sun + glow, 0.0),
        sky=dome * sky.open_sky,
        band=band * sky.open_sky,
        ground=pvlib.irradiance.get_ground_diffuse(tilt, sky.ghi, albedo=albedo),
    )


# Incidence factors of dome, band and ground light at some tilts, as `_diffuse_modifiers_at` works
# them out: a panel that moves would wait for ten of those.
AT_TILTS = {
    0.0: (0.9443269644, 0.0339432969, 0.0000000000),
    5.0: (0.9457371359, 0.3401761479, 0.2432839015),
    10.0: (0.9484070144, 0.5432283063, 0.4192785074),
    15.0: (0.9513142680, 0.6762009522, 0.5461854972),
    20.0: (0.9539175229, 0.7652650139, 0.6382515373),
    30.0: (0.9576752010, 0.8680711233, 0.7595335195),
    45.0: (0.9596610169, 0.9335521018, 0.8556865613),
    60.0: (0.9580278731, 0.9580798745, 0.9035399636),
    75.0: (0.9531884567, 0.9674095807, 0.9295123861),
    90.0: (0.9443689267, 0.9698192906, 0.9443689267),
}


@lru_cache(maxsize=256)
def _diffuse_modifiers_at(tilt_deg: float) -> tuple[float, float, float]:
    if tilt_deg in AT_TILTS:
        return AT_TILTS[tilt_deg]
    # Half of pvlib's steps for dome and ground: 4e-5 away, a seventh of the time.
    sky, band, ground = (
        float(pvlib.iam.marion_integrate(pvlib.iam.physical, tilt_deg, region, num=steps))
        for region, steps in (("sky", 90), ("horizon", None), ("ground", 90))
    )
    return sky, band, ground


def diffuse_modifiers(tilt: Array) -> tuple[Array, Array, Array]:
    """Incidence factors of dome, band and ground light (Marion 2017), each (n, 1).

    doi:10.1016/j.solener.2017.03.027. A panel that moves takes straight lines between tilts
    at most 15 degrees apart (within 0.003 of the dome's factor).

    >>> [round(float(f[0, 0]), 2) for f in diffuse_modifiers(np.array([45.0]))]
    [0.96, 0.93, 0.86]
    """
    tilts = np.unique(tilt)
    if tilts.size > 4:
        tilts = np.array(list(AT_TILTS))
    table = np.array([_diffuse_modifiers_at(float(t)) for t in tilts])
    sky, band, ground = (np.interp(tilt, tilts, table[:, k])[:, None] for k in range(3))
    return sky, band, ground


def effective_light(sun: Sun, light: Light, tilt: Array, azimuth: Array) -> Array:
    """What passes the panel's glass [W/m2], (n, scenarios), by `pvlib.iam.physical` and Marion.

    >>> from energy.model.sun import clear_sun
    >>> s = clear_sun(np.array([1781956800.0]), 50.0, 0.0)
    >>> sky = sky_above(s, (s.ghi[:, None], s.dni[:, None], s.dhi[:, None]))
    >>> up, south = np.array([30.0]), np.array([180.0])
    >>> light = light_on_plane(s, sky, up, south, 0.2)
    >>> bool(0.95 < (effective_light(s, light, up, south) / light.total)[0, 0] < 1.0)
    True
    """
    aoi = pvlib.irradiance.aoi(tilt, azimuth, sun.apparent_zenith, sun.azimuth)
    beam = np.asarray(pvlib.iam.physical(np.minimum(aoi, 90.0)))[:, None]
    sky, band, ground = diffuse_modifiers(tilt)
    passed = light.direct * beam + light.sky * sky + light.band * band + light.ground * ground
    return np.asarray(np.maximum(passed, 0.0))


def cell_temperature(
    poa_global: Array, temp_air: Array, wind_speed: Array, airflow: str = "open"
) -> Array:
    """Faiman's cell temperature [deg C]; wind given at 10 m [m/s] is brought down to 1 m.

    Faiman 2008, doi:10.1002/pip.813. poa_global [W/m2] is the light before incidence loss.

    >>> float(cell_temperature(np.array([800.0]), np.array([20.0]), np.array([0.0]))[0])
    52.0
    """
    u0, u1 = FAIMAN[airflow]
    return np.asarray(
        pvlib.temperature.faiman(poa_global, temp_air, wind_speed * WIND_10M_TO_1M, u0=u0, u1=u1)
    )


def dc_power(
    effective: Array, temp_cell: Array, rated_w: float, temp_coefficient_percent_per_c: float
) -> Array:
    """Panel power at its best voltage [W] for a panel in full condition, shape as `effective`.

    rated x effective / 1000 x low-light efficiency (ADR, Driesse & Stein, SAND2020-3877) x heat.

    >>> round(float(dc_power(np.array([200.0]), np.array([25.0]), 100.0, -0.35)[0]), 3)
    18.559
    """
    lit = np.maximum(effective, 1e-3)
    low_light = pvlib.pvarray.pvefficiency_adr(lit, 25.0, **ADR)
    heat = 1.0 + temp_coefficient_percent_per_c / 100.0 * (temp_cell - 25.0)
    return np.asarray(np.maximum(rated_w * effective / 1000.0 * low_light * heat, 0.0))
