"""Combinations of listed things: so many of each, and what they bring together.

Which of them serve a plan is for `kits`.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, product
from math import inf
from typing import Any

from energy.answers.size.candidates import Candidate
from energy.answers.size.designs import (
    BOUGHT,
    SOLAR_LIMITS,
    Tables,
    in_place,
    main_panel,
    no_panel_cable,
    scaling_limits,
)
from energy.plan import Plan

Bundle = tuple[tuple[Candidate, int], ...]  # so many of each, in the list's order

MOST_BUNDLES = 50_000  # of packs, and of panels
DEFAULT_SURGE = 2.0  # times the inverter's rating, as in a plan
LAID = (  # of a plan's panel, what a listed one in its place has too: v_mp for want of a label
    "tilt_deg", "facing", "aim", "re_aim_at", "out_between", "shade", "condition_percent",
    "condition_spread_percent", "temp_coefficient_percent_per_c", "airflow", "v_mp",
)  # fmt: skip


def bundles(components: Sequence[Candidate]) -> tuple[list[Bundle], int]:
    """All combinations of some of the things within count_max, and of how many kinds at most.

    Where they would be too many, those of fewer kinds alone.

    >>> box, case = Candidate("box", "pack", count_max=2), Candidate("case", "pack")
    >>> mixes, kinds = bundles([box, case])
    >>> [in_words(mix) for mix in mixes], kinds
    (['1 x box', '2 x box', '1 x case', '1 x box + 1 x case', '2 x box + 1 x case'], 2)
    """
    ways = [1] + [0] * len(components)  # to take so many kinds
    for component in components:
        for k in range(len(components), 0, -1):
            ways[k] += ways[k - 1] * component.count_max
    kinds = min(1, len(components))
    while kinds < len(components) and sum(ways[1 : kinds + 2]) <= MOST_BUNDLES:
        kinds += 1
    mixes = [bundle for k in range(1, kinds + 1) for bundle in _of_kinds(components, k)]
    return mixes, kinds


def _of_kinds(components: Sequence[Candidate], kinds: int) -> Iterator[Bundle]:
    for mixed in combinations(components, kinds):
        for counts in product(*(range(1, component.count_max + 1) for component in mixed)):
            yield tuple(zip(mixed, counts, strict=True))


def in_words(bundle: Bundle) -> str:
    """How many of what.

    >>> in_words(((Candidate("box", "pack"), 2),))
    '2 x box'
    """
    return " + ".join(f"{count} x {component.name}" for component, count in bundle)


def as_list(bundle: Bundle) -> list[dict[str, Any]]:
    """The things as `--json` prints them."""
    return [{"name": thing.name, "kind": thing.kind, "count": count} for thing, count in bundle]


def total(bundle: Bundle, key: str) -> float | None:
    """A figure ("kg", "price", "rated_w", "capacity_wh") of all together, None where one of the
    things says nothing of it.

    >>> total(((Candidate("box", "pack", kg=3.0), 2), (Candidate("bag", "pack", kg=1.5), 1)), "kg")
    7.5
    """
    each = [(getattr(component, key), count) for component, count in bundle]
    if any(value is None for value, _ in each):
        return None
    return round(float(sum(value * count for value, count in each)), 6)


def smaller(bundle: Bundle) -> Iterator[Bundle]:
    """The bundle with one thing less, for each kind in it.

    >>> box, bag = Candidate("box", "pack"), Candidate("bag", "pack")
    >>> [in_words(less) for less in smaller(((box, 1), (bag, 2)))]
    ['2 x bag', '1 x box + 1 x bag']
    """
    for k, (component, count) in enumerate(bundle):
        less = ((component, count - 1),) if count > 1 else ()
        yield bundle[:k] + less + bundle[k + 1 :]


def laid_as(plan: Plan) -> dict[str, Any]:
    """How listed panels lie in place of the plan's own: as the one of the most watts.

    >>> laid_as(Plan.read("builtin:cloudy-repair"))["tilt_deg"]
    35
    """
    table = plan.merged("panel")[main_panel(plan)]
    return {key: table[key] for key in LAID if key in table}


def panel_tables(laid: dict[str, Any], panels: Bundle) -> Tables:
    """Listed panels as a plan has them, a table for each kind; laid as from `laid_as`."""
    return [
        {"name": panel.name, "rated_w": panel.rated_w, "count": count, **laid}
        for panel, count in panels
    ]


def kit_change(plan: Plan, packs: Bundle, panels: Bundle) -> dict[str, Any]:
    """What puts a kit into a plan, as `Plan.replace` takes it. The plan's weights and prices leave
    with its own things, and what the list does not tell of a label is left out."""
    change = joined(plan, [packs])[0].change | {f"pack.{key}": None for key in BOUGHT}
    cable = {} if panels else no_panel_cable(plan)
    return change | in_place(panel_tables(laid_as(plan), panels)) | cable


@dataclass(frozen=True)
class Joined:
    """What several packs are as one: their label [Wh], what they charge, discharge and take from
    panels at most [W], the inverter that a tool may count on, (rated, surge) [W], if any, and the
    changes that make the plan's solar input theirs."""

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
        change: dict[str, Any] = self.solar | {
            "pack.capacity_wh": self.capacity_wh,
            "pack.charge_max_w": self.charge_max_w,
            "pack.discharge_max_w": self.discharge_max_w,
        }
        if self.inverter is not None:
            change["pack.inverter.rated_w"], change["pack.inverter.surge_w"] = self.inverter
        return change


