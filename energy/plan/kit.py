"""The kit of a plan as frozen models: panels, pack with its outlets, other chargers.

Each key's type and range stands here, and what follows from other keys is filled in, so that
whoever reads a plan finds plain numbers. What keys must say together is for `checks`.
"""

from typing import Annotated, Any, Literal, NamedTuple

from pydantic import BeforeValidator, Field, model_validator

from energy.plan.fields import (
    Above0,
    AMoment,
    AWindow,
    Days,
    Efficiency,
    From0,
    Name,
    OfVoc,
    Percent,
    PerDegree,
    Spread,
    Strict,
    Volts,
    as_tuple,
    number,
)
from energy.plan.moments import Window, window
from energy.plan.words import meant, shown


class Chemistry(NamedTuple):
    """Constants of a chemistry; all from common practice (no source): measure your own."""

    resistive_h: float
    coulombic_percent: float
    taper_from_percent: float
    self_discharge_percent_month: float
    charge_share: float  # of the label, in an hour
    discharge_share: float
    idle_w: float
    kinetic_c: float | None
    kinetic_k_per_h: float | None
    discharge_min_c: float | None = None  # colder it gives nothing


CHEMISTRIES = {
    "lfp": Chemistry(0.06, 99.0, 90.0, 2.0, 0.5, 1.0, 3.0, None, None, -20.0),
    "nmc": Chemistry(0.08, 99.0, 80.0, 2.0, 0.5, 1.0, 3.0, None, None, -20.0),
    # The wells: a fit to the common table of delivered energy against the 20-hour figure.
    "agm": Chemistry(0.08, 90.0, 80.0, 3.0, 0.2, 0.5, 0.0, 0.45, 1.05),
    "flooded": Chemistry(0.10, 85.0, 80.0, 5.0, 0.2, 0.5, 0.0, 0.45, 1.05),
}
LITHIUM = ("lfp", "nmc")

_WINDS = [
    "N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE",
    "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW",
]  # fmt: skip
COMPASS = {word: 22.5 * k for k, word in enumerate(_WINDS)}


def compass_word(azimuth_deg: float) -> str:
    """The nearest of the 16 compass words.

    >>> compass_word(352.0), compass_word(161.0)
    ('N', 'SSE')
    """
    return min(COMPASS, key=lambda word: abs((COMPASS[word] - azimuth_deg + 180.0) % 360.0 - 180.0))


def _facing(value: Any) -> Any:
    if isinstance(value, str):
        if value.upper() not in COMPASS:
            initials = "".join(word[0] for word in value.upper().replace("-", " ").split())
            likely = f"; did you mean {initials}?" if initials in COMPASS else ""
            raise ValueError(
                f"must be degrees or one of {', '.join(COMPASS)} (got {shown(value)}){likely}"
            )
        return COMPASS[value.upper()]
    return value


class Shade(Strict):
    """A window in which something stands before a panel, and the light it leaves."""

    between: AWindow = None
    """When something stands before the panel: two times. Left out: all day."""
    keep_percent: Percent
    """What it leaves of all light on that panel."""


