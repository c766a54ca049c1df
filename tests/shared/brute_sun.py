"""For the slow simulator: air temperature, clear and cloudy light, panels in all their poses.

pvlib gives sun and light; the rest is written apart from the package.
"""

from datetime import datetime, timedelta
from functools import cache
from itertools import pairwise
from math import pi
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pvlib
from brute_days import HOUR_S, sun_at, sun_times

SUN_STEP_S = 20  # the sun is worked out this often, straight lines between


def air_c(plan, clock):
    """Air temperature in each second."""
    given = plan.weather.temp_air_c
    assert given is not None, "what is usual is not written here a second time: state it"
    middles = clock.edges[:-1] + 0.5
    if not isinstance(given, tuple):
        return np.full(clock.n, given)
    if len(given) == 12:
        years = range(clock.first.year - 1, clock.first.year + 4)
        firsts = [clock.utc(datetime(y, m, 1)) for y in years for m in range(1, 13)]
        knots = [(a + b) / 2.0 for a, b in pairwise(firsts)]
        return np.interp(middles, knots, (list(given) * len(years))[: len(knots)])
    low, high = given
    times, temps = [], []
    for d in range(-1, (clock.last - clock.first).days + 3):
        day = clock.first + timedelta(days=d)
        rise, _, noon = sun_times(clock.latitude, clock.longitude, clock.zone, day)
        times += [rise, noon + 3.0 * HOUR_S]
        temps += [low, high]
    phase = np.interp(middles, times, np.arange(len(times)))  # whole numbers at the turning points
    return (low + high) / 2.0 - (high - low) / 2.0 * np.cos(pi * phase)


def sky_of(plan, clock, air, sky_at):
    """Sun and light every SUN_STEP_S, as arrays."""
    place = plan.place
    elevation = place.elevation_m
    if elevation is None:
        elevation = pvlib.location.lookup_altitude(place.latitude_deg, place.longitude_deg)
    at_s = clock.start + np.arange(0.5, clock.n / SUN_STEP_S) * SUN_STEP_S
    times = pd.to_datetime(at_s * 1e9, utc=True)
    site = pvlib.location.Location(place.latitude_deg, place.longitude_deg, "UTC", elevation)
    sun = site.get_solarposition(times)
    clear = site.get_clearsky(times, model="ineichen", solar_position=sun)
    ghi, dni, dhi = (clear[c].to_numpy() for c in ("ghi", "dni", "dhi"))
    zenith = sun["zenith"].to_numpy()
    extra = pvlib.irradiance.get_extra_radiation(times).to_numpy()
    if plan.weather.kind == "sky" or sky_at is not None:
        oktas = np.array([oktas_at(plan, clock, sky_at, t) for t in at_s])
        ghi, dni, dhi = cloudy(oktas, ghi, dni, dhi, zenith, extra)
    elif plan.weather.kind != "clear":
        raise ValueError(f"only clear and sky are known here (got {plan.weather.kind})")
    seen, factor = horizon_of(place.horizon, sun)
    apparent = sun["apparent_zenith"].to_numpy()
    return SimpleNamespace(
        at_s=at_s, zenith=apparent, azimuth=sun["azimuth"].to_numpy(), ghi=ghi, dni=dni, dhi=dhi,
        extra=extra, seen=seen, sky_factor=factor, albedo=place.albedo,
        airmass=pvlib.atmosphere.get_relative_airmass(apparent),
        air_c=np.interp(at_s, clock.edges[:-1] + 0.5, air), wind=plan.weather.wind_speed_m_s,
    )  # fmt: skip


def oktas_at(plan, clock, sky_at, utc_s):
    if sky_at is not None:
        return sky_at(utc_s)
    day = (clock.local_date(utc_s) - clock.first).days
    return plan.weather.sky[min(day, len(plan.weather.sky) - 1)]


