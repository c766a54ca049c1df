"""Which rows of a record stand for a plan's days when the record is resampled.

Arrays only: what becomes of the light in those rows is for `recorded`.
"""

import numpy as np

from energy.model import Array, Index
from energy.weather.record import DAY_S, TYPICAL_ROWS, Record, stamp_text
from energy.weather.source import NotCovered

# Broken cloud can pass the clear sky, but an hour's mean not by more than this.
BRIGHTEST_RESAMPLED = 1.2
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
    years_held = [0] if record.typical else _years_held(record, starts_s)
    for shift in order:
        for year in years_held:
            rows = _rows_in_year(record, starts_s, shift, year)
            if rows is not None:
                picks.append((float(shift), rows))
                years.add(year)
    if not picks:
        days = starts_s.size * record.interval_s / DAY_S
        first = stamp_text(starts_s[0] + record.utc_offset_s)[:10]
        raise NotCovered(
            [
                f"{record.name}: holds no stretch of {days:.1f} days around {first}; give a longer"
                " record, other dates or a shorter span"
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
