"""A plan to start from: a built-in demo moved to another place, or a few questions answered.

The answer is TOML text; whoever asks decides where it goes.
"""

from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import Any

from energy.plan import Plan, PlanError, profiles
from energy.plan.documents import parse
from energy.plan.merge import zone_at
from energy.plan.words import meant, shown
from energy.plan.write import write_changes
from energy.weather.climate import has_climate

Ask = Callable[..., Any]


def from_demo(demo: str = "cloudy-repair", at: str | None = None) -> str:
    """A built-in demo's text with its comments; `at` = "lat,lon" moves it to another place.

    Time zone and elevation are looked up. A demo's weather file is of its own place, so a plan
    that moves away from it rests on the climate table, or on a stated sky where that has no data.
    Raises PlanError.

    >>> 'latitude_deg = 55.317' in from_demo()
    True
    """
    if at is None:
        return write_changes(f"builtin:{demo}", {})
    latitude, longitude = place_of(at)
    changes: dict[str, Any] = {
        "title": f"My plan at {latitude:g}, {longitude:g}",
        "place.latitude_deg": latitude,
        "place.longitude_deg": longitude,
        "place.timezone": zone_at(latitude, longitude),
        "place.elevation_m": elevation_at(latitude, longitude),
    }
    plan = Plan.read(f"builtin:{demo}")
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
    return write_changes(f"builtin:{demo}", changes)


def from_questions(ask: Ask, at: str | None = None) -> str:
    """A plan from a few questions; `ask(question, default=...)` returns the answer as text.

    `at` answers the first. Raises PlanError as soon as an answer cannot be.
    """
    where = at or ask("Where? Latitude, longitude (minus: south, west)", default="55.317,-160.517")
    latitude, longitude = place_of(where)
    tomorrow = date.today() + timedelta(days=1)
    start = ask("From when?", default=f"{tomorrow} 08:00")
    end = ask("Until when?", default=f"{tomorrow} 20:00")
    skies = ["clear", "few", "scattered", "broken", "overcast"]
    usual = ["usual"] if has_climate(latitude, longitude) else []
    question = f"What sky? {', '.join([*usual, *skies])}"
    sky = _one_of([*usual, *skies], ask(question, default=(usual or ["broken"])[0]))
    packs, panels = sorted(profiles.packs()), sorted(profiles.panels())
    pack = _one_of(packs, ask(f"Which pack? {', '.join(packs)}", default="pack-1000"))
    chosen = ask(f"Which panel? {', '.join(panels)}, or none", default="folding-200")
    panel = _one_of([*panels, "none"], chosen)
    tasks: list[str] = []
    while tool := _next_tool(ask, bool(tasks)):
        known = profiles.tools()[_one_of(list(profiles.tools()), tool)]
        amount = _amount(ask, known)
        hours = ask("Between which times?", default="09:00-17:00")
        tasks.append(_task(tool, amount, hours))
    text = "\n".join(
        [
            f'title = "My plan at {latitude:g}, {longitude:g}"',
            "",
            "[place]",
            f"latitude_deg = {latitude:g}",
            f"longitude_deg = {longitude:g}",
            f'timezone = "{zone_at(latitude, longitude)}"      # every time below is this clock',
            f"elevation_m = {elevation_at(latitude, longitude):g}",
            'around = ["outdoors"]      # outdoors, wet, afloat, fuel, enclosed, alone',
            "",
            "[span]",
            f"start = {_moment(start)}",
            f"end = {_moment(end)}",
            "",
            *_weather(sky),
            *(["[[panel]]", f'profile = "{panel}"', ""] if panel != "none" else []),
            "[pack]",
            f'profile = "{pack}"',
            "start_percent = 100",
            "",
            *tasks,
        ]
    )
    Plan.from_dict(parse(text, "the answers"), "the answers")
    return text


def _weather(sky: str) -> list[str]:
    if sky == "usual":
        return ["[weather]", 'kind = "climate"      # what the place and the month are like', ""]
    return ["[weather]", 'kind = "sky"', f'sky = "{sky}"', ""]


def _next_tool(ask: Ask, some: bool) -> str:
    """The next tool's profile, or an empty text where some are named and no more follow."""
    more = "; empty: no more" if some else ", such as angle-grinder-115, phone or led-work-light"
    return str(ask(f"A tool (a profile of `energy tools`{more})", default="")).strip()


def _one_of(known: list[str], answer: str) -> str:
    """The answer where it is known, else a PlanError with the nearest."""
    if answer not in known:
        raise PlanError([f"there is no {shown(answer)}{meant(answer, known)}"])
    return answer


def _amount(ask: Ask, tool: dict[str, Any]) -> str:
    """How much of a tool, as a line of TOML."""
    kind = tool.get("kind", "steady")
    if kind == "charging":
        return f"charges = {ask('How many charges?', default='1')}"
    if kind == "intermittent":
        times = ask("How many times?", default="10")
        return f"times = {times}\neach_s = {ask('How many seconds each?', default='45')}"
    if kind == "cycling":
        return ""
    return f"hours = {ask('How many hours?', default='1')}"


def _task(tool: str, amount: str, hours: str) -> str:
    ends = [f'"{end.strip()}"' for end in hours.split("-", 1)]
    lines = ["[[task]]", f'tool = "{tool}"', amount, f"between = [{', '.join(ends)}]", ""]
    return "\n".join(line for line in lines if line or line is lines[-1])


def _moment(text: str) -> str:
    try:
        return datetime.fromisoformat(text.strip()).replace(tzinfo=None).isoformat()
    except ValueError:
        raise PlanError([f'"{text}" is not a date with a time, such as 2026-09-14 07:00']) from None


def place_of(text: str) -> tuple[float, float]:
    """Latitude and longitude from "55.317,-160.517". Raises PlanError.

    >>> place_of("55.317,-160.517")
    (55.317, -160.517)
    """
    try:
        latitude, longitude = (float(part) for part in text.split(","))
    except ValueError:
        raise PlanError(
            [f'"{text}" is not a place; give latitude,longitude such as "55.317,-160.517"']
        ) from None
    if not (-90.0 <= latitude <= 90.0 and -180.0 <= longitude <= 180.0):
        raise PlanError(
            [f'"{text}": latitude must lie within -90 to 90 and longitude within -180 to 180']
        )
    return latitude, longitude


def elevation_at(latitude: float, longitude: float) -> int:
    """Height above the sea [m] by pvlib's altitude grid."""
    from pvlib.location import lookup_altitude

    return round(float(lookup_altitude(latitude, longitude)))
