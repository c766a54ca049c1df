"""The lowest air a place is likely ever to have: what strings of panels are judged in.

Not the coldest hour of the plan's own days: panels put up in summer meet the winter too.
"""

from dataclasses import dataclass

import numpy as np

from energy.model import conductors as cable
from energy.plan import Plan, PlanError
from energy.weather.fetched.cache import Forecast, history_near
from energy.weather.record import DAY_S, Record
from energy.weather.source import FAR_KM, FAR_M, Source, apart

# Once in 50 years the air is so much colder than in a mean year's coldest hour: 2.592 standard
# deviations of the yearly minimum (ASHRAE's return periods, Gumbel) of some 3 K. From memory.
RARE_COLD_K = 8.0
# And so much colder than the mean of the coldest month: what ASHRAE's stations show of the mean
# yearly minimum (11 K at London, 16 in Miami, 22 in Denver and Fairbanks, from memory) and the 8 K
# above. Places without seasons have no cold spells: 18 K and the year's range, at most 30 K.
COLD_SPELL_K, MOST_COLD_SPELL_K = 18.0, 30.0
YEAR_S = 365.0 * DAY_S


@dataclass(frozen=True)
class Cold:
    """The air in which strings are judged [deg C].

    lowest_c is the lowest that the place is likely ever to have, or what is assumed where that is
    not known; source says where it comes from. Air of sure_c is sure to come: a string that is too
    high there does not fit, whatever else is known.
    """

    lowest_c: float
    source: str
    known: bool
    sure_c: float


def known_cold(lowest_c: float, source: str) -> Cold:
    """Air of a place whose lowest is known."""
    return Cold(lowest_c, source, True, lowest_c)


def coldest(plan: Plan, record: Source) -> Cold:
    """The lowest air of a plan's place, in any season.

    As the plan states it (place.lowest_c); else from a weather record of the place that spans a
    year or more, with a forecast the history held; else from twelve monthly means. One number, or
    the low and high of a day, tell of the plan's own days alone: the place's lowest is then not
    known, and -40 deg C is assumed, where the table of NFPA 70 690.7(A) ends, or colder still where
    those days come near it.

    >>> coldest(Plan.read("builtin:january-job"), None).known
    False
    """
    if plan.place.lowest_c is not None:
        return known_cold(plan.place.lowest_c, "as the plan states")
    source = "nobody has said how cold it gets here"
    if isinstance(record, Forecast):
        record = _history_of(plan)
    if isinstance(record, Record):
        if max(np.subtract(apart(plan, record), (FAR_KM, FAR_M))) > 0.0:
            source = "the weather record is of another place"
        elif (cold := _of_record(record)) is not None:
            return cold
    stated = plan.weather.temp_air_c
    days_c = np.array([] if stated is None else stated, dtype=float).ravel()
    if days_c.size == 12:
        below_k = min(COLD_SPELL_K + float(np.ptp(days_c)), MOST_COLD_SPELL_K)
        words = f"{below_k:.0f} K below the coldest of the twelve monthly means"
        return known_cold(float(days_c.min()) - below_k, words)
    lowest_c = float(days_c.min(initial=np.inf))
    assumed_c = min(cable.COLDEST_C, lowest_c - RARE_COLD_K)
    return Cold(assumed_c, source, False, min(lowest_c, cable.STANDARD_C))


def _history_of(plan: Plan) -> Record | None:
    """The history held of a plan's place; one that cannot be read tells nothing, which is safe."""
    try:
        return history_near(plan.place.latitude_deg, plan.place.longitude_deg)
    except PlanError:
        return None


def _of_record(record: Record) -> Cold | None:
    """From the coldest hour of each whole year that a record holds; None where it holds none."""
    rows = round(YEAR_S / record.interval_s)
    years = record.temp_air.size // rows
    if years == 0 or np.isnan(record.temp_air).any():
        return None
    yearly_c = record.temp_air[: years * rows].reshape(years, rows).min(axis=1)
    lowest_c = min(float(record.temp_air.min()), float(yearly_c.mean()) - RARE_COLD_K)
    hours = "the coldest hour" if years == 1 else f"the coldest hours of {years} years"
    return known_cold(lowest_c, f"a rare cold after {hours} of {record.name}")
