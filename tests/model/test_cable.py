"""Cables against their standards' tables, hand arithmetic and the rules of the trade."""

import math

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from energy.model import conductors as conductors

STANDARD_MM2 = [0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0, 50.0, 70.0, 95.0]


@pytest.mark.parametrize(
    ("conductor", "ohm_per_km"),
    [
        (
            "copper",
            [
                39.0,
                26.0,
                19.5,
                13.3,
                7.98,
                4.95,
                3.30,
                1.91,
                1.21,
                0.780,
                0.554,
                0.386,
                0.272,
                0.206,
            ],
        ),
        (
            "tinned",
            [
                40.1,
                26.7,
                20.0,
                13.7,
                8.21,
                5.09,
                3.39,
                1.95,
                1.24,
                0.795,
                0.565,
                0.393,
                0.277,
                0.210,
            ],
        ),
    ],
)
def test_flexible_conductors_at_20_degrees(conductor, ohm_per_km):
    # IEC 60228, class 5; below 1 and above 50 mm2 from memory.
    found = [conductors.ohm_per_km(mm2, conductor) for mm2 in STANDARD_MM2]
    assert found == ohm_per_km


def test_a_gauge_by_its_formula():
    # ASTM B258, recomputed: AWG 10 is 2.588 mm, 5.261 mm2, 3.277 ohm/km.
    assert math.sqrt(4.0 / math.pi * conductors.awg_mm2(10)) == pytest.approx(2.588, abs=5e-4)
    assert conductors.awg_mm2(10) == pytest.approx(5.261, abs=5e-4)
    assert conductors.ohm_per_km(5.26) == pytest.approx(3.277, abs=5e-4)


@pytest.mark.parametrize(("awg", "ohm_per_kft"), [(14, 3.07), (12, 1.93), (10, 1.21), (8, 0.764)])
def test_a_warm_gauge_against_the_table_of_a_code(awg, ohm_per_kft):
    # NFPA 70 chapter 9 table 8, solid copper at 75 C, from memory.
    found = conductors.ohm_per_km(round(conductors.awg_mm2(awg), 2), temp_c=75.0) * 0.3048
    assert found == pytest.approx(ohm_per_kft, rel=0.01)


def test_copper_warms_as_its_zero_resistance_temperature_says():
    # Common practice: R goes as 234.5 + t for annealed copper.
    for temp_c in (-20.0, 60.0, 90.0):
        warm = conductors.ohm_per_km(2.5, temp_c=temp_c) / conductors.ohm_per_km(2.5)
        assert warm == pytest.approx((234.5 + temp_c) / 254.5, rel=1e-3)


@pytest.mark.parametrize(
    ("temp_c", "mm2", "mv_per_a_m"),
    [
        # BS 7671 table 4F3B, two-core flexible at 60 C; table 4F2B, heavier, at 90 C.
        (60.0, 1.0, 46.0),
        (60.0, 1.5, 32.0),
        (60.0, 2.5, 19.0),
        (60.0, 4.0, 12.0),
        (90.0, 4.0, 13.2),
        (90.0, 6.0, 8.5),
        (90.0, 10.0, 5.1),
        (90.0, 16.0, 3.2),
    ],
)
def test_the_drop_a_metre_of_published_tables(temp_c, mm2, mv_per_a_m):
    found = 1000.0 * conductors.loop_ohm(1.0, mm2, "tinned", temp_c)
    assert found == pytest.approx(mv_per_a_m, rel=0.03)


def test_the_tables_step_from_60_to_90_degrees():
    # BS 7671 table 4F3B: its note multiplies the drop by 1.09.
    at_60, at_90 = (conductors.ohm_per_km(2.5, temp_c=t) for t in (60.0, 90.0))
    assert at_90 / at_60 == pytest.approx(1.09, abs=0.02)


def test_the_drop_counts_both_conductors():
    # Ohm's law: 10 A through 2 x 5 m of 2.5 mm2 at 7.98 ohm/km.
    assert 10.0 * conductors.loop_ohm(5.0, 2.5, temp_c=20.0) == pytest.approx(0.798)


