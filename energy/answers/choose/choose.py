"""Which tasks fit, when to run each, and what is left out: the answer of `energy choose`.

The search is in `search`; here its choice becomes a timetable, with a reason for whatever is not
in it.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from energy.answers.check.checkpoints import Checkpoint, checkpoint_table, checkpoints
from energy.answers.choose.coarse import SLOT_S, deciding_scenario
from energy.answers.choose.judge import Progress, clashes
from energy.answers.choose.reasons import LeftOut, Reasons
from energy.answers.choose.search import Search, greedy_cells
from energy.plan import Plan
from energy.plan.words import and_list
from energy.show.numbers import for_json
from energy.simulation.answered import Answered
from energy.simulation.budget import Budget, budget, changed
from energy.simulation.work import check_searchable

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from energy.answers.caution.cautions import Caution


@dataclass(frozen=True)
class Row:
    """A line of the timetable: so many repeats (or one stretch), from the first to the last.

    each_s is how long one takes, pause_s how long the hands rest in between on average; both None
    for a stretch.
    """

    task: str
    times: int
    start: datetime
    end: datetime
    each_s: float | None = None
    pause_s: float | None = None


@dataclass(frozen=True)
class Choose(Answered):
    """The tasks that fit, as a timetable; `change` is what `Plan.replace` takes, `planned` the
    budget of all that was asked for.

    served: at each priority the sum over its tasks of value times the share that runs. proven:
    whether no choice serves more; else gap_percent says how much of what could fit is missing at
    most, at the first priority where some may be, gap_priority. stopped: the person ended the
    search. possible is False where nothing fits: then `alone` says what does not even by itself
    (what must run, or the smallest task), short_wh and short_at by how much and when; it is empty
    where nothing was found in the tries allowed; too_cold: what stops it is the cold, in which the
    pack gives nothing.
    """

    budget: Budget
    possible: bool
    proven: bool
    effort: int
    planned: Budget = field(repr=False)
    timetable: tuple[Row, ...] = ()
    left_out: tuple[LeftOut, ...] = ()
    served: dict[str, float] = field(default_factory=dict)
    gap_percent: float = 0.0
    gap_priority: int | None = None
    stopped: bool = False
    change: dict[str, Any] = field(repr=False, default_factory=dict)
    short_wh: float = 0.0
    short_at: datetime | None = None
    too_cold: bool = False
    alone: str = ""

    @property
    def yes(self) -> bool:
        """Whether there is a choice that reaches the goal."""
        return self.possible

    @cached_property
    def checkpoints(self) -> tuple[Checkpoint, ...]:
        """When to look at the display with this choice, what to expect, and below what to turn
        back; empty where nothing fits."""
        return checkpoints(self.budget) if self.possible else ()

    @property
    def answer(self) -> str:
        """The answer of the chosen plan in a word; no where there is none."""
        return self.budget.answer if self.possible else "no"

    def _repr_html_(self) -> str:
        return str(self.table().to_html())

    def table(self, of: Literal["tasks", "checkpoints"] = "tasks") -> "pd.DataFrame":
        """The timetable, a row a line; or a row a checkpoint; on the plan's clock."""
        import pandas as pd

        if of == "checkpoints":
            return checkpoint_table(self.checkpoints)
        return pd.DataFrame([asdict(row) for row in self.timetable])

    def timeline(self) -> "pd.DataFrame":
        """Charge and flows of the chosen plan over time (see `Budget.timeline`)."""
        return self.budget.timeline()

    def plot(self, cautions: Sequence["Caution"] = ()) -> "Figure":
        """The tasks as chosen, what is left out of them, and the charge above them, and what to
        take care of: a matplotlib figure."""
        from energy.answers.choose import picture  # a result shows itself when asked

        return picture.chosen(self, cautions)

    def as_dict(self) -> dict[str, Any]:
        """The stable answer that `--json` prints."""
        blocks = [
            {
                "task": row.task,
                "start": for_json(row.start, None),
                "end": for_json(row.end, None),
                "times": row.times,
                "each_s": for_json(row.each_s, 1),
                "pause_s": for_json(row.pause_s, 1),
            }
            for row in self.timetable
        ]
        return {
            "timetable": [
                {key: block[key] for key in ("task", "times", "start", "end")} for block in blocks
            ],
            "blocks": blocks,
            "left_out": [
                {
                    "task": left_out.task,
                    "times": left_out.times,
                    "unit": left_out.unit,
                    "why": left_out.why,
                    "needs_wh": round(left_out.needs_wh, 1),
                    "costs": left_out.costs,
                    "failing": left_out.failing,
                    "may_fail": left_out.may_fail,
                }
                for left_out in self.left_out
            ],
            "served": {key: round(value, 4) for key, value in self.served.items()},
            "chance": self.budget.chance.as_dict(),
            "gap_percent": round(self.gap_percent, 2),
            "gap_priority": self.gap_priority,
            "proven": self.proven,
            "effort": self.effort,
            "short_wh": round(self.short_wh, 1),
            "short_at": for_json(self.short_at, None),
            "too_cold": self.too_cold,
            "checkpoints": [point.as_dict() for point in self.checkpoints],
        }


