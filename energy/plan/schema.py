"""A plan as frozen models: place, span, weather, goal, sizing, runs, and the whole.

The kit (panels, pack, chargers) lives in `kit`, a task in `task`, what keys must say together in
`checks`.
"""

from datetime import datetime
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo, available_timezones

from pydantic import BeforeValidator, Field

from energy.plan.kit import (
    Above0,
    Charger,
    Name,
    Pack,
    Panel,
    Percent,
    Strict,
    as_tuple,
    number,
)
from energy.plan.task import Task
from energy.plan.words import meant, shown

# Albedo by ground: common practice, no source.
GROUND = {
    "grass": 0.20,
    "soil": 0.17,
    "concrete": 0.30,
    "asphalt": 0.12,
    "sand": 0.40,
    "snow": 0.65,
    "old snow": 0.50,
    "water": 0.06,
}
SKIES = {"clear": 0, "few": 2, "scattered": 4, "broken": 6, "overcast": 8}


def _zone(value: Any) -> Any:
    if not isinstance(value, str):
        return value
    try:
        ZoneInfo(value)
    except (KeyError, ValueError, OSError):
        raise ValueError(
            f'must be an IANA name such as "America/Anchorage" (got {shown(value)})'
            f"{meant(value, available_timezones())}"
        ) from None
    return value


# The record-low air: no weather station's lies above 20 C (common practice, no source).
LOWEST_C = (-90.0, 25.0)
Around = Literal["outdoors", "wet", "afloat", "fuel", "enclosed", "alone"]
Azimuth = Annotated[float, Field(ge=-360.0, le=360.0)]
Height = Annotated[float, Field(ge=0.0, le=90.0)]


class Place(Strict):
    """Where it happens; elevation_m None: not stated."""

    latitude_deg: Annotated[float, Field(ge=-90.0, le=90.0)]
    longitude_deg: Annotated[float, Field(ge=-180.0, le=180.0)]
    timezone: Annotated[str, BeforeValidator(_zone)]
    # From the shore of the Dead Sea to the top of Everest, with room.
    elevation_m: Annotated[float, Field(ge=-500.0, le=9000.0)] | None = None
    lowest_c: Annotated[float, Field(ge=LOWEST_C[0], le=LOWEST_C[1])] | None = None
    ground: (
        Literal["grass", "soil", "concrete", "asphalt", "sand", "snow", "old snow", "water"] | None
    ) = None
    albedo: Annotated[float, Field(ge=0.0, le=1.0)] = Field(
        default_factory=lambda data: GROUND[data["ground"] or "grass"]
    )
    horizon: Annotated[
        tuple[Annotated[tuple[Azimuth, Height], BeforeValidator(as_tuple)], ...],
        BeforeValidator(as_tuple),
        Field(max_length=720),
    ] = ()
    around: Annotated[
        tuple[Around, ...],
        BeforeValidator(as_tuple),
        Field(max_length=20),
    ] = ()


def local_time(value: Any) -> datetime:
    """A date with a time on the place's own clock. Raises ValueError for anything else."""
    example = "must be a date with a time, such as 2026-09-14T07:00:00"
    if isinstance(value, str):
        try:
            value = datetime.fromisoformat(value)
        except ValueError:
            raise ValueError(f"{example} (got {shown(value)})") from None
    if not isinstance(value, datetime):
        raise ValueError(f"{example} (got {shown(value)})")
    if value.tzinfo is not None:
        raise ValueError(f"is on the place's own clock: leave the offset out (got {shown(value)})")
    if not 1950 <= value.year <= 2099:
        raise ValueError(f"must lie between 1950 and 2099 (got {shown(value)})")
    return value


class Span(Strict):
    """From when to when, on the place's clock."""

    start: Annotated[datetime, BeforeValidator(local_time)]
    end: Annotated[datetime, BeforeValidator(local_time)]


def _sky(value: Any) -> Any:
    values = value if isinstance(value, list | tuple) else [value]
    if not values:
        raise ValueError("must not be empty")
    skies = []
    for sky in values:
        okta = SKIES.get(sky, -1) if isinstance(sky, str) else sky
        if isinstance(okta, bool) or not isinstance(okta, int) or not 0 <= okta <= 8:
            raise ValueError(
                f"must be {', '.join(SKIES)}, or eighths from 0 to 8 (got {shown(sky)})"
                f"{meant(sky, SKIES)}"
            )
        skies.append(okta)
    return tuple(skies)


