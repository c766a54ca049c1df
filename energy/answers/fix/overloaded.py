"""Changes for what a limit turns away: another time, another tool, another inverter or pack."""

import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import Any

import numpy as np

from energy.answers.caution.telling import carries
from energy.answers.fix.kit import EARLIEST_H, LATEST_H
from energy.answers.fix.ladder import Change, Ladder
from energy.answers.size.bundles import joined
from energy.answers.size.candidates import read_candidates
from energy.model.demand import Burst, cut_at
from energy.model.limits import Begun, Limits, Overload, all_fit, overloads, running
from energy.plan import Plan, PlanError
from energy.plan.profiles import built_in
from energy.plan.task import RISKS, Task
from energy.plan.words import and_list
from energy.simulation.budget import Budget
from energy.simulation.bursts import place_bursts
from energy.simulation.demand import energy_by_task, limits_of, ranked
from energy.weather.record import HOUR_S

INVERTERS = 6  # stronger ones that are tried
PACKS = 6  # those that bear what is turned away and are run through the weather
STARTS = 16  # other times of a task that are looked at, half an hour apart
OF_THE_INVERTER = ("inverter", "surge")
OF_THE_START = (*OF_THE_INVERTER, "surge-time", "discharge")
MOST_LARGER = 1.25  # a tool that does the same job may be larger by so much
MOST_CORDLESS_W = 1000.0  # corded tools that an 18 V one stands in for (common practice, no source)
CORDLESS_PACK = "tool-pack-18v-5ah"
CORDLESS_GROUPS = ("cutting", "drilling", "shaping")
# What is kept of a task whose tool is another, and of a pack: what is the day's, not the thing's.
KEPT_OF_TASK = ("days", "with", "after", "must", "priority", "value", "flexible")
KEPT_OF_PACK = ("start_percent", "temperature")


# --- another time -------------------------------------------------------------------------------


def another_time(result: Budget) -> Ladder | None:
    """What does not run beside the rest, at the nearest hour of the day at which it does: inside
    its own window first, then whenever somebody could tend it."""
    late = [k for k in ranked(result.plan) if _clashes(result, k)]
    begun = frozenset(pair for pair in result.placed.begun if pair[0] not in late)
    change: Change = {}
    ahead: list[Burst] = []  # what runs of the tasks that rank before
    wanted: list[Burst] = []  # what those ask that no limit has judged yet
    for k in ranked(result.plan):
        if k not in late:
            wanted += result.bursts_by_task.get(k, [])
            continue
        ahead, wanted = _running(result, [*ahead, *wanted], begun), []
        moved = next(_fitting_times(result, change, k, ahead, begun), None)
        if moved is None:
            return None
        change |= moved[0]
        ahead += moved[1]
    if not change:
        return None
    times = [f'"{result.plan.task[k].name}" at {change[f"task.{k + 1}.at"]}' for k in late]
    words = f"Do {and_list(times)}: at the planned time the rest leaves no room for it."
    return Ladder("another-time", True, lambda _: change, lambda _: words)


def _clashes(result: Budget, k: int) -> bool:
    """Whether a limit turns a task away that would run alone, and its time may be another."""
    task = result.plan.task[k]
    timed = task.repeat_s if task.repeats else task.duration_s
    if k not in result.overloads_by_task or timed is None or carries(task, "medical"):
        return False
    limits = limits_of(result.plan, result.calendar)
    return all_fit(result.time_s, result.bursts_by_task[k], result.plan.task, limits)


