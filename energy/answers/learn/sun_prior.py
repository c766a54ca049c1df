"""The sun of a span before any of it was read: what was to be expected of it, and how uncertain.

Where a row says what the sky was like, the sun under that sky is expected; elsewhere the mean of
the plan's weathers.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from energy.answers.learn.readings import FLAT, Row
from energy.model import Array, Index, Mask
from energy.model.case import Case
from energy.plan import Plan
from energy.simulation.budget import Budget, budget
from energy.weather.record import HOUR_S

# Standard deviations as shares, from judgement tried on invented days: a day's sky (more where
# the plan's own weathers differ more), a day called clear, an hour's cloud, with its correlation
# from hour to hour (Graham & Hollands 1990, Solar Energy 44, 333).
DAY_SKY, MOST_DAY_SKY, CLEAR_SKY = 0.30, 0.60, 0.06
HOUR_SKY, HOUR_TO_HOUR = 0.25, 0.54


@dataclass(frozen=True)
class SunPrior:
    """The sun expected in each of n segments, and its doubt.

    sun_w (n,): what the panels are expected to give. sky (n, s): what share of it each nuisance of
    the sky adds. days: by date the mean of these over the day's sun, (s,). called_clear (n,): where
    a row calls the sky clear.
    """

    sun_w: Array
    sky: Array
    days: dict[str, Array]
    called_clear: Mask


def sun_prior(result: Budget, case: Case, rows: Sequence[Row]) -> SunPrior:
    """The sun in the segments of a case, which is a stretch of the budget's."""
    edges, count = case.edges, case.edges.size - 1
    eighths, (share, flat) = _eighths(edges, rows), _panels(edges, rows)
    sun_w = np.zeros(count)
    for lies_flat in np.unique(flat[share > 0.0]).tolist():
        plan = _laid_flat(result.plan) if lies_flat else result.plan
        for okta in np.unique(eighths[(flat == lies_flat) & (share > 0.0)]).tolist():
            there = (flat == lies_flat) & (eighths == okta)
            if okta < 0 and not lies_flat:
                sun_w[there] = case.sun_w().mean(axis=1)[there]
            else:
                sun_w[there] = _sun_w(plan if okta < 0 else _under(plan, okta), edges)[there]
    sun_w *= share
    date = _date_numbers(result, edges)
    lit_dates = np.unique(date[sun_w > 0.0]).tolist()
    clear = eighths == 0
    columns = []
    for number in lit_dates:
        today = date == number
        spread = _day_spread(case, today)
        columns.append(np.where(today & ~clear, np.where(eighths > 0, DAY_SKY, spread), 0.0))
        columns.append(np.where(today & clear, CLEAR_SKY, 0.0))
    hours = _hours(edges, (sun_w > 0.0) & ~clear)
    sky = np.column_stack([*columns, hours]) if columns else np.zeros((count, 0))
    sky = sky[:, np.abs(sky[sun_w > 0.0]).sum(axis=0) > 0.0] if sky.size else sky
    days = {}
    for number in lit_dates:
        weight = np.where(date == number, sun_w * np.diff(edges), 0.0)
        name = f"{result.local(float(edges[int(np.argmax(date == number))])):%Y-%m-%d}"
        days[name] = weight @ sky / weight.sum()
    return SunPrior(sun_w, sky, days, clear)


def _eighths(edges: Array, rows: Sequence[Row]) -> Index:
    """The eighths of cloud that the rows state of each segment, (n,), each for the time since the
    row before; -1 where none does."""
    middles = (edges[1:] + edges[:-1]) / 2.0
    eighths, since_s = np.full(middles.size, -1), edges[0]
    for row in rows:
        if row.sky is not None:
            eighths[(middles >= since_s) & (middles < row.time_s)] = row.sky
        since_s = max(since_s, row.time_s)
    return eighths


def _panels(edges: Array, rows: Sequence[Row]) -> tuple[Array, Mask]:
    """The share of their light as planned that reached the panels in each segment, and where they
    lay flat, both (n,); each row holds until the next."""
    middles = (edges[1:] + edges[:-1]) / 2.0
    share, flat = np.ones(middles.size), np.zeros(middles.size, dtype=bool)
    for row, after_s in zip(rows, [*(row.time_s for row in rows[1:]), np.inf], strict=True):
        there = (middles >= row.time_s) & (middles < after_s)
        if row.panel == FLAT:
            flat |= there
        elif row.panel is not None:
            share[there] = row.panel
    return share, flat


def _laid_flat(plan: Plan) -> Plan:
    """The plan with all its panels flat."""
    return plan.replace(
        **{f"panel.{k}.aim": "flat" for k in range(1, len(plan.panel) + 1)},
        **{f"panel.{k}.re_aim_at": None for k in range(1, len(plan.panel) + 1)},
    )


def _under(plan: Plan, okta: int) -> Plan:
    """The plan under a stated sky."""
    weather = plan.weather
    sky = {
        "kind": "sky",
        "sky": okta,
        "futures": 1,
        "temp_air_c": weather.temp_air_c,
        "wind_speed_m_s": weather.wind_speed_m_s,
    }
    stated = {key: value for key, value in sky.items() if value is not None}
    return plan.replace(weather=stated)


def _sun_w(plan: Plan, edges: Array) -> Array:
    """What a plan's panels give on the mean of its weathers, between the edges [W]."""
    case = budget(plan).case
    joules = np.concatenate([[0.0], np.cumsum(case.sun_w().mean(axis=1) * np.diff(case.edges))])
    return np.asarray(np.diff(np.interp(edges, case.edges, joules)) / np.diff(edges))


def _date_numbers(result: Budget, edges: Array) -> Index:
    """The local date of each segment, as a number."""
    midnights = [result.calendar.at(("clock", 0.0), day) for day in result.calendar.days(None)]
    return np.searchsorted(midnights, edges[:-1], side="right")


def _day_spread(case: Case, today: Mask) -> float:
    """How much a day's sun differs between the plan's weathers, as a share, within bounds."""
    energy = case.solar_w[case.solar_row[today & (case.solar_row >= 0)]].sum(axis=0)
    mean = float(energy.mean()) if energy.size else 0.0
    spread = float(energy.std()) / mean if mean > 0.0 else 0.0
    return min(max(DAY_SKY, spread), MOST_DAY_SKY)


def _hours(edges: Array, cloudy: Mask) -> Array:
    """What share of an hour's sun each of the hours' nuisances adds, (n, hours)."""
    hour = np.floor((edges[1:] + edges[:-1]) / 2.0 / HOUR_S).astype(int)
    numbers = np.unique(hour[cloudy])
    if numbers.size == 0:
        return np.zeros((hour.size, 0))
    root = np.linalg.cholesky(HOUR_TO_HOUR ** np.abs(numbers[:, None] - numbers[None, :]))
    shares = np.zeros((hour.size, numbers.size))
    shares[cloudy] = HOUR_SKY * root[np.searchsorted(numbers, hour[cloudy])]
    return shares