def _air(value: Any) -> Any:
    several = isinstance(value, list | tuple)
    temperatures = []
    for one in value if several else [value]:
        temperature = number(one)
        if temperature is None or not -90.0 <= temperature <= 60.0:
            raise ValueError(f"must lie between -90 and 60 degrees C (got {shown(one)})")
        temperatures.append(temperature)
    if not several:
        return temperatures[0]
    if len(temperatures) == 2 and temperatures[0] > temperatures[1]:
        raise ValueError(f"must be [low, high], the lower first (got {shown(value)})")
    if len(temperatures) not in (2, 12):
        raise ValueError(
            f"must be one number, [low, high] or 12 monthly means (got {len(temperatures)} numbers)"
        )
    return tuple(temperatures)


class Weather(Strict):
    """Where the sun, the air and the wind come from; keys of another kind are left alone."""

    kind: Literal["climate", "monthly", "file", "sky", "clear", "history", "forecast"] = "climate"
    file: Annotated[str, Field(min_length=1, max_length=4096)] | None = None
    stamps: Literal["start", "middle", "end"] = "start"
    futures: Annotated[int, Field(ge=1, le=10_000)] | None = None
    seed: Annotated[int, Field(ge=0, le=2**63 - 1)] = 0
    sky: Annotated[tuple[int, ...], BeforeValidator(_sky)] | None = None
    # kWh/m2 a day: no month anywhere has more than 12 on the flat below the air.
    sun_hours: (
        Annotated[
            tuple[Annotated[float, Field(ge=0.0, le=12.0)], ...],
            BeforeValidator(as_tuple),
            Field(min_length=12, max_length=12),
        ]
        | None
    ) = None
    temp_air_c: Annotated[float | tuple[float, ...], BeforeValidator(_air)] | None = None
    wind_speed_m_s: Annotated[float, Field(ge=0.0, le=60.0)] = 1.6


class Goal(Strict):
    """How sure the person wants to be."""

    chance_percent: Percent = 90.0
    one_at_a_time: bool = False


def _range(value: Any) -> Any:
    bounds = [number(end) for end in value] if isinstance(value, list | tuple) else []
    low, high = bounds if len(bounds) == 2 else (None, None)
    if low is None or high is None or not 0.0 <= low <= high <= 1e6:
        raise ValueError(f"must be [from, to], not falling, at most 1e6 (got {shown(value)})")
    return low, high


class Size(Strict):
    """What sizes of panel and battery to look at."""

    panel_w: Annotated[tuple[float, float], BeforeValidator(_range)] | None = None
    battery_wh: Annotated[tuple[float, float], BeforeValidator(_range)] | None = None
    candidates: Annotated[str, Field(min_length=1, max_length=4096)] | None = None


class Cable(Strict):
    """A cable from one thing to another."""

    from_: Annotated[Name, Field(alias="from")]
    to: Name
    length_m: Annotated[float, Field(gt=0.0, le=1e4)]
    mm2: Annotated[float, Field(gt=0.0, le=1000.0)] | None = None
    allowed_drop_percent: Annotated[float, Field(gt=0.0, le=50.0)] = 3.0
    volts: Above0 | None = None
    amps: Above0 | None = None
    watts: Above0 | None = None
    conductor: Literal["copper", "tinned"] = "copper"
    temp_c: Annotated[float, Field(ge=-60.0, le=150.0)] = 60.0
    terminals_c: Literal[60, 75] | None = None  # what both ends' terminals are marked for


class Tables(Strict):
    """All tables of a plan, as validated."""

    title: Name = ""
    profiles: Annotated[
        tuple[Annotated[str, Field(min_length=1, max_length=4096)], ...], BeforeValidator(as_tuple)
    ] = ()
    place: Place
    span: Span
    weather: Weather
    panel: Annotated[tuple[Panel, ...], BeforeValidator(as_tuple)] = ()
    pack: Pack
    charger: Annotated[tuple[Charger, ...], BeforeValidator(as_tuple)] = ()
    task: Annotated[tuple[Task, ...], BeforeValidator(as_tuple), Field(min_length=1)]
    goal: Goal
    size: Size | None = None
    run: Annotated[tuple[Cable, ...], BeforeValidator(as_tuple)] = ()
