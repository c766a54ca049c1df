"""The usual air of a place by month, for plans that state none: from the history held, else from a
formula in latitude, height and the land around.

The air that a plan states, and its course over the day, are `synthetic.sky`'s.
"""

from dataclasses import dataclass

import numpy as np

from energy.model import Array
from energy.plan import Plan, PlanError
from energy.weather.fetched.cache import history_near
from energy.weather.record import Record
from energy.weather.synthetic.climate import land_share

LAPSE_K_PER_M = 0.0065  # ICAO standard atmosphere
# Of the terms of `formula_air`, fitted to the usual air in January, April, July and October
# (normals, from memory: tests/shared/air_normals.py): land's to 50 places, the sea's then to those
# and 28 islands and coasts. Off by 3 K (root mean square) at the places, by 2.4 K on the islands,
# and by 2.2 K on land and 2.1 K on islands that the fit has not seen; of each, nine in ten months
# are within 5 K. The form of the sea's terms was chosen with all of these in view.
COEFFICIENTS = (18.06, -15.76, 13.93, -14.91, 6.62, 0.55, 7.37, 12.73, -0.72, -4.50, 11.45, 5.19)
SEA_COEFFICIENTS = (28.1, -21.65, -24.47, 15.14, 4.88, 2.36)
NO_SEA_FROM = 0.7  # this share of land around on, the air is land's alone
COLDEST_AT = 0.055  # of the year after the turn of January (July in the south): 20 days
WITHIN_K = 5.0
NEAR_DEG = (9.0, 10.0, 8.0)  # of latitude either way, of longitude to the west and to the east
UPWIND_DEG = (9.0, 65.0, 15.0)
# Where winters are milder or colder than their latitude's, as charts of isanomals show them (since
# Dove, 1852; from memory): the North Atlantic, eastern Siberia, northern Canada. Centre's latitude
# and longitude; all fall off by e in 14 degrees of latitude and 35 of longitude.
ANOMALIES_DEG = ((63.0, 0.0), (63.0, 130.0), (58.0, -100.0))
FALL_OFF_DEG = (14.0, 35.0)


@dataclass(frozen=True)
class UsualAir:
    """Monthly means of the air at a place [deg C], January first, and what they rest on."""

    means_c: tuple[float, ...]
    source: str


def usual_air(plan: Plan, elevation_m: float) -> UsualAir:
    """The usual air of a plan's place.

    elevation_m: the place's height [m].

    >>> usual = usual_air(Plan.read("builtin:cloudy-repair"), 7.0)
    >>> len(usual.means_c), usual.source
    (12, 'by latitude, height and the land around, within 5 degrees at nine in ten')
    """
    place = plan.place
    try:
        history = history_near(place.latitude_deg, place.longitude_deg)
    except PlanError:
        history = None  # one that cannot be read tells nothing
    if history is not None and not np.isnan(history.temp_air).any():
        return UsualAir(_of_record(history, elevation_m), f"by the history held, {history.name}")
    means = formula_air(place.latitude_deg, place.longitude_deg, elevation_m)
    words = "by latitude, height and the land around, within"
    return UsualAir(
        tuple(means.round(2).tolist()), f"{words} {WITHIN_K:.0f} degrees at nine in ten"
    )


def formula_air(latitude_deg: float, longitude_deg: float, elevation_m: float) -> Array:
    """Monthly means of the air [deg C], (12,), by latitude, month, land around and height [m].

    Land's air and the sea's, mixed by the land around.

    >>> january, july = formula_air(48.2, 16.4, 200.0)[[0, 6]]
    >>> bool(january < 5.0 and 15.0 < july < 25.0)
    True
    """
    at = (np.arange(12.0) + 0.5) / 12.0
    warmth = -np.sign(latitude_deg) * np.array(
        [np.cos(2.0 * np.pi * (at - COLDEST_AT)), np.sin(2.0 * np.pi * (at - COLDEST_AT))]
    )
    sine = abs(np.sin(np.radians(latitude_deg)))
    near = land_share(latitude_deg, longitude_deg, *NEAR_DEG)
    upwind = land_share(latitude_deg, longitude_deg, *UPWIND_DEG)
    anomalies = [_nearness(latitude_deg, longitude_deg, *centre) for centre in ANOMALIES_DEG]
    mean = [1.0, sine**2, near * (1.0 - sine**2), upwind * sine**2, anomalies[0]]
    seasons = [sine, near * sine, upwind * sine]
    terms = [
        *(np.full(12, term) for term in mean),
        *(term * warmth[0] for term in seasons),
        sine * warmth[1],
        *(anomaly * warmth[0] for anomaly in anomalies),
    ]
    of_land = np.array(COEFFICIENTS) @ np.array(terms)
    of_sea = np.dot(SEA_COEFFICIENTS[:4], [1.0, sine**2, sine**4, anomalies[0]])
    of_sea = of_sea + np.dot(SEA_COEFFICIENTS[4:], sine * warmth)
    sea = sea_share(latitude_deg, longitude_deg)
    return np.asarray((1.0 - sea) * of_land + sea * of_sea - LAPSE_K_PER_M * elevation_m)


def sea_share(latitude_deg: float, longitude_deg: float) -> float:
    """How far the air of a place is the sea's: 1 where no land is near, 0 amid land.

    >>> sea_share(-1.0, 179.9), sea_share(48.2, 16.4)
    (1.0, 0.0)
    """
    return max(1.0 - land_share(latitude_deg, longitude_deg, *NEAR_DEG) / NO_SEA_FROM, 0.0)


def _nearness(latitude: float, longitude: float, to_latitude: float, to_longitude: float) -> float:
    """1 at the centre of an anomaly, falling to 0 away from it."""
    east = (longitude - to_longitude + 180.0) % 360.0 - 180.0
    north = latitude - to_latitude
    return float(np.exp(-((north / FALL_OFF_DEG[0]) ** 2) - (east / FALL_OFF_DEG[1]) ** 2))


def _of_record(record: Record, elevation_m: float) -> tuple[float, ...]:
    """A record's monthly means, brought to the place's height."""
    month = record.start_s.astype("datetime64[s]").astype("datetime64[M]").astype(int) % 12
    means = np.bincount(month, record.temp_air, 12) / np.maximum(np.bincount(month, None, 12), 1)
    higher_m = 0.0 if record.elevation_m is None else elevation_m - record.elevation_m
    return tuple((means - LAPSE_K_PER_M * higher_m).round(2).tolist())
