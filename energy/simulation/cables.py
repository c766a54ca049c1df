"""A plan's runs of cable: what each joins, its volts and amps, and what it costs the simulation.

Resistances and tables are `model.conductors`'s. How a run is judged and worded lives in the
answers.
"""

from dataclasses import dataclass

import numpy as np

from energy.model import Array
from energy.model import conductors as conductors
from energy.model.electronics import inverter_curve
from energy.plan import Plan, PlanError
from energy.plan.schema import Cable
from energy.plan.task import Task
from energy.simulation import voltages
from energy.simulation.strings import I_SC_SHARE, Arrangement, laid_out, working_v
from energy.weather.coldest import Cold

ALLOWED = 1.0 + 1e-9  # times a limit: what only rounding puts beyond it is within it
LEAD_MM2 = 1.3  # AWG 16: a flexible lead may stand behind 20 A, NFPA 70 240.5(B), from memory


@dataclass(frozen=True)
class Run:
    """A run with the volts and working amps of what it joins.

    kind is panel, inverter, ac, dc12, usb or stated; peak_a is what fuse and conductor must bear,
    its factors in it; start_a a tool's start; about says what was assumed; breaker_a is the
    outlet's own; known is False where the volts are the lowest there are, for want of better.
    """

    cable: Cable
    kind: str
    volts: float
    amps: float
    peak_a: float
    start_a: float | None = None
    about: str = ""
    breaker_a: float | None = None
    known: bool = True

    @property
    def at_pack(self) -> bool:
        """Whether it begins or ends at the pack."""
        return "pack" in (self.cable.from_, self.cable.to)

    @property
    def beyond_fuses(self) -> bool:
        """Whether no fuse of the series bears its current; no cable of the tables does either."""
        return self.peak_a > conductors.FUSES_A[-1]

    @property
    def fuse_a(self) -> float | None:
        """The fuse at its feeding end [A]; None where the outlet limits itself, or beyond the
        series."""
        return None if self.kind in ("ac", "usb") or self.beyond_fuses else self.bears_a

    @property
    def bears_a(self) -> float:
        """What the copper should carry [A]: its fuse or its outlet's breaker."""
        return max(self._for_itself_a, self.breaker_a or 0.0)

    @property
    def must_carry_a(self) -> float:
        """What the copper must carry [A]: of a flexible lead as stated, thinner than its outlet's
        breaker but not too thin for that, its own tool."""
        return self._for_itself_a if (self.cable.mm2 or 0.0) >= LEAD_MM2 else self.bears_a

    @property
    def _for_itself_a(self) -> float:
        return self.peak_a if self.beyond_fuses else conductors.fuse_a(self.peak_a)

    @property
    def mm2(self) -> float:
        """The cross-section stated, else the smallest that will do, else the thickest there is."""
        return self.cable.mm2 or self.smallest_mm2 or conductors.CROSS_SECTIONS_MM2[-1]

    @property
    def smallest_mm2(self) -> float | None:
        """The smallest that keeps the drop and carries the current, of mains leads from the least
        usual on; None where none does."""
        return conductors.MAINS_LEAD_MM2 if self.least_decides else self._smallest[0]

    @property
    def least_decides(self) -> bool:
        """Whether a mains lead could be thinner than the least usual, for all that it carries."""
        mm2 = self._smallest[0]
        return self.kind == "ac" and mm2 is not None and mm2 < conductors.MAINS_LEAD_MM2

    @property
    def smallest_awg(self) -> int | None:
        """The same of the gauges."""
        thinnest = conductors.MAINS_LEAD_AWG if self.kind == "ac" else conductors.AWG_SOLD[0]
        cable = self.cable
        allowed_v = self.volts * cable.allowed_drop_percent / 100.0
        wire = (cable.conductor, cable.temp_c, cable.terminals_c)
        awg = conductors.smallest_awg(self.amps, cable.length_m, allowed_v, self.bears_a, *wire)
        return None if awg is None else min(awg, thinnest)

    @property
    def none_does(self) -> str:
        """Why no cross-section of the table will do; empty where one does."""
        return self._smallest[1]

    @property
    def _smallest(self) -> tuple[float | None, str]:
        cable = self.cable
        allowed_v = self.volts * cable.allowed_drop_percent / 100.0
        try:
            mm2 = conductors.smallest_mm2(
                self.amps, cable.length_m, allowed_v, self.bears_a, cable.conductor, cable.temp_c
            )
        except ValueError as error:
            return None, str(error)
        return mm2, ""

    @property
    def ohm(self) -> float:
        """Resistance of its copper there and back [ohm]."""
        cable = self.cable
        return conductors.loop_ohm(cable.length_m, self.mm2, cable.conductor, cable.temp_c)

    @property
    def carries_a(self) -> float:
        """What its copper carries for hours [A]."""
        return conductors.ampacity_a(self.mm2, self.bears_a, self.cable.terminals_c)

    @property
    def drop_v(self) -> float:
        """Voltage lost there and back while it works [V]."""
        return self.amps * self.ohm

    @property
    def drop_percent(self) -> float:
        """The same of its voltage [percent]."""
        return 100.0 * self.drop_v / self.volts

    @property
    def drops_too_much(self) -> bool:
        """Whether more than the drop allowed is lost on the way."""
        return self.drop_percent > self.cable.allowed_drop_percent * ALLOWED

    @property
    def thin_lead(self) -> bool:
        """Whether a mains lead is stated thinner than the least usual, by mm2 or by gauge."""
        return self.kind == "ac" and self.mm2 < LEAD_MM2

    @property
    def too_thin(self) -> bool:
        """Whether the copper carries less than its fuse, or than the one its outlet stands for."""
        return self.must_carry_a > self.carries_a * ALLOWED