class Panel(Strict):
    """One kind of panel, `count` times, and how it stands."""

    profile: Name | None = None
    """A panel of energy tools panel; keys written beside it win, and its amps follow a rated_w
    written there. Left out: none."""
    name: Name = "panel"
    """What you call it."""
    rated_w: Above0
    """Watts on the label, at standard test conditions; required without a profile."""
    count: Annotated[int, Field(ge=1, le=1000)] = 1
    """How many of them, side by side."""
    tilt_deg: Annotated[float, Field(ge=0.0, le=90.0)] = 30.0
    """0 lies flat, 90 stands."""
    facing: Annotated[float, BeforeValidator(_facing), Field(ge=-360.0, le=360.0)] = 180.0
    """Degrees clockwise from true north, or a compass word such as "SSE". Left out: towards the
    equator."""
    aim: Literal["fixed", "flat", "re-aimed", "follow", "swinging"] = "fixed"
    """fixed; flat; re-aimed by hand at re_aim_at; follow the sun; or swinging, as on a boat at
    anchor."""
    re_aim_at: Annotated[tuple[AMoment, ...], BeforeValidator(as_tuple), Field(max_length=48)] = ()
    """When it is turned at the sun, such as ["09:00", "12:00"]; with re-aimed."""
    out_between: AWindow = None
    """When it is unfolded, such as ["08:00", "18:00"]. Left out: all day."""
    shade: Annotated[tuple[Shade, ...], BeforeValidator(as_tuple), Field(max_length=50)] = ()
    """Windows of shade, such as [{ between = ["15:00", "18:00"], keep_percent = 40 }]."""
    condition_percent: Percent = 90.0
    """What it gives of its label: dirt, age, tolerance, leads."""
    condition_spread_percent: Spread = 0.0
    """How uncertain its condition is, as a standard deviation."""
    temp_coefficient_percent_per_c: PerDegree = -0.35
    """Change of its power with the cells' heat."""
    airflow: Literal["open", "laid-down"] = "open"
    """open, or laid-down with no air behind it."""
    v_oc: Volts | None = None
    """Volts of the open panel, from its label; for energy wire. Left out: not known."""
    i_sc: Above0 | None = None
    """Amps of the short-circuited panel, from its label; for energy wire. Left out: not known."""
    v_mp: Volts = 18.0
    """Volts at its best working point."""
    i_mp: Above0 = Field(default_factory=lambda data: data["rated_w"] / data["v_mp"])
    """Amps at its best working point. Left out: rated_w / v_mp."""
    temp_coefficient_voc_percent_per_c: OfVoc = -0.30
    """Change of v_oc with the cells' heat, between -0.5 and -0.15."""
    length_m: Above0 | None = None
    """Length unfolded. Left out: not known."""
    kg: From0 | None = None
    """Weight. Left out: not known."""
    price: From0 | None = None
    """In any money. Left out: not known."""

    @property
    def facing_deg(self) -> float:
        """Azimuth in degrees clockwise from north."""
        return self.facing % 360.0


ON_WORDS = ("with-tasks", "only-in-use", "always")


def _inverter_on(value: Any) -> Any:
    if isinstance(value, str) and value in ON_WORDS:
        return value
    if isinstance(value, list | tuple) and 0 < len(value) <= 50:
        if len(value) == 2 and not any(isinstance(end, list | tuple) for end in value):
            value = [value]  # one window without the outer brackets
        return tuple(window(between) for between in value)
    raise ValueError(
        f"must be one of {', '.join(ON_WORDS)}, or windows (got {shown(value)})"
        f"{meant(value, ON_WORDS)}"
    )


MAINS_V = (90.0, 260.0)  # household mains with their tolerance: IEC 60038


def _mains_v(value: Any) -> Any:
    volts = number(value)
    if volts is not None and not MAINS_V[0] <= volts <= MAINS_V[1]:
        raise ValueError(
            f"must lie between {MAINS_V[0]:g} and {MAINS_V[1]:g}, those of the mains side"
            f" (got {shown(value)})"
        )
    return value


class Inverter(Strict):
    """The inverter of a pack: none means no mains outlet.

    volts are those of its outlets; left out, those usual in the place's country.
    """

    rated_w: Above0
    """Watts it gives without end; required with the table."""
    volts: Annotated[float, BeforeValidator(_mains_v)] | None = None
    """Volts of its outlets. Left out: those usual in the place's country."""
    surge_w: Annotated[float, Field(gt=0.0, le=1e7)] = Field(
        default_factory=lambda data: 2.0 * data["rated_w"]
    )
    """Watts it gives for surge_s. Left out: 2 x rated_w."""
    surge_s: From0 = 1.0
    """How long it gives surge_w."""
    idle_w: From0 = Field(default_factory=lambda data: 0.01 * data["rated_w"])
    """What it draws doing nothing. Left out: 1 % of rated_w."""
    efficiency_percent: Efficiency = 90.0
    """At its best load, its idle draw included."""
    on: Annotated[str | tuple[Window | None, ...], BeforeValidator(_inverter_on)] = "with-tasks"
    """When it is switched on: with-tasks (from a task's first use to its last), only-in-use,
    always, or windows such as [["07:00", "18:00"]]."""


