"""Do the panels' strings suit the solar input? They are judged and worded here, for `wire`.

How panels can be joined is `strings`' of the physics; cables and fuses are `wire`'s.
"""

from dataclasses import dataclass, replace
from typing import Any

from energy.model import conductors as conductors
from energy.plan import Plan, PlanError
from energy.plan.schema import LOWEST_C
from energy.show.numbers import for_json
from energy.simulation.budget import Budget, budget_of
from energy.simulation.strings import (
    I_SC_SHARE,
    Arrangement,
    amps_fit,
    arrangements,
    laid_out,
    pwm_notes,
)
from energy.weather.coldest import Cold, known_cold

UNLIKE = 1.1  # strings whose working volts differ more drag one another down (common practice)


@dataclass(frozen=True)
class String:
    """One way to join the panels of a kind; taken: the one that the runs are reckoned with.

    fits is None where a label, a limit or the cold is not known; fits_alone leaves the amps of
    other kinds on the input aside. in_season says what is wrong with a string that suits the input
    in the plan's own days only, and nothing of others.
    """

    panel: str
    panels_in_series: int
    strings: int
    v_oc_cold: float | None
    limit_v: float | None
    i_sc: float
    limit_a: float | None
    fits: bool | None
    taken: bool
    fits_alone: bool
    in_season: str = ""


@dataclass(frozen=True)
class Air:
    """The air that strings are judged in, and the coldest of the plan's own days [deg C], None
    where nobody has stated or measured that."""

    cold: Cold
    days_c: float | None

    def as_dict(self) -> dict[str, Any]:
        """As `--json` prints it."""
        return {
            "lowest_c": round(self.cold.lowest_c, 1),
            "from": self.cold.source,
            "known": self.cold.known,
            "plan_lowest_c": for_json(self.days_c, 1),
        }


def with_record_low(plan: Plan, lowest_c: float) -> Plan:
    """The plan with the record-low air of its place [deg C]. Raises PlanError for none on earth."""
    coldest_c, warmest_c = LOWEST_C
    if not coldest_c <= lowest_c <= warmest_c:
        allowed = f"between {coldest_c:g} and {warmest_c:g} degrees C"
        raise PlanError([f"the lowest air must lie {allowed} (got {lowest_c:g})"])
    return plan.replace(**{"place.lowest_c": lowest_c})


def air_of(asked: Plan | Budget) -> Air:
    """The lowest air of a plan's place, as all answers take it, and that of its own days."""
    result = budget_of(asked)
    air = result.weather.air
    return Air(result.days.site.cold, float(air.temp_air.min()) if air.stated else None)


def judged(plan: Plan, air: Air) -> tuple[list[Arrangement], tuple[String, ...]]:
    """The arrangements expected, and every one, in the plan's order."""
    laid = laid_out(plan, air.cold)
    strings = (
        _string(way, expected, way != expected or amps_fit(laid), air)
        for panel, expected in zip(plan.panel, laid, strict=True)
        for way in arrangements(panel, plan.pack, air.cold)
    )
    return laid, tuple(strings)


def _string(way: Arrangement, expected: Arrangement, amps_fit: bool, air: Air) -> String:
    into = way.pack.solar_input
    fits = way.fits if amps_fit else False
    return String(
        panel=way.panel.name,
        panels_in_series=way.in_series,
        strings=way.in_parallel,
        v_oc_cold=way.v_oc_cold,
        limit_v=into.max_v,
        i_sc=way.i_sc,
        limit_a=into.max_a,
        fits=fits,
        taken=way == expected,
        fits_alone=way.fits is not False,
        in_season=_in_season(way, air) if amps_fit and fits is not True else "",
    )


def _in_season(way: Arrangement, air: Air) -> str:
    """What the lowest air does to a string that suits the input in the plan's own days."""
    if air.days_c is None or way.v_oc_cold is None:
        return ""
    mild = replace(way, cold=known_cold(air.days_c, ""))
    if mild.fits is not True:
        return ""
    only = " only" * (way.fits is False)
    return (
        f'"{way.panel.name}", {way.in_series} in series, fits in the plan\'s own days{only}'
        f" ({mild.v_oc_cold:.1f} V at {air.days_c:.0f} degrees C): at {air.cold.lowest_c:.0f} it"
        f" gives {way.v_oc_cold:.1f} V, and the input bears {way.pack.solar_input.max_v:g} V"
    )


