"""The scenarios of weather on a plan's days: light, air and wind, and what they rest on."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from energy.model import Array, Index
from energy.model.panel import Sky, sky_above
from energy.model.sun import Sun, close_beam, diffuse_of
from energy.plan import Plan, PlanError
from energy.weather.days import Days

MOST_CELLS = 30_000_000  # segments x scenarios: some 1 GB, and a minute
CELLS_AT_THE_ENDS = 4_000_000  # likewise at each end of the doubt about the means
FEWEST_AT_THE_ENDS = 31
BEAM_OVER_CLEAR_W_M2 = 200.0  # what passes this in a beam is counted as diffuse


@dataclass(frozen=True)
class Light:
    """Light on the flat in the lit cells of time, in m scenarios.

    lit (rows,) holds the numbers of the cells and sun the sun above them; ghi, dni and dhi [W/m2]
    are (rows, m). sky is its parts, where they were worked out for panels in many poses.
    """

    lit: Index
    sun: Sun
    ghi: Array
    dni: Array
    dhi: Array
    sky: Sky | None = None

    def sky_above(self, rows: Index, horizon: Sequence[tuple[float, float]]) -> Sky:
        """The parts of its light in some rows."""
        if self.sky is not None:
            return self.sky.rows(rows)
        light = self.ghi[rows], self.dni[rows], self.dhi[rows]
        return sky_above(self.sun.rows(rows), light, horizon)

    def with_sky(self, horizon: Sequence[tuple[float, float]]) -> "Light":
        """The same with its parts worked out, for panels in many poses."""
        return replace(self, sky=self.sky_above(np.arange(self.lit.size), horizon))


@dataclass(frozen=True)
class Air:
    """Air in all cells, temp_air [deg C], (cells, m or 1); wind where the sun is up, wind_speed
    [m/s at 10 m], (lit cells, m or 1).

    stated is False where nobody gave a temperature and the usual one is taken.
    """

    temp_air: Array
    wind_speed: Array
    stated: bool


@dataclass(frozen=True)
class Weathers:
    """The weather of a plan's days in m scenarios; 1 column where all share one weather.

    source and sharpen say in words what it rests on and what would tell more. shift_days (m,) is
    how far the days of each were moved. effective_sample_size is how many independent scenarios
    the m are worth, None where no chance comes from weather. mean_uncertain: the means themselves
    are so doubtful that a yes needs the low end of that doubt. distance_km and height_difference_m
    are from the plan's place to where the weather was measured. fetched_s [UTC s] is when a
    forecast was fetched, None for all other weather. notes are lines that the answer should say.
    """

    light: Light
    air: Air
    source: str
    sharpen: str
    shift_days: Array
    effective_sample_size: float | None
    mean_uncertain: bool = False
    distance_km: float = 0.0
    height_difference_m: float = 0.0
    fetched_s: float | None = None
    notes: tuple[str, ...] = ()


def check_affordable(plan: Plan, segments: int, scenarios: int) -> None:
    """Raise PlanError where a plan asks for more than can be simulated, before any of it is."""
    most = MOST_CELLS // max(segments, 1)
    if scenarios > most:
        raise PlanError(
            [
                f"{plan.origin}: {scenarios:,} weathers of {segments:,} moments are more than can"
                f" be simulated: give futures = {most} in [weather], or shorten the span"
            ]
        )


def scenarios_at_the_ends(segments: int, usual: int) -> int:
    """How many scenarios the ends of the doubt get: fewer than usual in a long span.

    >>> scenarios_at_the_ends(9_000, 200), scenarios_at_the_ends(100_000, 200)
    (200, 40)
    """
    return min(usual, max(CELLS_AT_THE_ENDS // max(segments, 1), FEWEST_AT_THE_ENDS))


def split_light(days: Days, ghi: Array, dhi: Array | None = None) -> Light:
    """The light of the lit cells from its global part, (rows, m).

    The diffuse part is `dhi` where it is known, else that of Erbs. A beam stronger than the clear
    sky's by more than 200 W/m2 is counted as diffuse. All in W/m2.
    """
    sun = days.daylight
    dhi = diffuse_of(sun, ghi) if dhi is None else dhi
    dni, dhi = close_beam(sun, ghi, dhi, sun.dni + BEAM_OVER_CLEAR_W_M2)
    return Light(days.lit, sun, ghi, dni, dhi)