class Dc12(Strict):
    """The 12 V outlets."""

    rated_w: From0 = 120.0
    """Watts of all 12 V outlets together."""
    efficiency_percent: Efficiency = 95.0
    """From the battery to the outlet."""


class Usb(Strict):
    """The USB outlets."""

    rated_w: From0 = 100.0
    """Watts of all USB outlets together."""
    efficiency_percent: Efficiency = 90.0
    """From the battery to the outlet."""


CONNECTIONS = ("series", "parallel")


def _connection(value: Any) -> Any:
    in_each_string = isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= 1000
    if in_each_string or (isinstance(value, str) and value in CONNECTIONS):
        return value
    raise ValueError(
        f"must be {', '.join(CONNECTIONS)}, or how many panels stand in series in each string"
        f" (got {shown(value)}){meant(value, CONNECTIONS)}"
    )


class SolarInput(Strict):
    """The pack's solar controller. All limits but `charge_max_a` are on the panels' side."""

    max_w: From0 | None = None
    """Panels' side: the most watts it takes, at the end of their cable. Left out: no limit."""
    kind: Literal["mppt", "pwm"] = "mppt"
    """mppt, or pwm, which needs the pack's nominal_v."""
    efficiency_percent: Efficiency = 97.0
    """From the panels to the battery."""
    max_v: Above0 | None = None
    """Panels' side: the most volts it bears, of a string open in the cold. Left out: no limit."""
    max_a: Above0 | None = None
    """Panels' side: the most amps it takes, as packs print it (12-60 V, 13 A). No more flow, at
    the string's working volts with mppt, at the pack's nominal_v with pwm, which passes the
    panels' amps on to the battery. Left out: no limit."""
    charge_max_a: Above0 | None = None
    """Battery's side: the most amps that an mppt controller gives the battery, its rated charge
    current, at the pack's nominal_v. Left out: no limit."""
    connection: Annotated[str | int | None, BeforeValidator(_connection)] = None
    """How the panels of each kind are joined: series, parallel, or how many stand in series in
    each string. Left out: as few in series as fit."""


def _temperature(value: Any) -> Any:
    if value == "outside":
        return None
    if number(value) is None:
        raise ValueError(f'must be "outside" or degrees C (got {shown(value)})')
    return value


def _of(data: dict[str, Any]) -> Chemistry:
    return CHEMISTRIES[data["chemistry"]]