def runs_of(plan: Plan, strings: list[Arrangement]) -> list[Run]:
    """What each run of a plan joins, in its order; `strings` as from `laid_out`.

    Raises PlanError: ends that no one cable joins, the same ends twice, no such cross-section.
    """
    runs: list[Run] = []
    problems: list[str] = []
    seen: dict[frozenset[str], int] = {}
    for number, cable in enumerate(plan.run, start=1):
        joined = frozenset((cable.from_, cable.to))
        try:
            if joined in seen:
                raise ValueError(
                    f'"{cable.from_}" to "{cable.to}" is run {seen[joined]} already: give the whole'
                    " way as one length, or name what else it joins"
                )
            seen[joined] = number
            if cable.mm2 is not None:
                conductors.ohm_per_km(cable.mm2)
            runs.append(_run(plan, cable, strings))
        except ValueError as error:
            problems.append(f"{plan.origin}: run {number}: {error}")
    if problems:
        raise PlanError(problems)
    return runs


def _run(plan: Plan, cable: Cable, strings: list[Arrangement]) -> Run:
    ends = {cable.from_, cable.to}
    tasks = [t for t in plan.task if f"task:{t.name}" in ends]
    if len(ends) == 1:
        raise ValueError(f'from and to are both "{cable.from_}"')
    if ends == {"panel", "pack"}:
        return _from_panels(cable, strings)
    has_inverter = plan.pack.inverter is not None
    if ends == {"pack", "inverter"} and has_inverter:
        return _to_inverter(plan, cable)
    if tasks and ("pack" in ends or ("inverter" in ends and has_inverter)):
        return _to_task(plan, cable, max(tasks, key=lambda task: task.peak_va))
    if cable.volts is None or (cable.amps is None and cable.watts is None):
        raise ValueError(
            f'"{cable.from_}" to "{cable.to}" is not panel to pack, pack to inverter or pack to'
            " task:NAME: give volts, with amps or watts"
        )
    amps = _amps(cable, cable.volts, 0.0)
    return Run(cable, "stated", cable.volts, amps, conductors.CONTINUOUS * amps)


def _amps(cable: Cable, volts: float, else_a: float) -> float:
    """The amps that a run states itself, else those of what it joins."""
    if cable.amps is not None:
        return cable.amps
    return else_a if cable.watts is None else cable.watts / volts


def _from_panels(cable: Cable, strings: list[Arrangement]) -> Run:
    watts, amps = sum(s.v_mp * s.i_mp for s in strings), sum(s.i_mp for s in strings)
    volts = cable.volts or watts / amps
    amps = _amps(cable, volts, watts / volts)
    stated = cable.amps is not None or cable.watts is not None
    bright_a = I_SC_SHARE * amps if stated else sum(s.i_sc for s in strings)
    return Run(cable, "panel", volts, amps, conductors.PANEL_CIRCUIT * bright_a)


def _to_inverter(plan: Plan, cable: Cable) -> Run:
    """The inverter at its rating on an empty battery: NFPA 70 690.8(A), from memory."""
    inverter = plan.pack.inverter
    assert inverter is not None
    curve = inverter_curve(inverter.rated_w, inverter.idle_w, inverter.efficiency_percent)
    drawn_w, surge_w = curve.input_w(np.array([inverter.rated_w, inverter.surge_w])).tolist()
    volts = cable.volts or voltages.empty_v(plan.pack)
    amps = _amps(cable, volts, drawn_w / volts)
    at = "as stated" if cable.volts is not None else "the battery's lowest, under load"
    return Run(
        cable=cable,
        kind="inverter",
        volts=volts,
        amps=amps,
        peak_a=conductors.CONTINUOUS * amps,
        start_a=surge_w / volts if inverter.surge_w > inverter.rated_w else None,
        about=f"{inverter.rated_w:g} W at the inverter's outlets draw {drawn_w:.0f} W at"
        f" {volts:.3g} V, {at}",
    )


