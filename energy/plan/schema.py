"""A plan as frozen models: place, span, weather, goal, sizing, runs, and the whole.

The kit (panels, pack, chargers) lives in `kit`, a task in `task`, what keys must say together in
`checks`.
"""

from datetime import datetime
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo, available_timezones

from pydantic import BeforeValidator, Field

from energy.plan.fields import Above0, Name, Percent, Strict, as_tuple, number
from energy.plan.kit import Charger, Pack, Panel
from energy.plan.skies import DARKER, SKIES
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
MOST_SUN_HOURS = 12.0  # kWh/m2 a day: no month anywhere has more on the flat below the air
Around = Literal["outdoors", "wet", "afloat", "fuel", "enclosed", "alone"]
Azimuth = Annotated[float, Field(ge=-360.0, le=360.0)]
Height = Annotated[float, Field(ge=0.0, le=90.0)]


class Place(Strict):
    """Where it happens; elevation_m None: not stated."""

    latitude_deg: Annotated[float, Field(ge=-90.0, le=90.0)]
    """North is plus, south minus."""
    longitude_deg: Annotated[float, Field(ge=-180.0, le=180.0)]
    """East is plus, west minus."""
    timezone: Annotated[str, BeforeValidator(_zone)]
    """IANA name, such as "America/Anchorage": every time in the plan is this clock. Left out:
    looked up from the coordinates."""
    # From the shore of the Dead Sea to the top of Everest, with room.
    elevation_m: Annotated[float, Field(ge=-500.0, le=9000.0)] | None = None
    """Height above the sea. Left out: the weather file's own, else looked up."""
    lowest_c: Annotated[float, Field(ge=LOWEST_C[0], le=LOWEST_C[1])] | None = None
    """The place's record-low air, for the panels' volts in the cold. Left out: the lowest of
    the weather."""
    ground: (
        Literal["grass", "soil", "concrete", "asphalt", "sand", "snow", "old snow", "water"] | None
    ) = None
    """What lies before the panels and throws light back, in place of albedo. Left out: grass."""
    albedo: Annotated[float, Field(ge=0.0, le=1.0)] = Field(
        default_factory=lambda data: GROUND[data["ground"] or "grass"]
    )
    """Share of light that the ground throws back. Left out: that of the ground."""
    horizon: Annotated[
        tuple[Annotated[tuple[Azimuth, Height], BeforeValidator(as_tuple)], ...],
        BeforeValidator(as_tuple),
        Field(max_length=720),
    ] = ()
    """What stands around, as [azimuth_deg, height_deg] pairs with straight lines between; one
    pair: the same all round."""
    around: Annotated[
        tuple[Around, ...],
        BeforeValidator(as_tuple),
        Field(max_length=20),
    ] = ()
    """What the cautions need to know of the place."""


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
    """When the pack leaves its charger: a date with a time, such as 2026-09-14T07:00:00."""
    end: Annotated[datetime, BeforeValidator(local_time)]
    """When it is back at one: a date with a time."""


def _sky(value: Any) -> Any:
    skies = value if isinstance(value, list | tuple) else [value]
    if not skies:
        raise ValueError("must not be empty")
    return tuple(_eighths(sky) for sky in skies)


def _eighths(sky: Any) -> int | str:
    """Eighths of cloud, or the word of a sky that is darker than any cloud alone."""
    word = sky.casefold() if isinstance(sky, str) else ""
    if word in SKIES:
        return word if word in DARKER else SKIES[word].eighths
    if isinstance(sky, bool) or not isinstance(sky, int) or not 0 <= sky <= 8:
        raise ValueError(
            f"must be {', '.join(SKIES)}, or eighths from 0 to 8 (got {shown(sky)})"
            f"{meant(sky, SKIES)}"
        )
    return sky


def _sun_hours(value: Any) -> Any:
    if isinstance(value, list | tuple):
        months = [number(item) or 0.0 for item in value]
        if sum(months) > 12 * MOST_SUN_HOURS:
            raise ValueError(
                f"must be kWh/m2 a day, at most {MOST_SUN_HOURS:g} (got {sum(months):g} in all: are"
                " these totals of the months? Then divide each by its days)"
            )
    return as_tuple(value)


