"""Random plans that cannot be done in full, and every way of doing them by the tests' own count.

A way is a list of [[task]] tables; what they serve is counted here, whether they hold is asked of
`budget`. All plans are invented.
"""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise, product
from zoneinfo import ZoneInfo

import numpy as np

from energy import Plan
from energy.simulation.budget import changed

MOST_WAYS = 600
AMOUNTS = ("times", "charges", "minutes")
WINDOWS = {
    "day": (("09:00", "12:00"), ("11:00", "14:00"), ("13:00", "18:00")),
    "two days": (("09:00", "12:00"), ("11:00", "14:00"), ("13:00", "18:00")),
    "overnight": (("19:00", "22:00"), ("20:00", "06:00"), ("22:00", "01:00")),
}
SUN_HOURS = [1.2, 1.9, 2.8, 3.6, 4.1, 4.4, 4.3, 3.9, 3.2, 2.3, 1.4, 1.0]
WEATHERS = (
    {"kind": "file", "file": "builtin:greensboro"},
    {"kind": "monthly", "sun_hours": SUN_HOURS, "temp_air_c": 12},
    {"kind": "climate"},
    {"kind": "sky", "sky": "broken", "temp_air_c": 9},
)


@dataclass(frozen=True)
class Where:
    """A place, its zone and the date on which plans begin there."""

    latitude_deg: float
    longitude_deg: float
    zone: str
    first: date

    def time_s(self, day: int, minutes: float) -> float:
        """A time of the clock on a day of the plan, from 1 [UTC s]; one that occurs twice is the
        first."""
        midnight = datetime.combine(self.first, datetime.min.time())
        clock = midnight + timedelta(days=day - 1, minutes=minutes)
        return clock.replace(tzinfo=ZoneInfo(self.zone)).timestamp()

    def clock(self, time_s: float) -> tuple[int, str]:
        """Day number and time of the clock at a moment."""
        local = datetime.fromtimestamp(time_s, ZoneInfo(self.zone))
        return (local.date() - self.first).days + 1, f"{local:%H:%M}"

    def once(self, time_s: float) -> bool:
        """Whether the clock's face means this moment, and not an earlier one of the same face."""
        local = datetime.fromtimestamp(time_s, ZoneInfo(self.zone))
        return local.fold == 0

    def span(self, kind: str) -> dict[str, str]:
        """From 08:00 to 20:00 of the same or the next day, or a night."""
        after = self.first + timedelta(days=kind != "day")
        opens, closes = ("18:00", "08:00") if kind == "overnight" else ("08:00", "20:00")
        return {"start": f"{self.first}T{opens}", "end": f"{after}T{closes}"}


HOME = Where(36.1, -79.95, "America/New_York", date(2026, 4, 10))


@dataclass(frozen=True)
class Way:
    """One way of doing a task: its share of the whole, its tables, and whether hands follow it in
    blocks."""

    share: float
    tables: tuple[dict, ...] = ()
    blocks: bool = False


@dataclass(frozen=True)
class Choice:
    """One way for each task: how much of each, what that serves at each priority, and the tables,
    with which of them hands follow in blocks."""

    shares: dict[str, float]
    served: tuple[float, ...]
    tables: tuple[dict, ...]
    blocks: tuple[bool, ...]


def random_plan(seed: int, scenarios: int | None = None, where: Where = HOME) -> Plan:
    """A plan of up to MOST_WAYS ways, with work for about twice what pack and sun can give.

    scenarios: how many weathers; left out: 7 to 31. Away from home by the sky alone.
    """
    random = np.random.default_rng(seed)
    kinds = WEATHERS if where == HOME else WEATHERS[3:]
    weather = dict(kinds[seed % len(kinds)], seed=int(random.integers(100)))
    weather["futures"] = scenarios or int(random.integers(7, 32))
    span = str(random.choice(["day", "day", "two days", "overnight"]))
    tasks = _tasks(random, span, where)
    hands = bool(random.random() < 0.3)
    return Plan.from_dict(
        {
            "place": {"latitude_deg": where.latitude_deg, "longitude_deg": where.longitude_deg,
                      "elevation_m": 270, "timezone": where.zone},
            "span": where.span(span),
            "weather": weather,
            "panel": [{"rated_w": int(random.choice([15, 40, 80]))}],
            "pack": _pack(random, sum(_asked_wh(task) for task in tasks)),
            "goal": {"chance_percent": int(random.choice([60, 75, 80, 90, 95, 99])),
                     "one_at_a_time": hands},
            "task": tasks,
        }
    )  # fmt: skip