class Pack(Strict):
    """The battery with its electronics. A temperature of None follows the outside air."""

    profile: Name | None = None
    """A pack of energy tools pack; keys written beside it win, inside its tables too. Left out:
    none."""
    name: Name = "pack"
    """What you call it."""
    chemistry: Literal["lfp", "nmc", "agm", "flooded"] = "lfp"
    """lfp and nmc are lithium, agm and flooded lead-acid."""
    capacity_ah: Above0 | None = None
    """The label in amp-hours, with nominal_v, in place of capacity_wh. Left out: not stated."""
    nominal_v: Volts | None = None
    """Volts of the battery. Left out: not known."""
    capacity_wh: Annotated[float, Field(ge=1.0, le=1e7)]
    """The label; required without a profile or capacity_ah."""
    start_percent: Percent = 100.0
    """Charge at the start of the span."""
    reserve_percent: Percent = 15.0
    """The charge that the plan must stay above. Left out: the profile's, 50 in those of lead-acid;
    without a profile 15."""
    health_percent: Annotated[float, Field(ge=1.0, le=100.0)] = 100.0
    """What an older battery still holds of its label."""
    health_spread_percent: Spread = 0.0
    """How uncertain its health is, as a standard deviation."""
    idle_w: From0 = Field(default_factory=lambda data: _of(data).idle_w)
    """What the pack's own electronics draw, always on. Left out: lithium 3, lead-acid 0."""
    charge_max_w: Annotated[float, Field(gt=0.0, le=1e7)] = Field(
        default_factory=lambda data: data["capacity_wh"] * _of(data).charge_share
    )
    """The most it takes. Left out: lithium half the label an hour, lead-acid a fifth."""
    discharge_max_w: Annotated[float, Field(gt=0.0, le=1e7)] = Field(
        default_factory=lambda data: data["capacity_wh"] * _of(data).discharge_share
    )
    """The most it gives. Left out: lithium the label in an hour, lead-acid half."""
    temperature: Annotated[
        Annotated[float, Field(ge=-60.0, le=80.0)] | None, BeforeValidator(_temperature)
    ] = None
    """Degrees C where it is kept, from -60 to 80, or "outside". Left out: outside."""
    heated: bool = False
    """Whether it warms itself and so charges in frost."""
    discharge_min_c: Annotated[float, Field(ge=-60.0, le=20.0)] | None = Field(
        default_factory=lambda data: _of(data).discharge_min_c
    )
    """Colder it gives nothing. Left out: lithium -20, lead-acid no limit."""
    resistive_h: Annotated[float, Field(ge=0.0, le=2.0)] = Field(
        default_factory=lambda data: _of(data).resistive_h
    )
    """Its inner resistance, as hours. Left out: the chemistry's, 0.06 to 0.10."""
    kinetic_c: Annotated[float, Field(gt=0.0, lt=1.0)] | None = Field(
        default_factory=lambda data: _of(data).kinetic_c
    )
    """Lead-acid: share of the charge that is there at once. Left out: 0.45; lithium none."""
    kinetic_k_per_h: Annotated[float, Field(gt=0.0, le=100.0)] | None = Field(
        default_factory=lambda data: _of(data).kinetic_k_per_h
    )
    """Lead-acid: how fast the rest follows, per hour. Left out: 1.05; lithium none."""
    coulombic_percent: Efficiency = Field(default_factory=lambda data: _of(data).coulombic_percent)
    """Charge that comes out of what went in. Left out: lithium 99, agm 90, flooded 85."""
    taper_from_percent: Percent = Field(default_factory=lambda data: _of(data).taper_from_percent)
    """From here on it takes less and less. Left out: lfp 90, others 80."""
    self_discharge_percent_month: Percent = Field(
        default_factory=lambda data: _of(data).self_discharge_percent_month
    )
    """What it loses lying by. Left out: lithium 2, agm 3, flooded 5."""
    kg: From0 | None = None
    """Weight. Left out: not known."""
    price: From0 | None = None
    """In any money. Left out: not known."""
    inverter: Inverter | None = None
    """It makes the mains. Left out: no mains outlet."""
    dc12: Dc12
    """The 12 V outlets. Left out: its defaults."""
    usb: Usb
    """The USB outlets. Left out: its defaults."""
    solar_input: SolarInput
    """The controller between panels and battery. Left out: its defaults."""

    def efficiency_percent(self, supply: str) -> float:
        """From the battery to an outlet, of mains at the inverter's best load."""
        if supply == "ac":
            return 100.0 if self.inverter is None else self.inverter.efficiency_percent
        return (self.usb if supply == "usb" else self.dc12).efficiency_percent

    @model_validator(mode="before")
    @classmethod
    def _watt_hours(cls, table: Any) -> Any:
        """Amp-hours at the nominal voltage as the label's watt-hours."""
        if not isinstance(table, dict) or "capacity_wh" in table or "capacity_ah" not in table:
            return table
        amp_hours, volts = number(table["capacity_ah"]), number(table.get("nominal_v"))
        if amp_hours is None or volts is None:
            return {**table, "capacity_wh": 1.0}  # what is wrong with them is said elsewhere
        return {**table, "capacity_wh": amp_hours * volts}


class Charger(Strict):
    """Any other source at the pack's DC input."""

    name: Name = "charger"
    """What you call it."""
    watts: From0
    """Watts into the pack's DC input."""
    between: AWindow = None
    """When it charges: two times. Left out: all day."""
    days: Days = None
    """On which days of the span, from 1. Left out: every day."""
