"""What the keys of a plan must say together, looked for in its merged tables.

Each check reads only what it needs and lets wrong types pass, which the models report; so all
problems of a plan are found at once. What only the sun's times decide is left to the simulation.
"""

from collections.abc import Iterator
from datetime import datetime, timedelta
from graphlib import CycleError, TopologicalSorter
from itertools import pairwise
from typing import Any

from energy.plan.kit import LITHIUM, number
from energy.plan.messages import Path, Problem
from energy.plan.moments import DAY_MIN, Window, clock_minutes, moment, window
from energy.plan.schema import local_time
from energy.plan.task import AMOUNTS, charge_s
from energy.plan.words import meant, shown

Table = dict[str, Any]
MOST_DAYS = 400
MOST_STARTS = 200_000  # bursts and cycles of all tasks together; what the simulation can lay out
NEEDS = {
    "steady": ("working_w",),
    "intermittent": ("working_w",),
    "cycling": ("on_w", "duty_percent", "period_min"),
    "charging": ("energy_wh", "power_w"),
    "trace": ("trace",),
}
WEATHER_NEEDS = {"file": "file", "sky": "sky", "monthly": "sun_hours"}


def check(tables: Table, lacking: set[Path]) -> Iterator[Problem]:
    """Every problem that more than one key makes, in no order."""
    place, span, pack = _table(tables, "place"), _table(tables, "span"), _table(tables, "pack")
    if "albedo" in place and "ground" in place:
        yield Problem(("place",), "give albedo or ground, not both")
    start, end = _time(span.get("start")), _time(span.get("end"))
    yield from (Problem(("span",), text) for text in _span(start, end))
    dates = _dates(start, end)
    yield from (Problem(("weather",), t) for t in _weather(_table(tables, "weather"), dates))
    yield from _pack(pack)
    for k, panel in _items(tables, "panel"):
        yield from (Problem(("panel", k), text) for text in _panel(panel, pack))
    for k, charger in _items(tables, "charger"):
        yield from (Problem(("charger", k), text) for text in _days(charger, dates))
    yield from _relations(_items(tables, "task"))
    starts = 0.0
    for k, task in _items(tables, "task"):
        needs = () if ("task", k) in lacking else _needs(task)
        problems = (*needs, *_amount(task), *_fits(task), *_starts_again(task), *_days(task, dates))
        yield from (Problem(("task", k), text) for text in problems)
        starts += _starts(task, dates or 1)
    if starts > MOST_STARTS:
        yield Problem(
            (),
            f"the tasks start {starts:,.0f} times; at most {MOST_STARTS:,} are possible",
        )
    for k, run in _items(tables, "run"):
        yield from (Problem(("run", k), text) for text in _run(run, tables))


def _table(tables: Table, key: str) -> Table:
    found = tables.get(key)
    return found if isinstance(found, dict) else {}


def _items(tables: Table, key: str) -> list[tuple[int, Table]]:
    found = tables.get(key)
    several = found if isinstance(found, list | tuple) else []
    return [(k, item) for k, item in enumerate(several) if isinstance(item, dict)]


def _has(table: Table, key: str) -> bool:
    return table.get(key) is not None


def _time(value: Any) -> datetime | None:
    try:
        return local_time(value)
    except ValueError:
        return None


def _span(start: datetime | None, end: datetime | None) -> Iterator[str]:
    if start is None or end is None:
        return
    if end <= start:
        yield f"end must come after start, {start} (got {end})"
    elif end - start < timedelta(seconds=1):
        yield f"must last a second or more (got {start} to {end})"
    elif end - start > timedelta(days=MOST_DAYS):
        yield f"must be {MOST_DAYS} days or shorter (got {(end - start).days} days)"


def _dates(start: datetime | None, end: datetime | None) -> int | None:
    """How many local dates the span touches, where that can be said."""
    if start is None or end is None or end <= start:
        return None
    last = (end - timedelta(seconds=1)).date()  # a span that ends at midnight ends that day
    return (last - start.date()).days + 1


