"""When a scenario succeeds, how many must for a yes, and what the chance is worth.

`Budget.reaches_goal` and `Budget.yes` in `result` are the rule itself; sizing and choosing ask the
same functions of many scenarios at once.
"""

import math
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from energy.model import Array, Index, Mask
from energy.model.case import Case
from energy.model.simulate import Simulated, row_blocks


def lowest_point(case: Case, simulated: Simulated) -> tuple[Index, Array]:
    """At which edge each scenario of a pass is lowest, and how high above what the cold holds back
    then [percent of charge], both (m,)."""
    scenarios = case.battery.capacity_wh.size
    lowest = np.full((2, scenarios), np.inf)  # at segments' starts, where the cold may deepen; ends
    edge = np.zeros((2, scenarios), dtype=np.intp)
    for rows in row_blocks(case.edges.size - 1, scenarios):
        charge = simulated.store_wh[rows.start : rows.stop + 1] * (100.0 / case.battery.capacity_wh)
        cold_unavailable = 100.0 * case.cold_unavailable(rows)
        for end, level in enumerate((charge[:-1], charge[1:])):
            above = level - cold_unavailable
            at, height = above.argmin(axis=0), above.min(axis=0)
            lower = height < lowest[end]
            edge[end, lower] = rows.start + end + at[lower]
            lowest[end, lower] = height[lower]
    return np.where(lowest[1] < lowest[0], edge[1], edge[0]), lowest.min(axis=0)


def succeeds(above_percent: Array, simulated: Simulated, reserve_percent: float) -> Mask:
    """In which scenarios the reserve is kept and nothing runs short, (m,); above as
    `lowest_point`."""
    return (above_percent >= reserve_percent - 1e-9) & ~simulated.ran_short


def needed(goal_percent: float, scenarios: int) -> int:
    """How many of so many scenarios must succeed for a goal.

    >>> [needed(goal, 31) for goal in (80.0, 90.0, 95.0, 99.0)]
    [25, 28, 30, 31]
    """
    return math.ceil(goal_percent / 100.0 * scenarios - 1e-9)


def reached(several: Iterable[Mask], goal_percent: float) -> bool:
    """Whether in each of several sets of scenarios as many hold as a goal needs.

    >>> reached([np.array([True, True, False]), np.array([True])], 60.0)
    True
    """
    return all(mask.sum() >= needed(goal_percent, mask.size) for mask in several)


def wilson(share: float, number: float) -> tuple[float, float]:
    """Wilson's 95 % interval of a share seen in `number` independent trials (Wilson 1927).

    >>> [round(x, 4) for x in wilson(27 / 31, 31)]
    [0.7115, 0.9487]
    """
    z = 1.959963984540054  # the normal distribution's 97.5 % point
    centre = (share + z * z / (2.0 * number)) / (1.0 + z * z / number)
    half = z / (1.0 + z * z / number)
    half *= np.sqrt(share * (1.0 - share) / number + (z / (2.0 * number)) ** 2)
    return max(0.0, centre - float(half)), min(1.0, centre + float(half))


@dataclass(frozen=True)
class Chance:
    """In how many weathers the plan works, and what that is worth; percent.

    powered_percent is the share in which nothing that was planned stops, reserve or not, and
    powered_low the same at the low end of the doubt about a place that is only roughly known.
    """

    percent: float
    low: float | None
    high: float | None
    scenarios: int
    effective_sample_size: float | None
    goal: float
    must_percent: float | None
    powered_percent: float
    powered_low: float | None

    @property
    def worked(self) -> int:
        """The number of weathers in which the plan works."""
        return round(self.percent * self.scenarios / 100.0)

    def as_dict(self) -> dict[str, Any]:
        """The chance as every answer's `--json` prints it."""
        keys = {"scenarios": "futures", "effective_sample_size": "independent"}
        return {
            keys.get(name, name): round(value, 1) if isinstance(value, float) else value
            for name, value in asdict(self).items()
        }