def joined(plan: Plan, packs: Sequence[Bundle]) -> list[Joined]:
    """Each of several bundles of packs as one pack in place of a plan's own.

    What they hold, charge, discharge and take from panels adds up. Inverters do not: a tool hangs
    on one, whichever pack has charge left, so the smallest counts. What a row leaves out is as the
    plan has it: once for all that leave it out, in proportion to their label where it follows the
    label in the plan. Where rows state the watts of a solar input, its volts are not known, and
    where all do, its amps neither: those of the plan's own pack leave.

    >>> plan = Plan.read("builtin:cloudy-repair")
    >>> box = Candidate("box", "pack", capacity_wh=500.0, charge_max_w=200.0)
    >>> bag = Candidate("bag", "pack", capacity_wh=250.0, charge_max_w=90.0)
    >>> [(pack.capacity_wh, pack.charge_max_w) for pack in joined(plan, [((box, 2), (bag, 1))])]
    [(1250.0, 490.0)]
    """
    own = plan.merged("pack")
    return [_joined(plan, own, bundle) for bundle in packs]


def _joined(plan: Plan, table: dict[str, Any], bundle: Bundle) -> Joined:
    """As `joined`; table is the plan's own pack, its profile merged in."""
    own = plan.pack
    solar_max_w = inf if own.solar_input.max_w is None else own.solar_input.max_w
    added = {
        "charge_max_w": _added(plan, bundle, "charge_max_w", own.charge_max_w),
        "discharge_max_w": _added(plan, bundle, "discharge_max_w", own.discharge_max_w),
        "solar_max_w": _added(plan, bundle, "solar_max_w", solar_max_w),
    }
    solar = _not_known(table, bundle)
    if added["solar_max_w"] < inf:
        solar["pack.solar_input.max_w"] = added["solar_max_w"]
    inverter = _smallest([_inverter(plan, pack) for pack, _ in bundle])
    label_wh = total(bundle, "capacity_wh") or 0.0
    return Joined(label_wh, **added, inverter=inverter, solar=solar)


def _not_known(table: dict[str, Any], packs: Bundle) -> dict[str, Any]:
    """Changes that take limits of the plan's own solar input out of its pack's table: its profile
    leaves where that states one, and what else it says is written out."""
    tells = [pack.solar_max_w is not None for pack, _ in packs]
    leave = ("max_v", *(key for key in SOLAR_LIMITS if all(tells))) if any(tells) else ()
    stated = [key for key in leave if table["solar_input"].get(key) is not None]
    if not stated:
        return {}
    change = _without_profile(table) if "profile" in table else {}
    return change | {f"pack.solar_input.{key}": None for key in stated}


def _without_profile(table: dict[str, Any]) -> dict[str, Any]:
    """Changes that write out a pack's table, except what it is called, weighs and costs."""
    change: dict[str, Any] = {"pack.profile": None}
    for key, value in table.items():
        if isinstance(value, dict):
            change |= {f"pack.{key}.{inner}": each for inner, each in value.items()}
        elif key not in ("profile", "name", "capacity_ah", *BOUGHT):
            change[f"pack.{key}"] = value
    return change


def _added(plan: Plan, bundle: Bundle, key: str, own_w: float) -> float:
    """A limit of all packs together [W]; own_w is that of the plan's own pack."""
    silent = tuple((pack, count) for pack, count in bundle if getattr(pack, key) is None)
    sum_w = total(tuple(each for each in bundle if each not in silent), key) or 0.0
    if silent and key in scaling_limits(plan):
        return sum_w + own_w * (total(silent, "capacity_wh") or 0.0) / plan.pack.capacity_wh
    return sum_w + own_w if silent else sum_w


def _smallest(inverters: Sequence[tuple[float, float] | None]) -> tuple[float, float] | None:
    """The least rating and the least surge; None where one of the packs has no inverter."""
    ratings = [inverter for inverter in inverters if inverter is not None]
    if len(ratings) < len(inverters):
        return None
    rated_w, surge_w = (min(values) for values in zip(*ratings, strict=True))
    return rated_w, surge_w


def _inverter(plan: Plan, pack: Candidate) -> tuple[float, float] | None:
    """Rating and surge of a listed pack's inverter [W], else of the plan's."""
    own = plan.pack.inverter
    if pack.inverter_w is not None:
        return pack.inverter_w, pack.surge_w or DEFAULT_SURGE * pack.inverter_w
    return None if own is None else (own.rated_w, pack.surge_w or own.surge_w)
