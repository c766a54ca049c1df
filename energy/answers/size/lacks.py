"""What listed packs lack to reach the goal: energy, panel, or a limit that is too small.

Which packs are asked about is decided here; whether they do is found by `search`.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import inf
from typing import Any

import numpy as np

from energy.answers.size.bundles import Bundle, as_list, total
from energy.answers.size.candidates import Candidate
from energy.answers.size.designs import NO_LIMIT
from energy.answers.size.figures import round_step, size_text
from energy.answers.size.search import Search
from energy.model import Array
from energy.simulation.overloads import why_turned_away

MOST_MEASURED = 6  # of the packs that do not do: the largest
STEPS = 200  # in which more of a pack or of the panels is tried
MOST_TIMES = 4.0  # so many times a pack or the panels are tried on top of them
LIMITS = (  # which of a bundle's limits, its plan key, and what would help
    (3, "pack.solar_input.max_w", "a larger solar input"),
    (1, "pack.charge_max_w", "more charging power"),
)


@dataclass(frozen=True)
class Lack:
    """Packs that do not reach the goal with all panels of the list, and what would be enough.

    packs, panels: so many of each.
    missing_wh: so much more of pack [Wh]; None where that does not help, or was not tried.
    missing_w: so much more of panel [W]; as missing_wh.
    limit: the limit that stands in the way, in words.
    """

    packs: Bundle
    panels: Bundle = ()
    missing_wh: float | None = None
    missing_w: float | None = None
    limit: str | None = None

    @property
    def battery_wh(self) -> float:
        """All its packs together [Wh]."""
        return total(self.packs, "capacity_wh") or 0.0

    @property
    def panel_w(self) -> float:
        """All its panels together [W]."""
        return total(self.panels, "rated_w") or 0.0

    @property
    def words(self) -> str:
        """What is missing.

        >>> Lack((), (), 180.0, 60.0).words, Lack((), (), None, 60.0).words
        ('180 Wh of pack, or 60 W of panel', '60 W of panel')
        """
        more = ((self.missing_wh, "Wh of pack"), (self.missing_w, "W of panel"))
        ways = [f"{size_text(value)} {unit}" for value, unit in more if value is not None]
        ways += [] if self.limit is None else [self.limit]
        return ", or ".join(ways) or "too small with every panel of the list"

    def as_dict(self) -> dict[str, Any]:
        """As `--json` prints it."""
        return {
            "things": as_list(self.packs + self.panels),
            "panel_w": self.panel_w,
            "battery_wh": self.battery_wh,
            "missing_wh": self.missing_wh,
            "missing_w": self.missing_w,
            "limit": self.limit,
        }


def lacks(search: Search, packs: Sequence[Candidate], *, mixed: bool) -> list[Lack]:
    """What packs lack that do not reach the goal with all the panels of the list: each kind, as
    many as there may be; those nearest to it first.

    mixed: also the largest mix of packs with the same inverter.
    """
    asked = [search.number[((pack, pack.count_max),)] for pack in packs]
    if mixed:
        asked = list(dict.fromkeys([*asked, *_largest(search)]))
    asked.sort(key=lambda k: -search.joined[k].capacity_wh)
    answers: list[Lack] = []
    measured = 0
    for k in asked:
        packs_of = search.packs[k]
        if search.judge(k):
            continue
        if search.too_weak[k] and len(packs_of) > 1:
            continue  # its kinds are asked about by themselves
        if search.too_weak[k]:
            answers.append(Lack(packs_of, search.most_panels, limit=_why_too_weak(search, k)))
        elif measured < MOST_MEASURED:
            measured += 1
            answers.append(_measured(search, k))
        else:
            answers.append(Lack(packs_of, search.most_panels))
    return sorted(answers, key=_nearness)


def _nearness(lack: Lack) -> tuple[bool, float, float]:
    """Those that lack the least, then those of which nothing helps, the largest first."""
    wh = inf if lack.missing_wh is None else lack.missing_wh / max(lack.battery_wh, 1.0)
    watts = inf if lack.missing_w is None else lack.missing_w / max(lack.panel_w, 1.0)
    return min(wh, watts) == inf, min(wh, watts), -lack.battery_wh


def _largest(search: Search) -> Iterator[int]:
    """The packs of the largest label of each group of the same inverter."""
    for number in np.unique(search.group):
        at = np.flatnonzero(search.group == number)
        yield int(at[search.limits[at, 0].argmax()])


def _why_too_weak(search: Search, k: int) -> str:
    alone = [never for pack, _ in search.packs[k] if (never := search.never(pack))]
    return alone[0] if alone else why_turned_away(search.judged_at_own_limits(k))


def _measured(search: Search, k: int) -> Lack:
    """How much more of a pack, or of panel, is enough, and which limit alone stands in the way."""
    own = search.own(k)
    label_wh, panel_w = search.joined[k].capacity_wh, float(search.watts[-1])
    more_wh = _more(label_wh)
    more_w = _more(panel_w or own.base_w)
    missing_wh = _least(lambda wh: own.reaches_goal(panel_w, label_wh + wh), more_wh)
    missing_w = _least(lambda watts: own.reaches_goal(panel_w + watts, label_wh), more_w)
    limit = None
    for column, key, words in LIMITS:
        limit_w = float(search.limits[k, column])
        if limit_w < panel_w and limit is None:
            free = search.own(k, **{key: NO_LIMIT})
            if free.reaches_goal(panel_w, label_wh):
                limit = f"{words} (it takes {limit_w:.0f} W of {size_text(panel_w)} W)"
    if missing_wh is None and missing_w is None and limit is None:
        limit = f"far too small: {size_text(label_wh + more_wh[-1])} Wh are not enough either"
    return Lack(search.packs[k], search.most_panels, missing_wh, missing_w, limit)


def _more(size: float) -> Array:
    """What is tried on top of a size, in round steps."""
    step = round_step(MOST_TIMES * size / STEPS)
    return np.asarray(step * np.arange(1, int(MOST_TIMES * size / step) + 1))


def _least(enough: Callable[[float], bool], rising: Array) -> float | None:
    """The least of rising sizes that is enough; None where none is."""
    if not enough(float(rising[-1])):
        return None
    low, high = -1, rising.size - 1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(float(rising[middle])) else (middle, high)
    return round(float(rising[high]), 6)
