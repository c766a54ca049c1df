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
from energy.weather.usual_air import UsualAir, sea_share, usual_air


@dataclass(frozen=True)
class Site:
    """What is worked out about a plan's place.

    elevation_m is its height and elevation_from says where that figure comes from; cold is the
    lowest air that the place ever has, in which strings of panels are judged. suns are those over
    the place and over where its weather was measured, for all who share the site.
    """

    elevation_m: float
    elevation_from: str
    cold: Cold
    suns: dict[tuple[float, float, float], PlaceSun] = field(
        default_factory=dict, compare=False, repr=False
    )

    def sun_over(self, latitude: float, longitude: float, altitude: float) -> PlaceSun:
        """The sun over a place [degrees, m].

        >>> plan = Plan.read("builtin:cloudy-repair")
        >>> site = site_of(plan, None)
        >>> site.sun_over(55.3, -160.5, 7.0) is site.sun_over(55.3, -160.5, 7.0)
        True
        """
        place = latitude, longitude, altitude
        return self.suns.setdefault(place, PlaceSun(*place))


def site_of(plan: Plan, record: Source) -> Site:
    """The site of a plan, from the plan itself and the record that its weather rests on."""
    return Site(*elevation_of(plan, record), coldest(plan, record))


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
    def sea(self) -> float:
        """How far the place's air is the sea's, from 0 to 1."""
        return sea_share(self.plan.place.latitude_deg, self.plan.place.longitude_deg)

    @property
    def place_sun(self) -> PlaceSun:
        """The sun over the plan's place."""
        place = self.plan.place
        return self.site.sun_over(place.latitude_deg, place.longitude_deg, self.site.elevation_m)

    @property
    def sun(self) -> Sun:
        """The sun and its clear sky in the middle of each cell, (cells,)."""
        return self.place_sun.at(self.middles)

    @cached_property
    def lit(self) -> Index:
        """The numbers of the cells in which the sun is up, (rows,)."""
        return np.flatnonzero(self.sun.apparent_zenith < 90.0)

    @cached_property
    def daylight(self) -> Sun:
        """The sun and its clear sky in the lit cells alone, (rows,)."""
        return self.sun.rows(self.lit)
