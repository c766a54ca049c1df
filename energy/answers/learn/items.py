"""Each figure of a kit before and after readings, as people are shown it."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from energy.answers.learn.fit import Fit
from energy.answers.learn.forward_model import ForwardModel
from energy.answers.learn.posterior import (
    INTERVAL_80,
    LEARNED,
    MOVED,
    SURE_OF_CAPACITY,
    Figure,
    Posterior,
    rounded,
    words,
)
from energy.answers.learn.readings import Row
from energy.plan import Plan


@dataclass(frozen=True)
class Item:
    """One figure before and after, with its 80 % interval from low to high, all in `unit`.

    learned: at least a tenth of the doubt is gone, by itself; doubt_left_percent is of the doubt
    before anything was read; raw_wh is what the percentages alone make of one cut or charge.
    """

    what: str
    name: str
    unit: str
    before: float
    after: float
    low: float
    high: float
    learned: bool
    doubt_left_percent: float
    raw_wh: float | None = None

    @property
    def moved(self) -> bool:
        """Whether its value is another than before, learned or not: it is used as it is."""
        return abs(self.after - self.before) > MOVED * abs(self.before)

    def as_dict(self) -> dict[str, Any]:
        """The item as `--json` prints it."""
        return {
            "what": self.what,
            "unit": self.unit,
            "before": rounded(self.before),
            "after": rounded(self.after),
            "low": rounded(self.low),
            "high": rounded(self.high),
            "learned": self.learned,
            "doubt_left_percent": round(self.doubt_left_percent),
            "raw_wh": None if self.raw_wh is None else rounded(self.raw_wh),
        }


def figure_items(
    figures: Sequence[Figure],
    prior: Posterior,
    posterior: Posterior,
    raw_wh: Mapping[str, float],
    apart: Collection[str] = (),
) -> list[Item]:
    """An item for each figure; raw_wh is by tool, as from `raw_wh_of`; apart: the figures that
    cannot be told from others, and so are not learned."""
    items = []
    for figure in figures:
        at = posterior.keys.index(figure.key)
        scale = posterior.base[at] * figure.each
        kind, _, name = figure.key.partition(":")
        sd, mean = float(posterior.sd[at]), float(posterior.mean[at])
        if kind == "capacity_wh":
            sd = max(sd, SURE_OF_CAPACITY)
        low, high = max(mean - INTERVAL_80 * sd, 0.0), mean + INTERVAL_80 * sd
        if posterior.by_factors[at]:
            by = float(np.exp(INTERVAL_80 * sd / mean))
            low, high = mean / by, mean * by
        most = 100.0 if figure.unit == "%" else np.inf  # a condition, as a plan can state it
        left = float(posterior.doubt_left[at])
        items.append(
            Item(
                what=figure.key if kind == "tool" else kind,
                name=words(figure.key),
                unit=figure.unit,
                before=min(float(prior.mean[at]) * scale, most),
                after=min(mean * scale, most),
                low=min(low * scale, most),
                high=min(high * scale, most),
                learned=left <= LEARNED and figure.key not in apart,
                doubt_left_percent=100.0 * left,
                raw_wh=raw_wh.get(name) if kind == "tool" else None,
            )
        )
    return items


def sky_items(day: ForwardModel, result: Fit) -> list[Item]:
    """Each date's sun as a share of what was expected, from the nuisances of its sky."""
    items = []
    for name, weight in day.sky_weights().items():
        first_sd = float(np.sqrt(weight @ weight))
        if first_sd == 0.0:
            continue
        mean = 1.0 + float(weight @ result.nuisance[0])
        sd = float(np.sqrt(weight @ result.nuisance_covariance[0] @ weight))
        items.append(
            Item(
                what=f"sky:{name}",
                name=words(f"sky:{name}"),
                unit="% of expected",
                before=100.0,
                after=100.0 * mean,
                low=100.0 * max(mean - INTERVAL_80 * sd, 0.0),
                high=100.0 * (mean + INTERVAL_80 * sd),
                learned=sd <= LEARNED * first_sd,
                doubt_left_percent=100.0 * sd / first_sd,
            )
        )
    return items


def raw_wh_of(plan: Plan, rows: Sequence[Row]) -> dict[str, float]:
    """Wh from the pack for one of each counted tool, by the percentages alone: what the pack lost
    between two rows with nothing else counted, over the count."""
    lost_wh: dict[str, float] = {}
    counts: dict[str, int] = {}
    percents: dict[float, float] = {}
    for row in rows:
        if row.battery_percent is not None:
            percents.setdefault(row.time_s, row.battery_percent)
    for earlier_s, later_s in pairwise(sorted({row.time_s for row in rows})):
        here = [row for row in rows if row.time_s == later_s]
        counted = [row for row in here if row.tool and row.count]
        if len(counted) != 1 or any(row.work_unknown for row in here):
            continue
        if earlier_s not in percents or later_s not in percents:
            continue
        tool, count = str(counted[0].tool), int(counted[0].count or 0)
        drop = percents[earlier_s] - percents[later_s]
        lost_wh[tool] = lost_wh.get(tool, 0.0) + drop / 100.0 * plan.pack.capacity_wh
        counts[tool] = counts.get(tool, 0) + count
    return {tool: wh / counts[tool] for tool, wh in lost_wh.items() if wh > 0.0}
