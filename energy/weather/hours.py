"""From values by the hour, or another even interval, to the cells of a plan's days and back.

Arrays only. Intervals are given by `starts` [UTC s], (h,), and their length `step` [s]; cells by
their edges [UTC s], (cells + 1,).
"""

import numpy as np

from energy.model import Array, Index, Mask

LIT_W_M2 = 5.0  # an interval is lit when its clear-sky mean lies above this


def fill_from_neighbours(values: Array, otherwise: float) -> Array:
    """Fill each NaN from the nearest later row of its column, else the nearest earlier one."""
    filled = values.copy()
    for i in range(values.shape[0] - 2, -1, -1):
        filled[i] = np.where(np.isnan(filled[i]), filled[i + 1], filled[i])
    for i in range(1, values.shape[0]):
        filled[i] = np.where(np.isnan(filled[i]), filled[i - 1], filled[i])
    return np.where(np.isnan(filled), otherwise, filled)


def between_lit(moments: Array, starts: Array, step: float, bright: Mask, hourly: Array) -> Array:
    """Straight lines between the middles of lit intervals that touch, held beyond: (n, m)."""
    lit = np.flatnonzero(bright)
    if lit.size == 0:
        return np.zeros((moments.size, hourly.shape[1]))
    centre = starts[lit] + step / 2.0
    after = np.clip(np.searchsorted(centre, moments), 1, max(lit.size - 1, 1))
    before = np.minimum(after - 1, lit.size - 1)
    after = np.minimum(after, lit.size - 1)
    gap = centre[after] - centre[before]
    share = np.clip((moments - centre[before]) / np.where(gap > 0.0, gap, 1.0), 0.0, 1.0)
    share = np.where(gap > 1.5 * step, np.round(share), share)
    return _mixed(hourly[lit], before, after, share)


def _mixed(values: Array, before: Index, after: Index, share: Array) -> Array:
    """Between two rows of values by a share: (n, m)."""
    mixed = values[after]
    mixed -= values[before]
    mixed *= share[:, None]
    mixed += values[before]
    return mixed


def between_middles(middles: Array, starts: Array, step: float, hourly: Array) -> Array:
    """Straight lines between the middles of the intervals, held at the ends: (cells, m)."""
    position = np.clip((middles - starts[0]) / step - 0.5, 0.0, starts.size - 1.0)
    before = np.minimum(position.astype(int), max(starts.size - 2, 0))
    after = np.minimum(before + 1, starts.size - 1)
    return _mixed(hourly, before, after, position - before)


def interval_means(values: Array, cells: Array, starts: Array, step: float) -> Array:
    """Means over intervals of what is given per cell, (h,).

    >>> interval_means(np.array([1.0, 3.0]), np.array([0.0, 1.0, 2.0]), np.array([0.0]), 2.0)
    array([2.])
    """
    interval = np.searchsorted(starts, cells[:-1], side="right") - 1
    return np.bincount(interval, values * np.diff(cells), minlength=starts.size) / step


def hours_to_cells(
    target: Array,
    limit: Array | float,
    cells: Array,
    lit: Index,
    clear_ghi: Array,
    starts: Array,
    step: float,
) -> Array:
    """Global light on the lit cells, (rows, m), whose means over lit intervals are `target`.

    target (h, m) and clear_ghi (cells,) [W/m2]; between the middles of lit intervals the clear-sky
    index runs in straight lines, held to `limit`, and each interval is then brought to its mean.
    """
    clear = interval_means(clear_ghi, cells, starts, step)
    bright = clear > LIT_W_M2
    hourly = np.minimum(target / np.maximum(clear, LIT_W_M2)[:, None], limit)
    light = between_lit((cells[lit] + cells[lit + 1]) / 2.0, starts, step, bright, hourly)
    light *= clear_ghi[lit, None]
    interval = np.searchsorted(starts, cells[lit], side="right") - 1
    mean = np.zeros((starts.size, target.shape[1]))
    np.add.at(mean, interval, light * (np.diff(cells)[lit] / step)[:, None])
    scale = np.where(bright[:, None] & (mean > 0.0), target / np.maximum(mean, 1e-9), 1.0)
    light *= scale[interval]
    return light