def cloudy(oktas, ghi, dni, dhi, zenith, extra):
    """Kasten & Czeplak's cloud on a clear sky, split by Erbs-Driesse."""
    dim = ghi * (1.0 - 0.75 * (oktas / 8.0) ** 3.4)
    height = np.cos(np.radians(zenith))
    split = pvlib.irradiance.erbs_driesse(dim, zenith, dni_extra=extra)
    low = zenith > 87.0
    with np.errstate(divide="ignore", invalid="ignore"):
        beam = np.where(low, 0.0, np.clip((dim - split["dhi"]) / height, 0.0, dni))
    rest = np.where(low, dim, dim - beam * height)
    bare = oktas == 0
    return dim, np.where(bare, dni, beam), np.where(bare, dhi, rest)


def horizon_of(horizon, sun):
    """Where the sun stands clear of the horizon (array), and the share of the sky left (number)."""
    if not horizon:
        return np.ones(len(sun)), 1.0
    pairs = sorted((azimuth % 360.0, height) for azimuth, height in horizon)
    azimuths, heights = zip(*pairs, strict=True)
    around = np.interp(np.arange(0.05, 360.0, 0.1), azimuths, heights, period=360.0)
    height = np.interp(sun["azimuth"].to_numpy(), azimuths, heights, period=360.0)
    seen = sun["apparent_elevation"].to_numpy() > height
    return seen.astype(float), float(np.mean(np.cos(np.radians(around)) ** 2))


@cache
def incidence_tables():
    """Diffuse incidence factors at whole degrees of tilt: sky, horizon, ground."""
    tilts = np.arange(91.0)
    found = pvlib.iam.marion_diffuse("physical", tilts)
    return tilts, {region: np.nan_to_num(factors) for region, factors in found.items()}


def light_on(sky, tilt, azimuth):
    """Light in the panel's plane (horizon applied), and what of it gets through the glass."""
    tilt, azimuth = np.broadcast_to(tilt, sky.ghi.shape), np.broadcast_to(azimuth, sky.ghi.shape)
    aoi = pvlib.irradiance.aoi(tilt, azimuth, sky.zenith, sky.azimuth)
    parts = pvlib.irradiance.perez_driesse(
        tilt, azimuth, sky.dhi, sky.dni, sky.extra, sky.zenith, sky.azimuth, sky.airmass,
        return_components=True,
    )  # fmt: skip
    iso, band, ring = (
        np.nan_to_num(np.asarray(parts[f"poa_{k}"]))
        for k in ("isotropic", "horizon", "circumsolar")
    )
    beam = (sky.dni * np.maximum(np.cos(np.radians(aoi)), 0.0) + ring) * sky.seen
    iso, band = iso * sky.sky_factor, band * sky.sky_factor
    ground = pvlib.irradiance.get_ground_diffuse(tilt, sky.ghi, sky.albedo)
    tilts, factors = incidence_tables()
    of_sky, of_band, of_ground = (
        np.interp(tilt, tilts, factors[k]) for k in ("sky", "horizon", "ground")
    )
    through = beam * pvlib.iam.physical(aoi) + iso * of_sky + band * of_band + ground * of_ground
    return np.maximum(beam + iso + band + ground, 0.0), np.maximum(through, 0.0)


def posed_w(panel, plan, sky, tilt, azimuth, keep):
    """Panel-side power of one kind of panel in one pose, at the sun's steps."""
    light, through = (keep * x for x in light_on(sky, tilt, azimuth))
    u0, u1 = (15.0, 3.4) if panel.airflow == "laid-down" else (25.0, 6.84)
    cell_c = sky.air_c + light / (u0 + u1 * sky.wind * 0.1**0.2)  # wind from 10 m to 1 m
    lit = through > 1e-6
    low_light = np.where(
        lit,
        pvlib.pvarray.pvefficiency_adr(
            np.where(lit, through, 1.0), 25.0, k_a=1.0, k_d=-6.0, tc_d=0.02, k_rs=0.05, k_rsh=0.10
        ),
        0.0,
    )
    derate = panel.condition_percent / 100.0 * panel.count
    warm = 1.0 + panel.temp_coefficient_percent_per_c / 100.0 * (cell_c - 25.0)
    best = np.maximum(panel.rated_w * through / 1000.0 * low_light * warm * derate, 0.0)
    if plan.pack.solar_input.kind == "pwm":  # a string gives one panel's amps
        amps = panel.i_mp * through / 1000.0 * derate / in_series(panel, plan)
        return np.minimum(amps * plan.pack.nominal_v, best)
    return best


