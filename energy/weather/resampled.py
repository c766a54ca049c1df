"""Where a record's rows go when its days are moved to a plan's dates, and how hours become cells.

Arrays only: which plan asks, and what the sky's light becomes, is for `scenarios`.
"""

import numpy as np

from energy.model import Array, Index, Mask
from energy.plan import PlanError
from energy.weather.record import DAY_S, TYPICAL_ROWS, Record

# Broken cloud can pass the clear sky, but an hour's mean not by more than this.
BRIGHTEST_RESAMPLED = 1.2
LIT_W_M2 = 5.0  # an interval is lit when its clear-sky mean lies above this
SHIFTS = 31  # starts tried in each year held: the date itself and 15 days either side


def resampled_rows(
    record: Record, starts_s: Array, futures: int | None
) -> tuple[Index, Array, int]:
    """Which rows of a record stand for which interval in each weather.

    starts_s [UTC s], (h,): the plan's intervals. Returns rows (h, m), the shift of each weather
    in days (m,), and how many years they come from. Weathers come in the order of their shift: 0,
    +1, -1, +2, ..., every year held at each. A typical year wraps, and its 28 February stands for
    the 29th too; years measured on end are taken as they followed one another.

    Raises PlanError where the record is too short for the span.
    """
    order = [0, *(s for k in range(1, SHIFTS // 2 + 1) for s in (k, -k))]
    picks: list[tuple[float, Index]] = []
    years: set[int] = set()
    held = [0] if record.typical else _years_held(record, starts_s)
    for shift in order:
        for year in held:
            rows = _rows_in_year(record, starts_s, shift, year)
            if rows is not None:
                picks.append((float(shift), rows))
                years.add(year)
    if not picks:
        days = starts_s.size * record.interval_s / DAY_S
        raise PlanError(
            [
                f"{record.name}: holds no stretch of {days:.1f} days around the plan's dates; give"
                " a longer record or a shorter span"
            ]
        )
    picks = picks[: max(1, futures or SHIFTS * len(years))]
    rows = np.stack([rows for _, rows in picks], axis=1)
    return rows, np.array([shift for shift, _ in picks]), min(len(years), len(picks))


def _years_held(record: Record, starts_s: Array) -> list[int]:
    clock = np.array([record.start_s[0], record.start_s[-1]]) + record.utc_offset_s
    first, last = clock.astype("datetime64[s]").astype("datetime64[Y]").astype(int) + 1970
    return list(range(int(first) - 1, int(last) + 2))


def _rows_in_year(record: Record, starts_s: Array, shift: int, year: int) -> Index | None:
    clock = (starts_s + record.utc_offset_s + shift * DAY_S).astype("datetime64[s]")
    if record.typical:
        return _typical_row(clock)
    own_year = clock[0].astype("datetime64[Y]")
    month_and_day = clock[0].astype("datetime64[M]") - own_year.astype("datetime64[M]")
    day = int((clock[0].astype("datetime64[D]") - clock[0].astype("datetime64[M]")).astype(int))
    new_month = np.datetime64(year - 1970, "Y").astype("datetime64[M]") + month_and_day
    last_day = (
        int(
            ((new_month + 1).astype("datetime64[D]") - new_month.astype("datetime64[D]")).astype(
                int
            )
        )
        - 1
    )
    new_day = new_month.astype("datetime64[D]") + min(day, last_day)
    time_of_day = clock[0] - clock[0].astype("datetime64[D]")
    start_s = float((new_day + time_of_day).astype("datetime64[s]").astype(np.int64))
    row = round((start_s - record.utc_offset_s - record.start_s[0]) / record.interval_s)
    if row < 0 or row + starts_s.size > record.start_s.size:
        return None
    return np.arange(row, row + starts_s.size)


def _typical_row(clock: Array) -> Index:
    """Row of a typical year, (n,), for local standard times: by month, day and hour."""
    month = clock.astype("datetime64[M]")
    day_of_month = (clock.astype("datetime64[D]") - month.astype("datetime64[D]")).astype(int)
    month_number = month.astype(int) % 12
    first_of_month = np.array([0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334])
    leap_day = (month_number == 1) & (day_of_month == 28)
    day = first_of_month[month_number] + day_of_month - leap_day
    hour = (clock - clock.astype("datetime64[D]")).astype("timedelta64[h]").astype(int)
    return np.asarray((day * 24 + hour) % TYPICAL_ROWS)


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
