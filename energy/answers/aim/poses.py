"""The yield of all poses of a plan's panels, and of turning them, in a few columns of light.

Good for finding what is best; what is then said of it comes from budgets in all weathers. The
optics are `solar`'s.
"""

from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations
from typing import Any

import numpy as np
from scipy.interpolate import RectBivariateSpline

from energy.model import Array, Index, Mask
from energy.model.timeline import Calendar, Interval
from energy.simulation.budget import Budget
from energy.simulation.solar import solar
from energy.weather.days import Days
from energy.weather.weathers import Light, Weathers

TILTS_DEG = np.arange(0.0, 91.0, 15.0)  # a finer grid moves no best pose by a degree
AZIMUTHS_DEG = np.arange(0.0, 360.0, 30.0)
COLUMNS = 5  # of light: their yields lie within 1 % of those of 31, the best pose within 1 degree
FINE_ROWS, COARSEST = 800, 6  # a long span is searched in steps of up to half an hour
BIN_MIN = 30  # turns are sought at every half hour of the clock
DAY_BINS = 24 * 60 // BIN_MIN
MOST_TURNS = 3


def half_hours(calendar: Calendar, time_s: Array) -> Index:
    """The half hour of the local clock in which each moment lies, 0 to 47."""
    seconds = calendar.local(time_s).astype("int64") % 86400
    return np.asarray(seconds // (60 * BIN_MIN))


@dataclass(frozen=True)
class Yields:
    """What the poses of a grid give in the plan's own hours: tilt_deg (n,), azimuth_deg (k,), wh
    (n, k).

    azimuth_deg has one item where the heading cannot be chosen.
    """

    tilt_deg: Array
    azimuth_deg: Array
    wh: Array

    def at(self, tilt_deg: Array, azimuth_deg: Array) -> Array:
        """Wh of poses between those of the grid, by cubic splines; (tilts, azimuths).

        tilt_deg and azimuth_deg ascend; the azimuths lie between 0 and 360.
        """
        around = np.concatenate([self.azimuth_deg + turn for turn in (-360.0, 0.0, 360.0, 720.0)])
        surface = RectBivariateSpline(self.tilt_deg, around, np.tile(self.wh, 4))
        return np.asarray(surface(tilt_deg, azimuth_deg))

    def best(self) -> tuple[float, float]:
        """Tilt and azimuth of the best pose, in whole degrees.

        >>> tilts, azimuths = np.radians(TILTS_DEG), np.radians(AZIMUTHS_DEG)
        >>> square = np.sin(tilts + 0.6)[:, None] * (2.0 + np.cos(azimuths - 3.0))
        >>> Yields(TILTS_DEG, AZIMUTHS_DEG, square).best()
        (56.0, 172.0)
        """
        surface = self.at(np.arange(0.0, 91.0), np.arange(0.0, 360.0))
        tilt, azimuth = np.unravel_index(int(surface.argmax()), surface.shape)
        return float(tilt), float(azimuth)


@dataclass(frozen=True)
class Search:
    """A plan's panels under a few columns of light that stand for all weathers alike.

    aimed are the panels to be posed, from 0; its rows are some of the lit cells, (rows,), each
    standing for so many hours. Poses that are tried are keywords of the plan's panel.
    """

    days: Days
    weather: Weathers
    hours: Array
    aimed: tuple[int, ...]
    swings: bool

    def given_wh(self, **pose: Any) -> Array:
        """What all panels give in each row when the aimed ones stand like this [Wh], (rows,)."""
        return np.asarray(self._given(self.weather, 1, **pose)[0])

    def _given(self, weather: Weathers, times: int, **pose: Any) -> Array:
        """As `given_wh`, in weathers that hold its rows so many times, (times, rows)."""
        # No checks are needed: angles and times are those of this file's grids.
        panels = tuple(
            panel.model_copy(update=pose) if k in self.aimed else panel
            for k, panel in enumerate(self.days.plan.panel)
        )
        posed = replace(self.days, plan=self.days.plan.model_copy(update={"panel": panels}))
        scenarios = weather.shift_days.size
        derates = [np.full(scenarios, panel.condition_percent / 100.0) for panel in panels]
        panel_w = solar(posed, weather, derates).panel_w.mean(axis=1)
        return np.asarray(panel_w.reshape(times, self.hours.size) * self.hours)

    @cached_property
    def _grid_wh(self) -> Array:
        """What the panels give in each row in the poses of the grid [Wh], (tilts, azimuths, rows);
        one azimuth where the heading cannot be chosen."""
        azimuths = self._azimuths_deg
        turned = self._turned(azimuths - azimuths[0])
        pose = {"aim": self.standing, "facing": float(azimuths[0])}
        tilted = [
            self._given(turned, azimuths.size, **pose, tilt_deg=tilt)
            for tilt in TILTS_DEG[1:].tolist()
        ]
        flat = np.repeat(self.given_wh(aim="flat")[None], azimuths.size, axis=0)
        return np.array([flat, *tilted])

    def _turned(self, by_deg: Array) -> Weathers:
        """The weathers once for each angle, with the sun turned back by it, as a panel sees it that
        is turned on."""
        light, air = self.weather.light, self.weather.air
        again = np.tile(np.arange(light.lit.size), by_deg.size)
        sun = light.sun.rows(again)
        sun = replace(sun, azimuth=sun.azimuth - np.repeat(by_deg, light.lit.size))
        sky = light.sky_above(again, self.days.plan.place.horizon)
        return replace(
            self.weather,
            light=Light(light.lit[again], sun, sky.ghi, sky.dni, sky.dome + sky.glow, sky),
            air=replace(air, wind_speed=air.wind_speed[again]),
        )

    @property
    def _azimuths_deg(self) -> Array:
        return AZIMUTHS_DEG[:1] if self.swings else AZIMUTHS_DEG

    def yields(self, inside: Interval = (-np.inf, np.inf)) -> Yields:
        """The yields of the grid of poses; of what comes in between two moments [UTC s] only."""
        begins = self.days.cells[:-1][self.weather.light.lit]
        rows = (begins >= inside[0]) & (begins < inside[1])
        wh = self._grid_wh[:, :, rows].sum(axis=2)
        return Yields(TILTS_DEG, self._azimuths_deg, wh)

    def change(
        self, aim: str, pose: tuple[float, float] | None = None, at: tuple[str, ...] = ()
    ) -> dict[str, Any]:
        """The plan's keys that set the aimed panels up; without a pose they keep theirs."""
        keys: dict[str, Any] = {"aim": aim, "re_aim_at": list(at) or None}
        if pose is not None:
            tilt, azimuth = (int(angle) if angle == int(angle) else angle for angle in pose)
            keys |= {"tilt_deg": tilt} if self.swings else {"tilt_deg": tilt, "facing": azimuth}
        return {f"panel.{k + 1}.{key}": value for k in self.aimed for key, value in keys.items()}

    @property
    def standing(self) -> str:
        """How the aimed panels stand where nobody turns them."""
        return "swinging" if self.swings else "fixed"

    def turns(self, tilt_deg: float, azimuth_deg: float) -> list[tuple[str, ...]]:
        """The best one, two and three times of the day to turn the panels square to the sun.

        They start in the given pose. Between two turns they give what they would give turned at
        the first alone, and before the first what they would give turned at the last alone: so a
        run for each half hour of the clock tells of all combinations.
        """
        bins = half_hours(self.days.calendar, self.days.cells[:-1][self.weather.light.lit])
        gives = np.bincount(bins, self.given_wh(aim="follow"), DAY_BINS) > 0.0
        times = np.flatnonzero(gives & self._sun_is_up())
        upto = np.zeros((times.size, DAY_BINS + 1))  # Wh of each run before each half hour
        for row, time in enumerate(times.tolist()):
            pose = {"aim": "re-aimed", "re_aim_at": (("clock", float(BIN_MIN * time)),)}
            given = self.given_wh(**pose, tilt_deg=tilt_deg, facing=azimuth_deg)
            upto[row, 1:] = np.cumsum(np.bincount(bins, given, DAY_BINS))
        best = []
        for number in range(1, min(MOST_TURNS, times.size) + 1):
            picks = np.array(list(combinations(range(times.size), number)))
            clock = times[picks]
            until = np.column_stack([clock[:, 1:], np.full(len(picks), DAY_BINS)])
            total = upto[picks[:, -1], clock[:, 0]]
            total = total + (upto[picks, until] - upto[picks, clock]).sum(axis=1)
            minutes = BIN_MIN * clock[int(total.argmax())]
            best.append(tuple(f"{m // 60:02d}:{m % 60:02d}" for m in minutes.tolist()))
        return best

    def _sun_is_up(self) -> Mask:
        """At which half hours the sun is up on about as many days of the span as at any, (48,)."""
        up = np.zeros(DAY_BINS)
        calendar = self.days.calendar
        for day in calendar.days(None)[1:]:
            rise, fall = calendar.sun_times(day)
            at = [calendar.at(("clock", float(BIN_MIN * k)), day) for k in range(DAY_BINS)]
            up += [rise < t < fall for t in at]
        return np.asarray((up >= 0.9 * up.max()) & (up > 0.0))


def search(result: Budget) -> Search:
    """A budget's plan and weathers made ready for trying poses.

    At each moment the weathers are ranked by their light, and a few ranks stand for all: what
    panels give at a moment depends on that moment alone, so its weathers need no names. Where
    panels swing with a boat, they are the ones to be posed, else all.
    """
    weather, light, air = result.weather, result.weather.light, result.weather.air
    scenarios = light.ghi.shape[1]
    every = int(np.clip(light.lit.size // FINE_ROWS, 1, COARSEST))
    firsts = np.arange(0, light.lit.size, every)
    rows = np.minimum(firsts + every // 2, light.lit.size - 1)
    hours = np.diff(result.days.cells)[light.lit] / 3600.0
    columns = min(COLUMNS, scenarios)
    ranks = ((np.arange(columns) + 0.5) * scenarios / columns).astype(int)
    ranked = np.argsort(light.ghi[rows], axis=1)[:, ranks]
    ghi, dni, dhi = (
        np.take_along_axis(part[rows], ranked, axis=1) for part in (light.ghi, light.dni, light.dhi)
    )
    horizon = result.plan.place.horizon
    few = replace(
        weather,
        light=Light(light.lit[rows], light.sun.rows(rows), ghi, dni, dhi).with_sky(horizon),
        air=replace(
            air,
            temp_air=air.temp_air.mean(axis=1, keepdims=True),
            wind_speed=air.wind_speed[rows].mean(axis=1, keepdims=True),
        ),
        shift_days=np.zeros(columns),
    )
    swinging = tuple(k for k, panel in enumerate(result.plan.panel) if panel.aim == "swinging")
    return Search(
        days=result.days,
        weather=few,
        hours=np.add.reduceat(hours, firsts) if firsts.size else hours,
        aimed=swinging or tuple(range(len(result.plan.panel))),
        swings=bool(swinging),
    )