def _to_task(plan: Plan, cable: Cable, task: Task) -> Run:
    if task.supply == "ac":
        outlet = voltages.mains(plan)
    elif task.supply == "usb":
        outlet = voltages.usb(cable.watts or task.peak_w)
    else:
        outlet = voltages.dc12(plan.pack)
    volts = cable.volts or outlet.volts
    factor = task.power_factor if task.supply == "ac" else 1.0
    amps = _amps(cable, volts, task.peak_va / volts)
    starts = task.start_w > task.peak_w
    inverter = plan.pack.inverter if task.supply == "ac" else None
    return Run(
        cable=cable,
        kind=task.supply,
        volts=volts,
        amps=amps,
        peak_a=conductors.CONTINUOUS * amps,
        start_a=task.start_w / volts / factor if starts else None,
        about="" if cable.volts is not None else outlet.about,
        breaker_a=None if inverter is None else voltages.breaker_a(inverter.rated_w, volts),
        known=cable.volts is not None or outlet.known,
    )


def at_the_pack(plan: Plan, panel_w: Array, cold: Cold) -> Array:
    """The panels' power [W] after the run from panel to pack, where the plan has one.

    cold is the place's lowest air, which decides how the panels are joined. The panels' working
    voltage is held at that of the label, though heat lowers it by some percent. A cross-section
    left out is the smallest that will do, else the thickest of the table. Raises PlanError.
    """
    if not plan.run:
        return panel_w
    runs = runs_of(plan, laid_out(plan, cold))
    run = next((run for run in runs if run.kind == "panel"), None)
    if run is None:
        return panel_w
    drawn_v = run.volts
    if plan.pack.solar_input.kind == "pwm":
        assert plan.pack.nominal_v is not None
        drawn_v = plan.pack.nominal_v
    return conductors.after_cable(panel_w, run.ohm, run.volts, drawn_v)


def solar_limit_w(plan: Plan, cold: Cold) -> float:
    """The most that the solar input takes [W], on the panels' side at the end of their cable.

    The least of max_w; of max_a at the strings' working volts, or at the battery's behind a PWM
    input; and of charge_max_a at the battery's volts before the controller's loss. Infinite where
    nothing is said. Raises PlanError.

    >>> solar_limit_w(Plan.read("builtin:cloudy-repair"), Cold(-40.0, "assumed", False, 25.0))
    234.0
    """
    into, battery_v = plan.pack.solar_input, plan.pack.nominal_v or 0.0
    limits_w = [np.inf if into.max_w is None else into.max_w]
    laid = laid_out(plan, cold)
    if into.max_a is not None and laid:
        volts = battery_v if into.kind == "pwm" else working_v(laid)
        limits_w.append(float(at_the_pack(plan, np.array(into.max_a * volts), cold)))
    if into.charge_max_a is not None:
        limits_w.append(into.charge_max_a * battery_v / (into.efficiency_percent / 100.0))
    return min(limits_w)


def lead_losses(plan: Plan, cold: Cold) -> dict[int, float]:
    """By task number from 0: what its lead from the pack loses, as a share of the task's watts.

    Taken at the working amps all along, a little on the safe side where a tool also runs free;
    whether an outlet's limits bear the loss too is not looked at. Tasks of one name share a lead.
    Raises PlanError.
    """
    losses: dict[int, float] = {}
    if not any(end.startswith("task:") for cable in plan.run for end in (cable.from_, cable.to)):
        return losses
    for run in runs_of(plan, laid_out(plan, cold)):
        if run.kind in ("ac", "dc12", "usb"):
            for k, task in enumerate(plan.task):
                if f"task:{task.name}" in (run.cable.from_, run.cable.to):
                    factor = task.power_factor if task.supply == "ac" else 1.0
                    losses[k] = run.drop_v / run.volts / factor
    return losses


def mains_notes(plan: Plan, cold: Cold) -> tuple[str, ...]:
    """A line for each lead whose mains voltage nobody knows. Raises PlanError."""
    if not plan.run or voltages.mains(plan).known:
        return ()
    return tuple(
        f"run {number}: {run.about}; until then it is reckoned at {run.volts:g} V, the lowest in"
        " use, where a lead loses most"
        for number, run in enumerate(runs_of(plan, laid_out(plan, cold)), start=1)
        if not run.known
    )
