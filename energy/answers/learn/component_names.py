"""The names of a plan's tools, pack and panels in a person's kit file.

One name is one thing: what a plan states otherwise than the rest gets a name of its own.
"""

import re
from itertools import chain, count
from typing import Any

from energy.plan import Plan
from energy.plan.task import RISKS, Task

TOOL_MAKE = (  # what a tool is, as its profile holds it
    "supply", "kind", "working_w", "idle_w", "duty_percent", "on_w", "off_w", "period_min",
    "energy_wh", "power_w", "taper_from_percent", "start_w", "start_s", "power_factor",
    *RISKS,
)  # fmt: skip
PANEL_PLACED = (  # what a panel's place decides, not its make
    "profile", "count", "tilt_deg", "facing", "aim", "re_aim_at", "out_between", "shade",
)  # fmt: skip


def tool_key(tool: str | None, name: str) -> str:
    """A tool's name in the kit file: that of its profile, or one made of the task's name.

    >>> tool_key("phone", "charge it"), tool_key(None, "Cut the beam!")
    ('phone', 'cut-the-beam')
    """
    return tool or re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") or "tool"


def tools_of(plan: Plan, named_in: Plan | None = None) -> list[str]:
    """The name in the kit file of each task's tool, as in the plan `named_in` if that is given.

    A tool's name belongs to the tasks that take its figures as they are, or else to the first;
    one that a task states otherwise goes by the task's own name, or by a number behind it.
    """
    naming = named_in or plan
    tasks = zip(naming.source["task"], naming.task, strict=True)
    names: dict[tuple[Any, ...], str] = {}
    for _, task in sorted(tasks, key=lambda pair: any(key in pair[0] for key in TOOL_MAKE)):
        own = tool_key(None, task.name)
        free = chain([tool_key(task.tool, task.name), own], (f"{own}-{k}" for k in count(2)))
        taken = set(names.values())
        names.setdefault(_make(task), next(name for name in free if name not in taken))
    return [names.get(_make(task), tool_key(task.tool, task.name)) for task in plan.task]


def _make(task: Task) -> tuple[Any, ...]:
    """What two tasks with one and the same tool have in common."""
    return (tool_key(task.tool, task.name), task.trace, *(getattr(task, k) for k in TOOL_MAKE))


def pack_name(plan: Plan) -> str:
    """The name of a plan's pack in the kit file."""
    return plan.pack.profile or "my-pack"


def pack_key(kind: str, plan: Plan) -> str:
    """The key of a figure of the plan's pack."""
    return f"{kind}:{pack_name(plan)}"


def panel_names(plan: Plan) -> list[str]:
    """The name of each of a plan's panels in the kit file: that of its profile, else "my-panel";
    those of another make with a name that is taken have their number behind it."""
    makes: dict[str, dict[str, Any]] = {}
    names = []
    for number, panel in enumerate(plan.panel, start=1):
        make = panel.model_dump(exclude=set(PANEL_PLACED))
        name = panel.profile or "my-panel"
        if makes.setdefault(name, make) != make:
            name = f"{name}-{number}"
            makes[name] = make
        names.append(name)
    return names


def panel_key(plan: Plan) -> str:
    """The key of the condition of all panels of a plan together."""
    return f"condition_percent:{'+'.join(sorted(set(panel_names(plan))))}"