def _pack(random: np.random.Generator, asked_wh: float) -> dict:
    pack = {
        "chemistry": str(random.choice(["lfp", "nmc", "agm", "flooded"], p=[0.4, 0.2, 0.2, 0.2])),
        "start_percent": int(random.integers(50, 101)),
        "reserve_percent": int(random.integers(10, 26)),
        "temperature": int(random.choice([20, 20, 5, -8])),
        "inverter": {
            "rated_w": 400,
            "on": str(random.choice(["with-tasks", "only-in-use", "always"])),
        },
        "discharge_max_w": 900,
    }
    usable = (pack["start_percent"] - pack["reserve_percent"]) / 100.0
    pack["capacity_wh"] = int(max(asked_wh * random.uniform(0.4, 0.9) / usable, 60))
    return pack


def _tasks(random: np.random.Generator, span: str, where: Where) -> list[dict]:
    tasks: list[dict] = []
    for k in range(int(random.integers(3, 8))):
        task = _task(random, span, k)
        if tasks and random.random() < 0.2:
            mate = tasks[-1]
            task |= {"with": mate["name"], "days": mate["days"], "must": mate["must"],
                     "priority": mate["priority"]}  # fmt: skip
        elif tasks and random.random() < 0.2:
            task |= {"after": tasks[-1]["name"], "days": tasks[-1]["days"]}
        if np.prod([len(ways(one, where)) for one in [*tasks, task]]) <= MOST_WAYS:
            tasks.append(task)  # all of them are tried one by one
    return tasks


def _task(random: np.random.Generator, span: str, k: int) -> dict:
    supply = str(random.choice(["ac", "ac", "dc12"]))
    watts = int(random.integers(4, 30)) * 10
    days = [1] if span != "two days" else [[1], [2], [1, 2]][int(random.integers(3))]
    task = {
        "name": f"task {k}",
        "supply": supply,
        "working_w": min(watts, 110) if supply == "dc12" else watts,
        "between": list(WINDOWS[span][int(random.integers(3))]),
        "days": days,
        "priority": int(random.integers(1, 4)),
        "value": float(random.choice([0.5, 1.0, 1.5, 2.0])),
        "must": bool(random.random() < 0.1),
        "hand_held": bool(random.random() < 0.5),
    }
    if supply == "ac" and random.random() < 0.06:
        task["start_w"] = 5000  # never starts: the inverter surges to 800 W
    match int(random.integers(6)):
        case 0:
            task |= {"times": int(random.integers(1, 4)), "each_min": 15}
        case 1:
            task |= {"times": int(random.integers(1, 4)), "each_min": 20, "flexible": True}
        case 2:
            task |= {"minutes": 40, "flexible": bool(random.random() < 0.3)}
        case 3:
            task |= {"kind": "charging", "energy_wh": watts / 4, "power_w": task["working_w"],
                     "charges": int(random.integers(1, 3))}  # fmt: skip
            del task["working_w"]
        case 4:
            task |= {"at": task.pop("between")[0], "times": 2, "each_min": 12, "pause_s": 60}
        case _:
            pass  # on all through its window
    if len(days) > 1 and task.get("flexible"):
        task["days"] = days[:1]
    return task


def _asked_wh(task: dict) -> float:
    hours = minutes_of(task, task.get("times") or task.get("charges") or 1) / 60.0
    watts = task.get("working_w") or task["power_w"]
    return watts * hours * len(task["days"]) / 0.9


def minutes_of(task: dict, count: int) -> float:
    """How long so many repeats work, or the block."""
    if "each_min" in task:
        return float(task["each_min"] * count)
    if "charges" in task:
        return count * 72.0 * task["energy_wh"] / task["power_w"]  # 80 % at full power, then half
    return float(task.get("minutes") or window_minutes(task["between"]))


def window_minutes(between: list[str]) -> float:
    """Minutes from one time of the day to the next other."""
    opens, closes = (60 * int(t[:2]) + int(t[3:]) for t in between)
    return float((closes - opens) % 1440)