def _weather(weather: Table, dates: int | None) -> Iterator[str]:
    kind, sky = weather.get("kind", "climate"), weather.get("sky")
    key = WEATHER_NEEDS.get(kind) if isinstance(kind, str) else None
    if key is not None and not _has(weather, key):
        yield f'kind = "{kind}" needs {key}'
    if dates is not None and isinstance(sky, list | tuple) and len(sky) > dates:
        yield f"sky must name at most {dates} dates, those of the span (got {len(sky)})"


def _pack(pack: Table) -> Iterator[Problem]:
    where: Path = ("pack",)
    if _has(pack, "capacity_ah"):
        if _has(pack, "capacity_wh"):
            yield Problem(where, "give capacity_wh, or capacity_ah with nominal_v, not both")
        elif not _has(pack, "nominal_v"):
            yield Problem(where, "capacity_ah needs nominal_v")
    if pack.get("chemistry", "lfp") in LITHIUM:
        for key in ("kinetic_c", "kinetic_k_per_h"):
            if _has(pack, key):
                yield Problem(where, f"{key} is for agm and flooded batteries only")
    elif _has(pack, "discharge_min_c"):
        yield Problem(where, "discharge_min_c is for lfp and nmc packs only")
    yield from (Problem(("pack", "solar_input"), text) for text in _solar_input(pack))
    inverter = _table(pack, "inverter")
    rated, surge = number(inverter.get("rated_w")), number(inverter.get("surge_w"))
    if rated is not None and surge is not None and surge < rated:
        yield Problem(
            ("pack", "inverter"), f"surge_w must be at least rated_w, {rated:g} (got {surge:g})"
        )


def _solar_input(pack: Table) -> Iterator[str]:
    charges = _has(_table(pack, "solar_input"), "charge_max_a")
    if _is_pwm(pack) and charges:
        yield "charge_max_a is for mppt: a pwm input passes the panels' amps on, give max_a"
    if (_is_pwm(pack) or charges) and not _has(pack, "nominal_v"):
        key = 'kind = "pwm"' if _is_pwm(pack) else "charge_max_a"
        yield f"{key} needs the pack's nominal_v"


def _is_pwm(pack: Table) -> bool:
    return _table(pack, "solar_input").get("kind") == "pwm"


def _panel(panel: Table, pack: Table) -> Iterator[str]:
    if panel.get("aim") == "re-aimed" and not panel.get("re_aim_at"):
        yield 'aim = "re-aimed" needs re_aim_at, such as ["09:00", "12:00"]'
    yield from _strings(panel, pack)
    v_oc, v_mp = number(panel.get("v_oc")), number(panel.get("v_mp", 18.0))
    if v_oc is not None and v_mp is not None and v_oc <= v_mp:
        default = "" if _has(panel, "v_mp") else " where it is left out"
        yield f"v_oc must be more than v_mp, {v_mp:g}{default} (got {v_oc:g})"
    yield from _coefficient(panel, v_oc)


def _strings(panel: Table, pack: Table) -> Iterator[str]:
    """Whether the panels can be joined as stated, and reach a PWM input's battery."""
    connection, count = _table(pack, "solar_input").get("connection"), panel.get("count", 1)
    if not isinstance(count, int):
        return
    in_series = 1 if connection == "parallel" else count
    if isinstance(connection, int) and connection > 0 and count > 1:
        in_series = connection
        if count % connection > 0:
            yield (
                f"count must be a multiple of the solar input's connection, {connection}"
                f" (got {count})"
            )
    volts, v_mp = number(pack.get("nominal_v")), number(panel.get("v_mp", 18.0))
    if _is_pwm(pack) and volts is not None and v_mp is not None and in_series * v_mp < volts:
        joined = f" with {in_series} in series" * (in_series > 1)
        yield (
            f"v_mp must be at least the pack's nominal_v, {volts:g}, for a PWM input (got {v_mp:g}"
            f"{joined})"
        )


