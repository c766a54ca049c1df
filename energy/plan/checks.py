"""What the keys of a plan must say together, looked for in its merged tables.

Each check reads only what it needs and lets wrong types pass, which the models report; so all
problems of a plan are found at once. The tasks' keys are for `task_checks`; what only the sun's
times decide is left to the simulation.
"""

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from typing import Any

from energy.plan.fields import number
from energy.plan.kit import LITHIUM, Pack, Panel
from energy.plan.messages import Path, Problem
from energy.plan.profiles import Table
from energy.plan.raw_tables import has, items, stated, table_at
from energy.plan.schema import Weather, local_time
from energy.plan.task_checks import check_tasks, days
from energy.plan.words import meant, nearest_of, shown

MOST_DAYS = 400
WEATHER_NEEDS = {"file": "file", "sky": "sky", "monthly": "sun_hours"}


def check(tables: Table, lacking: set[Path]) -> Iterator[Problem]:
    """Every problem that more than one key makes, in no order."""
    place, span, pack = (table_at(tables, key) for key in ("place", "span", "pack"))
    if "albedo" in place and "ground" in place:
        yield Problem(("place",), "give albedo or ground, not both")
    start, end = _time(span.get("start")), _time(span.get("end"))
    yield from (Problem(("span",), text) for text in _span(start, end))
    dates = _dates(start, end)
    yield from (Problem(("weather",), t) for t in _weather(table_at(tables, "weather"), dates))
    yield from _pack(pack)
    for k, panel in items(tables, "panel"):
        yield from (Problem(("panel", k), text) for text in _panel(panel, pack))
    for k, charger in items(tables, "charger"):
        yield from (Problem(("charger", k), text) for text in days(charger, dates))
    yield from check_tasks(items(tables, "task"), dates, lacking)
    supplies = {
        f"task:{task['name']}": task.get("supply")
        for _, task in items(tables, "task")
        if isinstance(task.get("name"), str)
    }
    guess = nearest_of(supplies)
    for k, run in items(tables, "run"):
        yield from (Problem(("run", k), text) for text in _run(run, tables, supplies, guess))


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
    kind, sky = stated(weather, "kind", Weather), weather.get("sky")
    key = WEATHER_NEEDS.get(kind) if isinstance(kind, str) else None
    if key is not None and not has(weather, key):
        yield f'kind = "{kind}" needs {key}'
    if dates is not None and isinstance(sky, list | tuple) and len(sky) > dates:
        yield f"sky must name at most {dates} dates, those of the span (got {len(sky)})"


def _pack(pack: Table) -> Iterator[Problem]:
    where: Path = ("pack",)
    if has(pack, "capacity_ah"):
        if has(pack, "capacity_wh"):
            yield Problem(where, "give capacity_wh, or capacity_ah with nominal_v, not both")
        elif not has(pack, "nominal_v"):
            yield Problem(where, "capacity_ah needs nominal_v")
    if stated(pack, "chemistry", Pack) in LITHIUM:
        for key in ("kinetic_c", "kinetic_k_per_h"):
            if has(pack, key):
                yield Problem(where, f"{key} is for agm and flooded batteries only")
    elif has(pack, "discharge_min_c"):
        yield Problem(where, "discharge_min_c is for lfp and nmc packs only")
    yield from (Problem(("pack", "solar_input"), text) for text in _solar_input(pack))
    inverter = table_at(pack, "inverter")
    rated, surge = number(inverter.get("rated_w")), number(inverter.get("surge_w"))
    if rated is not None and surge is not None and surge < rated:
        yield Problem(
            ("pack", "inverter"), f"surge_w must be at least rated_w, {rated:g} (got {surge:g})"
        )


def _solar_input(pack: Table) -> Iterator[str]:
    charges = has(table_at(pack, "solar_input"), "charge_max_a")
    if _is_pwm(pack) and charges:
        yield "charge_max_a is for mppt: a pwm input passes the panels' amps on, give max_a"
    if (_is_pwm(pack) or charges) and not has(pack, "nominal_v"):
        key = 'kind = "pwm"' if _is_pwm(pack) else "charge_max_a"
        yield f"{key} needs the pack's nominal_v"


def _is_pwm(pack: Table) -> bool:
    return table_at(pack, "solar_input").get("kind") == "pwm"


def _panel(panel: Table, pack: Table) -> Iterator[str]:
    if panel.get("aim") == "re-aimed" and not panel.get("re_aim_at"):
        yield 'aim = "re-aimed" needs re_aim_at, such as ["09:00", "12:00"]'
    yield from _strings(panel, pack)
    v_oc, v_mp = number(panel.get("v_oc")), number(stated(panel, "v_mp", Panel))
    if v_oc is not None and v_mp is not None and v_oc <= v_mp:
        default = "" if has(panel, "v_mp") else " where it is left out"
        yield f"v_oc must be more than v_mp, {v_mp:g}{default} (got {v_oc:g})"
    yield from _coefficient(panel, v_oc)


def _strings(panel: Table, pack: Table) -> Iterator[str]:
    """Whether the panels can be joined as stated, and reach a PWM input's battery."""
    connection, count = (
        table_at(pack, "solar_input").get("connection"),
        stated(panel, "count", Panel),
    )
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
    volts, v_mp = number(pack.get("nominal_v")), number(stated(panel, "v_mp", Panel))
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


def _run(
    run: Table, tables: Table, supplies: dict[str, Any], guess: Callable[[str], str]
) -> Iterator[str]:
    """What is wrong with a cable; supplies: that of each end task:NAME, guess: which was meant."""
    pack = table_at(tables, "pack")
    joins = [(key, run[key]) for key in ("from", "to") if isinstance(run.get(key), str)]
    joined = {end for _, end in joins}
    own_figures = has(run, "volts") and (has(run, "amps") or has(run, "watts"))
    for key, end in joins:
        if end.startswith("task:") and end not in supplies:
            yield f"{key} names no task of the plan (got {shown(end)}){guess(end)}"
        if end == "panel" and not tables.get("panel"):
            yield f'{key} = "panel", but the plan has no panel'
        if end == "inverter" and not own_figures:
            yield from _to_inverter(key, joined, run, pack)
    if has(run, "amps") and has(run, "watts"):
        yield "give amps or watts, not both"
    on_dc = [end for _, end in joins if supplies.get(end) in ("dc12", "usb")]
    if on_dc and "inverter" in joined:
        yield f"{shown(on_dc[0])} runs on {supplies[on_dc[0]]}, not on the inverter: name the pack"
    names = ("panel", "pack", "inverter")
    free = [end for _, end in joins if end not in names and not end.startswith("task:")]
    if free and not own_figures:
        yield (
            f"{shown(free[0])} is not panel, pack, inverter or task:NAME: give volts, with amps or"
            f" watts{meant(free[0], names)}"
        )


def _to_inverter(key: str, ends: set[str], run: Table, pack: Table) -> Iterator[str]:
    if not isinstance(pack.get("inverter"), dict):
        yield f'{key} = "inverter", but the pack has no [pack.inverter]'
    elif "pack" in ends and not has(run, "volts") and not has(pack, "nominal_v"):
        yield "pack to inverter needs the pack's nominal_v, or volts of the run"
