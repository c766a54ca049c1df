"""What the value of a key may be: types with their bounds, and the frozen table they stand in."""

from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

from energy.plan.moments import Moment, Window, moment, window
from energy.plan.words import shown


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
