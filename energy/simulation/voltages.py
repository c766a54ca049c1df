"""At what voltage the ends of a cable stand: mains, 12 V and USB outlets, a battery low and full.

What flows there is `cables`'; what a fuse must bear of it is worded in the answers.
"""

from typing import NamedTuple

from energy.model import conductors as conductors
from energy.plan import Plan
from energy.plan.kit import Pack
from energy.plan.mains import LOWEST_V, usual_mains
from energy.plan.places import zone_in_words

DC12_V = 12.8  # a 12 V battery at rest; packs keep their outlets there or above (common practice)
TWELVE_VOLT = (11.0, 15.0)  # a pack whose nominal voltage lies here feeds its 12 V outlets directly
# Watts up to which a USB outlet gives so many volts: Power Delivery's power rules, IEC 62680-1-2,
# from memory.
USB_V = (
    (15.0, 5.0), (27.0, 9.0), (45.0, 15.0), (100.0, 20.0), (140.0, 28.0), (180.0, 36.0),
    (240.0, 48.0),
)  # fmt: skip
US_SOCKET_A, IEC_SOCKET_A = (
    20.0,
    16.0,
)  # the largest common socket: NEMA 5-20, IEC 60884; from memory


class Cell(NamedTuple):
    """A cell's volts empty, nominal and charged full, and the current into a short, in multiples of
    its amp-hours [A/Ah], with where that comes from."""

    empty_v: float
    nominal_v: float
    full_v: float
    short_a_per_ah: float
    short_source: str


LITHIUM_SHORT = "common practice, no source"
# From memory; the one-minute rate is some 2.5 A/Ah (common practice).
LEAD_SHORT = "ten times the one-minute rate, IEEE 946"
# Volts: common practice, as on cells' labels; flooded: equalising.
CELLS = {
    "lfp": Cell(2.5, 3.2, 3.65, 50.0, LITHIUM_SHORT),
    "nmc": Cell(3.0, 3.6, 4.2, 50.0, LITHIUM_SHORT),
    "agm": Cell(1.75, 2.0, 2.45, 25.0, LEAD_SHORT),
    "flooded": Cell(1.75, 2.0, 2.6, 25.0, LEAD_SHORT),
}


class Outlet(NamedTuple):
    """An outlet's voltage [V], what was assumed of it in words, and whether it is known at all."""

    volts: float
    about: str
    known: bool = True


def mains(plan: Plan) -> Outlet:
    """The inverter's voltage, else that of the plan's country; the lowest in use where neither is
    known, with what to ask in `about`.

    >>> mains(Plan.read("builtin:cloudy-repair")).volts
    120.0
    """
    inverter, zone = plan.pack.inverter, plan.place.timezone
    if inverter is not None and inverter.volts is not None:
        return Outlet(inverter.volts, f"{inverter.volts:g} V mains, by pack.inverter.volts")
    usual = usual_mains(zone)
    if usual is None:
        asks = (
            f"the time zone {zone_in_words(zone)} tells no country, so the mains voltage is not"
            " known: give pack.inverter.volts, or the run's volts"
        )
        return Outlet(LOWEST_V, asks, known=False)
    return Outlet(usual.volts, f"{usual.words}; state pack.inverter.volts if yours differs")


def dc12(pack: Pack) -> Outlet:
    """The 12 V outlets: as high as the pack where it is a 12 V one, else as a battery at rest."""
    volts = pack.nominal_v
    if volts is not None and TWELVE_VOLT[0] <= volts <= TWELVE_VOLT[1]:
        return Outlet(volts, f"the 12 V outlet is taken at the pack's {volts:g} V")
    return Outlet(DC12_V, f"the 12 V outlet is taken at {DC12_V:g} V")


def usb(watts: float) -> Outlet:
    """What a USB outlet gives for so many watts.

    >>> usb(65.0).volts, usb(10.0).volts
    (20.0, 5.0)
    """
    most_w, most_v = USB_V[-1]
    volts = next((volts for most_w, volts in USB_V if watts <= most_w), most_v)
    about = f"the USB outlet is taken at {volts:g} V for {watts:g} W (IEC 62680-1-2)"
    return Outlet(volts, about + f", but USB gives {most_w:g} W at most" * (watts > most_w))


def breaker_a(rated_w: float, volts: float) -> float:
    """The breaker of an inverter's outlet [A]: the next standard one above what the inverter gives,
    at most what a socket is made for.

    >>> breaker_a(1000.0, 120.0), breaker_a(5000.0, 230.0)
    (10.0, 16.0)
    """
    socket_a = US_SOCKET_A if volts < 150.0 else IEC_SOCKET_A
    return min(conductors.fuse_a(min(rated_w / volts, socket_a)), socket_a)


def empty_v(pack: Pack) -> float:
    """The battery's voltage when it is empty, the lowest under load; needs nominal_v."""
    assert pack.nominal_v is not None
    cell = CELLS[pack.chemistry]
    return pack.nominal_v * cell.empty_v / cell.nominal_v


def full_v(pack: Pack) -> float:
    """The battery's voltage charged full, the highest; as of a 12 V one where it states none."""
    cell = CELLS[pack.chemistry]
    return (pack.nominal_v or DC12_V) * cell.full_v / cell.nominal_v


def short_circuit_a(pack: Pack) -> tuple[float, str]:
    """A careful estimate of what the battery gives into a short at its posts [A], and its rule.

    A rule of thumb by chemistry, or the volts over the pack's own resistance where that is more.
    Without nominal_v as of a 12 V battery, which has the most amp-hours.
    """
    amp_hours = pack.capacity_wh / (pack.nominal_v or DC12_V)
    cell = CELLS[pack.chemistry]
    if pack.resistive_h * cell.short_a_per_ah < 1.0 and pack.resistive_h > 0.0:
        return amp_hours / pack.resistive_h, f"its {amp_hours:.3g} Ah over resistive_h"
    times = f"{cell.short_a_per_ah:g} x its {amp_hours:.3g} Ah"
    return cell.short_a_per_ah * amp_hours, f"{times}: {cell.short_source}"
