"""How large must panels and pack be for this job? The answer of `energy size`.

The smallest packs come from `frontier`, for sizes from `ranges` and within the packs' `limits`;
which of them to take is for `points`. Real things to buy are for `kits`.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.answers.size.costs import Costs, costs
from energy.answers.size.designs import Designs, design, design_changes, make_designs
from energy.answers.size.figures import json_number, size_text
from energy.answers.size.frontier import Frontier, frontier
from energy.answers.size.limits import within_limits
from energy.answers.size.points import Point, pick_of, points_of
from energy.answers.size.ranges import ranges
from energy.answers.size.through import WholeYears
from energy.plan import Plan, require_plan
from energy.simulation.budget import Budget, budget

GOALS = (80.0, 90.0, 95.0, 99.0)  # percent

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from energy.answers.size.kits import Kits


@dataclass(frozen=True)
class Size:
    """Result of sizing: the smallest packs that reach each goal, and which size to take.

    plan: the plan that was sized.
    frontier: the smallest pack for each panel size and goal.
    costs: what panels and packs weigh and cost by their size.
    pick: the recommended size; None where nothing in the range reaches the plan's goal.
    points: the pick and a few other sizes worth considering.
    why: what speaks for the pick, or what stands in the way of any.
    limit: which packs cannot give the power, and why; None where all can.
    least_wh: the smallest pack that can give the power [Wh], where there is such a limit.
    designs: the plan laid out for many sizes.
    budget: the plan with the pick, over its own span; None without a pick.
    whole_years: how the plan's own size and the pick fare; None where a job was sized.
    """

    plan: Plan
    frontier: Frontier
    costs: Costs
    pick: Point | None
    points: tuple[Point, ...]
    why: str
    limit: str | None
    least_wh: float | None
    designs: Designs = field(repr=False)
    budget: Budget | None = field(default=None, repr=False)
    whole_years: WholeYears | None = None

    @property
    def goal(self) -> float:
        """The plan's goal [percent]: of the weathers, over whole years of all days."""
        return self.plan.goal.chance_percent

    @property
    def yes(self) -> bool:
        """Whether a size in the range reaches the plan's goal."""
        return self.pick is not None

    @property
    def change(self) -> dict[str, Any]:
        """What makes the plan the pick, as `Plan.replace` takes it; nothing without a pick."""
        return {} if self.pick is None else design_changes(self.plan, *self.pick.sizes)

    def _repr_html_(self) -> str:
        return str(self.table().to_html())

    def table(self) -> "pd.DataFrame":
        """The smallest pack [Wh] for each size of panel [W] and each goal; NaN where none does."""
        import pandas as pd

        columns = {f"{goal:g} %": self.frontier.battery_wh(goal) for goal in GOALS}
        index = pd.Index(self.frontier.panel_w, name="panel_w")
        return pd.DataFrame(columns, index=index, dtype=float)

    def plot(self, kits: "Kits | None" = None) -> "Figure":
        """The map of the chance with the goals' lines and the pick: a matplotlib figure.

        kits: those of a list, drawn too.
        """
        from energy.answers.size.picture import size_map

        return size_map(self, kits)

    def as_dict(self) -> dict[str, Any]:
        """The answer as `--json` prints it, without kits and worksheet."""
        columns = {f"{goal:g}": self.frontier.battery_wh(goal) for goal in GOALS}
        years = self.whole_years
        return {
            **({} if years is None else {"season": "year"}),
            "goal": json_number(self.goal),
            "frontier": [
                {
                    "panel_w": json_number(watts),
                    "battery_wh": {
                        goal: json_number(labels[k]) for goal, labels in columns.items()
                    },
                }
                for k, watts in enumerate(self.frontier.panel_w.tolist())
            ],
            "floor_wh": json_number(self.frontier.floor_wh),
            "pick": self._pick_as_dict(),
            **(
                {} if years is None else {"own": {**years.own.as_dict(), "cannot": years.own_limit}}
            ),
        }

    def _pick_as_dict(self) -> dict[str, Any]:
        pick, years = self.pick, self.whole_years
        sized = dict.fromkeys(("panel_w", "battery_wh", "kg", "price"))
        if pick is not None:
            sized = {
                "panel_w": json_number(pick.panel_w),
                "battery_wh": json_number(pick.battery_wh),
                "kg": round(pick.kg, 1),
                "price": round(pick.price),
            }
        if years is not None:
            fares = {"year": None if years.pick is None else years.pick.as_dict()}
        else:
            fares = {"chance": None if self.budget is None else self.budget.chance.as_dict()}
        return {**sized, "why": self.why, **fares}


