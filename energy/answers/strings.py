"""Do the panels' strings suit the solar input? They are judged and worded here, for `wire`.

How panels can be joined is `strings`' of the physics; cables and fuses are `wire`'s.
"""

from dataclasses import dataclass

from energy.budget import Budget, budget
from energy.model import cable
from energy.plan import Plan, PlanError
from energy.strings import I_SC_SHARE, Arrangement, amps_fit, arrangements, laid_out

UNLIKE = 1.1  # strings whose working volts differ more drag one another down (common practice)


@dataclass(frozen=True)
class String:
    """One way to join the panels of a kind; taken: the one that the runs are reckoned with.

    fits is None where a label, a limit or the cold is not known.
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


@dataclass(frozen=True)
class Cold:
    """The coldest air, where it comes from, and whether anybody has stated or measured it."""

    lowest_c: float
    source: str
    known: bool


def cold_of(asked: Plan | Budget, lowest_c: float | None) -> Cold:
    if lowest_c is not None:
        return Cold(lowest_c, "as given", True)
    weather = (asked if isinstance(asked, Budget) else budget(asked)).weather
    lowest = float(weather.temp_air.min())
    return Cold(lowest, f"the coldest air of {weather.source}", weather.temperature_stated)


def judged(plan: Plan, cold: Cold) -> tuple[list[Arrangement], tuple[String, ...]]:
    """The arrangements expected, and every one, in the plan's order."""
    found: list[String] = []
    try:
        laid = laid_out(plan, cold.lowest_c)
        for panel, expected in zip(plan.panel, laid, strict=True):
            coldest = min(cold.lowest_c, cable.COLDEST_C)
            for way, anywhere in zip(
                *(arrangements(panel, plan.pack.solar_input, c) for c in (cold.lowest_c, coldest)),
                strict=True,
            ):
                fits = way.fits
                if way == expected and not amps_fit(laid):
                    fits = False
                elif fits and not cold.known and not anywhere.fits:
                    fits = None  # it would in this cold, not in every cold there is
                found.append(_string(way, way == expected, fits))
    except ValueError as error:
        raise PlanError([f"{plan.origin}: panel: {error}"]) from None
    return laid, tuple(found)


def _string(way: Arrangement, expected: bool, fits: bool | None) -> String:
    return String(
        panel=way.panel.name,
        panels_in_series=way.in_series,
        strings=way.in_parallel,
        v_oc_cold=way.v_oc_cold,
        limit_v=way.into.max_v,
        i_sc=way.i_sc,
        limit_a=way.into.max_a,
        fits=fits,
        taken=expected,
    )


def cold_notes(plan: Plan, cold: Cold) -> list[str]:
    """In what cold the strings were judged, and what of their labels is not known."""
    notes = [f"strings judged at {cold.lowest_c:.0f} degrees C, {cold.source}"]
    if not cold.known:
        notes = [
            f"nobody has said how cold it gets: strings shown at {cold.lowest_c:.0f} degrees C,"
            " where a NO is sure and nothing else is judged; give temp_air_c or the record low"
        ]
    if plan.pack.solar_input.max_v is None:
        notes.append("[pack.solar_input] has no max_v: no string can be said to fit")
    for number, panel in enumerate(plan.panel, start=1):
        own = "temp_coefficient_voc_percent_per_c" in panel.model_fields_set
        if panel.v_oc is None:
            notes.append(f'panel {number} "{panel.name}": give v_oc from its label to judge it')
        elif not own:
            notes.append(
                f'panel {number} "{panel.name}": cold voltage by NFPA 70 table 690.7(A), for want'
                " of its own coefficient"
            )
        if panel.i_sc is None:
            notes.append(
                f'panel {number} "{panel.name}": i_sc is taken as {I_SC_SHARE:g} x i_mp, for want'
                " of its label's"
            )
    return notes


def string_notes(plan: Plan, laid: list[Arrangement]) -> list[str]:
    """How the panels are taken to be joined, and what an electrician would look at next."""
    pack_v, notes = plan.pack.nominal_v, []
    for way in laid:
        name = f'"{way.panel.name}"'
        if way.panel.count > 1:
            why = "as few in series as its volts and amps let, for shade then costs least"
            if way.fits is False or not amps_fit(laid):
                why = "no way to join them suits the input"
            notes.append(
                f"{way.panel.count} x {name} taken as {way.in_series} in series, {way.in_parallel}"
                f" in parallel: {why}"
            )
        if way.in_parallel > 2:
            notes.append(f"three strings or more of {name}: a fuse in each (NFPA 70 690.9)")
        if pack_v is not None and way.v_mp < pack_v:
            notes.append(
                f"{name}: its {way.v_mp:.3g} V lie below the pack's {pack_v:g} V: the input must be"
                " one that raises the voltage"
            )
    volts = [way.v_mp for way in laid]
    if max(volts) > UNLIKE * min(volts):
        notes.append("unlike strings on one input drag one another down: match their volts")
    return notes


def asks_of(plan: Plan, laid: list[Arrangement]) -> tuple[str, ...]:
    """More amps in bright sun than the input takes: good or not as its maker says."""
    takes_a = plan.pack.solar_input.max_a
    bright_a = cable.PANEL_CIRCUIT / cable.CONTINUOUS * sum(way.i_sc for way in laid)
    if takes_a is None or bright_a <= takes_a:
        return ()
    return (
        f"in bright sun the strings can short to {bright_a:.3g} A (1.25 x Isc, NFPA 70 690.8), the"
        f" input takes {takes_a:g} A: ask its maker whether it limits the rest",
    )