# What temperature does to the open-circuit volts of silicon, percent a degree (common practice:
# -0.22 to -0.40); V/K of a usual panel lie closer to 0, mV/K far below.
STEEPEST, FLATTEST = -0.5, -0.15


def _coefficient(panel: Table, v_oc: float | None) -> Iterator[str]:
    key = "temp_coefficient_voc_percent_per_c"
    given = number(panel.get(key))
    if given is None or STEEPEST <= given <= FLATTEST:
        return
    size = abs(given)
    likely = {"as a share it would be": -100.0 * size}
    if v_oc is not None and v_oc > 0.0:
        likely[f"as mV/K of {v_oc:g} V it would be"] = -0.1 * size / v_oc
        likely[f"as V/K of {v_oc:g} V it would be"] = -100.0 * size / v_oc
    hints = [f"{words} {p:.2f}" for words, p in likely.items() if STEEPEST <= p <= FLATTEST]
    if STEEPEST <= -given <= FLATTEST:
        hints = ["datasheets print -0.30, the sign was lost"]
    elif not hints:
        hints = ["mV/K: divide by 10 and by v_oc; V/K: times 100, divided by v_oc"]
    yield (
        f"{key} must lie between {STEEPEST:g} and {FLATTEST:g}, percent of v_oc a degree"
        f" (got {given:g}); {hints[0]}"
    )


def _days(table: Table, dates: int | None) -> Iterator[str]:
    days = table.get("days")
    if not isinstance(days, list | tuple):
        return
    numbers = [day for day in days if isinstance(day, int) and not isinstance(day, bool)]
    beyond = [day for day in numbers if dates is not None and day > dates]
    if beyond:
        yield f"days must lie between 1 and {dates}, the days of the span (got {shown(beyond[0])})"
    if len(set(numbers)) < len(numbers):
        yield f"days must name each day once (got {shown(days)})"


def _kind(task: Table) -> str:
    kind = task.get("kind", "steady")
    return kind if isinstance(kind, str) else ""


def _needs(task: Table) -> Iterator[str]:
    kind = _kind(task)
    for key in NEEDS.get(kind, ()):
        if not _has(task, key):
            yield f'kind = "{kind}" needs {key}'


def _amount(task: Table) -> Iterator[str]:
    """How much is to be done must be said in one way, and in a way that suits the tool."""
    kind, said = _kind(task), [key for key in AMOUNTS if _has(task, key)]
    each = [key for key in ("each_s", "each_min") if _has(task, key)]
    if len(said) > 1:
        yield f"say how much in one way, not {' and '.join(said)}"
    if len(each) > 1:
        yield "give each_s or each_min, not both"
    if each and "times" not in said:
        yield f"{each[0]} needs times"
    if "times" in said and not each and kind != "trace":
        charges = "; for full charges give charges instead" if kind == "charging" else ""
        yield f"times needs each_s or each_min{charges}"
    if "charges" in said and kind in NEEDS and kind != "charging":
        yield f'charges is for a charging tool (this one is "{kind}")'
    counted = {"times", "charges"} & set(said) or (not said and kind in ("charging", "trace"))
    if _has(task, "pause_s") and not counted:
        yield "pause_s needs times or charges"
    if _has(task, "at") and _has(task, "between"):
        yield "give at or between, not both"
    if _has(task, "at") and not said and kind != "charging":
        yield "at needs to know how long: minutes, hours, or times with each_s or each_min"


