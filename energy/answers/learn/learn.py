"""What do this person's own readings say of their kit? The answer of `energy learn`.

The figures behind it are fitted in `fit`; here they become what people ask of them: before and
after, what cannot be told apart, and what to read next.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.answers.learn.fit import Fit, fit, z_score
from energy.answers.learn.kit_file import (
    OWN,
    Kit,
    as_toml,
    kit_of,
    refuse_another_make,
    refuse_known_rows,
    wins_over,
    with_posterior,
    with_profiles,
    with_rows,
)
from energy.answers.learn.lived_day import Day
from energy.answers.learn.observe import observe
from energy.answers.learn.posterior import (
    INTERVAL_80,
    LEARNED,
    MOVED,
    SURE_OF_CAPACITY,
    Figure,
    Posterior,
    figures_of,
    refuse_another,
    rounded,
    words,
)
from energy.answers.learn.readings import Readings, Row, read_readings
from energy.answers.learn.what_to_read import what_to_read
from energy.model import Array
from energy.plan import Plan, PlanError
from energy.plan.words import and_list

if TYPE_CHECKING:
    from matplotlib.figure import Figure as Picture

TOGETHER = 0.4  # a correlation that is worth a word
ASK = (
    "was something else running, a charger's watts not written since the row before, or another"
    " time? If not, the plan states something wrong"
)


@dataclass(frozen=True)
class Item:
    """One figure before and after, with its 80 % interval; doubt_left_percent is of the doubt
    before anything was read; raw_wh is what the percentages alone make of one cut or charge."""

    what: str
    name: str
    unit: str
    before: float
    after: float
    low: float
    high: float
    learned: bool
    doubt_left_percent: float
    raw_wh: float | None = None

    @property
    def moved(self) -> bool:
        """Whether its value is another than before, learned or not: it is used as it is."""
        return abs(self.after - self.before) > MOVED * abs(self.before)


@dataclass(frozen=True)
class Learned:
    """The answer: what was learned, what cannot be told apart, what to read next; and the kit
    that remembers it."""

    plan: Plan
    readings: Readings
    items: tuple[Item, ...]
    apart: tuple[str, ...]
    next_reading: str
    notes: tuple[str, ...]
    kit: Kit = field(repr=False)
    before: Posterior = field(repr=False)
    fit: Fit = field(repr=False)
    day: Day = field(repr=False)

    def as_dict(self) -> dict[str, Any]:
        """The stable answer that `--json` prints."""
        return {
            "learned": [
                {
                    "what": item.what,
                    "unit": item.unit,
                    "before": rounded(item.before),
                    "after": rounded(item.after),
                    "low": rounded(item.low),
                    "high": rounded(item.high),
                    "learned": item.learned,
                    "doubt_left_percent": round(item.doubt_left_percent),
                    "raw_wh": None if item.raw_wh is None else rounded(item.raw_wh),
                }
                for item in self.items
            ],
            "apart": list(self.apart),
            "next_reading": self.next_reading,
            "notes": list(self.notes),
        }

    def kit_toml(self, name: str) -> str:
        """The kit as the text of a file of this name, which any plan may name in `profiles`."""
        return as_toml(self.kit, name)

    def _repr_html_(self) -> str:
        return str(self.table().to_html())

    def table(self) -> Any:
        """One row a figure, as a pandas frame indexed by what it is of."""
        import pandas as pd

        return pd.DataFrame([vars(item) for item in self.items]).set_index("what")

    def charge_percent(self) -> tuple[Array, Array]:
        """Charge at the edges of `day.case`: as expected before, and as found [percent]."""
        zeros = np.zeros((self.day.nuisances, 1))
        before = self.day.charge(self.before.mean[:, None], zeros)[:, 0]
        after = self.day.charge(self.fit.posterior.mean[:, None], self.fit.nuisance[0][:, None])[
            :, 0
        ]
        return before, after

    def solar_w(self) -> tuple[Array, Array]:
        """Watts of sun into the pack's bus in the segments of `day.case`: before, and as found."""
        before = self._sun_w(self.before.mean, np.zeros(self.day.nuisances))
        return before, self._sun_w(self.fit.posterior.mean, self.fit.nuisance[0])

    def _sun_w(self, mean: Array, nuisance: Array) -> Array:
        case, _ = self.day.scenarios(mean[:, None], nuisance[:, None], in_percent=False)
        return np.asarray(case.solar_w[:, 0] * case.controller_efficiency)

    def plot(self) -> "Picture":
        """Measured against predicted charge: a matplotlib figure."""
        from energy.answers.learn.picture import learned

        return learned(self)