def test_the_boat_rule_asks_for_the_same_cable():
    # ABYC E-11 as quoted: CM = 10.75 I L / E; 10 A, 21 ft there and back, 0.36 V: 6271 CM, which
    # is 3.18 mm2 (a circular mil is 5.067e-4 mm2), so 4 mm2 and not 2.5.
    circular_mils = 10.75 * 10.0 * 21.0 / 0.36
    assert circular_mils == pytest.approx(6271.0, abs=1.0)
    needed_mm2 = circular_mils * 5.067e-4
    found = conductors.smallest_mm2(10.0, 21.0 * 0.3048 / 2.0, 0.36, temp_c=30.0)
    assert found == min(mm2 for mm2 in STANDARD_MM2 if mm2 >= needed_mm2)


def test_the_smallest_is_the_first_of_the_table_that_will_do():
    # Enumeration over the table of IEC 60228.
    ohms = dict(zip(STANDARD_MM2, conductors.OHM_PER_KM["copper"].values(), strict=True))
    for amps in (0.5, 3.0, 11.0, 25.0):
        for length_m in (1.0, 7.0, 18.0):
            drops = {mm2: amps * 2.0 * length_m / 1000.0 * ohm for mm2, ohm in ohms.items()}
            least = min(mm2 for mm2, drop in drops.items() if drop <= 0.9)
            assert conductors.smallest_mm2(amps, length_m, 0.9, temp_c=20.0) == least


def test_a_short_run_is_as_thick_as_its_current_asks():
    # IEC 60364-5-52 table B.52.2, method B1, from memory: 6 mm2 carries 41 A, 4 mm2 32 A.
    assert conductors.smallest_mm2(30.0, 0.1, 1.0, carries_a=40.0) == 6.0


@pytest.mark.parametrize(
    ("mm2", "awg"),
    [
        (0.5, 18),
        (0.75, 18),
        (1.0, 16),
        (1.5, 14),
        (2.5, 12),
        (4.0, 10),
        (6.0, 8),
        (10.0, 6),
        (50.0, 0),
    ],
)
def test_the_gauge_is_never_thinner(mm2, awg):
    # ASTM B258 areas: 0.82, 1.31, 2.08, 3.31, 5.26, 8.37, 13.3 and 53.5 mm2.
    assert conductors.awg_as_thick(mm2) == awg


def test_the_gauge_beside_a_cross_section_carries_its_fuse():
    # The rule of both codes: the fuse at or below what the copper carries.
    for mm2 in STANDARD_MM2:
        fuse = max(rating for rating in conductors.FUSES_A if rating <= conductors.ampacity_a(mm2))
        awg = conductors.awg_as_thick(mm2, fuse)
        assert conductors.ampacity_a(conductors.awg_mm2(awg), fuse) >= fuse


def test_the_fuse_series():
    # Common practice (the ranges of blade and bolted fuses, ISO 8820).
    series = "1 2 3 4 5 7.5 10 15 20 25 30 35 40 50 60 70 80 100 125 150 200 250 300"
    assert list(conductors.FUSES_A) == [float(a) for a in series.split()]


@pytest.mark.parametrize(("amps", "fuse"), [(0.1, 1.0), (12.5, 15.0), (15.0, 15.0), (15.01, 20.0)])
def test_the_next_fuse_of_the_series(amps, fuse):
    assert conductors.fuse_a(amps) == fuse


def test_the_factors_of_fuses():
    # NFPA 70: 1.25 for continuous current; 690.8 asks it twice for panels.
    assert conductors.CONTINUOUS == 1.25
    assert conductors.PANEL_CIRCUIT == 1.5625