# --- every way ----------------------------------------------------------------------------------


def ways(task: dict, where: Where) -> list[Way]:
    """Every way of doing a task, day by day; where hands follow it, at whole hours, in at most two
    blocks."""
    whole = "with" in task or task.get("must")
    by_day = [[Way(0.0), *_some(task, day, where)] for day in task["days"]]
    found = [
        Way(
            sum(way.share for way in several) / len(several),
            tuple(table for way in several for table in way.tables),
            any(way.blocks for way in several),
        )
        for several in product(*by_day)
    ]
    return [way for way in found if not whole or way.share in (0.0, 1.0)]


def _some(task: dict, day: int, where: Where) -> list[Way]:
    base = {key: value for key, value in task.items() if key not in (*AMOUNTS, "flexible")}
    base["days"] = [day]
    unit = next((key for key in AMOUNTS if key in task), None)
    if unit is None:
        return [Way(1.0, (base,))]
    levels = 4 if unit == "minutes" else task[unit]
    step = task[unit] // levels
    found = [Way(n / levels, (base | {unit: step * n},)) for n in range(1, levels + 1)]
    if task.get("flexible"):
        found += _moved(task, base, (unit, levels, step), day, where)
    return found


def _moved(
    task: dict, base: dict, amount: tuple[str, int, int], day: int, where: Where
) -> list[Way]:
    """In one block or two, begun at whole hours."""
    unit, levels, step = amount
    free = {key: value for key, value in base.items() if key != "between"}
    opens = 60 * int(task["between"][0][:2])
    opens_s = where.time_s(day, opens)
    closes_s = where.time_s(day, opens + window_minutes(task["between"]))
    each_s = 60.0 * (step if unit == "minutes" else minutes_of(task, 1))
    pause_s = 0
    if unit != "minutes":
        pause_s = int(min(max((closes_s - opens_s) / levels - each_s, 0.0), 120.0))
    starts = [t for t in np.arange(opens_s, closes_s, 3600.0) if where.once(t)]

    def block(start_s: float, n: int) -> dict:
        number, clock = where.clock(start_s)
        pause = {"pause_s": pause_s} if n > 1 and pause_s else {}
        return free | {"days": [number], "at": clock, unit: step * n} | pause

    def ends_s(start_s: float, n: int) -> float:
        return start_s + n * each_s + (n - 1) * pause_s

    found = []
    for n in range(1, levels + 1):
        share = n / levels
        found += [Way(share, (block(t, n),), True) for t in starts if ends_s(t, n) <= closes_s]
        found += [
            Way(share, (block(t, first), block(later, n - first)), True)
            for first in range(1, n)
            for t in starts
            for later in starts
            if ends_s(t, first) < later and ends_s(later, n - first) <= closes_s
        ]
    return found


def choices(plan: Plan, where: Where = HOME) -> list[Choice]:
    """Every choice of a plan, best first: what must run in all of them, groups whole or not at
    all, nothing without what it waits for."""
    tasks = plan.source["task"]
    names = [task["name"] for task in tasks]
    found = []
    for several in product(*(ways(task, where) for task in tasks)):
        shares = dict(zip(names, (way.share for way in several), strict=True))
        if all(_may(task, shares) for task in tasks) and any(shares.values()):
            blocks = tuple(way.blocks for way in several for _ in way.tables)
            tables = tuple(table for way in several for table in way.tables)
            found.append(Choice(shares, served_by(plan, shares), tables, blocks))
    return sorted(found, key=lambda one: one.served, reverse=True)


def _may(task: dict, shares: dict[str, float]) -> bool:
    share = shares[task["name"]]
    if task.get("must") and share < 1.0:
        return False
    if "with" in task and shares[task["with"]] != share:
        return False
    return not (share and "after" in task and not shares[task["after"]])


def served_by(plan: Plan, shares: dict[str, float]) -> tuple[float, ...]:
    """Value times share at each priority, the first one first."""
    found = dict.fromkeys(sorted({task.priority for task in plan.task}), 0.0)
    for task in plan.task:
        found[task.priority] += task.value * shares.get(task.name, 0.0)
    return tuple(round(value, 6) for value in found.values())


# --- what must hold -----------------------------------------------------------------------------


