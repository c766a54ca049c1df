"""What a plan's weather rests on, a record or a forecast, and how far away that was measured.

Reading files is for `readers`, what was fetched for `fetched.cache`.
"""

from typing import NoReturn

import pvlib

from energy.plan import Plan, PlanError
from energy.weather.fetched.cache import Forecast, NotCached, forecast_near, history_near
from energy.weather.readers.files import read_record
from energy.weather.record import Record, ground_km

Source = Record | Forecast | None

FAR_KM, FAR_M = 50.0, 300.0  # from here on a record is of another place


class NotCovered(PlanError):
    """Weather that does not reach the days of a plan; other days it may."""


def record_of(plan: Plan) -> Source:
    """The record or forecast that a plan's weather rests on, or None where nothing is read.

    Raises PlanError for a file that cannot be read, NotCached for data that were never fetched.

    >>> record_of(Plan.read("builtin:cloudy-repair")).name
    'typical year, Sand Point'
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
    raise NotCached(
        [
            f"{plan.origin}: no {kind} is held for {place.latitude_deg:g}, {place.longitude_deg:g};"
            f" fetch it where there is a network: energy weather {plan.origin} --{kind}"
        ]
    )


def apart(plan: Plan, record: Record | Forecast) -> tuple[float, float]:
    """How far the record's place is from the plan's: along the ground [km] and in height [m].

    Both are 0 where the record does not say where it is from, the height also where the plan does
    not say how high it lies.
    """
    place = plan.place
    if record.latitude_deg is None or record.longitude_deg is None:
        return 0.0, 0.0
    away_km = ground_km(
        place.latitude_deg, place.longitude_deg, record.latitude_deg, record.longitude_deg
    )
    height_m = 0.0
    if place.elevation_m is not None and record.elevation_m is not None:
        height_m = abs(place.elevation_m - record.elevation_m)
    return float(away_km), float(height_m)


def elevation_of(plan: Plan, record: Source) -> tuple[float, str]:
    """Height of the plan's place [m] and where the figure comes from, in words."""
    place = plan.place
    if place.elevation_m is not None:
        return place.elevation_m, "the plan"
    if record is not None and record.elevation_m is not None and apart(plan, record)[0] < FAR_KM:
        return record.elevation_m, f"the weather {plan.weather.kind}"
    looked_up = pvlib.location.lookup_altitude(place.latitude_deg, place.longitude_deg)
    return float(looked_up), "pvlib's altitude grid"
