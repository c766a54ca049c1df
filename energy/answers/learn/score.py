"""The day after: what was predicted against what happened. The answer of `energy learn score`.

In points of charge, with a running record in the kit, so that the tool can say how far off it
usually is at this site.
"""

from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from energy.answers.learn.kit_file import Kit, kit_of, refuse_known_rows, with_rows
from energy.answers.learn.own_figures import usual_at
from energy.answers.learn.readings import Readings, read_readings
from energy.answers.learn.usable import HIGHEST_READ, is_read
from energy.plan import Plan, PlanError
from energy.simulation.budget import budget

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
    kit: Kit = field(repr=False)

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
                "readings": [
                    {
                        "at": one.at.isoformat(timespec="minutes"),
                        "measured_percent": one.measured_percent,
                        "predicted_percent": round(one.predicted_percent, 1),
                        "low_percent": round(one.low_percent, 1),
                        "high_percent": round(one.high_percent, 1),
                    }
                    for one in self.compared
                ],
            },
            "notes": list(self.notes),
        }


def score(
    plan: Plan, readings: Readings | Path | str, kit: Kit | Path | str | None = None
) -> Score:
    """Compare a plan's prediction, as it was made before the day, with what was read.

    Raises PlanError where no percentage can be used, or the rows were learned or scored before.

    >>> from energy.answers.learn.readings import parse_readings
    >>> plan = Plan.read("builtin:cloudy-repair")
    >>> seen = parse_readings("time,battery_percent\\n12:00,80\\n18:00,60\\n", plan)
    >>> len(score(plan, seen).compared)
    2
    """
    kit = kit_of(kit)
    if not isinstance(readings, Readings):
        readings = read_readings(readings, plan)
    read = [row for row in readings.rows if row.battery_percent is not None]
    result = budget(plan)
    read = [row for row in read if row.time_s > result.time_s[0] + ONES_OWN_S]
    rows = [row for row in read if is_read(row.battery_percent or 0.0)]
    notes = [*readings.problems]
    if len(rows) < len(read):
        left = len(read) - len(rows)
        bounds = f"of 0, or of {HIGHEST_READ:.0f} and more"
        notes.append(f"not compared are {left} battery_percent {bounds}: displays stay there")
    if not rows:
        raise PlanError([*notes, f"{readings.name}: no battery_percent to compare"])
    refuse_known_rows(kit, rows, "readings", "a prediction that knows them is no forecast; ")
    refuse_known_rows(kit, rows, "scores")
    low, high = np.percentile(result.charge_percent, [10.0, 90.0], axis=1)
    found = []
    for row in rows:
        predicted, least, most = (
            float(np.interp(row.time_s, result.time_s, values))
            for values in (result.charge_percent[:, result.middle], low, high)
        )
        found.append(Compared(row.at, row.battery_percent or 0.0, predicted, least, most))
    error = np.array([one.measured_percent - one.predicted_percent for one in found])
    typical = float(np.sqrt((error**2).mean()))
    new = with_rows(
        kit,
        "scores",
        readings.name,
        rows,
        typical_points=round(typical, 2),
        bias_points=round(float(error.mean()), 2),
        days=sorted({f"{row.at:%Y-%m-%d}" for row in rows}),
        latitude_deg=plan.place.latitude_deg,
        longitude_deg=plan.place.longitude_deg,
    )
    usual = usual_at(new, plan.place)
    assert usual is not None  # this day is on record
    return Score(
        plan=plan,
        readings=readings,
        compared=tuple(found),
        typical_points=typical,
        bias_points=float(error.mean()),
        inside=sum(
            c.low_percent - WHOLE <= c.measured_percent <= c.high_percent + WHOLE for c in found
        ),
        weathers=result.charge_percent.shape[1],
        days=usual.days,
        typical_on_record=usual.points,
        notes=tuple(notes),
        kit=new,
    )