@pytest.mark.parametrize(
    ("warm_end_c", "cold_end_c", "factor"),
    [
        # NFPA 70 table 690.7(A), from memory.
        (24, 20, 1.02),
        (19, 15, 1.04),
        (14, 10, 1.06),
        (9, 5, 1.08),
        (4, 0, 1.10),
        (-1, -5, 1.12),
        (-6, -10, 1.14),
        (-11, -15, 1.16),
        (-16, -20, 1.18),
        (-21, -25, 1.20),
        (-26, -30, 1.21),
        (-31, -35, 1.23),
        (-36, -40, 1.25),
    ],
)
def test_the_cold_table_by_bands(warm_end_c, cold_end_c, factor):
    assert conductors.cold_factor(float(warm_end_c)) == factor
    assert conductors.cold_factor(float(cold_end_c)) == factor


def test_the_table_is_four_tenths_a_degree_down_to_minus_25():
    # Recomputed: to -25 C the table is 0.4 %/K at each band's cold end.
    for cold_end_c in range(-25, 25, 5):
        by_line = conductors.cold_v_oc(1.0, float(cold_end_c), -0.4)
        assert conductors.cold_factor(float(cold_end_c)) == pytest.approx(by_line, abs=0.005)


def test_below_the_cold_table_a_panel_rises_by_the_steepest_coefficient():
    # 1.25 at -40 C and 0.5 % a degree more; silicon has 0.2 to 0.4 (common practice).
    assert conductors.cold_factor(-41.0) == pytest.approx(1.255)
    assert conductors.cold_factor(-60.0) == pytest.approx(1.35)


def test_a_panel_in_the_cold_by_its_own_coefficient():
    # Straight line from 25 C: 21.6 V, -0.30 %/K, -15 C: 21.6 x 1.12.
    assert conductors.cold_v_oc(21.6, -15.0, -0.30) == pytest.approx(21.6 * 1.12)


def test_the_controller_finds_no_more_than_the_cable_can_carry():
    # The most through a resistance from a source of fixed voltage, by SciPy.
    best = minimize_scalar(lambda amps: -(amps * (18.0 - amps * 0.2)), bounds=(0, 90))
    power = conductors.after_cable(np.linspace(0.0, 3000.0, 500), 0.2, 18.0, 18.0)
    assert power[-1] == pytest.approx(-best.fun, rel=1e-6)
    assert (np.diff(power) >= -1e-9).all()


def test_mppt_loses_current_squared_times_resistance():
    power = conductors.after_cable(np.array([180.0]), 0.05, 18.0, 18.0)
    assert power[0] == pytest.approx(180.0 - 10.0**2 * 0.05)


def test_pwm_loses_nothing_until_the_panels_spare_volts_are_used_up():
    # 10 A at a 12.8 V battery; a panel of 18 V has 5.2 V to spare, which 0.52 ohm use up.
    at_battery = np.array([128.0])
    assert conductors.after_cable(at_battery, 0.51, 18.0, 12.8)[0] == 128.0
    assert conductors.after_cable(at_battery, 0.70, 18.0, 12.8)[0] == pytest.approx(10.0 * 11.0)


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        (lambda: conductors.loop_ohm(0.0, 2.5), "length must be more than 0"),
        (lambda: conductors.loop_ohm(-3.0, 2.5), "length must be more than 0"),
        (lambda: conductors.loop_ohm(float("nan"), 2.5), "length must be more than 0"),
        (lambda: conductors.ohm_per_km(3.0), "mm2 must be one of 0.5, 0.75, 1"),
        (lambda: conductors.ohm_per_km(71.0), "mm2 must be one of 0.5, 0.75, 1"),
        (lambda: conductors.awg_as_thick(120.0), "mm2 must be at most 107.2"),
        (lambda: conductors.smallest_mm2(10.0, 5.0, 0.0), "drop allowed must be more than 0"),
        (lambda: conductors.smallest_mm2(100.0, 50.0, 0.3), "even in 95 mm2, where the table ends"),
        (lambda: conductors.smallest_mm2(9.0, 0.1, 1.0, carries_a=250.0), "beyond the table"),
        (lambda: conductors.fuse_a(301.0), "fuse series ends at 300 A"),
    ],
)
def test_nothing_is_carried_beyond_its_table(ask, words):
    with pytest.raises(ValueError, match=words):
        ask()
