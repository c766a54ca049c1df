"""The many weathers of a plan, from whatever it rests on, and how a forecast is carried on.

A record's days are resampled in `recorded`, means become days in `synthetic`, a forecast's members
are laid over the days in `fetched.forecast`, and what a person states of the sky is read in `sky`.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from energy.model import Array, Mask
from energy.plan import Plan
from energy.weather.days import Days
from energy.weather.fetched.cache import Forecast, history_near
from energy.weather.fetched.forecast import age_in_words, laid_over, members_until, reaches_s
from energy.weather.recorded import recorded
from energy.weather.source import NotCovered, apart, record_of
from energy.weather.synthetic.climate import has_climate
from energy.weather.synthetic.sky import (
    CLEAR_DAY,
    air_about,
    air_range,
    cloudy_light,
    okta_by_date,
    sky_in_words,
    stated_air,
)
from energy.weather.synthetic.synthetic import is_synthetic, synthetic
from energy.weather.weathers import Air, Light, Weathers, check_affordable


def weathers(days: Days, doubts: Sequence[float] = (), segments: int = 0) -> list[Weathers]:
    """All weathers of a plan's days.

    First the weather itself; then, where it is synthetic, the same with its means set to each
    point of `doubts` about them, in standard deviations. The cells of the days must start and end
    on edges of a record's intervals, for synthetic weather and a forecast on edges of solar days.
    segments: into how many the days will be cut.

    Raises PlanError where the record or the forecast does not cover the span, or holds more
    weathers than can be simulated in so many segments.
    """
    place, site, record = days.plan.place, days.site, days.record
    if is_synthetic(days.plan.weather):
        several = synthetic(days, doubts, segments)
    elif isinstance(record, Forecast):
        several = _from_forecast(days, record, doubts, segments)
    elif record is None:
        check_affordable(days.plan, segments, days.plan.weather.futures or 1)
        several = [_stated(days)]
    else:
        several = [recorded(days, record, segments)]
    notes = []
    if not several[0].air.stated:
        notes.append(_usual_in_words(days, several[0].air.temp_air))
    if place.elevation_m is None:
        notes.append(f"elevation {site.elevation_m:.0f} m, from {site.elevation_from}")
    return [replace(weather, notes=(*notes, *weather.notes)) for weather in several]


def _usual_in_words(days: Days, temp_air: Array) -> str:
    """What is taken for the air where none is given: within the span, in all scenarios, as
    `Case.coldest_hottest_c` has it of a pack outside."""
    start_s, end_s = days.span
    within = temp_air[(days.cells[1:] > start_s) & (days.cells[:-1] < end_s)]
    return (
        f"no air temperature given: the usual air of the month is taken, {round(within.min())} to"
        f" {round(within.max())} degrees C, {days.usual_air.source}"
    )


def _air(days: Days, transmission: float) -> Array:
    """Air temperature in the cells [deg C] under a sky that lets through a share of the clear
    one's light: what the plan states, else the usual."""
    stated = days.plan.weather.temp_air_c
    if stated is not None:
        return stated_air(stated, days.calendar, days.middles)
    range_c = air_range(np.array(CLEAR_DAY * min(transmission, 1.0)), days.sea)
    return air_about(days.usual_air.means_c, range_c, days.calendar, days.middles)


def _stated(days: Days) -> Weathers:
    """A clear sky, or one sky as a person judges it."""
    weather, middles = days.plan.weather, days.middles
    okta = np.zeros(middles.size)
    source = "a clear sky"
    if weather.kind == "sky" and weather.sky is not None:
        okta = okta_by_date(weather.sky, days.calendar, middles)
        source = sky_in_words(weather.sky)
    ghi, dni, dhi = (part[:, None] for part in cloudy_light(days.daylight, okta[days.lit]))
    return Weathers(
        light=Light(days.lit, days.daylight, ghi, dni, dhi),
        air=Air(
            temp_air=_air(days, float(ghi.sum() / max(days.daylight.ghi.sum(), 1.0)))[:, None],
            wind_speed=np.full((days.lit.size, 1), weather.wind_speed_m_s),
            stated=weather.temp_air_c is not None,
        ),
        source=source,
        sharpen="a weather file of the place: a stated sky is one sky, not a chance",
        shift_days=np.zeros(weather.futures or 1),
        effective_sample_size=None,
    )


