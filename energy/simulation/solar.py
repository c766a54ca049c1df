"""What a plan's panels give in its weathers: poses, windows, shade, and their books.

The optics and the cells are `model.panel`'s; here they meet the plan's panels and days.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from energy.model import Array, Index
from energy.model import panel as panels
from energy.model.electronics import pwm_power
from energy.model.sun import Sun
from energy.model.timeline import Calendar, inside, to_utc
from energy.plan import Plan
from energy.plan.kit import Panel
from energy.simulation.cables import at_the_pack, solar_limit_w
from energy.simulation.strings import Arrangement, laid_out
from energy.weather.days import Days
from energy.weather.weathers import Weathers

CELLS_AT_ONCE = 10_000  # rows x scenarios worked on at once: bounds the memory of the optics


Stand = tuple[Any, ...]  # what decides the light on a panel, and what its cells make of it
# Per watt of a panel's label: power, (lit cells, m or 1); sun on it and lost at a PWM input, Wh.
PerWatt = tuple[Array, Array, Array]


@dataclass(frozen=True)
class Solar:
    """Panel-side power after the input's limit, (lit cells, m), and its books in Wh, (m,).

    pwm_loss_wh: that part of loss_wh which a PWM input costs, as it holds the panels at the
        battery's volts; before any cable.
    per_watt: by how its panels stand what one gives in full condition, for others that differ in
        size alone; None until that is asked for.
    """

    panel_w: Array
    sun_wh: Array
    loss_wh: Array
    clipped_wh: Array
    pwm_loss_wh: Array = field(default_factory=lambda: np.zeros(1))
    per_watt: dict[Stand, PerWatt | None] = field(default_factory=dict)


def turns(plan: Plan, number: int, calendar: Calendar) -> list[float]:
    """When a panel is turned at the sun, from the span's start on [UTC s], ascending."""
    start = to_utc(plan.span.start, calendar.zone)
    moments = plan.panel[number].re_aim_at
    times = (calendar.at(moment, day) for moment in moments for day in calendar.days(None))
    return sorted(t for t in times if t >= start)


def solar(
    days: Days, weather: Weathers, derates: Sequence[Array], previous: Solar | None = None
) -> Solar:
    """All panels of a plan together; derates holds each panel's share of its label, (m,).

    What the cable from the panels to the pack costs is among the panels' losses. previous: what
    other panels gave in the same cells and weather, from which those that stand alike are taken.
    """
    plan, cold = days.plan, days.site.cold
    hours = np.diff(days.cells)[weather.light.lit] / 3600.0
    power, sun_wh = np.zeros((hours.size, weather.shift_days.size)), np.zeros(1)
    pwm_loss_wh = np.zeros(weather.shift_days.size)
    strings = laid_out(plan, cold)
    stands = [_stand(panel) for panel in plan.panel]
    linear = plan.pack.solar_input.kind != "pwm"
    kept = previous.per_watt if previous is not None and linear else {}
    for number, panel in enumerate(plan.panel):
        per_watt = kept.get(stands[number])
        if per_watt is None:
            per_watt = _per_watt(days, weather, number, strings[number])
        if stands[number] in kept:
            kept[stands[number]] = per_watt
        label_w = panel.count * panel.rated_w
        power += per_watt[0] * (label_w * derates[number])
        sun_wh = sun_wh + label_w * per_watt[1]
        pwm_loss_wh += label_w * derates[number] * per_watt[2]
    power = at_the_pack(plan, power, cold)
    power_wh = (power * hours[:, None]).sum(axis=0)
    np.minimum(power, solar_limit_w(plan, cold), out=power)
    capped_wh = (power * hours[:, None]).sum(axis=0)
    sun_wh = np.broadcast_to(sun_wh, power_wh.shape).copy()
    later = dict.fromkeys(stands) if linear else {}
    return Solar(power, sun_wh, sun_wh - power_wh, power_wh - capped_wh, pwm_loss_wh, later)


