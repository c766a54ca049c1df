"""Which cable, which fuse, and do the panels' strings suit the input? The answer of `energy wire`.

It judges and words what `cables` finds in the plan, by the tables of `model.conductors`. How hot a
cable gets in a bundle or a coil, and what the law asks, it leaves to local codes and says so.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from energy.answers.wire.fuses import Fuse, fuse
from energy.answers.wire.strings import (
    Air,
    String,
    air_of,
    asks_of,
    cold_notes,
    judged,
    string_notes,
    with_record_low,
)
from energy.model import conductors as conductors
from energy.plan import Plan, PlanError, require_plan
from energy.show.numbers import for_json
from energy.simulation.budget import Budget
from energy.simulation.cables import ALLOWED, Run, runs_of
from energy.simulation.strings import Arrangement

HARD_START_PERCENT = 10.0  # a deeper dip and a motor may not start (common practice)

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Wired:
    """One run: amps while working, the drop there and back, the loss, the copper and the fuse.

    mm2 as stated or else found, the thickest of the table where none will do; awg 0 stands for 1/0,
    -3 for 4/0, None where no gauge bears as much; fuse_a None where the outlet limits itself or no
    fuse is as large; fuse_v (DC) and fuse_breaks_a at least, None where not known, fuse_words all
    of it; start_dip_percent None where nothing starts harder than it works; about says what was
    assumed of its volts, rule what was followed; drops_too_much: more than allowed is lost on the
    way; too_thin: the copper carries less than its fuse, or than its outlet's; instead: what would
    do, empty where it is good.
    """

    from_: str
    to: str
    volts: float
    amps: float
    length_m: float
    allowed_drop_percent: float
    drop_v: float
    drop_percent: float
    loss_w: float
    mm2: float
    awg: int | None
    fuse_a: float | None
    fuse_v: float | None
    fuse_breaks_a: float | None
    fuse_words: str
    carries_a: float
    must_carry_a: float
    start_dip_percent: float | None
    about: str
    rule: str
    drops_too_much: bool
    too_thin: bool
    instead: str = ""

    @property
    def fits(self) -> bool:
        """Whether the run is good as it is."""
        return not (self.drops_too_much or self.too_thin)


@dataclass(frozen=True)
class Wire:
    """The answer; air is what the strings were judged in, None without panels.

    asks: what only the maker of the solar input can answer.
    """

    runs: tuple[Wired, ...]
    strings: tuple[String, ...]
    air: Air | None
    notes: tuple[str, ...]
    asks: tuple[str, ...] = ()

    @property
    def lowest_c(self) -> float | None:
        """The air in which the strings were judged [deg C], None without panels."""
        return None if self.air is None else self.air.cold.lowest_c

    @property
    def verdict(self) -> bool | None:
        """False where a run drops too much or is too thin, or no arrangement of a panel fits; None
        where nothing was judged or whether a string fits is not known."""
        fits: list[bool | None] = [run.fits for run in self.runs]
        fits += [string.fits for string in self.strings if string.taken]
        if False in fits:
            return False
        return None if None in fits or not fits else True

    @property
    def yes(self) -> bool:
        """Whether all was judged and is good."""
        return self.verdict is True

    def _repr_html_(self) -> str:
        return str(self.table().to_html())

    def table(self) -> "pd.DataFrame":
        """A row for each run: amps, drop, loss, copper and fuse."""
        import pandas as pd

        return pd.DataFrame(self.as_dict()["runs"])

    def as_dict(self) -> dict[str, Any]:
        """The stable answer that `--json` prints."""
        return {
            "runs": [
                {
                    "from": cable.from_,
                    "to": cable.to,
                    "amps": round(cable.amps, 2),
                    "drop_v": round(cable.drop_v, 3),
                    "drop_percent": round(cable.drop_percent, 2),
                    "loss_w": round(cable.loss_w, 2),
                    "mm2": cable.mm2,
                    "awg": cable.awg,
                    "fuse_a": cable.fuse_a,
                    "rule": cable.rule,
                    "volts": round(cable.volts, 2),
                    "about": cable.about,
                    "fuse_v": for_json(cable.fuse_v, 1),
                    "fuse_breaks_a": for_json(cable.fuse_breaks_a, None),
                }
                for cable in self.runs
            ],
            "strings": [
                {
                    "panels_in_series": string.panels_in_series,
                    "v_oc_cold": for_json(string.v_oc_cold, 1),
                    "limit_v": string.limit_v,
                    "fits": string.fits,
                    "taken": string.taken,
                }
                for string in self.strings
            ],
            "air": None if self.air is None else self.air.as_dict(),
        }


def wire(plan: Plan | Budget, lowest_c: float | None = None) -> Wire:
    """Judge each run of a plan, or find its cable, and the strings of its panels.

    plan may also be its budget, which is then not worked out again. lowest_c is the place's
    record-low air [deg C]; left out, the lowest that the place is likely ever to have, by the plan
    and its weather. Raises PlanError for runs that join nothing, or whose mains voltage nobody
    knows.

    >>> answer = wire(Plan.read("builtin:january-job"), lowest_c=-15.0)
    >>> [(run.mm2, run.fuse_a, run.fits) for run in answer.runs]
    [(10.0, 50.0, True)]
    """
    own = plan.plan if isinstance(plan, Budget) else plan
    require_plan(own)
    if lowest_c is not None:
        plan = own = with_record_low(own, lowest_c)
    air = air_of(plan) if own.panel else None
    laid, strings = ([], ()) if air is None else judged(own, air)
    notes = [] if air is None else [*cold_notes(own, air), *string_notes(own, laid, strings)]
    runs = runs_of(own, laid)
    wired = _wired(own, runs, laid)
    notes += _run_notes(own, runs, wired)
    return Wire(wired, strings, air, tuple(dict.fromkeys(notes)), asks_of(own, laid))


def _coldest_v(laid: list[Arrangement]) -> float | None:
    """The highest open-circuit voltage of the strings; None without any, or where a label is not
    known."""
    volts = [way.v_oc_cold for way in laid if way.v_oc_cold is not None]
    return max(volts) if laid and len(volts) == len(laid) else None


def _wired(plan: Plan, runs: list[Run], laid: list[Arrangement]) -> tuple[Wired, ...]:
    wired, problems = [], []
    for number, run in enumerate(runs, start=1):
        try:
            wired.append(_wired_run(run, fuse(run, plan.pack, laid, _coldest_v(laid))))
        except ValueError as error:
            problems.append(f"{plan.origin}: run {number}: {error}")
    if problems:
        raise PlanError(problems)
    return tuple(wired)


def _wired_run(run: Run, guard: Fuse | None) -> Wired:
    if not run.known:
        raise ValueError(run.about)
    cable = run.cable
    return Wired(
        from_=cable.from_,
        to=cable.to,
        volts=run.volts,
        amps=run.amps,
        length_m=cable.length_m,
        allowed_drop_percent=cable.allowed_drop_percent,
        drop_v=run.drop_v,
        drop_percent=run.drop_percent,
        loss_w=run.amps**2 * run.ohm,
        mm2=run.mm2,
        awg=_awg(run),
        fuse_a=run.fuse_a,
        fuse_v=None if guard is None else guard.v,
        fuse_breaks_a=None if guard is None else guard.breaks_a,
        fuse_words="" if guard is None else guard.words,
        carries_a=run.carries_a,
        must_carry_a=run.must_carry_a,
        start_dip_percent=None
        if run.start_a is None
        else 100.0 * run.start_a * run.ohm / run.volts,
        about=run.about,
        rule=_rule(run),
        drops_too_much=run.drops_too_much,
        too_thin=run.too_thin,
        instead=_instead(run) if run.drops_too_much or run.too_thin else "",
    )


def _awg(run: Run) -> int | None:
    """The gauge as thick, that bears as much where the cross-section does."""
    bears_a = run.bears_a if run.carries_a >= run.bears_a else 0.0
    try:
        return conductors.awg_as_thick(run.mm2, bears_a, run.cable.terminals_c)
    except ValueError:
        return None


def _rule(run: Run) -> str:
    """The rules behind a run's figures, in one line."""
    cable, mm2 = run.cable, run.mm2
    listed = mm2 in conductors.CROSS_SECTIONS_MM2
    copper = "IEC 60228 class 5"
    if not listed:
        copper = f"AWG {conductors.awg_words(conductors.same_awg(mm2) or 0)} by ASTM B258"
    if cable.conductor == "tinned":
        copper += ", tinned"
    parts = [f"{copper} at {cable.temp_c:g} C, there and back"]
    if cable.mm2 is None and run.none_does:
        parts.append("the thickest of the table, which is not enough")
    elif cable.mm2 is None and run.least_decides:
        parts.append("the least usual for a mains lead on site (common practice)")
    elif cable.mm2 is None:
        parts.append(f"smallest size that keeps {cable.allowed_drop_percent:g} % and its current")
    if run.beyond_fuses:
        parts.append(f"no fuse: the series ends at {conductors.FUSES_A[-1]:g} A")
    elif run.kind == "panel":
        parts.append("fuse 1.25 x 1.25 x Isc (NFPA 70 690.8), next standard size")
    elif run.fuse_a is not None:
        parts.append("fuse 1.25 x continuous amps (NFPA 70 210.20), next standard size")
    elif run.kind == "usb":
        parts.append("no fuse of its own: the outlet limits itself")
    elif run.must_carry_a == run.breaker_a:
        parts.append(f"no fuse of its own: it bears the outlet's breaker of {run.breaker_a:g} A")
    else:
        parts.append("no fuse of its own: it bears 1.25 x its tool's amps, next standard size")
    heat = "IEC 60364-5-52 method B1" if mm2 >= 1.0 else "BS 7671 table 4F3A"
    if not listed:
        column_c = conductors.gauge_column_c(run.bears_a, cable.terminals_c)
        heat = f"NFPA 70 240.4(D), 310.16 at {column_c} C by 110.14(C)"
    parts.append(f"copper that carries it, alone and uncoiled ({heat})")
    return "; ".join(parts)