def learn(
    plan: Plan, readings: Readings | Path | str, kit: Kit | Path | str | None = None
) -> Learned:
    """Learn a kit's figures from readings made while a plan was under way.

    A kit, or a file with one, holds what was learned before and is added to. Raises PlanError with
    a line for each thing that is wrong where nothing is left to learn from.

    >>> from energy.answers.learn.readings import parse_readings
    >>> plan = Plan.read("builtin:cloudy-repair")
    >>> seen = parse_readings("time,battery_percent,tool,count\\n"
    ...     "09:20,90,,\\n12:00,74,angle-grinder-115,16\\n", plan)
    >>> answer = learn(plan, seen)
    >>> [item.learned for item in answer.items if item.what == "tool:angle-grinder-115"]
    [True]
    """
    kit = kit_of(kit)
    if not isinstance(readings, Readings):
        readings = read_readings(readings, plan)
    rows = readings.rows
    enough = "needed are two battery_percent below 95, or solar_w, solar_wh or load_w"
    if not rows:
        raise PlanError([*readings.problems, f"{readings.name}: no row can be used; {enough}"])
    refuse_known_rows(kit, rows, "readings")
    figures = figures_of(plan)
    refuse_another(kit.posterior, figures)
    refuse_another_make(kit, plan)
    before = kit.aged(rows[-1].at.date()).with_figures(figures)
    read = observe(plan, rows, before, later=bool(kit.posterior.keys))
    day, outlier = _without_odd(read, before)
    if not day.observed:
        lines = [*read.notes, *(outlier or [f"too little was read to learn from; {enough}"])]
        raise PlanError([*readings.problems, *(f"{readings.name}: {line}" for line in lines)])
    found = fit(before, [day])
    _refuse_contradiction(readings.name, figures, before, found, len(day.observed))
    after, last = found.posterior, rows[-1].at.date()
    new = with_profiles(kit, plan, after, day.in_plan, f"{OWN}, to {last}")
    left_out = {one.row for one in read.observed} - {one.row for one in day.observed}
    used = [row for row in rows if row not in left_out]
    new = with_rows(with_posterior(new, after, last), "readings", readings.name, used)
    items = _items(figures, before, after, _raw(plan, rows)) + _skies(day, found)
    suggestions = what_to_read(plan, after, day.budget, most=1)
    return Learned(
        plan=plan,
        readings=readings,
        items=tuple(items),
        apart=tuple(_apart(figures, after, day, found)),
        next_reading=suggestions[0].text if suggestions else "",
        notes=(*readings.problems, *day.notes, *outlier, *wins_over(plan, new)),
        kit=new,
        before=before,
        fit=found,
        day=day,
    )


def _refuse_contradiction(
    name: str, figures: Sequence[Figure], before: Posterior, found: Fit, count: int
) -> None:
    """Raise PlanError where no likely kit would have shown these readings together."""
    if not found.contradicts(before, count):
        return
    moved = np.abs(found.posterior.mean - before.mean) / before.first_sd
    items = _items(figures, before, found.posterior, {})
    far = [float(moved[before.keys.index(figure.key)]) for figure in figures]
    most = items[far.index(max(far))]
    raise PlanError(
        [
            f"{name}: these readings do not fit the plan, and nothing is learned: they come nearest"
            f" to it with {most.name} {rounded(most.after, 3):g} {most.unit}, which was"
            f" {rounded(most.before, 3):g}; {ASK}"
        ]
    )


def _items(
    figures: Sequence[Figure], before: Posterior, after: Posterior, raw: dict[str, float]
) -> list[Item]:
    items = []
    for figure in figures:
        at = after.keys.index(figure.key)
        scale = after.base[at] * figure.each
        kind, _, name = figure.key.partition(":")
        sd = float(after.sd[at])
        shown = max(sd, SURE_OF_CAPACITY) if kind == "capacity_wh" else sd
        mean, left = float(after.mean[at]), sd / float(after.first_sd[at])
        most = 100.0 if figure.unit == "%" else np.inf  # a condition, as a plan can state it
        items.append(
            Item(
                what=figure.key if kind == "tool" else kind,
                name=words(figure.key),
                unit=figure.unit,
                before=float(before.mean[at]) * scale,
                after=min(mean * scale, most),
                low=min(max(mean - INTERVAL_80 * shown, 0.0) * scale, most),
                high=min((mean + INTERVAL_80 * shown) * scale, most),
                learned=left <= LEARNED,
                doubt_left_percent=100.0 * left,
                raw_wh=raw.get(name) if kind == "tool" else None,
            )
        )
    return items


