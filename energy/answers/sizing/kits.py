"""Real things to buy or borrow: which combinations of listed packs and panels reach the goal.

A kit is some of one pack and some of one panel. Reading the list is `candidates`'s, sizes on a
scale are `size`'s.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from energy.answers.sizing.candidates import Candidate
from energy.answers.sizing.designs import Designs, designs
from energy.model import Array, Mask
from energy.outcome import needed
from energy.plan import Plan
from energy.refused import why_turned_away

RANKS = ("", "second ", "third ")  # of the kits shown by price, and by weight
DEFAULT_SURGE = 2.0  # times the inverter's rating, as in a plan
NAMES = {"price": "cheapest", "kg": "lightest"}


@dataclass(frozen=True)
class Kit:
    """Some of one pack and some of one panel (none: no panel); best says what it is first, second
    or third by."""

    pack: Candidate
    packs: int
    panel: Candidate | None
    panels: int
    best: tuple[str, ...] = ()

    @property
    def panel_w(self) -> float:
        """All panels together [W]."""
        return self.panels * (self.panel.rated_w or 0.0) if self.panel else 0.0

    @property
    def battery_wh(self) -> float:
        """All packs together [Wh]."""
        return self.packs * (self.pack.capacity_wh or 0.0)

    def total(self, key: str) -> float | None:
        """Weight ("kg") or price of everything; None where one of the things has none."""
        parts = [(getattr(self.pack, key), self.packs)]
        if self.panel is not None:
            parts.append((getattr(self.panel, key), self.panels))
        if any(each is None for each, _ in parts):
            return None
        return float(sum(each * count for each, count in parts))

    def as_dict(self) -> dict[str, Any]:
        """The kit as `--json` prints it."""
        return {
            "pack": self.pack.name,
            "packs": self.packs,
            "panel": None if self.panel is None else self.panel.name,
            "panels": self.panels,
            "panel_w": self.panel_w,
            "battery_wh": self.battery_wh,
            "kg": self.total("kg"),
            "price": self.total("price"),
            "best": list(self.best),
        }


@dataclass(frozen=True)
class Kits:
    """The best few kits that reach the goal, and which packs are out and why, a line each."""

    found: tuple[Kit, ...]
    out: tuple[str, ...]


def kits(
    of: Designs,
    listed: Sequence[Candidate],
    progress: Callable[[int, int], None] | None = None,
) -> Kits:
    """The cheapest and the lightest kits that reach the plan's goal in all its weathers.

    What several packs hold, charge and discharge adds up; inverter and surge stay those of one,
    since a tool hangs on one. What a row leaves out is as the plan has it. For each pack the least
    watts of panel that do are found; more of the same panel is never needed.

    >>> plan = Plan.read("builtin:cloudy-repair")
    >>> listed = [Candidate("big", "pack", capacity_wh=2000.0, kg=25.0),
    ...           Candidate("sheet", "panel", rated_w=100.0, kg=4.0, count_max=3)]
    >>> [(kit.packs, kit.panels) for kit in kits(designs(plan), listed).found]
    [(1, 0)]
    """
    panels = [one for one in listed if one.kind == "panel"]
    counted = [(one, n) for one in panels for n in range(1, one.count_max + 1)]
    watts = np.unique([0.0, *((one.rated_w or 0.0) * n for one, n in counted)])
    packs = [(one, n) for one in listed if one.kind == "pack" for n in range(1, one.count_max + 1)]
    reach: list[Kit] = []
    out: list[str] = []
    for done, (pack, packed) in enumerate(packs):
        if progress is not None:
            progress(done, len(packs))
        some = designs(_with_pack(of.plan, pack, packed), of, packed * (pack.capacity_wh or 0.0))
        if some.refusals:
            out.append(f"{packed} x {pack.name}: {why_turned_away(some.groups[0])}")
            continue
        least = _least_panel_w(some, watts)
        if least is None:
            out.append(f"{packed} x {pack.name}: too small with every panel of the list")
        elif least == 0.0:
            reach.append(Kit(pack, packed, None, 0))
        else:
            for panel in panels:
                count = int(np.ceil(least / (panel.rated_w or 1.0) - 1e-9))
                if count <= panel.count_max:
                    reach.append(Kit(pack, packed, panel, count))
    return Kits(_best(reach), tuple(out))


def _with_pack(plan: Plan, pack: Candidate, count: int) -> Plan:
    """The plan with so many of a listed pack in place of its own."""
    label = count * (pack.capacity_wh or 0.0)
    changes: dict[str, Any] = {"pack.capacity_wh": label}
    for key, name in (
        ("charge_max_w", "pack.charge_max_w"),
        ("discharge_max_w", "pack.discharge_max_w"),
        ("solar_max_w", "pack.solar_input.max_w"),
    ):
        value = getattr(pack, key)
        if value is not None:
            changes[name] = count * value
    for key in ("charge_max_w", "discharge_max_w"):
        if getattr(pack, key) is None and key not in plan.source["pack"]:
            share = label / plan.pack.capacity_wh
            changes[f"pack.{key}"] = getattr(plan.pack, key) * share
    if pack.inverter_w is not None:
        changes["pack.inverter.rated_w"] = pack.inverter_w
        changes["pack.inverter.surge_w"] = pack.surge_w or DEFAULT_SURGE * pack.inverter_w
    elif pack.surge_w is not None and plan.pack.inverter is not None:
        changes["pack.inverter.surge_w"] = pack.surge_w
    return plan.replace(**changes)


def _least_panel_w(of: Designs, watts: Array) -> float | None:
    """The least of some panel sizes, rising [W], that reaches the goal; None where none does."""
    if not _reaches(of, float(watts[-1])):
        return None
    low, high = -1, watts.size - 1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if _reaches(of, float(watts[middle])) else (middle, high)
    return float(watts[high])


def _reaches(of: Designs, panel_w: float) -> bool:
    """Whether a pack with so much panel reaches the goal in every group of weathers."""
    label = of.plan.pack.capacity_wh
    for group in of.must_hold:
        window = np.arange(of.groups[group].success.size)
        sizes = np.full(window.size, panel_w), np.full(window.size, label)
        ok: Mask = of.tried(group, *sizes, window)[0]
        if ok.sum() < needed(of.plan.goal.chance_percent, window.size):
            return False
    return True


def _best(reach: Sequence[Kit]) -> tuple[Kit, ...]:
    """The first few by price and by weight, each once, with what it is best by."""
    best: dict[int, tuple[str, ...]] = {}
    for key, words in NAMES.items():
        known = [k for k, kit in enumerate(reach) if kit.total(key) is not None]
        known.sort(key=lambda k: reach[k].total(key) or 0.0)
        for rank, k in enumerate(known[: len(RANKS)]):
            best[k] = (*best.get(k, ()), f"{RANKS[rank]}{words}")
    return tuple(replace(reach[k], best=words) for k, words in best.items())