def _fitting_times(
    result: Budget, before: Change, k: int, ahead: Sequence[Burst], begun: Begun
) -> Iterator[tuple[Change, list[Burst]]]:
    """Other times of a task at which it runs beside what ranks before it, the nearest first, each
    with its bursts, in a plan that has been changed before."""
    own = result.bursts_by_task[k]
    first_s = result.calendar.at(("clock", 0.0), result.local(own[0].start_s).date())
    usual_h = (own[0].start_s - first_s) / HOUR_S
    window = result.calendar.window(
        result.plan.task[k].between, result.local(own[0].start_s).date()
    )
    hours = [h for h in np.arange(EARLIEST_H, LATEST_H, 0.5) if h != usual_h]

    def outside(hour: float) -> bool:
        start_s = first_s + hour * HOUR_S
        return window is not None and not window[0] <= start_s < window[1]

    hours.sort(key=lambda hour: (outside(hour), abs(hour - usual_h), hour))
    plan, asked_wh = result.plan, result.asked_wh[k]
    limits = limits_of(plan, result.calendar)
    for hour in hours[:STARTS]:
        change = {f"task.{k + 1}.at": _clock(hour), f"task.{k + 1}.between": None}
        at = {"at": ("clock", 60.0 * float(hour)), "between": None, "after": None, "with_": None}
        alone = plan.model_copy(update={"task": (plan.task[k].model_copy(update=at),)})
        with suppress(PlanError):
            own = [
                replace(burst, task=k)
                for burst in place_bursts(alone, result.calendar, result.days.span).bursts
            ]
            inside = abs(energy_by_task(own, k + 1)[k] - asked_wh) <= 1e-6 * asked_wh
            bursts = [*ahead, *own]
            if inside and all_fit(cut_at(result.time_s, bursts), bursts, plan.task, limits, begun):
                plan.replace(**before | change)  # raises where that is no plan
                yield change, own


def _running(result: Budget, wanted: Sequence[Burst], begun: Begun) -> list[Burst]:
    """What the limits of a plan let run of some bursts."""
    plan, limits = result.plan, limits_of(result.plan, result.calendar)
    order, edges = ranked(plan), cut_at(result.time_s, wanted)
    turned_away = overloads(edges, wanted, plan.task, order, limits, begun)
    return list(running(wanted, turned_away))


def _clock(hour: float) -> str:
    return f"{int(hour):02d}:{round(60.0 * (hour % 1.0)):02d}"


# --- another tool -------------------------------------------------------------------------------


def softer_start(result: Budget) -> Ladder | None:
    """For each tool whose start or watts a limit turns away, a built-in one that does the same job
    and starts more softly."""
    change: Change = {}
    words = []
    for k in _tools_turned_away(result):
        task, tables = result.plan.task[k], result.plan.source["task"][k]
        tool = _softest(task, tables.get("tool"))
        if tool is None:
            return None
        figures = built_in("tools")[tool]
        stated = [key for key in tables if key in Task.model_fields and key in figures]
        change |= {f"task.{k + 1}.{key}": None for key in stated if key != "name"}
        change[f"task.{k + 1}.tool"] = tool
        words.append(
            f'for "{task.name}" one such as "{tool}", which starts at'
            f" {figures['start_w']:g} W instead of {task.start_w:g} W"
        )
    text = f"A tool with a softer start: {and_list(words)}."
    return Ladder("softer-start", False, lambda _: change, lambda _: text) if change else None


def cordless(result: Budget) -> Ladder | None:
    """For each hand-held motor tool whose start or watts a limit turns away, a cordless one: packs
    are charged with as much energy as the corded tool asks."""
    change: Change = {}
    words = []
    figures = built_in("tools")[CORDLESS_PACK]
    for k in _tools_turned_away(result):
        task, tables = result.plan.task[k], result.plan.source["task"][k]
        if not _may_be_cordless(task):
            return None
        charges = math.ceil(task.repeat_wh * (task.repeats or 1) / figures["energy_wh"])
        first_s = min(burst.start_s for burst in result.bursts_by_task[k])
        table = {key: tables[key] for key in KEPT_OF_TASK if key in tables}
        table |= {risk: True for risk in RISKS if risk != "hand_held" and getattr(task, risk)}
        table |= {"tool": CORDLESS_PACK, "name": task.name, "charges": charges}
        table["between"] = [f"{result.local(first_s):%H:%M}", f"{LATEST_H}:00"]
        change |= {f"task.{k + 1}.{key}": None for key in tables if key not in table}
        change |= {f"task.{k + 1}.{key}": value for key, value in table.items()}
        packs = "one pack" if charges == 1 else f"{charges} packs"
        words.append(f'do "{task.name}" with one, and charge {packs} of 18 V 5 Ah for it')
    text = f"A cordless tool: {and_list(words)}."
    return Ladder("cordless", False, lambda _: change, lambda _: text) if change else None