def _relations(tasks: list[tuple[int, Table]]) -> Iterator[Problem]:
    """What is wrong with the tasks that others name by `with` and `after`."""
    by_name: dict[str, list[Table]] = {}
    for _, task in tasks:
        if isinstance(name := task.get("name"), str):
            by_name.setdefault(name, []).append(task)
    for k, task in tasks:
        for key in ("with", "after"):
            if isinstance(task.get(key), str):
                yield from (Problem(("task", k), text) for text in _named(task, key, by_name))
    yield from _circle(tasks)


def _named(task: Table, key: str, by_name: dict[str, list[Table]]) -> Iterator[str]:
    other = task[key]
    if other == task.get("name"):
        yield f"{key} names the task itself"
    elif other not in by_name:
        yield f"{key} names no task of the plan (got {shown(other)}){meant(other, by_name)}"
    elif key == "with":
        unlike = [_rank(one) for one in by_name[other] if _rank(one) != _rank(task)]
        if unlike:
            yield (
                f"with = {shown(other)} needs the same must and priority of both:"
                f" {shown(other)} has {unlike[0]}, {shown(task.get('name'))} {_rank(task)}"
            )


def _rank(task: Table) -> str:
    must, priority = task.get("must", False), task.get("priority", 2)
    return f"must = {shown(must)} and priority = {shown(priority)}"


def _circle(tasks: list[tuple[int, Table]]) -> Iterator[Problem]:
    """Tasks that wait for one another: one circle, told at the first of them."""
    number: dict[str, int] = {}
    waits: dict[str, list[str]] = {}
    for k, task in tasks:
        name, other = task.get("name"), task.get("after")
        if isinstance(name, str) and isinstance(other, str) and name != other:
            number.setdefault(name, k)
            waits.setdefault(name, []).append(other)
    try:
        TopologicalSorter(waits).prepare()
    except CycleError as error:
        around = error.args[1][:0:-1]  # each waits for the next
        first = min(range(len(around)), key=lambda i: number[around[i]])
        told = [*around[first:], *around[: first + 1]]
        yield Problem(
            ("task", number[told[0]]),
            f"after goes round in a circle: {' after '.join(shown(name) for name in told)}",
        )


def _window_minutes(task: Table) -> float | None:
    """Length of the task's window by the clock; None where there is none, or the sun decides."""
    if _has(task, "at"):
        return None
    try:
        between: Window | None = window(task.get("between"))
    except ValueError:
        return None
    return clock_minutes(between)


def _repeats(task: Table) -> tuple[float, float] | None:
    """How often and how long each [s], for a task that is counted; None for a block."""
    if _has(task, "minutes") or _has(task, "hours"):
        return None
    times, each_s = number(task.get("times")), number(task.get("each_s"))
    if each_s is None and (each_min := number(task.get("each_min"))) is not None:
        each_s = each_min * 60.0
    if _kind(task) == "charging" and times is None:
        times = number(task.get("charges", 1))
        energy, power = number(task.get("energy_wh")), number(task.get("power_w"))
        taper = number(task.get("taper_from_percent", 80.0))
        if energy is not None and power is not None and taper is not None and power > 0.0:
            each_s = charge_s(energy, power, taper)
    trace = task.get("trace")
    if _kind(task) == "trace" and each_s is None and isinstance(trace, tuple):
        each_s = trace[-1][0] - trace[0][0]
    return None if times is None or each_s is None else (times, each_s)


def _fits(task: Table) -> Iterator[str]:
    minutes, repeats = _window_minutes(task), _repeats(task)
    if minutes is None or repeats is None:
        return
    times, each_s = repeats
    if times >= 1.0 and times * each_s > minutes * 60.0 + 1e-6:
        what = "charges" if _kind(task) == "charging" and not _has(task, "times") else "times"
        yield (
            f"{times:g} {what} of {_duration(each_s)} do not fit into the window of"
            f" {_duration(60.0 * minutes)}"
        )


