"""Real things to buy or borrow: which combinations of listed packs and panels reach the goal.

Reading the list is `candidates`'s, what may be combined `bundles`'s, which of it does `search`'s;
sizes on a scale are `size`'s.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from energy.answers.size.bundles import Bundle, as_list, bundles, in_words, kit_change, total
from energy.answers.size.candidates import Candidate
from energy.answers.size.designs import SOLAR_LIMITS, Designs, main_panel, make_designs
from energy.answers.size.lacks import Lack, lacks
from energy.answers.size.search import MOST_RUNS, TITLES, Search
from energy.plan.words import and_list
from energy.simulation.budget import Budget, budget

RANKS = ("", "second ", "third ")[:TITLES]
NAMES = {"price": "cheapest", "kg": "lightest", "things": "fewest things"}
INPUT = "pack.solar_input."
MOST_SHOWN = 8  # by price, and by weight, where many share a title


@dataclass(frozen=True)
class Kit:
    """Some packs and some panels (none: no panel), so many of each; change is what puts them into
    the plan, as `Plan.replace` takes it; best says what it is first, second or third by."""

    packs: Bundle
    panels: Bundle
    change: dict[str, Any] = field(repr=False, default_factory=dict)
    best: tuple[str, ...] = ()

    @property
    def panel_w(self) -> float:
        """All panels together [W]."""
        return total(self.panels, "rated_w") or 0.0

    @property
    def battery_wh(self) -> float:
        """All packs together [Wh]."""
        return total(self.packs, "capacity_wh") or 0.0

    @property
    def rank(self) -> int:
        """0 for the best by something, 1 and 2 for the second and third at most.

        >>> Kit((), (), best=("second cheapest", "lightest")).rank
        0
        """
        ranks = {f"{rank}{name}": k for k, rank in enumerate(RANKS) for name in NAMES.values()}
        return min((ranks[title] for title in self.best), default=0)

    def total(self, key: str) -> float | None:
        """Weight ("kg") or price of everything; None where one of the things has none."""
        return total(self.packs + self.panels, key)

    def as_dict(self) -> dict[str, Any]:
        """The kit as `--json` prints it; the names of several kinds are joined by " + "."""
        packs, panels = (
            " + ".join(component.name for component, _ in bundle)
            for bundle in (self.packs, self.panels)
        )
        return {
            "pack": packs,
            "packs": sum(count for _, count in self.packs),
            "panel": panels or None,
            "panels": sum(count for _, count in self.panels),
            "things": as_list(self.packs + self.panels),
            "panel_w": self.panel_w,
            "battery_wh": self.battery_wh,
            "kg": self.total("kg"),
            "price": self.total("price"),
            "best": list(self.best),
            "change": self.change,
        }


@dataclass(frozen=True)
class Kits:
    """The best few kits that reach the goal, the cheapest first; what others lack, those nearest to
    the goal first; what was not looked at, a line each; and the plan with the first kit."""

    best: tuple[Kit, ...]
    lacks: tuple[Lack, ...] = ()
    notes: tuple[str, ...] = ()
    budget: Budget | None = field(default=None, repr=False)

    @property
    def yes(self) -> bool:
        """Whether a kit reaches the goal."""
        return bool(self.best)

    @property
    def change(self) -> dict[str, Any]:
        """What puts the first kit into the plan; nothing where none does."""
        return self.best[0].change if self.best else {}

    @property
    def not_told(self) -> str:
        """What the first kit's labels say and the list does not, so that its plan is without it;
        empty where there is nothing."""
        keys = ["v_oc", "i_sc"] if self.change.get("panel") else []
        keys += [key for key in ("max_v", *SOLAR_LIMITS) if self.change.get(INPUT + key, 0) is None]
        if not keys:
            return ""
        return (
            f"the list tells no {and_list(keys)}: the written kit is without, its panels at the"
            " plan's v_mp; put their labels in and ask energy wire"
        )

    @property
    def out(self) -> tuple[str, ...]:
        """Which packs do not do, as many as there may be, and why, a line each."""
        return tuple(f"{in_words(lack.packs)}: {lack.words}" for lack in self.lacks)

    def as_dict(self) -> dict[str, Any]:
        """As `--json` prints them."""
        return {
            "kits": [kit.as_dict() for kit in self.best],
            "kit_notes": [*self.out, *self.notes, *([self.not_told] if self.not_told else [])],
            "kit_lacks": [lack.as_dict() for lack in self.lacks],
        }


def kits(
    designs: Designs,
    listed: Sequence[Candidate],
    progress: Callable[[int, int], None] | None = None,
) -> Kits:
    """The cheapest and the lightest kits that reach the plan's goal in all its weathers.

    All combinations of the list within count_max count; one that contains another that reaches the
    goal is left out, and equal ones share their title. How several packs go together is `joined`'s;
    panels lie as the plan's do, of several kinds as the one of the most watts.

    designs: the plan laid out for many sizes.
    listed: what may be bought (see `read_candidates`).
    progress: is told how many combinations of packs are settled, of how many.

    >>> from energy.answers.size.designs import make_designs
    >>> from energy.plan import Plan
    >>> plan = Plan.read("builtin:cloudy-repair")
    >>> listed = [Candidate("big", "pack", capacity_wh=2000.0, kg=25.0),
    ...           Candidate("sheet", "panel", rated_w=100.0, kg=4.0, count_max=3)]
    >>> [(kit.packs[0][0].name, kit.panels) for kit in kits(make_designs(plan), listed).best]
    [('big', ())]
    """
    kinds = {
        kind: [component for component in listed if component.kind == kind]
        for kind in ("pack", "panel")
    }
    (packs, mixed_packs), (panels, mixed_panels) = (
        bundles(components) for components in kinds.values()
    )
    designs = _with_one_panel(designs)
    search = Search(designs, packs, [(), *panels], progress)
    notes = [
        f"the list allows too many mixes: none of more than {most} {kind}"
        f" kind{'s' if most > 1 else ''} was looked at"
        for (kind, components), most in zip(kinds.items(), (mixed_packs, mixed_panels), strict=True)
        if most < len(components)
    ]
    best: dict[tuple[Bundle, Bundle], tuple[str, ...]] = {}
    for key, words in NAMES.items():
        if key == "things" and best:
            break  # counted only where the list has neither prices nor weights
        least = search.least(key)
        for cost, packs_of, panels_of in least[:MOST_SHOWN]:
            rank = RANKS[sum(other[0] < cost for other in least)]
            kit = packs_of, panels_of
            best[kit] = (*best.get(kit, ()), f"{rank}{words}")
        if least[MOST_SHOWN:]:
            notes.append(f"{len(least) - MOST_SHOWN} more kits share the title {rank}{words}")
    if search.runs >= MOST_RUNS:
        notes.append(f"the search ended after {MOST_RUNS} runs: a better kit may exist")
    if search.watts_alone and not best:
        notes.append(
            "some kits have the watts, but not as their panels can be joined (energy wire)"
        )
    made = tuple(Kit(*kit, kit_change(designs.plan, *kit), words) for kit, words in best.items())
    with_first = None
    if made:
        with_first = budget(designs.plan.replace(**made[0].change), previous=designs.groups[0])
    lacking = lacks(search, kinds["pack"], mixed=not made)
    return Kits(made, tuple(lacking), tuple(notes), with_first)


def _with_one_panel(designs: Designs) -> Designs:
    """The designs with the panel alone as which those of a list lie."""
    if len(designs.plan.panel) == 1:
        return designs
    number = main_panel(designs.plan)
    alone = designs.plan.replace(panel=[designs.plan.source["panel"][number]])
    return make_designs(alone, designs, designs.label_wh)
