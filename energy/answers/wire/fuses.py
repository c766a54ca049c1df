"""What a run's fuse must be besides its amps: the DC volts it bears and the short it breaks.

How many amps is `cables`'; volts and short circuit of the battery are `voltages`'.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from energy.model import conductors as conductors
from energy.plan.kit import Pack
from energy.simulation import voltages
from energy.simulation.cables import Run
from energy.simulation.strings import Arrangement

# Blade fuses, ISO 8820-3, from memory.
BLADE_V, BLADE_BREAKS_A = 32.0, 1000.0
LOW_V = 60.0  # a stated run above it is no battery of this kind (common practice)
OVERCHARGED = 1.3  # the highest of any 12 or 24 V battery over its nominal: lead-acid equalising
ROUNDING = 1e-9


@dataclass(frozen=True)
class Fuse:
    """DC voltage [V] and breaking capacity [A] at least, None where not known, and all in words."""

    v: float | None
    breaks_a: float | None
    words: str


def fuse(run: Run, pack: Pack, laid: Sequence[Arrangement], cold_v: float | None) -> Fuse | None:
    """The fuse of a run; None where it has none of its own.

    laid are the panels' strings; cold_v is the highest open-circuit voltage of one at its coldest,
    None where a label's v_oc is not known. Raises ValueError beyond the fuse series.
    """
    if run.fuse_a is None:
        return None
    if run.kind == "stated" and not run.at_pack and run.volts > LOW_V:
        words = (
            f"{run.fuse_a:g} A, of the voltage and the kind of current, AC or DC, of its source,"
            " breaking what that gives into a short"
        )
        return Fuse(None, None, words)
    volts, why = _volts(run, pack, cold_v)
    breaks_a, rule = voltages.short_circuit_a(pack)
    parts = [
        f"{run.fuse_a:g} A",
        f"DC voltage at least {why if volts is None else f'{volts:.1f} V ({why})'}",
        f"breaking capacity at least {breaks_a:,.0f} A (the battery's short circuit, {rule})",
    ]
    if volts is not None and volts > BLADE_V:
        parts.append(f"blade fuses end at {BLADE_V:g} V")
    if breaks_a > BLADE_BREAKS_A * (1.0 + ROUNDING):
        parts.append(f"blade fuses break {BLADE_BREAKS_A:,.0f} A at most (ISO 8820-3)")
    if run.kind == "panel":
        parts += _string_fuses(laid)
    return Fuse(volts, breaks_a, ", ".join(parts[:3]) + "".join(f"; {part}" for part in parts[3:]))


def _volts(run: Run, pack: Pack, cold_v: float | None) -> tuple[float | None, str]:
    """The highest voltage of a run's circuit, and what makes it."""
    full_v = voltages.full_v(pack)
    if run.kind == "panel":
        if cold_v is None:
            return None, "the strings' open-circuit voltage at their coldest (give v_oc)"
        if cold_v >= full_v:
            return cold_v, "the strings at their coldest"
        return full_v, "the battery charged full"
    nominal_v = pack.nominal_v
    if run.kind == "dc12" and nominal_v is not None and nominal_v > voltages.TWELVE_VOLT[1]:
        return voltages.TWELVE_VOLT[1], "the highest of a 12 V outlet"
    if run.cable.volts is not None and (nominal_v is None or not run.at_pack):
        return OVERCHARGED * run.volts, "a battery of the stated voltage charged full"
    return max(full_v, run.volts), "the battery charged full"


def _string_fuses(laid: Sequence[Arrangement]) -> list[str]:
    """Whether each string needs a fuse: more than two in parallel can overload the one that is
    shaded or shorted."""
    strings = sum(way.in_parallel for way in laid)
    if strings < 2:
        return []
    rule = "IEC 62548, NFPA 70 690.9"  # from memory
    if strings == 2:
        return [f"2 strings in parallel need no fuse each ({rule})"]
    sizes = sorted(
        {conductors.fuse_a(conductors.PANEL_CIRCUIT * way.i_sc / way.in_parallel) for way in laid}
    )
    amps = " or ".join(f"{size:g}" for size in sizes)
    return [
        f"{strings} strings in parallel: a fuse of {amps} A in each, no larger than the series fuse"
        f" on the panel's label ({rule})"
    ]
