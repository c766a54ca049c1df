"""Sun and air on the page's own, coarser cells, rounded to what its data holds.

Arrays only. Cells are given by their edges [UTC s], (cells + 1,).
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from energy.model import Array
from energy.model.timeline import Interval
from energy.weather.record import DAY_S

CELL_S, LONG_CELL_S = 600.0, 1800.0  # up to a week, and beyond
WEEK_S = 7.0 * DAY_S
MOST_STEPS = 65_535  # of sun: an unsigned number of 16 bits
STEPS_PER_C = 100.0


@dataclass(frozen=True)
class CarriedWeather:
    """One set of weathers as the page carries it, m scenarios.

    sun_steps (lit cells, m) counts steps of unit_w [W] that the panels give behind the limit of the
    pack's input; temp_steps (cells, m or 1) are hundredths of a degree C at the pack.
    """

    unit_w: float
    sun_steps: NDArray[np.uint16]
    temp_steps: NDArray[np.int16]

    @property
    def count(self) -> int:
        """How many weathers there are."""
        return int(self.sun_steps.shape[1])

    @cached_property
    def sun_w(self) -> Array:
        """What the panels give [W], (lit cells, m)."""
        return np.asarray(self.sun_steps * self.unit_w)

    @cached_property
    def temp_c(self) -> Array:
        """The pack's surroundings [deg C], (cells, m or 1)."""
        return self.temp_steps / STEPS_PER_C


def rounded(sun_w: Array, temp_c: Array) -> CarriedWeather:
    """Sun [W] and temperatures [deg C] rounded to what the page holds of them.

    >>> weather = rounded(np.array([[0.0, 130.0]]), np.array([[-4.321]]))
    >>> weather.sun_w.tolist(), weather.temp_c.tolist()
    ([[0.0, 130.0]], [[-4.32]])
    """
    most_w = float(sun_w.max(initial=0.0))
    unit_w = most_w / MOST_STEPS if most_w > 0.0 else 1.0
    return CarriedWeather(
        unit_w,
        np.minimum(np.round(sun_w / unit_w), MOST_STEPS).astype(np.uint16),
        np.round(temp_c * STEPS_PER_C).astype(np.int16),
    )


def coarse_cells(cells: Array, span: Interval) -> Array:
    """Edges of the page's cells [UTC s]: the span's ends, and between them those edges of the finer
    cells that lie on whole ten minutes, on whole half hours beyond a week.

    >>> coarse_cells(np.arange(0.0, 2400.0, 300.0), (300.0, 1500.0)).tolist()
    [300.0, 600.0, 1200.0, 1500.0]
    """
    every_s = CELL_S if span[1] - span[0] <= WEEK_S else LONG_CELL_S
    inner = cells[(cells > span[0]) & (cells < span[1]) & (cells % every_s == 0.0)]
    return np.concatenate([[span[0]], inner, [span[1]]])


def means(values: Array, cells: Array, coarse: Array) -> Array:
    """Means over coarser cells of what is given per cell, weighted by time, (coarse cells, m).

    Every coarse edge is an edge of the finer cells too.

    >>> means(np.array([[1.0], [4.0]]), np.array([0.0, 1.0, 3.0]), np.array([0.0, 3.0])).tolist()
    [[3.0]]
    """
    first, last = np.searchsorted(cells, coarse[[0, -1]])
    starts = np.searchsorted(cells[first:last], coarse[:-1])
    seconds = np.diff(cells)[first:last, None]
    sums = np.add.reduceat(values[first:last] * seconds, starts, axis=0)
    return np.asarray(sums / np.diff(coarse)[:, None])
