"""How many more cuts, minutes or charges of a tool fit, at the goal's chance."""

from dataclasses import dataclass, field
from typing import Any

from energy.budget import Budget, budget, changed
from energy.model.demand import charging_s
from energy.plan import Plan, PlanError, profiles
from energy.plan.words import meant, shown

EACH_S = 60  # how long one cut or hole takes where nothing says so (common practice, no source)
LAST = 1000  # the lowest priority: what is planned comes first
LEAST_MIN = 5


@dataclass(frozen=True)
class HowMany:
    """So many more of a tool, and the chance with them; each_s is how long each was taken to be,
    for what is counted."""

    tool: str
    count: int
    unit: str
    each_s: float | None
    budget: Budget = field(repr=False)

    def as_dict(self) -> dict[str, Any]:
        """The stable answer that `--json` prints."""
        return {
            "tool": self.tool,
            "count": self.count,
            "unit": self.unit,
            "chance": self.budget.chance.as_dict(),
        }


def how_many(plan: Plan, tool: str) -> HowMany:
    """How many more times a tool can be used on the plan's first day, found by bisection.

    tool is a task's name, the tool of a task, or a profile. More of what is planned already comes
    in that task's window and takes as long; else it comes anywhere in the day. Raises PlanError
    for a tool that is not known.

    >>> how_many(Plan.read("builtin:cloudy-repair"), "phone").unit
    'charges'
    """
    base = budget(plan)
    table = _table(plan, tool)
    window = _window(base, table)
    counted = "each_s" in table or "each_min" in table
    trial = plan.replace(task=[table | ({"times": 1} if counted else {})])
    task = trial.task[0]
    unit, each_s = "minutes", 60.0
    if task.kind == "charging":
        unit, each_s = "charges", charging_s(task)
    elif task.kind in ("intermittent", "trace") or "each_s" in table or "each_min" in table:
        unit = "times"
        each_s = task.each_s or EACH_S
        table["each_s"] = each_s
        table.pop("each_min", None)
    most = int((window[1] - window[0]) // each_s)
    table["between"] = [f"{base.local(t):%H:%M}" for t in window]
    table["days"] = [1]

    def tried(count: int) -> Budget:
        return changed(base, {"task": [*plan.source["task"], table | {unit: count}]})

    low, high, best = 0, most + 1, base
    while base.yes and high - low > 1:
        middle = (low + high) // 2
        found = tried(middle)
        if _enough(found):
            low, best = middle, found
        else:
            high = middle
    refused = sum(refusal.burst.task == len(plan.task) for refusal in best.refusals)
    return HowMany(tool, low - refused, unit, each_s if unit == "times" else None, best)


def _enough(b: Budget) -> bool:
    """Whether the chance reaches the goal, whatever could not run beside the rest."""
    chance = b.chance
    sure = chance.percent
    if b.weather.rough and chance.low is not None:
        sure = min(sure, chance.low)
    return sure >= chance.goal - 1e-9


def _table(plan: Plan, tool: str) -> dict[str, Any]:
    """The table of a task with this name or tool, without how much; or a new one of a profile."""
    amounts = ("times", "charges", "minutes", "hours", "at", "days", "must", "flexible")
    for table, task in zip(plan.source["task"], plan.task, strict=True):
        if tool in (task.name, task.tool):
            kept = {key: value for key, value in table.items() if key not in amounts}
            return kept | {"name": task.name, "priority": LAST}
    known = [*profiles.tools(), *(task.name for task in plan.task)]
    if tool not in known:
        raise PlanError([f"there is no tool {shown(tool)}{meant(tool, known)}"])
    return {"tool": tool, "priority": LAST}


def _window(b: Budget, table: dict[str, Any]) -> tuple[float, float]:
    """Where more of it may come on the first day: its own window, else all of the day."""
    day = b.calendar.first
    names = [task.name for task in b.plan.task]
    between = (
        b.plan.task[names.index(table["name"])].between if table.get("name") in names else None
    )
    begin, end = b.calendar.window(between, day) or b.calendar.window(None, day) or (0.0, 0.0)
    begin = max(begin, float(b.time_s[0]))
    end = min(end, float(b.time_s[-1]), b.calendar.at(("clock", 1439.0), day))
    begin = float(-(-begin // 60.0) * 60.0)
    if end - begin < 60.0 * LEAST_MIN:
        begin, end = (
            float(b.time_s[0]),
            min(float(b.time_s[-1]), b.calendar.at(("clock", 1439.0), day)),
        )
    return begin, end
