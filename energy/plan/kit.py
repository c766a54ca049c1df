"""The kit of a plan as frozen models: panels, pack with its outlets, other chargers.

Each key's type and range stands here, and what follows from other keys is filled in, so that
whoever reads a plan finds plain numbers. What keys must say together is for `checks`.
"""

from typing import Annotated, Any, Literal, NamedTuple

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from energy.plan.moments import Moment, Window, moment, window
from energy.plan.words import meant, shown


class Strict(BaseModel):
    """A table of a plan: nothing unknown, nothing changed after reading."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        strict=True,
        allow_inf_nan=False,
        defer_build=True,  # all tables are built once, with the plan that holds them
    )


def as_tuple(value: Any) -> Any:
    """TOML's lists as the tuples the models hold."""
    return tuple(value) if isinstance(value, list) else value


def _printable(text: str) -> str:
    if not text.isprintable():
        raise ValueError(f"must be one line of printable text (got {shown(text)})")
    return text


def number(value: Any) -> float | None:
    """A plain number as float, or None for anything else.

    >>> number(3), number(True), number("3")
    (3.0, None, None)
    """
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if abs(value) < 1e300 else None


# Bounds keep the arithmetic far from overflow; nothing carried to a workplace passes them.
Above0 = Annotated[float, Field(gt=0.0, le=1e6)]
From0 = Annotated[float, Field(ge=0.0, le=1e6)]
Volts = Annotated[float, Field(gt=0.0, le=1000.0)]
Percent = Annotated[float, Field(ge=0.0, le=100.0)]
Efficiency = Annotated[float, Field(gt=1.0, le=100.0)]
Spread = Annotated[float, Field(ge=0.0, le=200.0)]
PerDegree = Annotated[float, Field(ge=-2.0, le=0.5)]
OfVoc = Annotated[float, Field(ge=-1e6, le=1e6)]  # `checks` narrows it, and knows the panel's v_oc
Name = Annotated[str, Field(max_length=200), AfterValidator(_printable)]
AMoment = Annotated[Moment, BeforeValidator(moment)]
AWindow = Annotated[Window | None, BeforeValidator(window)]
Days = Annotated[
    tuple[Annotated[int, Field(ge=1, le=400)], ...] | None,
    BeforeValidator(as_tuple),
    Field(min_length=1, max_length=400),
]


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
    keep_percent: Percent


class Panel(Strict):
    """One kind of panel, `count` times, and how it stands."""

    profile: Name | None = None
    name: Name = "panel"
    rated_w: Above0
    count: Annotated[int, Field(ge=1, le=1000)] = 1
    tilt_deg: Annotated[float, Field(ge=0.0, le=90.0)] = 30.0
    facing: Annotated[float, BeforeValidator(_facing), Field(ge=-360.0, le=360.0)] = 180.0
    aim: Literal["fixed", "flat", "re-aimed", "follow", "swinging"] = "fixed"
    re_aim_at: Annotated[tuple[AMoment, ...], BeforeValidator(as_tuple), Field(max_length=48)] = ()
    out_between: AWindow = None
    shade: Annotated[tuple[Shade, ...], BeforeValidator(as_tuple), Field(max_length=50)] = ()
    condition_percent: Percent = 90.0
    condition_spread_percent: Spread = 0.0
    temp_coefficient_percent_per_c: PerDegree = -0.35
    airflow: Literal["open", "laid-down"] = "open"
    v_oc: Volts | None = None
    i_sc: Annotated[float, Field(gt=0.0, le=1000.0)] | None = None
    v_mp: Volts = 18.0
    i_mp: Above0 = Field(default_factory=lambda data: data["rated_w"] / data["v_mp"])
    temp_coefficient_voc_percent_per_c: OfVoc = -0.30
    length_m: Above0 | None = None
    kg: From0 | None = None
    price: From0 | None = None

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
    volts: Annotated[float, BeforeValidator(_mains_v)] | None = None
    surge_w: Annotated[float, Field(gt=0.0, le=1e7)] = Field(
        default_factory=lambda data: 2.0 * data["rated_w"]
    )
    surge_s: From0 = 1.0
    idle_w: From0 = Field(default_factory=lambda data: 0.01 * data["rated_w"])
    efficiency_percent: Efficiency = 90.0
    on: Annotated[str | tuple[Window | None, ...], BeforeValidator(_inverter_on)] = "with-tasks"


