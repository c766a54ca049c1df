"""Combinations of listed things: so many of each, and what they bring together.

Which of them serve a plan is for `kits`.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, product
from math import inf
from typing import Any

from energy.answers.size.candidates import Candidate
from energy.answers.size.designs import NO_LIMIT, scaling_limits
from energy.plan import Plan

Bundle = tuple[tuple[Candidate, int], ...]  # so many of each, in the list's order

MOST_BUNDLES = 50_000  # of packs, and of panels
DEFAULT_SURGE = 2.0  # times the inverter's rating, as in a plan


def bundles(things: Sequence[Candidate]) -> tuple[list[Bundle], int]:
    """All combinations of some of the things within count_max, and of how many kinds at most.

    Where they would be too many, those of fewer kinds alone.

    >>> box, case = Candidate("box", "pack", count_max=2), Candidate("case", "pack")
    >>> found, kinds = bundles([box, case])
    >>> [in_words(one) for one in found], kinds
    (['1 x box', '2 x box', '1 x case', '1 x box + 1 x case', '2 x box + 1 x case'], 2)
    """
    ways = [1] + [0] * len(things)  # to take so many kinds
    for thing in things:
        for k in range(len(things), 0, -1):
            ways[k] += ways[k - 1] * thing.count_max
    kinds = min(1, len(things))
    while kinds < len(things) and sum(ways[1 : kinds + 2]) <= MOST_BUNDLES:
        kinds += 1
    return [one for k in range(1, kinds + 1) for one in _of_kinds(things, k)], kinds


def _of_kinds(things: Sequence[Candidate], kinds: int) -> Iterator[Bundle]:
    for some in combinations(things, kinds):
        for counts in product(*(range(1, thing.count_max + 1) for thing in some)):
            yield tuple(zip(some, counts, strict=True))


def in_words(bundle: Bundle) -> str:
    """How many of what.

    >>> in_words(((Candidate("box", "pack"), 2),))
    '2 x box'
    """
    return " + ".join(f"{count} x {thing.name}" for thing, count in bundle)


def total(bundle: Bundle, key: str) -> float | None:
    """A figure ("kg", "price", "rated_w", "capacity_wh") of all together, None where one of the
    things says nothing of it.

    >>> total(((Candidate("box", "pack", kg=3.0), 2), (Candidate("bag", "pack", kg=1.5), 1)), "kg")
    7.5
    """
    each = [(getattr(thing, key), count) for thing, count in bundle]
    if any(value is None for value, _ in each):
        return None
    return round(float(sum(value * count for value, count in each)), 6)


def smaller(bundle: Bundle) -> Iterator[Bundle]:
    """The bundle with one thing less, for each kind in it.

    >>> box, bag = Candidate("box", "pack"), Candidate("bag", "pack")
    >>> [in_words(one) for one in smaller(((box, 1), (bag, 2)))]
    ['2 x bag', '1 x box + 1 x bag']
    """
    for k, (thing, count) in enumerate(bundle):
        less = ((thing, count - 1),) if count > 1 else ()
        yield bundle[:k] + less + bundle[k + 1 :]


@dataclass(frozen=True)
class Joined:
    """What several packs are as one: their label [Wh], what they charge, discharge and take from
    panels at most [W], the inverter that a tool may count on, (rated, surge) [W], if any, and what
    the plan says of their solar input."""

    capacity_wh: float
    charge_max_w: float
    discharge_max_w: float
    solar_max_w: float
    inverter: tuple[float, float] | None
    solar: dict[str, Any]

    @property
    def limits(self) -> tuple[float, float, float, float]:
        """All of which more never serves less."""
        return self.capacity_wh, self.charge_max_w, self.discharge_max_w, self.solar_max_w

    @property
    def change(self) -> dict[str, Any]:
        """What puts them into a plan, as `Plan.replace` takes it."""
        found: dict[str, Any] = {
            "pack.capacity_wh": self.capacity_wh,
            "pack.charge_max_w": self.charge_max_w,
            "pack.discharge_max_w": self.discharge_max_w,
        }
        found |= self.solar
        if self.inverter is not None:
            found["pack.inverter.rated_w"], found["pack.inverter.surge_w"] = self.inverter
        return found


def joined(plan: Plan, packs: Sequence[Bundle]) -> list[Joined]:
    """Each of several bundles of packs as one pack in place of a plan's own.

    What they hold, charge, discharge and take from panels adds up. Inverters do not: a tool hangs
    on one, whichever pack has charge left, so the smallest counts. What a row leaves out is as the
    plan has it: once for all that leave it out, in proportion to their label where it follows the
    label in the plan.

    >>> plan = Plan.read("builtin:cloudy-repair")
    >>> box = Candidate("box", "pack", capacity_wh=500.0, charge_max_w=200.0)
    >>> bag = Candidate("bag", "pack", capacity_wh=250.0, charge_max_w=90.0)
    >>> [(one.capacity_wh, one.charge_max_w) for one in joined(plan, [((box, 2), (bag, 1))])]
    [(1250.0, 490.0)]
    """
    own, follows = plan.pack, scaling_limits(plan)
    limits = {
        "charge_max_w": own.charge_max_w,
        "discharge_max_w": own.discharge_max_w,
        "solar_max_w": inf if own.solar_input.max_w is None else own.solar_input.max_w,
    }
    found = []
    for some in packs:
        added = {}
        for key, limit_w in limits.items():
            silent = tuple((one, n) for one, n in some if getattr(one, key) is None)
            sum_w = total(tuple(each for each in some if each not in silent), key) or 0.0
            if silent and key in follows:
                sum_w += limit_w * (total(silent, "capacity_wh") or 0.0) / own.capacity_wh
            elif silent:
                sum_w += limit_w
            added[key] = sum_w
        solar: dict[str, Any] = {}
        if added["solar_max_w"] < inf:
            solar["pack.solar_input.max_w"] = added["solar_max_w"]
        if all(one.solar_max_w is not None for one, _ in some):
            # the amps are those of the plan's own pack
            stated = (k for k in ("max_a", "charge_max_a") if getattr(own.solar_input, k))
            solar |= {f"pack.solar_input.{key}": NO_LIMIT for key in stated}
        inverter = _smallest([_inverter(plan, one) for one, _ in some])
        label_wh = total(some, "capacity_wh") or 0.0
        found.append(Joined(label_wh, **added, inverter=inverter, solar=solar))
    return found


def _smallest(inverters: Sequence[tuple[float, float] | None]) -> tuple[float, float] | None:
    """The least rating and the least surge; None where one of the packs has no inverter."""
    known = [one for one in inverters if one is not None]
    if len(known) < len(inverters):
        return None
    rated_w, surge_w = (min(values) for values in zip(*known, strict=True))
    return rated_w, surge_w


def _inverter(plan: Plan, pack: Candidate) -> tuple[float, float] | None:
    """Rating and surge of a listed pack's inverter [W], else of the plan's."""
    own = plan.pack.inverter
    if pack.inverter_w is not None:
        return pack.inverter_w, pack.surge_w or DEFAULT_SURGE * pack.inverter_w
    return None if own is None else (own.rated_w, pack.surge_w or own.surge_w)
