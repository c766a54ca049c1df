"""A plan's days as its weather and its panels see them: cells of time with the sun above each.

How the span is cut into cells is for `simulation.case`.
"""

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from energy.model import Array, Index
from energy.model.sun import PlaceSun, Sun
from energy.model.timeline import Calendar, Interval
from energy.plan import Plan
from energy.weather.coldest import Cold, coldest
from energy.weather.source import Source, elevation_of
from energy.weather.usual_air import UsualAir, usual_air


@dataclass(frozen=True)
class Site:
    """What is worked out about a plan's place.

    elevation_m is its height and elevation_from says where that figure comes from; cold is the
    lowest air that the place ever has, in which strings of panels are judged. sun is the sun over
    it, record_sun that over the place where its weather was measured.
    """

    elevation_m: float
    elevation_from: str
    cold: Cold
    sun: PlaceSun = field(compare=False, repr=False)
    record_sun: PlaceSun = field(compare=False, repr=False)


def site_of(plan: Plan, record: Source) -> Site:
    """The site of a plan, from the plan itself and the record that its weather rests on."""
    elevation_m, elevation_from = elevation_of(plan, record)
    place = (plan.place.latitude_deg, plan.place.longitude_deg, elevation_m)
    measured_at = place
    if record is not None:
        stated = (record.latitude_deg, record.longitude_deg, record.elevation_m)
        measured_at = (
            place[0] if stated[0] is None else stated[0],
            place[1] if stated[1] is None else stated[1],
            place[2] if stated[2] is None else stated[2],
        )
    cold = coldest(plan, record)
    return Site(elevation_m, elevation_from, cold, PlaceSun(*place), PlaceSun(*measured_at))


@dataclass(frozen=True)
class Days:
    """The days of a plan, cut into cells of time.

    span is what is simulated [UTC s]. cells holds the edges of the cells [UTC s], (cells + 1,):
    they cover the span and whole intervals of the weather around it. record is what the weather
    rests on.
    """

    plan: Plan
    calendar: Calendar
    span: Interval
    record: Source
    cells: Array
    site: Site

    @cached_property
    def middles(self) -> Array:
        """The middle of each cell [UTC s], (cells,)."""
        return np.asarray((self.cells[1:] + self.cells[:-1]) / 2.0)

    @cached_property
    def usual_air(self) -> UsualAir:
        """The usual air of the place, for what states none."""
        return usual_air(self.plan, self.site.elevation_m)

    @cached_property
    def sun(self) -> Sun:
        """The sun and its clear sky in the middle of each cell, (cells,)."""
        return self.site.sun.at(self.middles)

    @cached_property
    def lit(self) -> Index:
        """The numbers of the cells in which the sun is up, (rows,)."""
        return np.flatnonzero(self.sun.apparent_zenith < 90.0)

    @cached_property
    def daylight(self) -> Sun:
        """The sun and its clear sky in the lit cells alone, (rows,)."""
        return self.sun.rows(self.lit)
