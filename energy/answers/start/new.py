"""A plan to start from: a built-in demo moved to another place, or a few questions answered.

The answer is TOML text; whoever asks decides where it goes.
"""

import re
from collections.abc import Callable
from datetime import datetime
from functools import partial
from typing import Any, get_args

from energy.answers.start.asking import Ask, one_of
from energy.plan import Plan, PlanError, profiles
from energy.plan.dates import start_date, starting
from energy.plan.documents import parse
from energy.plan.moments import window
from energy.plan.percent import percent_of
from energy.plan.places import at_sea, place_of, zone_at
from energy.plan.raw_tables import stated
from energy.plan.schema import Around
from energy.plan.skies import SKIES
from energy.plan.task import Task
from energy.plan.tool_words import which
from energy.plan.words import shown
from energy.plan.write import built_in_text, write_changes
from energy.weather.synthetic.climate import has_climate

AROUND: tuple[str, ...] = get_args(Around)


def from_demo(
    demo: str = "cloudy-repair",
    at: str | None = None,
    date: str | None = None,
    now: datetime | None = None,
) -> str:
    """A built-in demo's text with its comments, moved to another place and another start.

    at: the place, as `plan.places.place_of` reads it; None: the demo's own.
    date: when it starts, as `plan.dates.start_date` reads it; None: the demo's own.
    now: the time, with its offset, by which a date is today or tomorrow.

    Time zone and elevation are looked up. A demo's weather file is of its own place, so a plan
    that moves away from it rests on the climate table, or on a stated sky where that has no data.
    Raises PlanError.

    >>> 'latitude_deg = 55.317' in from_demo()
    True
    """
    plan = Plan.read(f"builtin:{demo}")
    changes = {} if at is None else _elsewhere(plan, *on_land(at))
    if date is not None and now is not None:
        zone = changes.get("place.timezone", plan.place.timezone)
        moved = starting(plan, start_date(date, now, zone))
        if moved["span.start"] != plan.span.start:
            changes = {"title": f"My plan, after {demo}"} | changes | moved
    text = built_in_text(f"builtin:{demo}")
    if changes.get("place.latitude_deg", plan.place.latitude_deg) < 0.0:
        text = text.replace('# facing = "S"', '# facing = "N"')
    return _aligned(write_changes(text, changes), text)


def _elsewhere(plan: Plan, latitude: float, longitude: float) -> dict[str, Any]:
    """Changes to a demo that move it to a place."""
    changes: dict[str, Any] = {
        "title": f"My plan at {latitude:g}, {longitude:g}",
        "place.latitude_deg": latitude,
        "place.longitude_deg": longitude,
        "place.timezone": zone_at(latitude, longitude),
        "place.elevation_m": elevation_at(latitude, longitude),
    }
    for number, panel in enumerate(plan.source.get("panel", []), start=1):
        if "facing" in panel:
            changes[f"panel.{number}.facing"] = None  # left out: towards the equator
    old = plan.place
    if abs(old.latitude_deg - latitude) > 0.5 or abs(old.longitude_deg - longitude) > 0.5:
        changes |= {
            "place.horizon": None,
            "weather.file": None,
            "weather.futures": None,
            "weather.kind": "climate" if has_climate(latitude, longitude) else "sky",
        }
        if not has_climate(latitude, longitude):
            changes["weather.sky"] = "broken"
    return changes


def on_land(text: str) -> tuple[float, float]:
    """Latitude and longitude of a place as a person writes it. Raises PlanError for what is none,
    and for open water.

    >>> on_land("60.4 N, 5.3 E")
    (60.4, 5.3)
    """
    latitude, longitude = place_of(text)
    if (line := at_sea(latitude, longitude)) is not None:
        raise PlanError([line])
    return latitude, longitude


