"""How a plan's panels are joined at the solar input: in equal strings of each kind.

What cold does to a panel's volts is `model.cable`'s. How strings are judged and worded lives in
the answers.
"""

from dataclasses import dataclass

from energy.model import cable
from energy.plan import Plan
from energy.plan.kit import Panel, SolarInput

ROUNDING = 1.0 + 1e-9
I_SC_SHARE = 1.1  # of i_mp, where i_sc is left out (common practice: 1.06 to 1.08 on labels)


@dataclass(frozen=True)
class Arrangement:
    """Panels of one kind as equal strings at an input; v_oc_cold [V] of a whole string, None
    where the label's v_oc is not given."""

    panel: Panel
    into: SolarInput
    in_series: int
    v_oc_cold: float | None

    @property
    def in_parallel(self) -> int:
        """Number of strings."""
        return self.panel.count // self.in_series

    @property
    def v_mp(self) -> float:
        """Working volts of a string."""
        return self.panel.v_mp * self.in_series

    @property
    def i_mp(self) -> float:
        """Working amps of all strings together."""
        return self.panel.i_mp * self.in_parallel

    @property
    def i_sc(self) -> float:
        """Short-circuit amps of all strings together."""
        return (self.panel.i_sc or I_SC_SHARE * self.panel.i_mp) * self.in_parallel

    @property
    def fits(self) -> bool | None:
        """Whether the input bears the cold volts and the short-circuit amps; None: not known."""
        max_v, max_a = self.into.max_v, self.into.max_a
        if max_a is not None and self.i_sc > max_a * ROUNDING:
            return False
        if self.v_oc_cold is None or max_v is None:
            return None
        return self.v_oc_cold <= max_v * ROUNDING


def arrangements(panel: Panel, into: SolarInput, lowest_c: float) -> list[Arrangement]:
    """Every way to join the panels of one kind in equal strings, fewest in series first.

    The cold voltage goes by the panel's coefficient, where none is given by the table of
    NFPA 70 690.7(A). Raises ValueError below -40 C, where that table ends.
    """
    own = "temp_coefficient_voc_percent_per_c" in panel.model_fields_set
    coefficient = panel.temp_coefficient_voc_percent_per_c if own else None
    cold = None if panel.v_oc is None else cable.cold_v_oc(panel.v_oc, lowest_c, coefficient)
    return [
        Arrangement(panel, into, n, None if cold is None else n * cold)
        for n in range(1, panel.count + 1)
        if panel.count % n == 0
    ]


def taken(ways: list[Arrangement]) -> Arrangement:
    """The first arrangement known to fit, else the first that may, else the first of all."""
    for known in (True, None):
        for way in ways:
            if way.fits is known:
                return way
    return ways[0]


def laid_out(plan: Plan, lowest_c: float) -> list[Arrangement]:
    """The arrangement to expect of each of the plan's panels, all on one input.

    The fewest in series that fit: side by side panels bear shade best and keep the voltage low.
    Where all kinds together are too many amps, the most in series that fit; where nothing fits, the
    fewest. Raises ValueError below -40 C for a panel without a coefficient.
    """
    ways = [arrangements(panel, plan.pack.solar_input, lowest_c) for panel in plan.panel]
    fewest = [taken(several) for several in ways]
    most = [taken(several[::-1]) for several in ways]
    sound = amps_fit(most) and not any(way.fits is False for way in most)
    return most if sound and not amps_fit(fewest) else fewest


def amps_fit(laid: list[Arrangement]) -> bool:
    """Whether the input bears the short-circuit amps of all strings together."""
    most_a = laid[0].into.max_a if laid else None
    return most_a is None or sum(way.i_sc for way in laid) <= most_a * ROUNDING