def _tools_turned_away(result: Budget) -> list[int]:
    """The tasks on the mains that the inverter, its surge or the pack's watts turn away."""
    tasks = {o.burst.task for o in result.overloads if o.limit in OF_THE_START}
    return sorted(k for k in tasks if result.plan.task[k].supply == "ac")


def _softest(task: Task, tool: str | None) -> str | None:
    """The built-in tool that does the same job and draws least when it starts; None without one
    that draws less than the task's own."""
    tools = built_in("tools")
    mine = tools.get(tool or "", {"name": task.name, "group": task.group, "supply": task.supply})
    same = [
        (float(figures["start_w"]), name)
        for name, figures in tools.items()
        if name != tool and figures.get("start_w", math.inf) < task.start_w
        if _does_the_job(mine, figures)
    ]
    return min(same)[1] if same else None


def _does_the_job(mine: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Whether another tool does what one does: the same thing by name, of the same group, and of
    its size or somewhat larger.

    >>> grinder = {"name": "angle grinder, 125 mm", "group": "cutting", "supply": "ac"}
    >>> _does_the_job(grinder, grinder | {"name": "angle grinder, 125 mm, soft start"})
    True
    >>> _does_the_job(grinder | {"name": "angle grinder, 230 mm"}, grinder)
    False
    """
    what, size = _what_and_size(mine["name"])
    other_what, other_size = _what_and_size(other["name"])
    alike = what == other_what and mine["supply"] == other["supply"]
    alike &= mine.get("group", "") in ("", other.get("group"))
    return alike and (size is None or 1.0 <= (other_size or 0.0) / size <= MOST_LARGER)


def _what_and_size(name: str) -> tuple[str, float | None]:
    """What a tool is by its name, and its millimetres."""
    size = re.search(r"(\d+) mm", name)
    return name.split(",")[0].strip().lower(), float(size[1]) if size else None


def _may_be_cordless(task: Task) -> bool:
    """Whether a cordless tool could stand in for a corded one."""
    motor = task.rotating or task.group in CORDLESS_GROUPS
    counted = task.repeat_s if task.repeats else task.duration_s
    return task.hand_held and motor and task.peak_w <= MOST_CORDLESS_W and counted is not None


# --- another inverter or pack -------------------------------------------------------------------


def stronger_pack(result: Budget, is_enough: Callable[[Change], bool]) -> Ladder | None:
    """The smallest listed pack, else the smallest built-in one, that bears what is turned away and
    lasts; where none lasts, the largest that bears it."""
    if not [overload for overload in result.overloads if overload.limit != "inverter-off"]:
        return None
    every = [*_listed(result.plan), *_built_in(result.plan)]
    packs = [pack for pack in every if _bears(result, pack[0])][:PACKS]
    if not packs:
        return None
    lasting = (pack for pack in packs if is_enough(pack[0]))
    change, text = next(lasting, packs[-1])
    return Ladder("stronger-pack", False, lambda _: change, lambda _: text)


def _bears(result: Budget, change: Change) -> bool:
    """Whether the limits of another pack turn nothing away."""
    with suppress(PlanError):
        limits = limits_of(result.plan.replace(**change), result.calendar)
        placed = result.placed
        return all_fit(result.time_s, placed.bursts, result.plan.task, limits, placed.begun)
    return False


def _listed(plan: Plan) -> list[tuple[Change, str]]:
    """The packs of the plan's own list of what may be bought, the smallest first; none where the
    list cannot be read, which `size` says."""
    if plan.size is None or plan.size.candidates is None:
        return []
    try:
        listed = read_candidates(plan.size.candidates)
    except PlanError:
        return []
    packs = sorted(
        (candidate for candidate in listed if candidate.kind == "pack"),
        key=lambda pack: pack.capacity_wh or 0.0,
    )
    changes = [pack.change for pack in joined(plan, [((pack, 1),) for pack in packs])]
    return [
        (change, f'The pack "{pack.name}" of your list, {_figures(plan.replace(**change))}.')
        for pack, change in zip(packs, changes, strict=True)
    ]


def _built_in(plan: Plan) -> list[tuple[Change, str]]:
    """The built-in packs in place of a plan's own, the smallest first, started as that is."""
    own = plan.source["pack"]
    dropped: Change = {f"pack.{key}": None for key in own if key not in KEPT_OF_PACK}
    packs = []
    for name in built_in("packs"):
        change = {**dropped, "pack.profile": name}
        if own.get("profile") != name:
            packs.append((plan.replace(**change), name, change))
    packs.sort(key=lambda pack: pack[0].pack.capacity_wh)
    return [
        (change, f'A pack such as "{name}", {_figures(other)}.') for other, name, change in packs
    ]


def _figures(plan: Plan) -> str:
    """What a plan's pack holds and what its inverter bears, in words."""
    pack, inverter = plan.pack, plan.pack.inverter
    words = f"{pack.capacity_wh:.0f} Wh"
    if inverter is None:
        return words
    rated, surge = inverter.rated_w, inverter.surge_w
    return f"{words}, its inverter {rated:.0f} W with a surge of {surge:.0f} W"


def stronger_inverter(result: Budget) -> Ladder | None:
    """One that bears what is turned away: its rating and its surge, in whole hundreds."""
    plan, too_weak = result.plan, _too_weak(result.overloads)
    if plan.pack.inverter is None or not too_weak:
        return None
    change: Change = {}
    for _ in range(INVERTERS):  # beside what now runs, what ranks lower may ask for more
        change = _bearing(plan, too_weak)
        try:
            plan = result.plan.replace(**change)
        except PlanError:  # larger than any is made
            return None
        too_weak = _too_weak(_turned_away(result, limits_of(plan, result.calendar)))
        if not too_weak:
            break
    rated, surge = change.values()
    return Ladder(
        kind="stronger-inverter",
        free=False,
        change=lambda _: change,
        words=lambda _: f"An inverter of {rated:.0f} W that surges to {surge:.0f} W.",
    )


def _turned_away(result: Budget, limits: Limits) -> list[Overload]:
    """What other limits turn away of a plan's bursts."""
    tasks, placed, order = result.plan.task, result.placed, ranked(result.plan)
    return overloads(result.time_s, placed.bursts, tasks, order, limits, placed.begun)


def _too_weak(turned_away: Sequence[Overload]) -> list[Overload]:
    """What a stronger inverter would not turn away."""
    return [overload for overload in turned_away if overload.limit in ("inverter", "surge")]


def _bearing(plan: Plan, too_weak: Sequence[Overload]) -> Change:
    """The inverter that bears what this one turns away, each beside what it lets run; none surges
    to less than it is rated for."""
    inverter = plan.pack.inverter
    assert inverter is not None
    rated, surge = inverter.rated_w, inverter.surge_w
    for overload in too_weak:  # of its limits a overload names the first
        task = plan.task[overload.burst.task]
        runs_w = max(piece.working_w for piece in overload.burst.pieces)
        rated, surge = max(rated, runs_w / task.power_factor), max(surge, task.start_w)
        if overload.limit == "inverter":
            rated = max(rated, overload.asked)
        else:
            surge = max(surge, overload.asked)
    surge = max(surge, rated)
    rated, surge = (
        old if new <= old else math.ceil(new / 100.0) * 100.0
        for old, new in ((inverter.rated_w, rated), (inverter.surge_w, surge))
    )
    return {"pack.inverter.rated_w": rated, "pack.inverter.surge_w": surge}
