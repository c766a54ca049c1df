"""How a plan's panels are joined at the solar input, in equal strings of each kind, and how much of
what they give it takes for that.

What cold does to a panel's volts is `model.conductors`'s. How strings are judged and worded lives
in the answers.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from energy.model import conductors as conductors
from energy.plan import Plan
from energy.plan.kit import Pack, Panel
from energy.weather.coldest import Cold

ROUNDING = 1.0 + 1e-9
I_SC_SHARE = 1.1  # of i_mp, where i_sc is left out (common practice: 1.06 to 1.08 on labels)


@dataclass(frozen=True)
class Arrangement:
    """Panels of one kind as equal strings at a pack's solar input, in air as cold as it gets."""

    panel: Panel
    pack: Pack
    in_series: int
    cold: Cold

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
    def v_oc_cold(self) -> float | None:
        """Open-circuit volts of a string in the lowest air; None where v_oc is not given."""
        v_oc = self.panel.v_oc
        return None if v_oc is None else self._in_the_cold(v_oc, self.cold.lowest_c)

    @property
    def charges(self) -> bool:
        """Whether it can charge the battery, whose volts a PWM input's strings must reach."""
        pwm = self.pack.solar_input.kind == "pwm"
        return not pwm or self.v_mp * ROUNDING >= (self.pack.nominal_v or 0.0)

    @property
    def fits(self) -> bool | None:
        """Whether the input bears the cold volts and the short-circuit amps, and the string
        charges; None: not known."""
        return self.bears_volts if self.charges and amps_fit([self]) else False

    @property
    def bears_volts(self) -> bool | None:
        """Whether the input bears the cold volts; None: not known."""
        max_v = self.pack.solar_input.max_v
        if max_v is None:
            return None
        if self.sure_v > max_v * ROUNDING:
            return False
        if self.v_oc_cold is None or self.v_oc_cold > max_v * ROUNDING:
            return None
        return True

    @property
    def sure_v(self) -> float:
        """Volts that a string is sure to reach or pass in the cold; v_oc lies above a stated v_mp,
        0 where neither is given."""
        stated_v_mp = self.panel.v_mp if "v_mp" in self.panel.model_fields_set else 0.0
        return self._in_the_cold(self.panel.v_oc or stated_v_mp, self.cold.sure_c)

    def _in_the_cold(self, volts: float, air_c: float) -> float:
        """Of a string: by the panel's own coefficient, else by the table of NFPA 70 690.7(A)."""
        own = "temp_coefficient_voc_percent_per_c" in self.panel.model_fields_set
        coefficient = self.panel.temp_coefficient_voc_percent_per_c if own else None
        return self.in_series * conductors.cold_v_oc(volts, air_c, coefficient)


def arrangements(panel: Panel, pack: Pack, cold: Cold) -> list[Arrangement]:
    """Every way to join the panels of one kind in equal strings, fewest in series first."""
    divisors = (n for n in range(1, panel.count + 1) if panel.count % n == 0)
    return [Arrangement(panel, pack, n, cold) for n in divisors]


def taken(ways: Sequence[Arrangement]) -> Arrangement:
    """The first arrangement known to fit, else the first that may, else the first of all."""
    return next((way for fits in (True, None) for way in ways if way.fits is fits), ways[0])


def laid_out(plan: Plan, cold: Cold) -> list[Arrangement]:
    """The arrangement to expect of each of the plan's panels, all on one input.

    As the plan's `connection` says. Left out, the fewest in series that fit: side by side panels
    bear shade best and keep the voltage low. Where all kinds together are too many amps, the most
    in series that fit; where nothing fits, the fewest.
    """
    ways = [_ways(panel, plan.pack, cold) for panel in plan.panel]
    fewest = [taken(several) for several in ways]
    most = [taken(several[::-1]) for several in ways]
    sound = amps_fit(most) and not any(way.fits is False for way in most)
    return most if sound and not amps_fit(fewest) else fewest


def _ways(panel: Panel, pack: Pack, cold: Cold) -> list[Arrangement]:
    """The arrangements that the plan leaves open, of those that charge."""
    connection = pack.solar_input.connection
    if connection is None:
        return [way for way in arrangements(panel, pack, cold) if way.charges]
    if isinstance(connection, str):
        connection = panel.count if connection == "series" else 1
    return [Arrangement(panel, pack, min(connection, panel.count), cold)]


def amps_fit(laid: Sequence[Arrangement]) -> bool:
    """Whether the input bears the short-circuit amps of all strings together."""
    most_a = laid[0].pack.solar_input.max_a if laid else None
    return most_a is None or sum(way.i_sc for way in laid) <= most_a * ROUNDING


def working_v(laid: Sequence[Arrangement]) -> float:
    """Volts at which the strings give their amps, weighted by these where they are unlike."""
    return sum(way.v_mp * way.i_mp for way in laid) / sum(way.i_mp for way in laid)


def pwm_share(laid: Sequence[Arrangement]) -> float:
    """What a PWM input takes of its panels' labels, held at the battery's volts (0 to 1)."""
    labels = [way.panel.rated_w * way.panel.count for way in laid]
    shares = [min((way.pack.nominal_v or 0.0) / way.v_mp, 1.0) for way in laid]
    return sum(w * share for w, share in zip(labels, shares, strict=True)) / sum(labels)


def kept_connection(plan: Plan, cold: Cold) -> dict[str, str | int]:
    """What states in a plan how its panels are joined at a PWM input, as `Plan.replace` takes it:
    its power depends on that. Nothing where it is stated, there is no choice, or no one word
    tells it of all kinds.

    >>> kept_connection(Plan.read("builtin:january-job"), Cold(-40.0, "assumed", False, 25.0))
    {}
    """
    into = plan.pack.solar_input
    laid = [way for way in laid_out(plan, cold) if way.panel.count > 1]
    if into.kind != "pwm" or into.connection is not None or not laid:
        return {}
    words: dict[str, str | int] = {}
    series = {way.in_series for way in laid}
    if series == {1}:
        words["pack.solar_input.connection"] = "parallel"
    elif all(way.in_parallel == 1 for way in laid):
        words["pack.solar_input.connection"] = "series"
    elif len(series) == 1:
        words["pack.solar_input.connection"] = series.pop()
    return words


def pwm_notes(laid: Sequence[Arrangement]) -> list[str]:
    """How several panels are taken to be joined at a PWM input, where that decides their power."""
    if not laid or laid[0].pack.solar_input.kind != "pwm":
        return []
    pack = laid[0].pack
    most_a = pack.solar_input.max_a
    bound = ""
    if most_a is not None and sum(way.i_mp for way in laid) > most_a:
        bound = f", which passes {most_a:g} A in all"
    return [
        f'{way.panel.count} x "{way.panel.name}" taken as {way.in_series} in series,'
        f" {way.in_parallel} in parallel: {way.i_mp:.3g} A for the PWM input{bound}, at the"
        f" battery's {pack.nominal_v:g} V"
        for way in laid
        if way.panel.count > 1
    ]
