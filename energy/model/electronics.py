"""What stands between panel, battery and outlets: solar controller, inverter, 12 V and USB.

Each function turns watts on one side into watts on the other. Which task may run within the
limits is decided in `limits`.
"""

from dataclasses import dataclass

import numpy as np

from energy.model import Array


@dataclass(frozen=True)
class InverterCurve:
    """Inverter input for output P: idle + P (1 + a) + b P^2 / rated (Schmidt & Sauer 1996).

    idle_w and rated_w in watts; a and b without unit.
    """

    rated_w: float
    idle_w: float
    a: float
    b: float

    def input_w(self, output_w: Array) -> Array:
        """Watts drawn from the DC bus while on, for `output_w` at the AC side (any shape).

        >>> float(inverter_curve(1000.0, 8.0, 90.0).input_w(np.array(0.0)))
        8.0
        """
        return self.idle_w + output_w * (1.0 + self.a + self.b * output_w / self.rated_w)

    def output_w(self, input_w: Array) -> Array:
        """Watts at the AC side that `input_w` can pay for; 0 where it does not cover the idle.

        >>> curve = inverter_curve(1000.0, 8.0, 90.0)
        >>> round(float(curve.output_w(curve.input_w(np.array(300.0)))), 9)
        300.0
        """
        over: Array = np.maximum(input_w - self.idle_w, 0.0)
        root: Array = np.sqrt((1.0 + self.a) ** 2 + 4.0 * self.b * over / self.rated_w)
        return 2.0 * over / (1.0 + self.a + root)


def inverter_curve(rated_w: float, idle_w: float, efficiency_percent: float) -> InverterCurve:
    """The curve whose best efficiency, at half of rated and with the idle included, is given.

    At half load b = 4 idle / rated makes the peak and a follows; where a would be negative it is
    0 and b carries all losses. Schmidt & Sauer 1996 (the three-term form).

    >>> curve = inverter_curve(1000.0, 8.0, 90.0)
    >>> round(500.0 / float(curve.input_w(np.array(500.0))), 6)
    0.9
    """
    loss = 100.0 / efficiency_percent - 1.0
    b = 4.0 * idle_w / rated_w
    a = loss - b
    if a < 0.0:
        a = 0.0
        b = (loss / 2.0) ** 2 * rated_w / idle_w if idle_w > 0.0 else 0.0
    return InverterCurve(rated_w, idle_w, a, b)


def pwm_power(effective: Array, full_power_w: Array, i_mp: float, nominal_v: float) -> Array:
    """What a PWM controller takes [W]: the panel's current at the battery's voltage.

    effective [W/m2] and full_power_w (the same panel's best power, W) have one shape; i_mp [A];
    nominal_v [V], of which each panel of a string bears its part. Never above the best power.
    Recomputed from the definition of PWM coupling.

    >>> float(pwm_power(np.array([1000.0]), np.array([100.0]), 5.56, 12.8).round(2)[0])
    71.17
    """
    return np.minimum(i_mp * effective / 1000.0 * nominal_v, full_power_w)