def _skies(day: Day, found: Fit) -> list[Item]:
    """Each day's sun as a share of what was expected, from the nuisances of its sky."""
    items = []
    for name, weight in day.sky_days.items():
        of_all = np.zeros(day.nuisances)
        of_all[1 : 1 + weight.size] = weight
        first = float(np.sqrt(of_all @ of_all))
        if first == 0.0:
            continue
        mean = 1.0 + float(of_all @ found.nuisance[0])
        sd = float(np.sqrt(of_all @ found.luck_covariance[0] @ of_all))
        low, high = max(mean - INTERVAL_80 * sd, 0.0), mean + INTERVAL_80 * sd
        items.append(
            Item(
                what=f"sky:{name}",
                name=words(f"sky:{name}"),
                unit="% of expected",
                before=100.0,
                after=100.0 * mean,
                low=100.0 * low,
                high=100.0 * high,
                learned=sd <= LEARNED * first,
                doubt_left_percent=100.0 * sd / first,
            )
        )
    return items


def _raw(plan: Plan, rows: Sequence[Row]) -> dict[str, float]:
    """Wh from the pack for one of each counted tool, by the percentages alone: what the pack lost
    between two rows with nothing else counted, over the count."""
    lost: dict[str, float] = {}
    counts: dict[str, int] = {}
    percents: dict[float, float] = {}
    for row in rows:
        if row.battery_percent is not None:
            percents.setdefault(row.time_s, row.battery_percent)
    moments = sorted({row.time_s for row in rows})
    for earlier, now in pairwise(moments):
        done = [row for row in rows if row.time_s == now and row.tool and row.count]
        if len(done) != 1 or earlier not in percents or now not in percents:
            continue
        tool, count = str(done[0].tool), int(done[0].count or 0)
        drop = percents[earlier] - percents[now]
        lost[tool] = lost.get(tool, 0.0) + drop / 100.0 * plan.pack.capacity_wh
        counts[tool] = counts.get(tool, 0) + count
    return {tool: wh / counts[tool] for tool, wh in lost.items() if wh > 0.0}


def _apart(figures: Sequence[Figure], after: Posterior, day: Day, found: Fit) -> list[str]:
    """What the readings move only together, in words."""
    left = dict(zip(after.keys, (after.sd / after.first_sd).tolist(), strict=True))
    names = {figure.key: words(figure.key) for figure in figures}
    tools = [key for key in names if key.startswith("tool:") and left[key] <= LEARNED]
    lines = []
    capacity = next(key for key in names if key.startswith("capacity_wh"))
    if left[capacity] > LEARNED:
        lines.append(
            "the capacity and all draws together: percentages show only their ratio; charge once"
            " from below 20 % by 30 points from a charger whose watts you know"
        )
    if tools:
        lines.append(
            f"the energy of {and_list([names[key] for key in tools])} and the losses of inverter"
            " and outlets: the pack shows only both together"
        )
    lines += _with_sky(names, after, day, found, left)
    loads = [key for key in names if key.startswith(("tool:", "idle_w"))]
    at = [after.keys.index(key) for key in loads]
    covariance = after.covariance[np.ix_(at, at)]
    related = covariance / np.sqrt(np.outer(np.diag(covariance), np.diag(covariance)))
    for i, j in zip(*np.nonzero(np.triu(related < -TOGETHER, 1)), strict=True):
        pair = f"{names[loads[i]]} and {names[loads[j]]}"
        lines.append(f"{pair}: they ran between the same readings; read between them")
    return lines


def _with_sky(
    names: dict[str, str], after: Posterior, day: Day, found: Fit, left: dict[str, float]
) -> list[str]:
    """Panel and sky, where each day's light is known but not which of the two made it."""
    key = next((key for key in names if key.startswith("condition_percent")), None)
    if key is None or left[key] < 0.5:
        return []
    at = after.keys.index(key)
    for weight in day.sky_days.values():
        of_all = np.zeros(day.nuisances)
        of_all[1 : 1 + weight.size] = weight
        sd = float(np.sqrt(of_all @ found.luck_covariance[0] @ of_all))
        shared = float(found.luck_with[0][at] @ of_all)
        if sd > 0.0 and shared < -TOGETHER * sd * float(after.sd[at]):
            return [
                "the panel's condition and that day's sky: only their product shows; a day called"
                " clear tells them apart"
            ]
    return []


def _without_odd(day: Day, before: Posterior) -> tuple[Day, list[str]]:
    """The day without the readings that nothing the plan says explains, and a line on each."""
    kept, lines = [], []
    for one, far in zip(day.observed, z_score(before, day).tolist(), strict=True):
        if far == 0.0:
            kept.append(one)
            continue
        way = "higher" if far > 0.0 else "lower"
        lines.append(
            f"row {one.row.number}: {one.column} of {one.value:g} is {way} than the plan's day can"
            f" explain, and left out; {ASK}"
        )
    return replace(day, observed=tuple(kept)), lines