def cold_notes(plan: Plan, air: Air) -> list[str]:
    """In what cold the strings were judged, and what of their labels is not known."""
    cold = air.cold
    days = "" if air.days_c is None else f"; the plan's own days go down to {air.days_c:.0f}"
    notes = [f"strings judged at {cold.lowest_c:.0f} degrees C, {cold.source}{days}"]
    if not cold.known:
        notes = [
            f"{cold.source}: strings judged at {cold.lowest_c:.0f} degrees C, where a YES is sure;"
            " give the place's record low ([place] lowest_c, or --lowest-c) or twelve monthly"
            f" means (temp_air_c){days}"
        ]
    max_v = plan.pack.solar_input.max_v
    if max_v is None:
        notes.append("[pack.solar_input] has no max_v: no string can be said to fit")
    for number, panel in enumerate(plan.panel, start=1):
        own = "temp_coefficient_voc_percent_per_c" in panel.model_fields_set
        if panel.v_oc is None and "v_mp" in panel.model_fields_set and panel.v_mp > (max_v or 1e9):
            notes.append(
                f'panel {number} "{panel.name}": works at {panel.v_mp:g} V and gives more when'
                f" open; the input bears {max_v:g} V"
            )
        elif panel.v_oc is None:
            notes.append(f'panel {number} "{panel.name}": give v_oc from its label to judge it')
        elif not own:
            beyond = (
                f", and {-conductors.STEEPEST_PERCENT_PER_C:g} % a degree below"
                f" {conductors.COLDEST_C:g}, where it ends"
            )
            notes.append(
                f'panel {number} "{panel.name}": cold voltage by NFPA 70 table 690.7(A)'
                f"{beyond * (cold.lowest_c < conductors.COLDEST_C)},"
                " for want of its own coefficient"
            )
        if panel.i_sc is None:
            notes.append(
                f'panel {number} "{panel.name}": i_sc is taken as {I_SC_SHARE:g} x i_mp, for want'
                " of its label's"
            )
    return notes


def string_notes(plan: Plan, laid: list[Arrangement], strings: tuple[String, ...]) -> list[str]:
    """How the panels are taken to be joined, and what an electrician would look at next."""
    into, pack_v = plan.pack.solar_input, plan.pack.nominal_v
    notes = [string.in_season for string in strings if string.in_season]
    for way in laid:
        name = f'"{way.panel.name}"'
        if way.panel.count > 1 and into.connection is None and into.kind == "mppt":
            why = "as few in series as its volts and amps let, for shade then costs least"
            if way.fits is False:
                why = "no way to join them suits the input"
            elif not amps_fit(laid):
                why = "all together are too many amps for the input"
            notes.append(
                f"{way.panel.count} x {name} taken as {way.in_series} in series, {way.in_parallel}"
                f" in parallel: {why}"
            )
        if pack_v is not None and way.v_mp < pack_v:
            notes.append(
                f"{name}: its {way.v_mp:.3g} V lie below the pack's {pack_v:g} V: the input must be"
                " one that raises the voltage"
            )
    cabled = any({cable.from_, cable.to} == {"panel", "pack"} for cable in plan.run)
    if sum(way.in_parallel for way in laid) > 2 and not cabled:  # its fuse line says so
        notes.append("three strings or more in parallel: a fuse in each (NFPA 70 690.9)")
    volts = [way.v_mp for way in laid]
    if max(volts) > UNLIKE * min(volts):
        notes.append("unlike strings on one input drag one another down: match their volts")
    if into.kind == "mppt" and into.max_a and not (into.max_w or into.charge_max_a):
        notes.append(
            f"max_a, {into.max_a:g} A, is what the input takes from the panels; what a controller"
            " gives the battery is charge_max_a"
        )
    return notes + pwm_notes(laid)


def asks_of(plan: Plan, laid: list[Arrangement]) -> tuple[str, ...]:
    """More amps in bright sun than the input takes: good or not as its maker says."""
    takes_a = plan.pack.solar_input.max_a
    bright_a = conductors.PANEL_CIRCUIT / conductors.CONTINUOUS * sum(way.i_sc for way in laid)
    if takes_a is None or bright_a <= takes_a:
        return ()
    return (
        f"in bright sun the strings can short to {bright_a:.3g} A (1.25 x Isc, NFPA 70 690.8), the"
        f" input takes {takes_a:g} A: ask its maker whether it limits the rest",
    )
