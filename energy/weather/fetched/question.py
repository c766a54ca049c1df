"""What a weather service is asked, and the first look at its answer: shape, numbers, unit, place.

No network here; that is for `online`. What each service's answer means is for `power` and
`ensemble`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, NoReturn, TypeVar
from urllib.parse import urlsplit

import numpy as np
from pydantic import BaseModel, Field, ValidationError

from energy.plan import PlanError
from energy.plan.words import shown
from energy.weather.record import Floats, ground_km

OTHER_PLACE_KM = 100.0  # answers are for the nearest cell, and the widest are one degree
ELEVATION_M = (-500.0, 9000.0)

Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Answer = TypeVar("Answer", bound=BaseModel)


class Unavailable(PlanError):
    """What was asked of a service did not come; its line says of whom, what came and what to do."""

    status = 3

    def __init__(self, line: str):
        super().__init__([line])

    @property
    def line(self) -> str:
        """The one line.

        >>> Unavailable("two\\nlines").line
        'two lines'
        """
        return self.problems[0]


@dataclass(frozen=True)
class Question:
    """What is asked of whom, in words; the place in degrees, as it is sent: to about 100 m."""

    service: str
    address: str
    wanted: str
    latitude: float
    longitude: float

    @property
    def host(self) -> str:
        """The machine that is asked."""
        return urlsplit(self.address).netloc

    @property
    def where(self) -> str:
        """The place, in words."""
        return f"{self.latitude:.3f}, {self.longitude:.3f}"

    def refuse(self, came: str, advice: str = "try again later") -> NoReturn:
        """Raise Unavailable with what came instead of an answer."""
        raise Unavailable(
            f"{self.service} ({self.host}), asked for {self.wanted} at {self.where}: {came};"
            f" {advice}; what was held before is as it was"
        )


def place_sent(latitude: float, longitude: float) -> tuple[float, float]:
    """The place as it is sent [deg]; PlanError for one that is not on the earth."""
    for name, value, most in (("latitude", latitude, 90), ("longitude", longitude, 180)):
        if not abs(value) <= most:
            raise PlanError([f"{name} must be -{most} to {most} degrees (got {shown(value)})"])
    return round(latitude, 3) + 0.0, round(longitude, 3) + 0.0


def read_answer(asked: Question, shape: type[Answer], answer: Any) -> Answer:
    """The answer in its shape; the first thing in it that does not fit is refused."""
    try:
        return shape.model_validate(answer)
    except ValidationError as error:
        problem = error.errors(include_url=False, include_context=False)[0]
    path = ".".join(map(str, problem["loc"])) or next(iter(shape.model_fields))
    if problem["type"] in ("missing", "model_type", "dict_type"):
        asked.refuse(f"its answer has no {path}")
    if problem["input"] is None:
        asked.refuse(f"its answer has no number for {path}")
    asked.refuse(f"{path} in its answer holds {shown(problem['input'])}, not numbers")


def numbers(asked: Question, values: Any, name: str) -> Floats:
    """A list of numbers, null as NaN."""
    try:
        wrong = [value for value in values if type(value) not in (int, float, type(None))]
        if not wrong:
            return np.array([np.nan if v is None else float(v) for v in values])
    except (TypeError, OverflowError):
        wrong = [values]
    asked.refuse(f"{name} in its answer holds {shown(wrong[0])}, not numbers")


def check_unit(asked: Question, unit: Any, allowed: tuple[str, ...], name: str) -> None:
    """Refuse a unit that is not allowed; only its letters count, for it is written in many ways."""
    letters = "".join(c for c in str(unit).casefold().replace("hr", "h") if "a" <= c <= "z")
    if letters not in allowed:
        asked.refuse(f"{name} is in {shown(unit)}, which is not the unit asked for")


def check_place(
    asked: Question, latitude: float, longitude: float, elevation_m: float
) -> tuple[float, float, float]:
    """The place of an answer, if it is the one asked for."""
    away_km = float(ground_km(asked.latitude, asked.longitude, latitude, longitude))
    if not away_km <= OTHER_PLACE_KM:
        asked.refuse(f"its answer is for {latitude:.2f}, {longitude:.2f}, {away_km:.0f} km away")
    if not ELEVATION_M[0] <= elevation_m <= ELEVATION_M[1]:
        asked.refuse(f"its answer puts the place at {elevation_m:g} m")
    return latitude, longitude, elevation_m
