"""Which cable, which fuse, and do the panels' strings suit the input? The answer of `energy wire`.

It judges and words what `cables` finds in the plan, by the tables of `model.conductors`. How hot a
cable gets in a bundle or a coil, and what the law asks, it leaves to local codes and says so.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from energy.answers.wire.fuses import fuse
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
from energy.plan import Plan, PlanError
from energy.show.numbers import for_json
from energy.simulation.budget import Budget
from energy.simulation.cables import Joined, joined
from energy.simulation.strings import Arrangement

HARD_START_PERCENT = 10.0  # a deeper dip and a motor may not start (common practice)
ALLOWED = 1.0 + 1e-9

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Wired:
    """One run: amps while working, the drop there and back, the loss, the copper and the fuse.

    mm2 as stated or else found, the thickest of the table where none will do; awg 0 stands for 1/0,
    -3 for 4/0, None where no gauge bears as much; fuse_a None where the outlet limits itself or no
    fuse is as large; fuse_v (DC) and fuse_breaks_a at least, None where not known, fuse_words all
    of it;
    start_dip_percent None where nothing starts harder than it works; about says what was assumed of
    its volts, rule what was followed.
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

    @property
    def drops_too_much(self) -> bool:
        """Whether more than the drop allowed is lost on the way."""
        return self.drop_percent > self.allowed_drop_percent * ALLOWED

    @property
    def too_thin(self) -> bool:
        """Whether the copper carries less than its fuse, or than the one its outlet stands for."""
        return self.must_carry_a > self.carries_a * ALLOWED

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
        fits: list[bool | None] = [cable.fits for cable in self.runs]
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


def wire(asked: Plan | Budget, lowest_c: float | None = None) -> Wire:
    """Judge each run of a plan, or find its cable, and the strings of its panels.

    lowest_c is the place's record-low air [deg C]; left out, the lowest that the place is likely
    ever to have, by the plan and its weather (which a Budget has; with a Plan it is worked out).
    Raises PlanError for runs that join nothing, or whose mains voltage nobody knows.

    >>> found = wire(Plan.read("builtin:january-job"), lowest_c=-15.0)
    >>> [(run.mm2, run.fuse_a, run.fits) for run in found.runs]
    [(10.0, 50.0, True)]
    """
    plan = asked.plan if isinstance(asked, Budget) else asked
    if lowest_c is not None:
        asked = plan = with_record_low(plan, lowest_c)
    air = air_of(asked) if plan.panel else None
    laid: list[Arrangement] = []
    strings: tuple[String, ...] = ()
    notes: list[str] = []
    asks: tuple[str, ...] = ()
    if air is not None:
        laid, strings = judged(plan, air)
        notes += [*cold_notes(plan, air), *string_notes(plan, laid, strings)]
        asks = asks_of(plan, laid)
    ends = joined(plan, laid)
    runs = _wired(plan, ends, laid, _coldest_v(laid) if laid else None)
    notes += _run_notes(plan, ends, runs)
    return Wire(runs, strings, air, tuple(dict.fromkeys(notes)), asks)


def _coldest_v(laid: list[Arrangement]) -> float | None:
    """The highest open-circuit voltage of the strings, None where a label is not known."""
    volts = [way.v_oc_cold for way in laid]
    known = [v for v in volts if v is not None]
    return max(known) if len(known) == len(volts) else None


def _wired(
    plan: Plan, ends: list[Joined], laid: list[Arrangement], cold_v: float | None
) -> tuple[Wired, ...]:
    found, problems = [], []
    for number, one in enumerate(ends, start=1):
        try:
            found.append(_one(plan, one, laid, cold_v))
        except ValueError as error:
            problems.append(f"{plan.origin}: run {number}: {error}")
    if problems:
        raise PlanError(problems)
    return tuple(found)


def _one(plan: Plan, one: Joined, laid: list[Arrangement], cold_v: float | None) -> Wired:
    if not one.known:
        raise ValueError(one.about)
    cable, mm2 = one.cable, one.mm2
    ohm, carries_a, must_carry_a = one.ohm(mm2), one.carries_a(mm2), one.must_carry_a
    guard = fuse(one, plan.pack, laid, cold_v)
    return Wired(
        from_=cable.from_,
        to=cable.to,
        volts=one.volts,
        amps=one.amps,
        length_m=cable.length_m,
        allowed_drop_percent=cable.allowed_drop_percent,
        drop_v=one.amps * ohm,
        drop_percent=100.0 * one.amps * ohm / one.volts,
        loss_w=one.amps**2 * ohm,
        mm2=mm2,
        awg=_awg(one, mm2),
        fuse_a=one.fuse_a,
        fuse_v=None if guard is None else guard.v,
        fuse_breaks_a=None if guard is None else guard.breaks_a,
        fuse_words="" if guard is None else guard.words,
        carries_a=carries_a,
        must_carry_a=must_carry_a,
        start_dip_percent=None if one.start_a is None else 100.0 * one.start_a * ohm / one.volts,
        about=one.about,
        rule=_rule(one, mm2),
    )