def _air(value: Any) -> Any:
    several = isinstance(value, list | tuple)
    temperatures = []
    for item in value if several else [value]:
        temperature = number(item)
        if temperature is None or not -90.0 <= temperature <= 60.0:
            raise ValueError(f"must lie between -90 and 60 degrees C (got {shown(item)})")
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
    """What the sun, the air and the wind come from."""
    file: Annotated[str, Field(min_length=1, max_length=4096)] | None = None
    """A weather file's path, or builtin:sand-point, builtin:greensboro, builtin:miami. Left
    out: none."""
    stamps: Literal["start", "middle", "end"] = "start"
    """What a time stamp of a plain CSV marks: start, middle or end of its interval."""
    futures: Annotated[int, Field(ge=1, le=10_000)] | None = None
    """How many weathers are tried. Left out: of file and history 31 a year held, of climate,
    monthly and sky 200, of a forecast its members."""
    seed: Annotated[int, Field(ge=0, le=2**63 - 1)] = 0
    """The same number gives the same answer again."""
    sky: Annotated[tuple[int | str, ...], BeforeValidator(_sky)] | None = None
    """The sky as people call it, or eighths of cloud from 0 to 8; or a list, one a date, the
    last repeated. Left out: none."""
    sun_hours: (
        Annotated[
            tuple[Annotated[float, Field(ge=0.0, le=MOST_SUN_HOURS)], ...],
            BeforeValidator(_sun_hours),
            Field(min_length=12, max_length=12),
        ]
        | None
    ) = None
    """Twelve peak sun hours on the flat, kWh/m2 a day, January to December. Left out: none."""
    temp_air_c: Annotated[float | tuple[float, ...], BeforeValidator(_air)] | None = None
    """The air: a number, [low, high] of the day, or twelve monthly means, from -90 to 60. Left
    out: assumed, and the answer says so."""
    wind_speed_m_s: Annotated[float, Field(ge=0.0, le=60.0)] = 1.6
    """The wind at 10 m, where the weather has none."""


class Goal(Strict):
    """How sure the person wants to be."""

    chance_percent: Percent = 90.0
    """How sure you want to be."""
    one_at_a_time: bool = False
    """One pair of hands: no two hand-held tools together."""


def _range(value: Any) -> Any:
    bounds = [number(bound) for bound in value] if isinstance(value, list | tuple) else []
    low, high = bounds if len(bounds) == 2 else (None, None)
    if low is None or high is None or not 0.0 <= low <= high <= 1e6:
        raise ValueError(f"must be [from, to], not falling, at most 1e6 (got {shown(value)})")
    return low, high


Range = Annotated[tuple[float, float], BeforeValidator(_range)] | None


class Size(Strict):
    """What sizes of panel and battery to look at."""

    panel_w: Range = None
    """All panels together, [from, to], for energy size. Left out: wide."""
    battery_wh: Range = None
    """The label, [from, to], for energy size. Left out: wide."""
    candidates: Annotated[str, Field(min_length=1, max_length=4096)] | None = None
    """A CSV of panels and packs to choose among. Left out: none."""


class Cable(Strict):
    """A cable from one thing to another."""

    from_: Annotated[Name, Field(alias="from")]
    """Where the cable begins: panel, pack, inverter, task:NAME, or any words with volts and
    amps or watts."""
    to: Name
    """Where it ends, in the same words."""
    length_m: Annotated[float, Field(gt=0.0, le=1e4)]
    """One way."""
    mm2: Annotated[float, Field(gt=0.0, le=1000.0)] | None = None
    """Cross-section of a conductor. Left out: energy wire finds it."""
    allowed_drop_percent: Annotated[float, Field(gt=0.0, le=50.0)] = 3.0
    """What the cable may lose of the volts."""
    volts: Above0 | None = None
    """Volts of the run. Left out: those of what it joins."""
    amps: Above0 | None = None
    """Amps it carries. Left out: those of what it joins."""
    watts: Above0 | None = None
    """Watts it carries, in place of amps. Left out: those of what it joins."""
    conductor: Literal["copper", "tinned"] = "copper"
    """Bare copper, or tinned."""
    temp_c: Annotated[float, Field(ge=-60.0, le=150.0)] = 60.0
    """Heat of the conductor, for its resistance."""
    terminals_c: Literal[60, 75] | None = None  # what both ends' terminals are marked for
    """What both ends' terminals are marked for. Left out: 60 up to 100 A, 75 above."""


class Tables(Strict):
    """All tables of a plan, as validated."""

    title: Name = ""
    """Heads every answer."""
    profiles: Annotated[
        tuple[Annotated[str, Field(min_length=1, max_length=4096)], ...], BeforeValidator(as_tuple)
    ] = ()
    """Files of your own tools, packs and panels, beside the plan; they beat the built-in ones."""
    place: Place
    """Where it happens; in one line, place = "59.35, 17.2", will do."""
    span: Span
    """From when to when."""
    weather: Weather
    """Where sun, air and wind come from. Left out: the climate table."""
    panel: Annotated[tuple[Panel, ...], BeforeValidator(as_tuple)] = ()
    """A kind of panel, one block each; none is a pack alone."""
    pack: Pack
    """The battery with its outlets and inputs."""
    charger: Annotated[tuple[Charger, ...], BeforeValidator(as_tuple)] = ()
    """Any other source: vehicle socket, generator, mains."""
    task: Annotated[tuple[Task, ...], BeforeValidator(as_tuple), Field(min_length=1)]
    """Something to be done, one block each; one at least."""
    goal: Goal
    """How sure you want to be. Left out: its defaults."""
    size: Size | None = None
    """What energy size looks at. Left out: wide ranges."""
    run: Annotated[tuple[Cable, ...], BeforeValidator(as_tuple)] = ()
    """A cable, for energy wire and its loss in every answer."""