def _from_forecast(
    days: Days, forecast: Forecast, doubts: Sequence[float], segments: int
) -> list[Weathers]:
    """The members of a forecast; where it ends before the span, history or climate carries on.

    With the climate table its doubt about the means comes in too, at each point of `doubts`.
    """
    plan, span = days.plan, days.span
    reach_s = reaches_s(forecast)
    if not forecast.start_s[0] <= span[0] < reach_s:
        covered = " to ".join(_on_clock(days, time_s) for time_s in (forecast.start_s[0], reach_s))
        raise NotCovered(
            [
                f"{plan.origin}: [weather]: the forecast held, {covered}, does not cover the start,"
                f" {_on_clock(days, span[0])}; fetch a new one: energy weather {plan.origin}"
                " --forecast"
            ]
        )
    join_s = min(reach_s, span[1])
    members = members_until(forecast, join_s)
    complete = members.ghi.shape[1]
    scenarios = min(complete, plan.weather.futures or complete)
    light, air = laid_over(members.first(scenarios), days)
    left_out = forecast.ghi.shape[1] - complete
    notes = [f"{left_out} members of the forecast end too early and are left out"] * (left_out > 0)
    weather = Weathers(
        light=light,
        air=air,
        source=f"{forecast.source}, {scenarios} members, fetched"
        f" {age_in_words(forecast.fetched_s)}",
        sharpen="a new forecast, fetched just before leaving",
        shift_days=np.zeros(scenarios),
        effective_sample_size=float(scenarios),
        distance_km=apart(plan, forecast)[0],
        fetched_s=forecast.fetched_s,
        notes=tuple(notes),
    )
    if reach_s >= span[1]:
        return [weather]
    after = _after_forecast(days, scenarios)
    tails = weathers(replace(days, plan=after, record=record_of(after)), doubts, segments)
    notes.append(f"the forecast ends {_on_clock(days, join_s)}; then: {tails[0].source}")
    weather = replace(
        weather,
        effective_sample_size=min(scenarios, tails[0].effective_sample_size or scenarios),
        mean_uncertain=tails[0].mean_uncertain,
        notes=tuple(notes),
    )
    late = days.cells[:-1] >= join_s
    return [_carried_on(weather, tail, late) for tail in tails]


def _carried_on(weather: Weathers, tail: Weathers, late: Mask) -> Weathers:
    """A forecast's weather, in the late cells that of what carries on."""
    light, air = weather.light, weather.air
    late_rows = late[light.lit]
    return replace(
        weather,
        light=replace(
            light,
            ghi=_joined(light.ghi, tail.light.ghi, late_rows),
            dni=_joined(light.dni, tail.light.dni, late_rows),
            dhi=_joined(light.dhi, tail.light.dhi, late_rows),
        ),
        air=replace(
            air,
            temp_air=_joined(air.temp_air, tail.air.temp_air, late),
            wind_speed=_joined(air.wind_speed, tail.air.wind_speed, late_rows),
        ),
    )


def _joined(values: Array, tail: Array, late: Mask) -> Array:
    """The values, in the late rows those of the tail, whose columns are used in turn."""
    joined = values.copy()
    joined[late] = tail[late][:, np.arange(values.shape[1]) % tail.shape[1]]
    return joined


def _after_forecast(days: Days, scenarios: int) -> Plan:
    """The plan under what carries on where its forecast ends."""
    kind = carries_on(days.plan)
    if kind is None:
        raise NotCovered(
            [
                f"{days.plan.origin}: [weather]: the forecast ends before the span does, and"
                " nothing can carry on: no history is held and the climate table does not reach"
                " here"
            ]
        )
    return days.plan.replace(
        **{
            "place.elevation_m": days.site.elevation_m,
            "weather.kind": kind,
            "weather.futures": scenarios,
        }
    )


def carries_on(plan: Plan) -> str | None:
    """The kind of weather that carries on where a plan's forecast ends: history if held, else
    climate; None where there is neither."""
    at = (plan.place.latitude_deg, plan.place.longitude_deg)
    if history_near(*at) is not None:
        return "history"
    return "climate" if has_climate(*at) else None


def rests_on(days: Days) -> str:
    """The kind of weather that a plan's days rest on; "forecast, then climate", or history, where
    its forecast ends before them.

    """
    kind, forecast = days.plan.weather.kind, days.record
    if isinstance(forecast, Forecast) and reaches_s(forecast) < days.span[1]:
        return f"{kind}, then {carries_on(days.plan)}"
    return kind


def _on_clock(days: Days, time_s: float) -> str:
    return f"{days.calendar.moment(time_s):%Y-%m-%d %H:%M}"