def _stand(panel: Panel) -> Stand:
    light = panel.aim, panel.tilt_deg, panel.facing_deg, panel.re_aim_at, panel.out_between
    return *light, panel.shade, panel.temp_coefficient_percent_per_c, panel.airflow


def _per_watt(days: Days, weather: Weathers, number: int, strings: Arrangement) -> PerWatt:
    """What a panel of a plan gives in full condition, the sun on it, and what a PWM input loses of
    it, per watt of its label."""
    calendar, cells, light = days.calendar, days.cells, weather.light
    hours, panel = np.diff(cells)[light.lit] / 3600.0, days.plan.panel[number]
    out = inside(cells, [days.span])[light.lit]
    if panel.out_between is not None:
        out = out * inside(cells, calendar.windows(panel.out_between))[light.lit]
    keep = np.ones(hours.size)
    for shade in panel.shade:
        shaded = inside(cells, calendar.windows(shade.between))[light.lit]
        keep *= np.where(shaded > 0.0, shade.keep_percent / 100.0, 1.0)
    aimed_at = _aimed_at(days, number)
    lit, size = np.flatnonzero(out), max(1, CELLS_AT_ONCE // light.ghi.shape[1])
    power, sun_wh = np.zeros((hours.size, weather.shift_days.size)), np.zeros(1)
    pwm_loss_wh = np.zeros(1)
    for first in range(0, lit.size, size):
        rows = lit[first : first + size]
        power_w, seen_w, lost_w = _panel_power(
            days.plan, strings, weather, aimed_at, rows, keep[rows]
        )
        power[rows] = power_w / panel.rated_w
        sun_wh = sun_wh + (seen_w * hours[rows, None]).sum(axis=0) / panel.rated_w
        pwm_loss_wh = pwm_loss_wh + (lost_w * hours[rows, None]).sum(axis=0) / panel.rated_w
    return power, sun_wh, pwm_loss_wh


def _aimed_at(days: Days, number: int) -> Sun | None:
    """The sun at the moments at which a panel is turned, None where it never is."""
    moments = np.array(turns(days.plan, number, days.calendar))
    return days.place_sun.at(moments) if moments.size else None


def _panel_power(
    plan: Plan,
    strings: Arrangement,
    weather: Weathers,
    aimed_at: Sun | None,
    rows: Index,
    keep: Array,
) -> tuple[Array, Array, Array]:
    """Watts of one panel in full condition, the watts of sun on it, and those that a PWM input
    loses, (rows, scenarios or 1)."""
    panel, place, all_light = strings.panel, plan.place, weather.light
    sun = all_light.sun.rows(rows)
    sky = all_light.sky_above(rows, place.horizon)
    temp_air, wind = weather.air.temp_air[all_light.lit[rows]], weather.air.wind_speed[rows]
    headings = [panel.facing_deg]
    if panel.aim == "swinging":
        headings = [360.0 * k / panels.SWING_HEADINGS for k in range(panels.SWING_HEADINGS)]
    power, seen, lost = np.zeros(1), np.zeros(1), np.zeros((1, 1))
    for heading in headings:
        tilt, azimuth = panels.pose(panel.aim, panel.tilt_deg, heading, sun, aimed_at)
        light = panels.light_on_plane(sun, sky, tilt, azimuth, place.albedo)
        effective = panels.effective_light(sun, light, tilt, azimuth) * keep[:, None]
        cell_c = panels.cell_temperature(light.total * keep[:, None], temp_air, wind, panel.airflow)
        watts = panels.dc_power(
            effective, cell_c, panel.rated_w, panel.temp_coefficient_percent_per_c
        )
        if plan.pack.solar_input.kind == "pwm":
            assert plan.pack.nominal_v is not None
            each_v = plan.pack.nominal_v / strings.in_series
            best_w, watts = watts, pwm_power(effective, watts, panel.i_mp, each_v)
            lost = lost + (best_w - watts) / len(headings)
        power = power + watts / len(headings)
        seen = seen + panel.rated_w * light.total / 1000.0 / len(headings)
    return power, seen, lost
