"""What a plan's panels give in its weathers: poses, windows, shade, and their books.

The optics and the cells are `model.panel`'s; here they meet the plan's panels and days.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from energy.model import Array, Index
from energy.model import panel as panels
from energy.model.electronics import pwm_power
from energy.model.sun import Sun, clear_sun
from energy.model.timeline import Calendar, inside, to_utc
from energy.plan import Plan
from energy.simulation.cables import at_the_pack, solar_limit_w
from energy.simulation.strings import Arrangement, laid_out
from energy.weather.days import Days
from energy.weather.weathers import Weathers

CELLS_AT_ONCE = 10_000  # rows x scenarios worked on at once: bounds the memory of the optics


@dataclass(frozen=True)
class Solar:
    """Panel-side power after the input's limit, (lit cells, m), and its books in Wh, (m,)."""

    panel_w: Array
    sun_wh: Array
    loss_wh: Array
    clipped_wh: Array


def turns(plan: Plan, number: int, calendar: Calendar) -> list[float]:
    """When a panel is turned at the sun, from the span's start on [UTC s], ascending."""
    start = to_utc(plan.span.start, calendar.zone)
    moments = plan.panel[number].re_aim_at
    times = (calendar.at(moment, day) for moment in moments for day in calendar.days(None))
    return sorted(t for t in times if t >= start)


def solar(days: Days, weather: Weathers, derates: Sequence[Array]) -> Solar:
    """All panels of a plan together; derates holds each panel's share of its label, (m,).

    What the cable from the panels to the pack costs is among the panels' losses.
    """
    plan, calendar, cells, cold = days.plan, days.calendar, days.cells, days.site.cold
    light, scenarios = weather.light, weather.shift_days.size
    hours = np.diff(cells)[light.lit] / 3600.0
    in_span = inside(cells, [days.span])[light.lit]
    power, sun_wh = np.zeros((hours.size, scenarios)), np.zeros(scenarios)
    strings = laid_out(plan, cold)
    for number, panel in enumerate(plan.panel):
        out = in_span
        if panel.out_between is not None:
            out = out * inside(cells, calendar.windows(panel.out_between))[light.lit]
        keep = np.ones(hours.size)
        for shade in panel.shade:
            shaded = inside(cells, calendar.windows(shade.between))[light.lit]
            keep *= np.where(shaded > 0.0, shade.keep_percent / 100.0, 1.0)
        aimed_at = _aimed_at(days, number)
        lit, size = np.flatnonzero(out), max(1, CELLS_AT_ONCE // light.ghi.shape[1])
        for first in range(0, lit.size, size):
            rows = lit[first : first + size]
            got, seen = _panel_power(plan, strings[number], weather, aimed_at, rows, keep[rows])
            power[rows] += panel.count * got * derates[number]
            sun_wh += panel.count * (seen * hours[rows, None]).sum(axis=0)
    power = at_the_pack(plan, power, cold)
    power_wh = (power * hours[:, None]).sum(axis=0)
    np.minimum(power, solar_limit_w(plan, cold), out=power)
    capped_wh = (power * hours[:, None]).sum(axis=0)
    return Solar(power, sun_wh, sun_wh - power_wh, power_wh - capped_wh)


def _aimed_at(days: Days, number: int) -> Sun | None:
    """The sun at the moments at which a panel is turned, None where it never is."""
    moments, place = np.array(turns(days.plan, number, days.calendar)), days.plan.place
    if moments.size == 0:
        return None
    return clear_sun(moments, place.latitude_deg, place.longitude_deg, days.site.elevation_m)


def _panel_power(
    plan: Plan,
    strings: Arrangement,
    weather: Weathers,
    aimed_at: Sun | None,
    rows: Index,
    keep: Array,
) -> tuple[Array, Array]:
    """Watts of one panel in full condition, and the watts of sun on it, (rows, scenarios or 1)."""
    panel, place, all_light = strings.panel, plan.place, weather.light
    sun = all_light.sun.rows(rows)
    sky = all_light.ghi[rows], all_light.dni[rows], all_light.dhi[rows]
    cell = all_light.lit[rows]
    temp_air, wind = weather.air.temp_air[cell], weather.air.wind_speed[cell]
    headings = [panel.facing_deg]
    if panel.aim == "swinging":
        headings = [360.0 * k / panels.SWING_HEADINGS for k in range(panels.SWING_HEADINGS)]
    power, seen = np.zeros(1), np.zeros(1)
    for heading in headings:
        tilt, azimuth = panels.pose(panel.aim, panel.tilt_deg, heading, sun, aimed_at)
        light = panels.light_on_plane(sun, sky, tilt, azimuth, place.albedo, place.horizon)
        effective = panels.effective_light(sun, light, tilt, azimuth) * keep[:, None]
        cell_c = panels.cell_temperature(light.total * keep[:, None], temp_air, wind, panel.airflow)
        watts = panels.dc_power(
            effective, cell_c, panel.rated_w, panel.temp_coefficient_percent_per_c
        )
        if plan.pack.solar_input.kind == "pwm":
            assert plan.pack.nominal_v is not None
            each_v = plan.pack.nominal_v / strings.in_series
            watts = pwm_power(effective, watts, panel.i_mp, each_v)
        power = power + watts / len(headings)
        seen = seen + panel.rated_w * light.total / 1000.0 / len(headings)
    return power, seen
