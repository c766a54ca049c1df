"""Why a task does not run beside the others: the limit it breaks, in words with the numbers."""

from collections.abc import Sequence

from energy.model.limits import Overload, overloads
from energy.plan.words import and_list
from energy.simulation.demand import limits_of, ranked
from energy.simulation.result import Budget

OUTLETS = {"ac": "the mains outlets", "dc12": "the 12 V outlets", "usb": "the USB outlets"}
MOST_NAMED = 2  # of the tasks that run then
NEVER = "it can never run on this pack"


def why_refused(
    supply: str,
    start_w: float,
    turned_away: Sequence[Overload],
    bursts: int,
    others: str = "all that runs",
) -> str:
    """The limit that a task breaks, in words with the numbers; others: what else asks then.

    >>> from energy.model.demand import Burst
    >>> burst = Burst(0, 0, ())
    >>> why_refused("ac", 2700.0, [Overload(burst, "surge", 2700.0, 2000.0, 0.0)], 1)
    'starts at 2700 W, the inverter surges to 2000 W'
    """
    first = turned_away[0]
    digits = 0 if round(first.asked) > round(first.allowed) else 1
    asked, allowed = f"{first.asked:.{digits}f} W", f"{first.allowed:.{digits}f} W"
    alone = first.asked <= start_w * (1.0 + 1e-9)
    also = f" and {others}" if others else ""
    words = {
        "no-inverter": "needs a mains outlet, and the pack has no inverter",
        "inverter-off": "the inverter is off then",
        "inverter": f"{f'with {others} it ' if others else ''}asks {first.asked:.0f} VA of the"
        f" inverter, rated {allowed}",
        "surge": f"starts at {asked}, the inverter surges to {allowed}"
        if alone
        else f"its start and {others or 'what else runs'} make {asked}, the inverter surges to"
        f" {allowed}",
        "surge-time": f"its start lasts {first.asked:g} s, the inverter surges for"
        f" {first.allowed:g} s",
        "discharge": f"with losses{also} {asked} are asked of the pack, it gives {allowed}",
        "battery": f"with losses{also} {asked} are asked of the battery, which can give {allowed}",
    }
    outlets = f"{asked} are asked of {OUTLETS[supply]}, which give {allowed}"
    text = words.get(first.limit, f"with {others} {outlets}" if others else outlets)
    if len(turned_away) < bursts:
        text = f"{len(turned_away)} of {bursts} times: {text}"
    return text


def why_not_beside(result: Budget, k: int, bursts: int) -> str:
    """Which limit a task breaks beside what runs then; of how many bursts it turns some away.

    >>> from energy.simulation.budget import budget
    >>> from energy.plan import Plan
    >>> demo = Plan.read("builtin:cloudy-repair")
    >>> why_not_beside(budget(demo.replace(**{"task.2.start_w": 9000.0})), 1, 16)
    'starts at 9000 W, the inverter surges to 2000 W'
    """
    task, turned_away = result.plan.task[k], result.overloads_by_task[k]
    others = _running_with(result, turned_away[0])
    return why_refused(task.supply, task.start_w, turned_away, bursts, others)


def _running_with(result: Budget, overload: Overload) -> str:
    """The other tasks that a burst met when most was asked of its limit, in words."""
    tasks, k, order = result.plan.task, overload.burst.task, ranked(result.plan)
    first = order[: order.index(k)]
    shared = overload.limit in ("discharge", "battery")
    others = {
        burst.task
        for burst in result.running
        if burst.task in first and (shared or tasks[burst.task].supply == tasks[k].supply)
        if any(piece.start_s <= overload.at_s < piece.end_s for piece in burst.pieces)
    }
    names = [f'"{tasks[other].name}"' for other in sorted(others)]
    more = len(names) - MOST_NAMED
    return and_list([*names[:MOST_NAMED], *([f"{more} more"] if more > 0 else [])])


def why_not_alone(result: Budget, k: int) -> str:
    """Which limit all of a task breaks with nothing beside it; empty where some of it could run.

    >>> from energy.simulation.budget import budget
    >>> from energy.plan import Plan
    >>> demo = Plan.read("builtin:cloudy-repair")
    >>> why_not_alone(budget(demo.replace(**{"task.2.start_w": 9000.0})), 1)
    'starts at 9000 W, the inverter surges to 2000 W'
    """
    own, task = result.bursts_by_task.get(k, []), result.plan.task[k]
    limits = limits_of(result.plan, result.calendar)
    alone = overloads(result.time_s, own, result.plan.task, [k], limits)
    if len(alone) < len(own) or not own or alone[0].limit == "inverter-off":
        return ""
    return why_refused(task.supply, task.start_w, alone, len(own), others="")


def why_never(result: Budget, k: int) -> str:
    """`why_not_alone` with what follows from it."""
    why = why_not_alone(result, k)
    return f"{why}: {NEVER}" if why else ""


def why_turned_away(result: Budget) -> str:
    """Which task a limit turns away first, and the number that broke it."""
    k = result.overloads[0].burst.task
    bursts = sum(burst.task == k for burst in result.bursts)
    return f'"{result.plan.task[k].name}" {why_not_beside(result, k, bursts)}'
