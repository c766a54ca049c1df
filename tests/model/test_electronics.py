"""Inverter and controller against the published three-term form and recomputed examples."""

import numpy as np
import pytest

from energy.model.electronics import InverterCurve, inverter_curve, pwm_power
from energy.model.panel import dc_power


def test_the_curve_of_a_text_book_inverter():
    # Schmidt & Sauer 1996 form, recomputed: 1000 W, idle 8 W, best efficiency 0.90 with b 0.05:
    # a = 1/0.9 - 1 - 2 sqrt(8 x 0.05 / 1000) = 0.0711; the best load is sqrt(idle rated / b).
    curve = InverterCurve(1000.0, 8.0, 1.0 / 0.9 - 1.0 - 2.0 * np.sqrt(8.0 * 0.05 / 1000.0), 0.05)
    needs = curve.input_w(np.array([10.0, 100.0, 1000.0]))
    assert needs == pytest.approx([18.7, 115.6, 1129.1], abs=0.05)
    loads = np.arange(1.0, 1000.0)
    assert loads[int(np.argmax(loads / curve.input_w(loads)))] == pytest.approx(400.0, abs=1.0)


def test_the_three_published_points_give_the_curve():
    # Schmidt & Sauer 1996, recomputed: efficiencies 0.85, 0.93, 0.90 at 10, 50 and 100 % load give
    # k 0.01804, -0.01469, 0.10776, and 0.9115 at 20 %, 0.9173 at 75 %.
    curve = InverterCurve(1.0, 0.01804, -0.01469, 0.10776)
    loads = np.array([0.1, 0.2, 0.5, 0.75, 1.0])
    efficiency = loads / curve.input_w(loads)
    assert efficiency == pytest.approx([0.85, 0.9115, 0.93, 0.9173, 0.90], abs=2e-4)


@pytest.mark.parametrize(
    ("idle_w", "percent"), [(8.0, 90.0), (30.0, 85.0), (25.0, 96.0), (2.0, 99.0)]
)
def test_the_stated_efficiency_is_reached_at_half_load(idle_w, percent):
    curve = inverter_curve(1000.0, idle_w, percent)
    assert curve.a >= 0.0
    assert 500.0 / curve.input_w(np.array(500.0)) <= percent / 100.0 + 1e-12
    if curve.a > 0.0:
        assert 500.0 / curve.input_w(np.array(500.0)) == pytest.approx(percent / 100.0)


def test_an_inverter_whose_idle_explains_its_losses_has_its_best_efficiency_elsewhere():
    # With a = 0 the best efficiency is 1 / (1 + 2 sqrt(idle b / rated)): closed form.
    curve = inverter_curve(1000.0, 20.0, 94.0)
    loads = np.linspace(1.0, 1000.0, 20000)
    assert curve.a == 0.0
    assert (loads / curve.input_w(loads)).max() == pytest.approx(0.94, abs=1e-4)


def test_no_idle_means_no_square_term():
    assert inverter_curve(1000.0, 0.0, 90.0).b == 0.0


def test_output_is_the_inverse_of_input():
    curve = inverter_curve(1500.0, 12.0, 91.0)
    loads = np.linspace(0.0, 1500.0, 50)
    assert curve.output_w(curve.input_w(loads)) == pytest.approx(loads, abs=1e-9)


def test_pwm_against_mppt():
    # Recomputed: Imp 5.56 A, Vmp 18 V, battery 12.8 V: 71.2 W before the controller's own loss;
    # with MPPT at 0.97 the gain is 0.97 x 18 / 12.8 = 1.36.
    full = np.array([5.56 * 18.0])
    taken = pwm_power(np.array([1000.0]), full, 5.56, 12.8)
    assert taken[0] == pytest.approx(71.2, abs=0.05)
    assert 0.97 * full[0] / taken[0] == pytest.approx(1.36, abs=5e-3)


def test_pwm_never_passes_the_panels_best_power():
    assert pwm_power(np.array([1000.0]), np.array([50.0]), 5.56, 12.8)[0] == 50.0


def test_heat_takes_from_mppt_what_pwm_does_not_have():
    # Recomputed: with cells at 50 deg C and -0.35 %/K the gain of MPPT falls from 1.36 to 1.24.
    cool, hot = (
        dc_power(np.array([1000.0]), np.array([t]), 5.56 * 18.0, -0.35) for t in (25.0, 50.0)
    )
    pwm = pwm_power(np.array([1000.0]), hot, 5.56, 12.8)
    assert 0.97 * cool[0] / pwm[0] == pytest.approx(1.36, abs=0.01)
    assert 0.97 * hot[0] / pwm[0] == pytest.approx(1.24, abs=0.01)
