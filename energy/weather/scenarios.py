"""The many weathers of a plan: each a column of light, air and wind on the plan's own cells.

What they rest on is found here, and how a forecast is carried on. A record's days are moved in
`recorded`, means become days in `synthetic.drawn`, a forecast's members are laid out in `forecast`,
and what a person states of the sky is read in `sky`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NoReturn
from zoneinfo import ZoneInfo

import numpy as np
import pvlib

from energy.model import Array, Index, Mask
from energy.model.sun import Sun, clear_sun
from energy.model.timeline import Calendar, Interval
from energy.plan import Plan, PlanError
from energy.weather.coldest import Cold, coldest
from energy.weather.fetched import forecast as ahead
from energy.weather.fetched.cache import Forecast, NotHeld, forecast_near, history_near
from energy.weather.readers.files import read_record
from energy.weather.record import Record
from energy.weather.recorded import FAR_KM, apart, recorded
from energy.weather.synthetic import drawn
from energy.weather.synthetic.climate import has_climate
from energy.weather.synthetic.sky import (
    ASSUMED_AIR_C,
    cloudy_light,
    okta_by_date,
    sky_in_words,
    stated_air,
)

Source = Record | Forecast | None


@dataclass(frozen=True)
class Weathers:
    """The weathers of a plan on cells of time.

    sun holds the middles of the lit cells, lit their numbers (rows,). ghi, dni, dhi [W/m2] are
    (rows, m); temp_air [deg C] and wind_speed [m/s at 10 m] (cells, m); m is 1 where all scenarios
    share one weather. shift_days (m,) says how far each was moved. effective_sample_size is how
    many independent ones the m weathers are worth, None where no chance is drawn from weather.
    rough: the means themselves are so doubtful that a yes needs the low end of that doubt. cold is
    the place's lowest air, in which strings are judged. fetched_s [UTC s] is when a forecast was
    fetched, None for all other weather.
    """

    kind: str
    source: str
    sharpen: str
    elevation_m: float
    elevation_from: str
    sun: Sun
    lit: Index
    ghi: Array
    dni: Array
    dhi: Array
    temp_air: Array
    wind_speed: Array
    temperature_stated: bool
    cold: Cold
    shift_days: Array
    effective_sample_size: float | None
    mean_uncertain: bool = False
    distance_km: float = 0.0
    height_difference_m: float = 0.0
    fetched_s: float | None = None
    notes: tuple[str, ...] = ()


def record_of(plan: Plan) -> Source:
    """What a plan's weather rests on: a record, a forecast, or None where nothing is read.

    Raises PlanError for a file that cannot be read, NotHeld for data that were never fetched.
    """
    weather, place = plan.weather, plan.place
    at = (place.latitude_deg, place.longitude_deg)
    if weather.kind == "file":
        assert weather.file is not None
        try:
            return read_record(
                weather.file, timezone=place.timezone, stamps=weather.stamps, place=at
            )
        except PlanError as error:
            lines = [f"{plan.origin}: [weather]: file: {line}" for line in error.problems]
            raise PlanError(lines) from None
    if weather.kind == "history":
        return history_near(*at) or _fetch_first(plan)
    if weather.kind == "forecast":
        return forecast_near(*at) or _fetch_first(plan)
    return None


def _fetch_first(plan: Plan) -> NoReturn:
    kind, place = plan.weather.kind, plan.place
    raise NotHeld(
        [
            f"{plan.origin}: no {kind} is held for {place.latitude_deg:g}, {place.longitude_deg:g};"
            f" fetch it where there is a network: energy weather {plan.origin} --{kind}"
        ]
    )


def elevation_of(plan: Plan, record: Source) -> tuple[float, str]:
    """Height of the place [m] and where the figure comes from."""
    place = plan.place
    if place.elevation_m is not None:
        return place.elevation_m, "the plan"
    if record is not None and record.elevation_m is not None and apart(plan, record)[0] < FAR_KM:
        return record.elevation_m, f"the weather {plan.weather.kind}"
    looked_up = pvlib.location.lookup_altitude(place.latitude_deg, place.longitude_deg)
    return float(looked_up), "pvlib's altitude grid"


def weathers(
    plan: Plan,
    record: Source,
    calendar: Calendar,
    cells: Array,
    span: Interval,
    doubts: Sequence[float] = (),
) -> list[Weathers]:
    """All weathers of a plan on the cells between the edges `cells` [UTC s], (cells + 1,).

    With a record the edges must start and end on edges of its intervals, with drawn weather and a
    forecast on edges of solar days. They come first; then, for drawn weather, others whose
    means are set to each point of `doubts` about them, in standard deviations.
    """
    elevation_m, elevation_from = elevation_of(plan, record)
    place = plan.place
    middles = (cells[1:] + cells[:-1]) / 2.0
    sun = clear_sun(middles, place.latitude_deg, place.longitude_deg, elevation_m)
    lit = np.flatnonzero(sun.apparent_zenith < 90.0)
    if drawn.is_drawn(plan.weather):
        several = drawn.drawn(plan, calendar, cells, sun, lit, doubts)
    elif isinstance(record, Forecast):
        same_height = plan.replace(**{"place.elevation_m": elevation_m})
        several = _from_forecast(same_height, record, calendar, cells, sun, lit, span, doubts)
    elif record is None:
        several = [_stated(plan, calendar, middles, sun, lit)]
    else:
        several = [recorded(plan, record, calendar, cells, sun, lit, elevation_m, span)]
    notes = [*several[0].get("notes", ())]
    if place.elevation_m is None:
        notes.append(f"elevation {elevation_m:.0f} m, from {elevation_from}")
    if not several[0]["temperature_stated"]:
        notes.append(f"no air temperature given: {ASSUMED_AIR_C:.0f} degrees C is assumed")
    common = {
        "kind": plan.weather.kind,
        "elevation_m": elevation_m,
        "elevation_from": elevation_from,
        "sun": sun.rows(lit),
        "lit": lit,
        "cold": coldest(plan, record),
    }
    return [Weathers(**common | found | {"notes": tuple(notes)}) for found in several]


def _stated(plan: Plan, calendar: Calendar, middles: Array, sun: Sun, lit: Index) -> dict[str, Any]:
    weather = plan.weather
    okta = np.zeros(middles.size)
    source = "a clear sky"
    if weather.kind == "sky" and weather.sky is not None:
        okta = okta_by_date(weather.sky, calendar, middles)
        source = sky_in_words(weather.sky)
    ghi, dni, dhi = cloudy_light(sun.rows(lit), okta[lit])
    air = stated_air(weather.temp_air_c, calendar, middles)
    return {
        "source": source,
        "sharpen": "a weather file of the place: a stated sky is one sky, not a chance",
        "ghi": ghi[:, None],
        "dni": dni[:, None],
        "dhi": dhi[:, None],
        "temp_air": air[:, None],
        "wind_speed": np.full((middles.size, 1), weather.wind_speed_m_s),
        "temperature_stated": weather.temp_air_c is not None,
        "shift_days": np.zeros(weather.futures or 1),
        "effective_sample_size": None,
    }


def _from_forecast(
    plan: Plan,
    forecast: Forecast,
    calendar: Calendar,
    cells: Array,
    sun: Sun,
    lit: Index,
    span: Interval,
    doubts: Sequence[float],
) -> list[dict[str, Any]]:
    """The members of a forecast; where it ends before the span, history or climate carries on.

    With the climate table its doubt about the means comes in too, at each point of `doubts`.
    """
    reach_s = ahead.reaches_s(forecast)
    clock = calendar.zone
    if not forecast.start_s[0] <= span[0] < reach_s:
        held = " to ".join(_on_clock(t, clock) for t in (forecast.start_s[0], reach_s))
        raise PlanError(
            [
                f"{plan.origin}: [weather]: the forecast held, {held}, does not cover the start,"
                f" {_on_clock(span[0], clock)}; fetch a new one: energy weather {plan.origin}"
                " --forecast"
            ]
        )
    join_s = min(reach_s, span[1])
    whole = ahead.members_until(forecast, join_s)
    scenarios = min(whole.ghi.shape[1], plan.weather.futures or whole.ghi.shape[1])
    members = ahead.laid_over(whole.first(scenarios), cells, sun, lit)
    left_out = forecast.ghi.shape[1] - whole.ghi.shape[1]
    notes = [f"{left_out} members of the forecast end too early and are left out"] * (left_out > 0)
    common = {
        "source": f"{forecast.source}, {scenarios} members, fetched"
        f" {ahead.age_in_words(forecast.fetched_s)}",
        "sharpen": "a new forecast, fetched just before leaving",
        "temperature_stated": True,
        "shift_days": np.zeros(scenarios),
        "effective_sample_size": float(scenarios),
        "distance_km": apart(plan, forecast)[0],
        "fetched_s": forecast.fetched_s,
        "notes": notes,
    }
    if reach_s >= span[1]:
        return [common | members]
    then = _after_forecast(plan, scenarios)
    tails = weathers(then, record_of(then), calendar, cells, span, doubts)
    notes.append(f"the forecast ends {_on_clock(join_s, clock)}; then: {tails[0].source}")
    common["effective_sample_size"] = min(scenarios, tails[0].effective_sample_size or scenarios)
    common["mean_uncertain"] = tails[0].mean_uncertain
    late = cells[:-1] >= join_s
    return [common | _carried_on(members, tail, late, lit) for tail in tails]


def _carried_on(members: dict[str, Any], tail: Weathers, late: Mask, lit: Index) -> dict[str, Any]:
    """Light, air and wind of the members, on the late cells those of what carries on."""
    found = {name: values.copy() for name, values in members.items()}
    for name, values in found.items():
        rows = late if name in ("temp_air", "wind_speed") else late[lit]
        after = getattr(tail, name)[rows]
        values[rows] = after[:, np.arange(values.shape[1]) % after.shape[1]]
    return found


def _after_forecast(plan: Plan, scenarios: int) -> Plan:
    """The plan under what carries on where its forecast ends: history if held, else climate."""
    place = plan.place
    at = (place.latitude_deg, place.longitude_deg)
    if history_near(*at) is not None:
        return plan.replace(**{"weather.kind": "history", "weather.futures": scenarios})
    if has_climate(*at):
        return plan.replace(**{"weather.kind": "climate", "weather.futures": scenarios})
    raise PlanError(
        [
            f"{plan.origin}: [weather]: the forecast ends before the span does, and nothing can"
            " carry on: no history is held and the climate table does not reach here"
        ]
    )


def _on_clock(time_s: float, zone: ZoneInfo) -> str:
    return f"{datetime.fromtimestamp(time_s, zone):%Y-%m-%d %H:%M}"