def _aligned(text: str, before: str) -> str:
    """A changed text with each comment in the column where it stood before, if it fits.

    >>> _aligned("at = 47.05 # north", "at = 5       # north")
    'at = 47.05   # north'
    """
    column = {line[at:]: at for line in before.splitlines() if (at := line.find("# ")) > 0}
    lines = []
    for line in text.splitlines():
        at = line.find("# ")
        if at > 0 and line[at:] in column:
            line = f"{line[:at].rstrip():<{column[line[at:]] - 2}}  {line[at:]}"
        lines.append(line)
    return "\n".join(lines) + "\n" * text.endswith("\n")


def from_questions(ask: Ask, now: datetime, at: str | None = None, date: str | None = None) -> str:
    """A plan from a few questions (`Ask`), as TOML text.

    now: the time, with its offset. at: answers the first question, as `plan.places.place_of` reads
    it. date: the day that is offered, as `plan.dates.start_date` reads it; None: tomorrow. Raises
    PlanError for answers that together make no plan.
    """
    latitude, longitude = on_land(at) if at else ask("Where? Latitude, longitude", "", on_land)
    zone = zone_at(latitude, longitude)
    moment = partial(_moment, now=now, timezone=zone)
    day = start_date(date or "tomorrow", now, zone)
    start = ask("From when?", f"{day} 08:00", moment)
    end = ask("Until when?", f"{start[:10]} 20:00", partial(_later, start=start, reading=moment))
    around = ask(f"Where do you work? Of {', '.join(AROUND)}", "outdoors", _around)
    usual = ["usual"] if has_climate(latitude, longitude) else []
    skies = [*usual, *SKIES]
    sky = ask(f"What sky? {', '.join(skies)}", (usual or ["broken"])[0], partial(one_of, skies))
    kit = [*_asked_pack(ask), *_asked_panels(ask)]
    tasks: list[str] = []
    while tool := ask(_more(bool(tasks)), "", partial(_tool, any_yet=bool(tasks))):
        tasks.append(_asked_task(ask, tool))
    text = "\n".join(
        [
            f'title = "My plan at {latitude:g}, {longitude:g}"',
            "",
            "[place]",
            f"latitude_deg = {latitude:g}",
            f"longitude_deg = {longitude:g}",
            f'timezone = "{zone}"      # every time below is this clock',
            f"elevation_m = {elevation_at(latitude, longitude):g}",
            f"around = {around}      # {', '.join(AROUND)}",
            "",
            "[span]",
            f"start = {start}",
            f"end = {end}",
            "",
            *_weather(sky),
            *kit,
            *tasks,
        ]
    )
    Plan.from_dict(parse(text, "the answers"), "the answers")
    return text


def _asked_pack(ask: Ask) -> list[str]:
    """The pack in TOML."""
    packs = sorted(profiles.packs())
    pack = ask(f"Which pack? {', '.join(packs)}", "pack-1000", partial(one_of, packs))
    full = ask("How full is it at the start, percent?", "100", _charge)
    return ["[pack]", f'profile = "{pack}"', f"start_percent = {full:g}", ""]


def _charge(answer: str) -> float:
    charge = percent_of(answer, "the charge")
    if not 0.0 <= charge <= 100.0:
        raise PlanError([f"the charge must lie between 0 and 100 percent (got {shown(answer)})"])
    return charge


def _asked_panels(ask: Ask) -> list[str]:
    """The panels in TOML; nothing for none."""
    panels = [*sorted(profiles.panels()), "none"]
    panel = ask(f"Which panel? {', '.join(panels)}", "folding-200", partial(one_of, panels))
    if panel == "none":
        return []
    count = ask("How many of them?", "1", partial(_number, 1, 1000))
    return ["[[panel]]", f'profile = "{panel}"', f"count = {count}", ""]


def _weather(sky: str) -> list[str]:
    if sky == "usual":
        return ["[weather]", 'kind = "climate"      # what the place and the month are like', ""]
    return ["[weather]", 'kind = "sky"', f'sky = "{sky}"', ""]


def _more(any_yet: bool) -> str:
    """The question for the next tool."""
    hint = "; empty: no more" if any_yet else ", such as angle-grinder-115, phone or led-work-light"
    return f"A tool (a profile of `energy tools`{hint})"


