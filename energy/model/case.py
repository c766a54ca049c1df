"""The case: all that decides how the charge goes, as arrays. How it goes is for `simulate`.

Axis 0 is time (segments), axis 1 the scenarios.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import chain

import numpy as np

from energy.model import Array, Index
from energy.model.battery import Battery
from energy.model.electronics import InverterCurve

ALL = slice(None)


@dataclass(frozen=True)
class Load:
    """What one task asks: mean watts in the segments `rows` (ascending).

    lead_loss is the share of them that its lead adds at the outlet.
    """

    task: int
    supply: str
    rows: Index
    watts: Array
    lead_loss: float = 0.0

    def split(self, segment: int) -> "Load":
        """The same with a new segment of this number, cut off the one before."""
        begin, end = np.searchsorted(self.rows, [segment - 1, segment])
        rows = np.where(self.rows >= segment, self.rows + 1, self.rows)
        cut = slice(begin, end)  # one row, or none where nothing is asked
        return replace(
            self,
            rows=np.insert(rows, end, rows[cut] + 1),
            watts=np.insert(self.watts, end, self.watts[cut]),
        )

    def every_w(self, segments: int) -> Array:
        """Watts in each of so many segments, (n,)."""
        watts = np.zeros(segments)
        watts[self.rows] = self.watts
        return watts

    def joined(self, first: Index) -> "Load":
        """The same with fewer segments, which begin as the segments `first` do."""
        kept = np.isin(self.rows, first)
        return replace(self, rows=np.searchsorted(first, self.rows[kept]), watts=self.watts[kept])

    def between(self, first: int, last: int) -> "Load":
        """What is asked in the segments from `first` to before `last`, which then count from 0."""
        begin, end = np.searchsorted(self.rows, [first, last])
        return replace(self, rows=self.rows[begin:end] - first, watts=self.watts[begin:end])


@dataclass(frozen=True)
class Case:
    """All that decides how the charge goes; n segments, m scenarios.

    edges [UTC s], (n + 1,); solar_w [W at the panel side of the controller, after its limit],
    (rows, m), with solar_row (n,) saying which row a segment takes (-1: dark); temp_pack [deg C],
    (rows, m or 1), with temp_row (n,); charger_w (n,); inverter_on (n,) or (n, m), 0 or 1; loads in
    rank order; factor (tasks, m) multiplies each task's watts.

    `rows` of the methods are segments, all where they are left out.
    """

    edges: Array
    battery: Battery
    solar_w: Array
    solar_row: Index
    controller_efficiency: float
    charger_w: Array
    temp_pack: Array
    temp_row: Index
    idle_w: float
    inverter: InverterCurve | None
    inverter_on: Array
    outlet_efficiency: dict[str, float]
    loads: Sequence[Load]
    factor: Array

    def sun_w(self, rows: slice = ALL) -> Array:
        """What the panels give in the segments [W at the panel side], (n, m)."""
        solar_row = self.solar_row[rows]
        if not self.solar_w.size:
            return np.zeros((solar_row.size, self.battery.capacity_wh.size))
        sun = self.solar_w[solar_row]
        sun[solar_row < 0] = 0.0
        return sun

    def temp_c(self, rows: slice = ALL) -> Array:
        """The pack's temperature in the segments [deg C], (n, m or 1)."""
        return np.asarray(self.temp_pack[self.temp_row[rows]])

    @property
    def coldest_hottest_c(self) -> tuple[float, float]:
        """The pack's lowest and highest temperature in any scenario [deg C]."""
        temperature, _ = self._temperatures(ALL)
        return float(temperature.min()), float(temperature.max())

    def cold_unavailable(self, rows: slice = ALL) -> Array:
        """The share of the store that the cold withholds in the segments, (n, m or 1)."""
        temperature, row = self._temperatures(rows)
        return np.asarray(self.battery.cold_unavailable_share(temperature)[row])

    def frozen(self, rows: slice = ALL) -> Array:
        """Where the segments are too cold to charge in, 0 or 1 as `Battery.frozen`, (n, m or 1)."""
        temperature, row = self._temperatures(rows)
        frozen = self.battery.frozen(temperature)
        return np.asarray(frozen[row]) if frozen.any() else np.zeros((row.size, 1))

    def _temperatures(self, rows: slice) -> tuple[Array, Index]:
        """The pack's temperatures that the segments need, and which of them each takes."""
        needed = self.temp_row[rows]
        first, last = int(needed.min()), int(needed.max())
        return self.temp_pack[first : last + 1], needed - first

    def scenarios(self, only: slice | Index) -> "Case":
        """Some scenarios of the case alone: they go as they went among the others."""
        battery, inverter_on = self.battery, self.inverter_on
        return replace(
            self,
            battery=replace(
                battery,
                capacity_wh=battery.capacity_wh[only],
                charge_max_w=battery.charge_max_w[only],
            ),
            solar_w=self.solar_w[:, only],
            temp_pack=self.temp_pack if self.temp_pack.shape[1] == 1 else self.temp_pack[:, only],
            factor=self.factor[:, only],
            inverter_on=inverter_on if inverter_on.ndim == 1 else inverter_on[:, only],
        )

    def split(self, time_s: float) -> "Case":
        """The same with an edge at a moment, where it lies within the case [UTC s]."""
        if time_s in self.edges or not self.edges[0] < time_s < self.edges[-1]:
            return self
        at = int(np.searchsorted(self.edges, time_s))  # the new segment, after the one that it cuts
        rows = np.insert(np.arange(self.edges.size - 1), at, at - 1)
        edges = np.insert(self.edges, at, time_s)
        return self._cut_into(edges, rows, [load.split(at) for load in self.loads])

    def joined(self, edges: Array) -> "Case":
        """The same with segments in which nothing changes joined, but at some edges [UTC s]."""
        anew = np.isin(self.edges[:-1], [self.edges[0], *edges])
        asked = (load.every_w(anew.size) for load in self.loads)
        for values in chain(
            (self.solar_row, self.temp_row, self.charger_w, self.inverter_on), asked
        ):
            changes = np.diff(values, axis=0) != 0.0
            anew[1:] |= changes.reshape(anew.size - 1, -1).any(axis=1)
        rows = np.flatnonzero(anew)
        every = np.append(self.edges[rows], self.edges[-1])
        return self._cut_into(every, rows, [load.joined(rows) for load in self.loads])

    def _cut_into(self, edges: Array, rows: Index, loads: Sequence[Load]) -> "Case":
        """The same in other segments, each of which goes as one of its own does."""
        return replace(
            self,
            edges=edges,
            solar_row=self.solar_row[rows],
            charger_w=self.charger_w[rows],
            temp_row=self.temp_row[rows],
            inverter_on=self.inverter_on[rows],
            loads=loads,
        )

    def between(self, first: int, last: int) -> "Case":
        """The segments from `first` to before `last` alone, at least one."""
        rows = slice(first, last)
        solar_row, (temp_pack, temp_row) = self.solar_row[rows], self._temperatures(rows)
        lit = solar_row[solar_row >= 0]
        low, high = (int(lit.min()), int(lit.max()) + 1) if lit.size else (0, 0)
        return replace(
            self,
            edges=self.edges[first : last + 1],
            solar_w=self.solar_w[low:high],
            solar_row=np.where(solar_row >= 0, solar_row - low, -1),
            charger_w=self.charger_w[rows],
            temp_pack=temp_pack,
            temp_row=temp_row,
            inverter_on=self.inverter_on[rows],
            loads=[part for load in self.loads if (part := load.between(first, last)).rows.size],
        )