def in_series(panel, plan):
    """How many panels stand in each string; what fits best is not looked for here."""
    into = plan.pack.solar_input
    if into.connection is None and panel.count > 1 and (into.max_v or into.max_a):
        raise ValueError("say how the panels are joined")
    number = {None: 1, "parallel": 1, "series": panel.count}.get(into.connection, into.connection)
    return min(number, panel.count)


def most_taken_w(plan):
    """What the solar input takes from the panels at most, whatever shines on them."""
    into, limits = plan.pack.solar_input, [np.inf]
    strings = [(p.v_mp * in_series(p, plan), p.rated_w * p.count) for p in plan.panel]
    if into.max_w is not None:
        limits.append(into.max_w)
    if into.max_a is not None and into.kind == "pwm":
        limits.append(into.max_a * plan.pack.nominal_v)
    elif into.max_a is not None and strings:  # in full sun so many volts and amps
        watts, amps = sum(w for _, w in strings), sum(w / v for v, w in strings)
        limits.append(into.max_a * watts / amps)
    if into.charge_max_a is not None:  # on the other side of the controller
        limits.append(into.charge_max_a * plan.pack.nominal_v * 100.0 / into.efficiency_percent)
    return min(limits)


def aimed_w(panel, plan, clock, sky, keep):
    """Panel-side power with the panel's own way of standing."""
    if panel.aim == "flat":
        return posed_w(panel, plan, sky, 0.0, panel.facing_deg, keep)
    if panel.aim == "follow":
        return posed_w(panel, plan, sky, np.clip(sky.zenith, 0.0, 90.0), sky.azimuth, keep)
    if panel.aim == "swinging":
        headings = [15.0 * k for k in range(24)]
        return sum(posed_w(panel, plan, sky, panel.tilt_deg, h, keep) for h in headings) / 24.0
    tilt, azimuth = np.full(len(sky.at_s), panel.tilt_deg), np.full(len(sky.at_s), panel.facing_deg)
    turns = sorted(clock.at(m, day) for m in panel.re_aim_at for day in clock.days(None))
    for turn in (t for t in turns if clock.start <= t < clock.end):
        sun = sun_at(clock.latitude, clock.longitude, turn).iloc[0]
        if sun["zenith"] < 90.84:  # its upper limb is up, at sunrise itself too
            tilt[sky.at_s >= turn] = min(sun["apparent_zenith"], 90.0)
            azimuth[sky.at_s >= turn] = sun["azimuth"]
    return posed_w(panel, plan, sky, tilt, azimuth, keep)


def panel_side_w(plan, clock, air, sky_at):
    """Power of all panels in each second, before the controller."""
    total = np.zeros(clock.n)
    if not plan.panel:
        return total
    sky = sky_of(plan, clock, air, sky_at)
    middles = clock.edges[:-1] + 0.5
    for panel in plan.panel:
        keep = np.ones(clock.n)
        for shade in panel.shade:
            keep[clock.lit(shade.between) > 0.0] *= shade.keep_percent / 100.0
        out = clock.lit(panel.out_between)
        for share in np.unique(keep):
            power = np.interp(middles, sky.at_s, aimed_w(panel, plan, clock, sky, share))
            total += np.where(keep == share, power * out, 0.0)
    return total
