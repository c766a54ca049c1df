"""The built-in climate table: mean daily clearness by month, on and near land; most small and
remote islands are missing.

The table and its origin lie in `profiles/climate`; what is drawn from it is for `generator`.
"""

import zlib
from functools import cache

import numpy as np

from energy.model import Array
from energy.plan import PlanError, profiles
from energy.weather.record import ground_km

SHAPE = (44, 120, 12)
SOUTHMOST_DEG, WESTMOST_DEG, STEP_DEG = -57.0, -180.0, 3.0
SCALE, SPREAD_SCALE = 250.0, 600.0
NEAREST_KM = 300.0
UNTRIED_SOUTH = "not tried against measurements in the south"
SOUTH_END_DEG, NORTH_END_DEG = -58.5, 67.5  # beyond, some month has no data
DERATE = 0.89  # reanalysis is too bright under cloud (a fit at ten places)
# In western and central Europe it is brighter still (a fit at 76 places, tried at 75 others:
# `tests/weather/synthetic/test_regional_derate.py`). In full between the middle two of the degrees
# north and of those east, not at all from the outer ones on. In the Alps, south of it, valleys are
# too bright and heights too dull.
EUROPE_DERATE = 0.90
EUROPE_NORTH_DEG = (47.1, 48.1, 53.0, 57.0)
EUROPE_EAST_DEG = (-12.0, 0.0, 18.0, 30.0)


@cache
def _table(name: str = "means", scale: float = SCALE) -> Array:
    """Clearness, (44, 120, 12), or its spread from day to day, NaN where there are no data."""
    packed = (profiles.folder() / "climate" / f"{name}.u8z").read_bytes()
    counts = np.frombuffer(zlib.decompress(packed), dtype=np.uint8).reshape(SHAPE)
    return np.where(counts > 0, counts / scale, np.nan)


def clearness_at(latitude: float, longitude: float) -> Array:
    """Mean daily clearness of the twelve months at a place, (12,).

    Straight lines between the cells that have data; where none of the four around has any, the
    nearest within 300 km. Raises PlanError elsewhere, saying what to give instead.

    >>> bool((clearness_at(36.1, -79.95) > 0.4).all())
    True
    """
    return _between_cells(_table(), latitude, longitude)


def day_spread_at(latitude: float, longitude: float) -> Array:
    """Standard deviation of daily clearness in the twelve months at a place, (12,), NaN where the
    table has no data.

    >>> bool((day_spread_at(36.1, -79.95) > 0.1).all()), str(day_spread_at(0.0, -30.0)[0])
    (True, 'nan')
    """
    try:
        return _between_cells(_table("spreads", SPREAD_SCALE), latitude, longitude)
    except PlanError:
        return np.full(12, np.nan)


def _between_cells(table: Array, latitude: float, longitude: float) -> Array:
    """A table at a place: straight lines between the cells that have data, else the nearest."""
    row, column = (latitude - SOUTHMOST_DEG) / STEP_DEG, (longitude - WESTMOST_DEG) / STEP_DEG
    south = int(np.clip(np.floor(row), 0, SHAPE[0] - 2))
    west = int(np.floor(column))
    up, east = float(np.clip(row - south, 0.0, 1.0)), column - west
    rows = np.array([south, south, south + 1, south + 1])
    columns = np.array([west, west + 1, west, west + 1]) % SHAPE[1]
    weights = np.array([(1 - up) * (1 - east), (1 - up) * east, up * (1 - east), up * east])
    around = table[rows, columns]
    on_land = ~np.isnan(around).any(axis=1) & (weights > 0.0)
    nearest = _nearest(table, latitude, longitude)
    return (
        np.asarray(weights[on_land] @ around[on_land] / weights[on_land].sum())
        if on_land.any()
        else nearest
    )


def derate_at(latitude: float, longitude: float) -> float:
    """How much of the table's light is taken at a place; no step lies between neighbours.

    >>> derate_at(46.5, 8.0), round(derate_at(52.0, 8.0), 3)
    (0.89, 0.801)
    """
    inside = np.interp(latitude, EUROPE_NORTH_DEG, (0.0, 1.0, 1.0, 0.0))
    inside *= np.interp(longitude, EUROPE_EAST_DEG, (0.0, 1.0, 1.0, 0.0))
    return float(DERATE * EUROPE_DERATE**inside)


def land_cells() -> Array:
    """Latitude and longitude [degrees] of the middles of all cells that have data, (n, 2), from the
    south-west on; a cell is three degrees wide.

    >>> [48.0, 9.0] in land_cells().tolist(), [0.0, -30.0] in land_cells().tolist()
    (True, False)
    """
    row, column = np.nonzero(~np.isnan(_table()).any(axis=2))
    return np.column_stack([SOUTHMOST_DEG + STEP_DEG * row, WESTMOST_DEG + STEP_DEG * column])


def land_share(
    latitude_deg: float, longitude_deg: float, half_deg: float, west_deg: float, east_deg: float
) -> float:
    """The share of land in a box about a place: so many degrees of latitude either way, and of
    longitude to the west and to the east. The sea and what lies beyond the table count as none.

    >>> land_share(50.0, 30.0, 6.0, 9.0, 9.0) > land_share(0.0, -30.0, 6.0, 9.0, 9.0)
    True
    """
    latitudes = SOUTHMOST_DEG + STEP_DEG * np.arange(SHAPE[0])
    east = (WESTMOST_DEG + STEP_DEG * np.arange(SHAPE[1]) - longitude_deg + 180.0) % 360.0 - 180.0
    rows = np.abs(latitudes - latitude_deg) <= half_deg
    columns = (east >= -west_deg) & (east <= east_deg)
    if not rows.any():
        return 0.0
    land = np.all(_table()[np.ix_(rows, columns)] > 0.0, axis=2)
    return float(np.average(land.mean(axis=1), weights=np.cos(np.radians(latitudes[rows]))))


def has_climate(latitude: float, longitude: float) -> bool:
    """Whether the table covers a place.

    >>> has_climate(46.5, 8.0), has_climate(-75.0, 0.0)
    (True, False)
    """
    try:
        clearness_at(latitude, longitude)
    except PlanError:
        return False
    return True


def _nearest(table: Array, latitude: float, longitude: float) -> Array:
    """The nearest cell with data, no further than 300 km."""
    latitudes = SOUTHMOST_DEG + STEP_DEG * np.arange(float(SHAPE[0]))[:, None]
    longitudes = WESTMOST_DEG + STEP_DEG * np.arange(float(SHAPE[1]))[None, :]
    away_km = ground_km(latitude, longitude, latitudes, longitudes)
    away_km = np.where(np.isnan(table).any(axis=2), np.inf, away_km)
    row, column = np.unravel_index(int(away_km.argmin()), away_km.shape)
    if away_km[row, column] > NEAREST_KM or not SOUTH_END_DEG <= latitude <= NORTH_END_DEG:
        raise PlanError(
            [
                f"the climate table has no data near {latitude:g}, {longitude:g}: it lacks the open"
                " sea, most small and remote islands and the polar regions; give the place's twelve"
                ' sun-hour figures (kind = "monthly", sun_hours), fetch history (energy weather'
                " PLAN --history) or give a weather file"
            ]
        )
    return np.asarray(table[row, column])