def _starts_again(task: Table) -> Iterator[str]:
    """What begins at a time of the clock must be over when it begins again on another day."""
    days = task.get("days")
    if isinstance(days, list | tuple):
        numbers = sorted({day for day in days if isinstance(day, int)})
        gap = min((b - a for a, b in pairwise(numbers)), default=None)
    else:
        gap = 1
    try:
        anchor, _ = moment(task.get("at"))
    except ValueError:
        return
    repeats = _repeats(task)
    lasts_s = _block_s(task)
    if repeats is not None:
        pauses = max(repeats[0] - 1, 0) * (number(task.get("pause_s")) or 0.0)
        lasts_s = repeats[0] * repeats[1] + pauses
    if gap is None or anchor != "clock" or lasts_s is None:
        return
    if lasts_s > gap * DAY_MIN * 60.0 + 1e-6:
        yield (
            f"{_duration(lasts_s)} from {task['at']} are not over when it"
            f" starts again {24 * gap} h later: give at most {24 * gap} h, or one day, such as"
            " days = [1]"
        )


def _duration(seconds: float) -> str:
    for unit, size in (("h", 3600.0), ("min", 60.0)):
        if seconds >= size:
            return f"{seconds / size:.4g} {unit}"
    return f"{seconds:.4g} s"


def _starts(task: Table, dates: int) -> float:
    """How often a task starts in the span, at most."""
    days = task.get("days")
    windows = len(days) if isinstance(days, list | tuple) else dates + 1
    repeats = _repeats(task)
    starts, each_s = repeats or (1.0, 60.0 * (_window_minutes(task) or DAY_MIN))
    period_min = number(task.get("period_min"))
    if _kind(task) == "cycling" and period_min is not None and period_min > 0.0:
        if repeats is None:
            each_s = _block_s(task) or each_s
        starts *= max(1.0, each_s / (60.0 * period_min))
    return starts * windows


def _block_s(task: Table) -> float | None:
    minutes, hours = number(task.get("minutes")), number(task.get("hours"))
    if hours is not None:
        return 3600.0 * hours
    return None if minutes is None else 60.0 * minutes


def _run(run: Table, tables: Table) -> Iterator[str]:
    pack = _table(tables, "pack")
    supplies = {
        f"task:{task['name']}": task.get("supply")
        for _, task in _items(tables, "task")
        if isinstance(task.get("name"), str)
    }
    ends = [(key, run[key]) for key in ("from", "to") if isinstance(run.get(key), str)]
    joined = {end for _, end in ends}
    stated = _has(run, "volts") and (_has(run, "amps") or _has(run, "watts"))
    for key, end in ends:
        if end.startswith("task:") and end not in supplies:
            yield f"{key} names no task of the plan (got {shown(end)}){meant(end, supplies)}"
        if end == "panel" and not tables.get("panel"):
            yield f'{key} = "panel", but the plan has no panel'
        if end == "inverter" and not stated:
            yield from _to_inverter(key, joined, run, pack)
    if _has(run, "amps") and _has(run, "watts"):
        yield "give amps or watts, not both"
    on_dc = [end for _, end in ends if supplies.get(end) in ("dc12", "usb")]
    if on_dc and "inverter" in joined:
        yield f"{shown(on_dc[0])} runs on {supplies[on_dc[0]]}, not on the inverter: name the pack"
    known = ("panel", "pack", "inverter")
    free = [end for _, end in ends if end not in known and not end.startswith("task:")]
    if free and not stated:
        yield (
            f"{shown(free[0])} is not panel, pack, inverter or task:NAME: give volts, with amps or"
            f" watts{meant(free[0], known)}"
        )


def _to_inverter(key: str, ends: set[str], run: Table, pack: Table) -> Iterator[str]:
    if not isinstance(pack.get("inverter"), dict):
        yield f'{key} = "inverter", but the pack has no [pack.inverter]'
    elif "pack" in ends and not _has(run, "volts") and not _has(pack, "nominal_v"):
        yield "pack to inverter needs the pack's nominal_v, or volts of the run"