def _run_notes(plan: Plan, runs: list[Run], wired: tuple[Wired, ...]) -> list[str]:
    notes = []
    for number, (run, cable) in enumerate(zip(runs, wired, strict=True), start=1):
        if cable.about:
            notes.append(f"run {number}: {cable.about}")
        if run.cable.mm2 is None and run.least_decides:
            notes.append(
                f"run {number}: {cable.mm2:g} mm2 is the least usual for a mains lead on site,"
                " where it is dragged and trodden on (common practice); drop and current alone"
                " would let it be thinner"
            )
        if cable.drops_too_much:
            notes.append(
                f"run {number} drops {cable.drop_percent:.2g} %,"
                f" {cable.allowed_drop_percent:g} % are allowed: {cable.instead}"
            )
        if cable.too_thin:
            notes.append(
                f"run {number}: {cable.mm2:g} mm2 carries {cable.carries_a:g} A for hours, it must"
                f" carry {cable.must_carry_a:.3g} A: {cable.instead}"
            )
        elif run.bears_a > cable.carries_a * ALLOWED:
            notes.append(
                f"run {number}: {cable.mm2:g} mm2 carries {cable.carries_a:g} A, its outlet's"
                f" breaker lets {run.bears_a:g} A pass: plug nothing else into it (a flexible lead"
                " from AWG 16 up may stand behind 20 A: NFPA 70 240.5(B))"
            )
        if cable.start_dip_percent is not None and cable.start_dip_percent > HARD_START_PERCENT:
            notes.append(
                f"run {number}: the start dips the voltage by {cable.start_dip_percent:.0f} %: the"
                " tool may not start"
            )
        if run.kind in ("stated", "inverter"):
            notes.append(f"the loss of run {number} is not in the simulation")
    if not plan.run:
        notes.append("the plan names no cable: add a [[run]] with from, to and length_m")
    return notes


def _instead(run: Run) -> str:
    """What would do, a gauge for a gauge, or why nothing does."""
    awg = run.smallest_awg
    if conductors.same_awg(run.mm2) is not None and awg is not None:
        return f"take AWG {conductors.awg_words(awg)}"
    return run.none_does or f"take {run.smallest_mm2:g} mm2"
