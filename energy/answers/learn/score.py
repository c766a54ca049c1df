"""The day after: what was predicted against what happened. The answer of `energy learn score`.

In points of charge, with a running record in the kit file, so that the tool can say how far off it
usually is at this site.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from energy.answers.learn.kit_file import (
    KitFile,
    ScoreRecord,
    as_kit_file,
    refuse_known_rows,
    source_of,
    with_score,
)
from energy.answers.learn.observations import HIGHEST_READ, is_read
from energy.answers.learn.own_figures import usual_at
from energy.answers.learn.readings import Readings, Row, read_readings
from energy.plan import Plan, PlanError, require_plan
from energy.simulation.budget import Budget, budget
from energy.simulation.case import span_of

ONES_OWN_S = 60.0  # the charge at the start is the plan's own, not a prediction
WHOLE = 0.5  # of a percent: displays show whole ones


@dataclass(frozen=True)
class Compared:
    """One percentage read, with what was predicted for that moment and its 8-in-10 range."""

    at: datetime
    measured_percent: float
    predicted_percent: float
    low_percent: float
    high_percent: float

    @property
    def inside(self) -> bool:
        """Whether the range holds what was read, as far as a display shows it."""
        low, high = self.low_percent - WHOLE, self.high_percent + WHOLE
        return low <= self.measured_percent <= high

    @property
    def off_points(self) -> float:
        """How much more was read than predicted."""
        return self.measured_percent - self.predicted_percent

    def as_dict(self) -> dict[str, Any]:
        """The reading as `--json` prints it."""
        return {
            "at": self.at.isoformat(timespec="minutes"),
            "measured_percent": self.measured_percent,
            "predicted_percent": round(self.predicted_percent, 1),
            "low_percent": round(self.low_percent, 1),
            "high_percent": round(self.high_percent, 1),
        }


@dataclass(frozen=True)
class Score:
    """How far the prediction lay off [points of charge], this time and over all days on
    record at this site."""

    plan: Plan
    readings: Readings
    compared: tuple[Compared, ...]
    typical_points: float
    bias_points: float
    inside: int
    weathers: int
    days: int
    typical_on_record: float
    notes: tuple[str, ...]
    kit_file: KitFile = field(repr=False)

    def as_dict(self) -> dict[str, Any]:
        """The answer that `--json` prints."""
        return {
            "score": {
                "typical_points": round(self.typical_points, 1),
                "bias_points": round(self.bias_points, 1),
                "inside": self.inside,
                "of": len(self.compared),
                "weathers": self.weathers,
                "days": self.days,
                "typical_on_record": round(self.typical_on_record, 1),
                "readings": [reading.as_dict() for reading in self.compared],
            },
            "notes": list(self.notes),
        }


def score(
    plan: Plan, readings: Readings | Path | str, kit_file: KitFile | Path | str | None = None
) -> Score:
    """Compare a plan's prediction, as it was made before the day, with what was read.

    plan: the plan of that day.
    readings: what was read, or the path of a CSV file of it.
    kit_file: the record of days scored before, or the path of such a file; None: there is none.

    Raises PlanError where no percentage can be used, or the rows were learned or scored before.

    >>> from energy.answers.learn.readings import parse_readings
    >>> plan = Plan.read("builtin:cloudy-repair")
    >>> seen = parse_readings("time,battery_percent\\n12:00,80\\n18:00,60\\n", plan)
    >>> len(score(plan, seen).compared)
    2
    """
    require_plan(plan)
    kit_file = as_kit_file(kit_file)
    if not isinstance(readings, Readings):
        readings = read_readings(readings, plan)
    begun, started = _as_begun(plan, readings.rows)
    result = budget(begun)
    rows, notes = _comparable(readings, float(result.time_s[0]))
    notes += started
    refuse_known_rows(kit_file, rows, "readings", "a prediction that knows them is no forecast; ")
    refuse_known_rows(kit_file, rows, "scores")
    compared = _compared(result, rows)
    error = np.array([reading.off_points for reading in compared])
    typical, bias = float(np.sqrt((error**2).mean())), float(error.mean())
    record = ScoreRecord(
        **source_of(readings.name, rows),
        typical_points=round(typical, 2),
        bias_points=round(bias, 2),
        days=sorted({f"{row.at:%Y-%m-%d}" for row in rows}),
        latitude_deg=plan.place.latitude_deg,
        longitude_deg=plan.place.longitude_deg,
    )
    updated = with_score(kit_file, record)
    usual = usual_at(updated, plan.place)
    assert usual is not None  # this day is on record
    return Score(
        plan=plan,
        readings=readings,
        compared=compared,
        typical_points=typical,
        bias_points=bias,
        inside=sum(reading.inside for reading in compared),
        weathers=result.success.size,
        days=usual.days,
        typical_on_record=usual.points,
        notes=tuple(notes),
        kit_file=updated,
    )


def _as_begun(plan: Plan, rows: Sequence[Row]) -> tuple[Plan, list[str]]:
    """The plan with the charge that was read at its start, and a line where that is another: it was
    no prediction."""
    start_s = span_of(plan)[0]
    at_start = [r for r in rows if r.time_s <= start_s + ONES_OWN_S]
    percent = next((r.battery_percent for r in at_start if r.battery_percent is not None), None)
    if percent is None or abs(percent - plan.pack.start_percent) <= WHOLE:
        return plan, []
    line = (
        f"the day began at {percent:g} %, not at {plan.pack.start_percent:g} % as planned: the"
        " prediction from there is scored"
    )
    return plan.replace(**{"pack.start_percent": percent}), [line]


def _comparable(readings: Readings, start_s: float) -> tuple[list[Row], list[str]]:
    """The rows whose percentage can be held against a prediction that starts at a moment, and lines
    about the others. Raises PlanError where there are none."""
    read = [
        row
        for row in readings.rows
        if row.battery_percent is not None and row.time_s > start_s + ONES_OWN_S
    ]
    rows = [row for row in read if is_read(row.battery_percent or 0.0)]
    notes = [*readings.problems, *readings.moved]
    if left := len(read) - len(rows):
        bounds = f"of 0, or of {HIGHEST_READ:.0f} and more"
        notes.append(f"not compared are {left} battery_percent {bounds}: displays stay there")
    if not rows:
        raise PlanError([*notes, f"{readings.name}: no battery_percent to compare"])
    return rows, notes


def _compared(result: Budget, rows: Sequence[Row]) -> tuple[Compared, ...]:
    """Each percentage with what the budget's scenarios say of that moment."""
    low, high = np.percentile(result.charge_percent, [10.0, 90.0], axis=1)
    middle = result.middle_charge_percent
    return tuple(
        Compared(
            row.at,
            row.battery_percent or 0.0,
            *(float(np.interp(row.time_s, result.time_s, line)) for line in (middle, low, high)),
        )
        for row in rows
    )