class Dc12(Strict):
    """The 12 V outlets."""

    rated_w: From0 = 120.0
    efficiency_percent: Efficiency = 95.0


class Usb(Strict):
    """The USB outlets."""

    rated_w: From0 = 100.0
    efficiency_percent: Efficiency = 90.0


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

    max_w: From0 | None = Field(
        None, description="Panels' side: the most watts it takes, at the end of their cable."
    )
    kind: Literal["mppt", "pwm"] = "mppt"
    efficiency_percent: Efficiency = 97.0
    max_v: Above0 | None = Field(
        None, description="Panels' side: the most volts it bears, of a string open in the cold."
    )
    max_a: Above0 | None = Field(
        None,
        description="Panels' side: the most amps it takes, as packs print it (12-60 V, 13 A). No"
        " more flow, at the string's working volts with mppt, at the pack's nominal_v with pwm,"
        " which passes the panels' amps on to the battery.",
    )
    charge_max_a: Above0 | None = Field(
        None,
        description="Battery's side: the most amps that an mppt controller gives the battery, its"
        " rated charge current, at the pack's nominal_v.",
    )
    connection: Annotated[str | int | None, BeforeValidator(_connection)] = Field(
        None,
        description="How the panels of each kind are joined: series, parallel, or how many stand"
        " in series in each string. Left out: as few in series as fit.",
    )


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
    name: Name = "pack"
    chemistry: Literal["lfp", "nmc", "agm", "flooded"] = "lfp"
    capacity_ah: Above0 | None = None
    nominal_v: Volts | None = None
    capacity_wh: Annotated[float, Field(ge=1.0, le=1e7)]
    start_percent: Percent = 100.0
    reserve_percent: Percent = 15.0
    health_percent: Annotated[float, Field(ge=1.0, le=100.0)] = 100.0
    health_spread_percent: Spread = 0.0
    idle_w: From0 = Field(default_factory=lambda data: _of(data).idle_w)
    charge_max_w: Annotated[float, Field(gt=0.0, le=1e7)] = Field(
        default_factory=lambda data: data["capacity_wh"] * _of(data).charge_share
    )
    discharge_max_w: Annotated[float, Field(gt=0.0, le=1e7)] = Field(
        default_factory=lambda data: data["capacity_wh"] * _of(data).discharge_share
    )
    temperature: Annotated[
        Annotated[float, Field(ge=-60.0, le=80.0)] | None, BeforeValidator(_temperature)
    ] = None
    heated: bool = False
    discharge_min_c: Annotated[float, Field(ge=-60.0, le=20.0)] | None = Field(
        default_factory=lambda data: _of(data).discharge_min_c
    )
    resistive_h: Annotated[float, Field(ge=0.0, le=2.0)] = Field(
        default_factory=lambda data: _of(data).resistive_h
    )
    kinetic_c: Annotated[float, Field(gt=0.0, lt=1.0)] | None = Field(
        default_factory=lambda data: _of(data).kinetic_c
    )
    kinetic_k_per_h: Annotated[float, Field(gt=0.0, le=100.0)] | None = Field(
        default_factory=lambda data: _of(data).kinetic_k_per_h
    )
    coulombic_percent: Efficiency = Field(default_factory=lambda data: _of(data).coulombic_percent)
    taper_from_percent: Percent = Field(default_factory=lambda data: _of(data).taper_from_percent)
    self_discharge_percent_month: Percent = Field(
        default_factory=lambda data: _of(data).self_discharge_percent_month
    )
    kg: From0 | None = None
    price: From0 | None = None
    inverter: Inverter | None = None
    dc12: Dc12
    usb: Usb
    solar_input: SolarInput

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
    watts: From0
    between: AWindow = None
    days: Days = None