def choose(
    plan: Plan,
    *,
    slot_s: float = SLOT_S,
    effort: int = 1,
    progress: Progress | None = None,
) -> Choose:
    """The best choice of a plan's tasks that still reaches the goal of its chance.

    What must run comes first, then priority by priority; a later one never costs an earlier one
    anything. Tasks marked flexible may move inside their window, in at most two blocks; the others
    keep their way of running and may do less.

    plan: the plan whose tasks are chosen from.
    slot_s: how far apart the starts of blocks are tried [s].
    effort: 1 is usual, each more allows three times the passes; the same effort gives the same
        answer on any machine.
    progress: is told how many choices were tried, of how many.

    Raises PlanError as `budget`.

    >>> choose(Plan.read("builtin:cloudy-repair")).budget.yes
    True
    """
    everything = budget(plan)
    check_searchable(everything, greedy_cells(everything), "a choice")
    search = Search(everything, slot_s, effort, progress)
    if everything.yes and not clashes(everything) and search.all_in_order:
        return _all_of_it(search)
    best = search.run()
    if best is None:
        return _impossible(search)
    return Choose(
        budget=best.budget,
        possible=True,
        timetable=_timetable(best.budget),
        left_out=Reasons(search.judge, best.choice).all(),
        served=search.served_by_priority(best.served),
        gap_percent=best.gap_percent,
        gap_priority=best.gap_priority,
        proven=best.proven,
        effort=effort,
        stopped=best.stopped,
        change={"task": search.tables(best.choice)},
        planned=everything,
    )


def _all_of_it(search: Search) -> Choose:
    """The plan as it is: everything fits."""
    return Choose(
        budget=search.result,
        possible=True,
        timetable=_timetable(search.result),
        served=search.served_by_priority(search.items.served(search.items.most)),
        proven=True,
        effort=search.effort,
        planned=search.result,
    )


def _timetable(result: Budget) -> tuple[Row, ...]:
    """A line for each task and window of a budget's plan, in order of time."""
    by_window: dict[tuple[int, int], list[tuple[float, float]]] = {}
    for burst in result.bursts:
        by_window.setdefault((burst.task, burst.window), []).append((burst.start_s, burst.end_s))
    rows = []
    for (k, _), times in by_window.items():
        task = result.plan.task[k]
        counted = task.times is not None or task.charges is not None
        first, last = min(times), max(times)
        each_s = pause_s = None
        if counted:
            each_s = sum(end - start for start, end in times) / len(times)
            apart = (last[0] - first[0]) / max(len(times) - 1, 1)
            pause_s = max(apart - each_s, 0.0) if len(times) > 1 else 0.0
        rows.append(
            Row(
                task=task.name,
                times=len(times) if counted else 1,
                start=result.local(first[0]),
                end=result.local(max(end for _, end in times)),
                each_s=each_s,
                pause_s=pause_s,
            )
        )
    return tuple(
        sorted(rows, key=lambda row: (row.start.timestamp(), row.end.timestamp(), row.task))
    )


def _impossible(search: Search) -> Choose:
    """What must run, or else the smallest task, does not fit even alone: by how much, and when."""
    everything = search.result
    tasks = everything.plan.task
    kept, words = search.must_run, "what must run"
    if not kept:
        groups = sorted(search.items.tasks, key=lambda group: everything.asked_wh[[*group]].sum())
        kept, words = set().union(*groups[:1]), "what is drawn with nothing running"
        if kept:
            names = and_list([f'"{tasks[k].name}"' for k in sorted(kept)])
            words = f"{names}, the smallest of all,"
    gone = {f"task.{k + 1}": None for k in range(len(tasks)) if k not in kept}
    alone = changed(everything, gone) if kept and gone else everything
    deciding = alone.low_end
    scenario = deciding_scenario(deciding)
    lowest = deciding.lowest(scenario)
    cold_unavailable = deciding.cold_unavailable_percent
    cold_unavailable = cold_unavailable[:, scenario if cold_unavailable.shape[1] > 1 else 0]
    least = np.append(cold_unavailable, cold_unavailable[-1]) + deciding.plan.pack.reserve_percent
    below = np.flatnonzero(deciding.charge_percent[:, scenario] < least)
    first_s = float(deciding.time_s[below[0]]) if below.size else lowest.at_s
    short_wh = max(-lowest.spare_wh, 0.0) + _unserved_wh(deciding, scenario)
    forbidden = bool(alone.overloads) or clashes(alone)
    return Choose(
        budget=alone,
        possible=False,
        proven=forbidden or not alone.yes,
        effort=search.effort,
        planned=everything,
        short_wh=0.0 if forbidden else short_wh,
        short_at=None if forbidden else alone.local(first_s),
        too_cold=bool(deciding.too_cold[scenario]),
        alone="" if alone.yes and not forbidden else words,
    )


def _unserved_wh(result: Budget, scenario: int) -> float:
    """What the tasks lacked in a weather, as it would be taken from the pack [Wh]."""
    pack = result.plan.pack
    return sum(
        float(result.unmet_wh[k, scenario]) * 100.0 / pack.efficiency_percent(task.supply)
        for k, task in enumerate(result.plan.task)
    )