def size(plan: Plan, progress: Callable[[int, int], None] | None = None) -> Size:
    """The smallest packs for panels of many sizes, in all weathers of the plan's season.

    plan: what is to be served; its `[size]` table may state which sizes to look at.
    progress: is told how many of the panel sizes times goals are settled, of how many.

    Raises PlanError as `budget` does.

    >>> answer = size(Plan.read("builtin:cloudy-repair"))
    >>> answer.pick is not None and answer.budget.yes
    True
    """
    require_plan(plan)
    designs = make_designs(plan)
    panel_w, sizes_wh = ranges(designs)
    goals = goals_of(plan)
    if designs.overloads:
        smallest = np.full((panel_w.size, len(goals)), sizes_wh.size)
        reached = Frontier(panel_w, sizes_wh, goals, smallest)
    else:
        reached = frontier(designs, panel_w, sizes_wh, goals, progress)
    words = f"reaches {plan.goal.chance_percent:g} %"
    answer = recommended(plan, designs, reached, words, _hindrance(designs))
    if answer.pick is None:
        return answer
    pick = design(designs.plan, *answer.pick.sizes)
    return replace(answer, budget=budget(pick, previous=designs.groups[0]))


def goals_of(plan: Plan) -> tuple[float, ...]:
    """The goals that sizes are found for [percent], rising: the plan's own among the usual ones."""
    return tuple(sorted({*GOALS, plan.goal.chance_percent}))


def recommended(
    plan: Plan,
    designs: Designs,
    reached: Frontier,
    goal_words: str,
    hindrance: str | None = None,
) -> Size:
    """The answer with the pick of a frontier, within the packs' limits.

    goal_words: what the plan's goal asks of a pack, for an answer without a pick.
    hindrance: why no size can help, where that is known and no limit says so.
    """
    reached, limit, least_wh = within_limits(designs, reached)
    prices = costs(plan)
    pick = pick_of(reached, plan.goal.chance_percent, prices)
    if pick is not None:
        why = pick.why
    else:
        why = (
            f"No pack up to {size_text(reached.sizes_wh[-1])} Wh {goal_words}"
            f" with panels up to {size_text(reached.panel_w[-1])} W"
        )
        reason = limit or hindrance
        why += f"; {reason}" if reason else ""
    return Size(
        plan=plan,
        frontier=reached,
        costs=prices,
        pick=pick,
        points=() if pick is None else points_of(reached, pick, prices),
        why=why,
        limit=limit,
        least_wh=least_wh,
        designs=designs,
    )


def _hindrance(designs: Designs) -> str | None:
    """Why no size of panels and pack can help; None where nothing is known to forbid it."""
    pack, locked_percent = designs.plan.pack, designs.groups[0].cold_unavailable_percent
    too_cold = (locked_percent > 99.9).any(axis=0).mean()
    if too_cold > 1.0 - designs.plan.goal.chance_percent / 100.0:
        return f"{100.0 * too_cold:.0f} % of the weathers are too cold to give: no size helps"
    at_start = float(locked_percent[0].max())
    if pack.start_percent > pack.reserve_percent + at_start:
        return None
    return (
        f"the pack starts at {pack.start_percent:g} %, and the reserve"
        f"{' above what the cold holds back' if at_start > 0.0 else ''} ends at"
        f" {pack.reserve_percent + at_start:.0f} %: no size helps"
    )
