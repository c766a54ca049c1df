"""What do this person's own readings say of their kit? The answer of `energy learn readings`.

The figures are fitted in `fit`; here the parts of the answer come together.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.answers.learn.confounded import Confounded, confounded, is_draw, keys_of
from energy.answers.learn.fit import Fit
from energy.answers.learn.forward_model import ForwardModel
from energy.answers.learn.items import Item, figure_items, raw_wh_of, sky_items
from energy.answers.learn.kit_file import (
    OWN,
    KitFile,
    as_kit_file,
    as_toml,
    refuse_known_rows,
    with_posterior,
    with_readings,
)
from energy.answers.learn.kit_profiles import refuse_another_make, wins_over, with_profiles
from energy.answers.learn.mistakes import ASK, believed, start_note
from energy.answers.learn.next_reading import what_to_read
from energy.answers.learn.observe import observe
from energy.answers.learn.posterior import Figure, Posterior, figures_of, refuse_another, rounded
from energy.answers.learn.readings import Readings, read_readings
from energy.model import Array
from energy.plan import Plan, PlanError, require_plan

if TYPE_CHECKING:
    from matplotlib.figure import Figure as Picture

ENOUGH = "needed are two battery_percent below 95, or solar_w, solar_wh or load_w"


@dataclass(frozen=True)
class Learned:
    """The answer: each figure before and after, what cannot be told apart, what to read next, what
    of the readings is doubted, what was done and could not be used, what the plan must say for the
    figures to count (these lines are notes too); and the kit file with all that in it."""

    plan: Plan
    readings: Readings
    items: tuple[Item, ...]
    apart: tuple[Confounded, ...]
    next_reading: str
    doubts: tuple[str, ...]
    unused: tuple[str, ...]
    to_count: tuple[str, ...]
    notes: tuple[str, ...]
    kit_file: KitFile = field(repr=False)
    before: Posterior = field(repr=False)
    fit: Fit = field(repr=False)
    day: ForwardModel = field(repr=False)

    def as_dict(self) -> dict[str, Any]:
        """The stable answer that `--json` prints."""
        return {
            "learned": [item.as_dict() for item in self.items],
            "apart": [group.line for group in self.apart],
            "next_reading": self.next_reading,
            "notes": list(self.notes),
        }

    def kit_toml(self, name: str) -> str:
        """The text of a kit file of this name, which any plan may name in `profiles`."""
        return as_toml(self.kit_file, name)

    def _repr_html_(self) -> str:
        return str(self.table().to_html())

    def table(self) -> Any:
        """One row a figure, as a pandas frame indexed by what it is of."""
        import pandas as pd

        return pd.DataFrame([vars(item) for item in self.items]).set_index("what")

    def charge_percent(self) -> tuple[Array, Array]:
        """Charge at the edges of `day.case` [percent], (n + 1,): as expected, and as fitted."""
        before, after = self._scenarios()
        return self.day.charge(*before)[:, 0], self.day.charge(*after)[:, 0]

    def solar_w(self) -> tuple[Array, Array]:
        """Watts of sun into the pack's bus in the segments of `day.case`, (n,): as expected, and
        as fitted."""
        before, after = (
            self.day.scenarios(*scenario, in_percent=False)[0] for scenario in self._scenarios()
        )
        efficiency = before.controller_efficiency
        return before.solar_w[:, 0] * efficiency, after.solar_w[:, 0] * efficiency

    def _scenarios(self) -> tuple[tuple[Array, Array], tuple[Array, Array]]:
        """Figures and nuisances before the readings and after, one scenario each."""
        before = self.before.mean[:, None], np.zeros((self.day.nuisances, 1))
        return before, (self.fit.posterior.mean[:, None], self.fit.nuisance[0][:, None])

    def plot(self) -> "Picture":
        """Measured against predicted charge: a matplotlib figure."""
        from energy.answers.learn.picture import learned

        return learned(self)


def learn(
    plan: Plan, readings: Readings | Path | str, kit_file: KitFile | Path | str | None = None
) -> Learned:
    """Learn a kit's figures from readings made while a plan was under way.

    plan: the plan that was under way.
    readings: what was read, or the path of a CSV file of it.
    kit_file: what was learned before, or the path of such a file; None where nothing was.

    Raises PlanError with a line for each thing that is wrong where nothing is left to learn from.

    >>> from energy.answers.learn.readings import parse_readings
    >>> plan = Plan.read("builtin:cloudy-repair")
    >>> seen = parse_readings("time,battery_percent,tool,count\\n"
    ...     "09:20,90,,\\n12:00,74,angle-grinder-115,16\\n", plan)
    >>> answer = learn(plan, seen)
    >>> [item.learned for item in answer.items if item.what == "tool:angle-grinder-115"]
    [True]
    """
    require_plan(plan)
    kit_file = as_kit_file(kit_file)
    if not isinstance(readings, Readings):
        readings = read_readings(readings, plan)
    rows = readings.rows
    if not rows:
        raise PlanError([*readings.problems, f"{readings.name}: no row can be used; {ENOUGH}"])
    figures, last = figures_of(plan), rows[-1].at.date()
    refuse_known_rows(kit_file, rows, "readings")
    refuse_another(kit_file.posterior, figures)
    refuse_another_make(kit_file, plan)
    prior = kit_file.aged(last).with_figures(figures)
    later = bool(kit_file.posterior.keys)
    everything = observe(plan, rows, prior, later=later)
    kept = believed(plan, readings, prior, everything, later)
    day, result = kept.day, kept.fit
    unused = (*readings.problems, *(f"{readings.name}: {line}" for line in day.unused))
    if result is None:
        lines = [*day.notes, *(kept.lines or [f"too little was read to learn from; {ENOUGH}"])]
        raise PlanError([*unused, *(f"{readings.name}: {line}" for line in lines)])
    if result.contradicts(prior, len(day.observed)):
        lines = [_contradiction(figures, prior, result), *start_note(plan, day, rows)]
        raise PlanError([*unused, *(f"{readings.name}: {line}" for line in lines)])
    posterior = result.posterior
    left_out = {*kept.left_out} - {seen.row for seen in day.observed}
    groups = confounded(figures, day, result)
    apart, source = keys_of(groups), f"{OWN}, to {last}"
    # Of draws that only go together one would be too small for a day that has it alone.
    draws = [key for key in apart if is_draw(key)]
    until_now, used = (each.not_below(day.stated_factor, draws) for each in (prior, posterior))
    updated = with_profiles(kit_file, plan, used, day.stated_factor, source, apart)
    updated = with_posterior(updated, posterior, last)
    updated = with_readings(updated, readings.name, [row for row in rows if row not in left_out])
    items = figure_items(figures, until_now, used, raw_wh_of(plan, day.rows), apart)
    doubts = kept.lines or tuple(start_note(plan, day, rows))
    to_count = tuple(wins_over(plan, updated))
    suggestions = what_to_read(plan, posterior, day.budget, most=1)
    return Learned(
        plan=plan,
        readings=readings,
        items=(*items, *sky_items(day, result)),
        apart=tuple(groups),
        next_reading=suggestions[0].text if suggestions else "",
        doubts=doubts,
        unused=unused,
        to_count=to_count,
        notes=(*unused, *readings.moved, *day.notes, *doubts, *to_count),
        kit_file=updated,
        before=prior,
        fit=result,
        day=day,
    )


def _contradiction(figures: Sequence[Figure], prior: Posterior, result: Fit) -> str:
    """What no likely kit would have shown, in words."""
    moved = result.posterior.moved_from(prior)
    items = figure_items(figures, prior, result.posterior, {})
    far = [float(moved[prior.keys.index(figure.key)]) for figure in figures]
    item = items[far.index(max(far))]
    return (
        "these readings do not fit the plan, and nothing is learned: they come nearest to it with"
        f" {item.name} {rounded(item.after, 3):g} {item.unit}, which was"
        f" {rounded(item.before, 3):g}; {ASK}"
    )