def hopeless(whole, choice: Choice) -> bool:
    """Whether in more scenarios than may fail the tasks ask more than pack and sun hold in all,
    whatever is lost on the way: no need to ask `budget`."""
    found = whole.low_end
    case, pack = found.case, found.plan.pack
    hours = np.diff(found.time_s) / 3600.0
    lit = case.solar_row >= 0
    gives = (case.solar_w[case.solar_row[lit]] * hours[lit, None]).sum(axis=0)
    gives += found.capacity_wh * (pack.start_percent - pack.reserve_percent) / 100.0
    share = np.array([choice.shares[task.name] for task in found.plan.task])
    asks = ((share * found.asked_wh)[:, None] * case.factor).sum(axis=0)
    return bool((asks > gives + 1e-6).sum() > found.may_fail)


def holds(whole, choice: Choice) -> bool:
    """Whether `budget` says yes to a choice, and hands and order can follow it."""
    change = {"task": list(choice.tables)}
    if hopeless(whole, choice):
        return False
    if not changed(whole.low_end.alone, change).yes:  # quicker, and never stricter
        return False
    found = changed(whole, change)
    moved = {k for k, blocks in enumerate(choice.blocks) if blocks}
    return found.yes and hands_follow(found, moved) and in_order(found)


def hands_follow(found, moved=frozenset()) -> bool:
    """Whether no two hand-held bursts overlap, nor lies one inside a block of another task."""
    if not found.plan.goal.one_at_a_time:
        return True
    spells = []
    for k, task in enumerate(found.plan.task):
        mine = [(b.start_s, b.end_s) for b in found.bursts if b.task == k and task.hand_held]
        if mine and k in moved:
            mine = [(min(start for start, _ in mine), max(end for _, end in mine))]
        spells += mine
    return all(before[1] <= after[0] + 1e-3 for before, after in pairwise(sorted(spells)))


def in_order(found) -> bool:
    """Whether each day of a task with `after` begins when the other is done: on that day, or on the
    last day before on which it is done at all."""
    spells: dict[str, dict] = {}
    for burst in found.bursts:
        task = found.plan.task[burst.task]
        day = (task.days or (burst.window,))[0]
        start, end = spells.setdefault(task.name, {}).get(day, (burst.start_s, burst.end_s))
        spells[task.name][day] = min(start, burst.start_s), max(end, burst.end_s)
    for task in found.plan.task:
        if task.after is None or task.name not in spells:
            continue
        done = spells.get(task.after, {})
        for day, (start, _) in spells[task.name].items():
            before = [d for d in done if d <= day]
            if not before or done[max(before)][1] > start + 1e-3:
                return False
    return True


DAY = "2026-04-10"


def plan(tasks, pack=None, goal=80.0, **tables):
    start, end = f"{DAY}T08:00", f"{DAY}T20:00"
    return Plan.from_dict(
        {
            "place": {"latitude_deg": 36.1, "longitude_deg": -79.95, "elevation_m": 270,
                      "timezone": "America/New_York"},
            "span": {"start": start, "end": end},
            "weather": {"kind": "file", "file": "builtin:greensboro", "futures": 7},
            "panel": [{"rated_w": 60}],
            "pack": {"capacity_wh": 300, "reserve_percent": 20, "temperature": 20,
                     "inverter": {"rated_w": 600}} | (pack or {}),
            "goal": {"chance_percent": goal},
            "task": tasks,
        } | tables
    )  # fmt: skip


ENOUGH = {"capacity_wh": 2000, "idle_w": 0, "temperature": 25, "inverter": {"rated_w": 600}}


def pack_alone(*tasks, pack=None, days=1, goal=90, **tables):
    """A pack without a panel, from 08:00 to 20:00 of the last of so many days."""
    return Plan.from_dict(
        {
            "place": {"latitude_deg": 36.1, "longitude_deg": -79.95, "elevation_m": 270,
                      "timezone": "America/New_York"},
            "span": {"start": "2026-04-10T08:00", "end": f"2026-04-{9 + days:02d}T20:00"},
            "weather": {"kind": "clear"},
            "pack": ENOUGH | (pack or {}),
            "goal": {"chance_percent": goal},
            "task": list(tasks),
        } | tables
    )  # fmt: skip
