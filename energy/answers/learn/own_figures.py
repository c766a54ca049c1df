"""Which figures of a plan are a person's own, and how far off its predictions usually are there.

Both come from the kit files that the plan names; what was learned into them is for `kit_file`.
"""

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from energy.answers.learn.kit_file import KitFile, ScoreRecord, named_by
from energy.answers.learn.posterior import Posterior, figures_of
from energy.plan import Plan, PlanError
from energy.plan.schema import Place
from energy.weather.record import ground_km

SAME = 2e-3  # a share: profiles hold four figures
SITE_KM = 25.0  # judgement: so near, the same hills and clouds


@dataclass(frozen=True)
class OwnFigure:
    """A figure that the plan takes from its owner's readings, and the percent of the doubt before
    them that is left."""

    what: str
    doubt_left_percent: float


@dataclass(frozen=True)
class Usual:
    """How far predictions lay from what was read at a site, on so many days [points of charge]."""

    points: float
    days: int


@dataclass(frozen=True)
class Own:
    """What a plan has of its owner's: figures, and the usual error where days were scored; lines
    where what was learned cannot be used."""

    figures: tuple[OwnFigure, ...] = ()
    usual: Usual | None = None
    problems: tuple[str, ...] = ()

    @property
    def tools(self) -> tuple[str, ...]:
        """The tools, or tasks without one, among the figures."""
        keys = (figure.what for figure in self.figures)
        return tuple(key.removeprefix("tool:") for key in keys if key.startswith("tool:"))

    def as_dict(self) -> dict[str, Any]:
        """What `--json` adds to an answer."""
        figures = [
            {"what": figure.what, "doubt_left_percent": round(figure.doubt_left_percent)}
            for figure in self.figures
        ]
        usual = self.usual and {**asdict(self.usual), "points": round(self.usual.points, 1)}
        return {"own_figures": figures, "usual_error": usual}


def own(plan: Plan, folder: Path) -> Own:
    """What a plan in a folder takes from the kit files it names: only figures that it really uses.

    >>> own(Plan.read("builtin:cloudy-repair"), Path())
    Own(figures=(), usual=None, problems=())
    """
    try:
        kit_file = named_by(plan, folder)
    except PlanError as error:  # the plan has its tools all the same
        return Own(problems=tuple(error.problems))
    return Own(tuple(_used(plan, kit_file.posterior)), usual_at(kit_file, plan.place))


def _used(plan: Plan, posterior: Posterior) -> list[OwnFigure]:
    """The figures that readings taught or moved, whose value is the plan's too."""
    changed, used = set(posterior.changed), []
    for figure in figures_of(plan):
        if figure.key in changed:
            at = posterior.keys.index(figure.key)
            value = float(posterior.base[at] * posterior.mean[at])
            if figure.unit == "%":
                value = min(value, 100.0)
            if abs(figure.value - value) <= SAME * value:
                left = 100.0 * float(posterior.doubt_left[at])
                used.append(OwnFigure(figure.key, left))
    return used


def usual_at(kit_file: KitFile, place: Place) -> Usual | None:
    """The usual error over the days scored at a place; None where there are none."""
    here = [score for score in kit_file.learned.scores.values() if _near(score, place)]
    if not here:
        return None
    points = np.sqrt(np.mean(np.square([score.typical_points for score in here])))
    return Usual(float(points), len({day for score in here for day in score.days}))


def _near(score: ScoreRecord, place: Place) -> bool:
    """Whether a day was scored at the place."""
    if score.latitude_deg is None or score.longitude_deg is None:
        return False
    here = place.latitude_deg, place.longitude_deg
    return float(ground_km(*here, score.latitude_deg, score.longitude_deg)) <= SITE_KM