def _awg(one: Joined, mm2: float) -> int | None:
    """The gauge as thick, that bears as much where the cross-section does."""
    beside_a = one.bears_a if one.carries_a(mm2) >= one.bears_a else 0.0
    try:
        return conductors.awg_as_thick(mm2, beside_a, one.cable.terminals_c)
    except ValueError:
        return None


def _rule(one: Joined, mm2: float) -> str:
    """The rules behind a run's figures, in one line."""
    cable = one.cable
    listed = mm2 in conductors.CROSS_SECTIONS_MM2
    copper = "IEC 60228 class 5"
    if not listed:
        copper = f"AWG {conductors.awg_words(conductors.same_awg(mm2) or 0)} by ASTM B258"
    if cable.conductor == "tinned":
        copper += ", tinned"
    parts = [f"{copper} at {cable.temp_c:g} C, there and back"]
    if cable.mm2 is None and one.none_does:
        parts.append("the thickest of the table, which is not enough")
    elif cable.mm2 is None:
        parts.append(f"smallest size that keeps {cable.allowed_drop_percent:g} % and its current")
    if one.beyond_fuses:
        parts.append(f"no fuse: the series ends at {conductors.FUSES_A[-1]:g} A")
    elif one.kind == "panel":
        parts.append("fuse 1.25 x 1.25 x Isc (NFPA 70 690.8), next standard size")
    elif one.fuse_a is not None:
        parts.append("fuse 1.25 x continuous amps (NFPA 70 210.20), next standard size")
    elif one.kind == "usb":
        parts.append("no fuse of its own: the outlet limits itself")
    elif one.must_carry_a == one.breaker_a:
        parts.append(f"no fuse of its own: it bears the outlet's breaker of {one.breaker_a:g} A")
    else:
        parts.append("no fuse of its own: it bears 1.25 x its tool's amps, next standard size")
    heat = "IEC 60364-5-52 method B1" if mm2 >= 1.0 else "BS 7671 table 4F3A"
    if not listed:
        column_c = conductors.gauge_column_c(one.bears_a, cable.terminals_c)
        heat = f"NFPA 70 240.4(D), 310.16 at {column_c} C by 110.14(C)"
    parts.append(f"copper that carries it, alone and uncoiled ({heat})")
    return "; ".join(parts)


def _run_notes(plan: Plan, ends: list[Joined], runs: tuple[Wired, ...]) -> list[str]:
    notes = []
    for number, (one, cable) in enumerate(zip(ends, runs, strict=True), start=1):
        if cable.about:
            notes.append(f"run {number}: {cable.about}")
        if cable.drops_too_much:
            notes.append(
                f"run {number} drops {cable.drop_percent:.2g} %,"
                f" {cable.allowed_drop_percent:g} % are allowed{_instead(one)}"
            )
        if cable.too_thin:
            notes.append(
                f"run {number}: {cable.mm2:g} mm2 carries {cable.carries_a:g} A for hours, it must"
                f" carry {cable.must_carry_a:.3g} A{_instead(one)}"
            )
        elif one.bears_a > cable.carries_a * ALLOWED:
            notes.append(
                f"run {number}: {cable.mm2:g} mm2 carries {cable.carries_a:g} A, its outlet's"
                f" breaker lets {one.bears_a:g} A pass: plug nothing else into it (a flexible lead"
                " from AWG 16 up may stand behind 20 A: NFPA 70 240.5(B))"
            )
        if cable.start_dip_percent is not None and cable.start_dip_percent > HARD_START_PERCENT:
            notes.append(
                f"run {number}: the start dips the voltage by {cable.start_dip_percent:.0f} %: the"
                " tool may not start"
            )
        if one.kind in ("stated", "inverter"):
            notes.append(f"the loss of run {number} is not in the simulation")
    if not plan.run:
        notes.append("the plan names no cable: add a [[run]] with from, to and length_m")
    return notes


def _instead(one: Joined) -> str:
    """What would do, a gauge for a gauge, or why nothing does."""
    awg = one.smallest_awg
    if conductors.same_awg(one.mm2) is not None and awg is not None:
        return f": take AWG {conductors.awg_words(awg)}"
    return f"; {one.none_does}" if one.none_does else f": take {one.smallest_mm2:g} mm2"