def _tool(answer: str, any_yet: bool) -> str:
    answer = answer.strip()
    if not answer and not any_yet:
        raise PlanError(["a plan needs one tool at least: energy tools lists them"])
    if answer and answer not in profiles.built_in("tools"):
        raise PlanError([which(answer, profiles.built_in("tools"))])
    return answer


def _around(answer: str) -> str:
    """Words for what is around, as a TOML list."""
    words = [one_of(AROUND, word) for word in answer.replace(",", " ").split()]
    return "[" + ", ".join(f'"{word}"' for word in words) + "]"


def _asked_task(ask: Ask, tool: str) -> str:
    """One task in TOML, from questions that suit its tool."""
    kind = stated(profiles.tools()[tool], "kind", Task)
    lines = [f'tool = "{tool}"']
    if kind == "charging":
        lines.append(f"charges = {ask('How many charges a day?', '1', partial(_number, 1, 1000))}")
    elif kind == "intermittent":
        lines.append(f"times = {ask('How many times a day?', '10', partial(_number, 1, 10_000))}")
        each = ask("How many seconds each?", "45", partial(_number, 1, 86_400))
        lines.append(f"each_s = {each}")
    between = ask("Between which times each day? (also sunset-sunrise)", "09:00-17:00", _window)
    if kind == "steady":
        hours = ask("How many hours of it? (all: all of that time)", "all", _hours)
        lines += [f"hours = {hours}"] if hours else []
    lines.append(f"between = {between}")
    if ask("Must it run, whatever else? yes or no", "no", partial(one_of, ["yes", "no"])) == "yes":
        lines.append("must = true")
    return "\n".join(["[[task]]", *lines, ""])


def _number(least: int, most: int, answer: str) -> int:
    digits = answer.strip().lstrip("0")
    if re.fullmatch("[0-9]{1,6}", digits) and least <= int(digits) <= most:
        return int(digits)
    raise PlanError([f"a whole number from {least} to {most} is wanted (got {shown(answer)})"])


def _hours(answer: str) -> str:
    if answer.strip() == "all":
        return ""
    try:
        hours = float(answer)
    except ValueError:
        hours = 0.0
    if not 0.0 < hours <= 1000.0:
        raise PlanError([f"hours, such as 1.5, or all are wanted (got {shown(answer)})"])
    return f"{hours:g}"


def _window(answer: str) -> str:
    """Two times of a day as TOML, split at whichever dash leaves two times.

    >>> _window("sunset-30min-23:30")
    '["sunset-30min", "23:30"]'
    """
    for place, mark in enumerate(answer):
        opens, closes = answer[:place].strip(), answer[place + 1 :].strip()
        if mark == "-" and _are_times([opens, closes]):
            return f'["{opens}", "{closes}"]'
    raise PlanError([f"two times such as 09:00-17:00 are wanted (got {shown(answer)})"])


def _are_times(times: list[str]) -> bool:
    try:
        return window(times) is not None
    except ValueError:
        return False


def _moment(text: str, now: datetime, timezone: str) -> str:
    """A date with a time, on the place's clock; the date may be today or tomorrow."""
    day, _, rest = text.strip().partition(" ")
    if day.casefold() in ("today", "tomorrow"):
        text = f"{start_date(day, now, timezone)} {rest.strip()}"
    try:
        return datetime.fromisoformat(text.strip()).replace(tzinfo=None).isoformat()
    except ValueError:
        raise PlanError(
            [f"{shown(text)} is not a date with a time, such as 2026-09-14 07:00"]
        ) from None


def _later(text: str, start: str, reading: Callable[[str], str]) -> str:
    end = reading(text)
    if end <= start:
        raise PlanError([f"{end} is not after the start, {start}"])
    return end


def elevation_at(latitude: float, longitude: float) -> int:
    """Height above the sea [m] by pvlib's altitude grid."""
    from pvlib.location import lookup_altitude

    return round(float(lookup_altitude(latitude, longitude)))
