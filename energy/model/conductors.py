"""Copper cables by their standards: resistance, drop, loss, cross-section, fuse, cold panel volts.

Plain numbers and arrays. Outside its tables a function refuses; nothing is carried beyond them.
What a plan's cables join is found elsewhere.
"""

import math

import numpy as np

from energy.model import Array

# Conductors for flexible cables, class 5, ohm/km at 20 C by cross-section in mm2: IEC 60228.
OHM_PER_KM = {
    "copper": {
        0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30,
        10.0: 1.91, 16.0: 1.21, 25.0: 0.780, 35.0: 0.554, 50.0: 0.386,
        70.0: 0.272, 95.0: 0.206,
    },
    "tinned": {
        0.5: 40.1, 0.75: 26.7, 1.0: 20.0, 1.5: 13.7, 2.5: 8.21, 4.0: 5.09, 6.0: 3.39,
        10.0: 1.95, 16.0: 1.24, 25.0: 0.795, 35.0: 0.565, 50.0: 0.393,
        70.0: 0.277, 95.0: 0.210,
    },
}  # fmt: skip
CROSS_SECTIONS_MM2 = tuple(OHM_PER_KM["copper"])
COPPER_PER_K = 0.00393  # of the resistance at 20 C: IEC 60028
COPPER_OHM_MM2_PER_KM = 17.241  # annealed, 20 C: IEC 60028
TINNED_SHARE = 1.03  # tinned over plain: the largest ratio of the two columns above
# What a cable may carry all the time [A]: two loaded copper conductors, 70 C insulation, enclosed,
# air at 30 C: IEC 60364-5-52 table B.52.2, method B1 (1 mm2: BS 7671 table 4D1A; below, flexible
# cords: its table 4F3A). From memory.
AMPACITY_A = {
    0.5: 3.0, 0.75: 6.0, 1.0: 13.5, 1.5: 17.5, 2.5: 24.0, 4.0: 32.0, 6.0: 41.0,
    10.0: 57.0, 16.0: 76.0, 25.0: 101.0, 35.0: 125.0, 50.0: 151.0,
    70.0: 192.0, 95.0: 232.0,
}  # fmt: skip
# The same for gauges with terminals for 60 and 75 C: NFPA 70 240.4(D) to 10, 310.16 above it. From
# memory.
AWG_AMPACITY_A = {
    60: {
        18: 7.0, 16: 10.0, 14: 15.0, 12: 20.0, 10: 30.0, 8: 40.0, 6: 55.0,
        4: 70.0, 3: 85.0, 2: 95.0, 1: 110.0, 0: 125.0,
        -1: 145.0, -2: 165.0, -3: 195.0,
    },
    75: {
        18: 7.0, 16: 10.0, 14: 15.0, 12: 20.0, 10: 30.0, 8: 50.0, 6: 65.0,
        4: 85.0, 3: 100.0, 2: 115.0, 1: 130.0, 0: 150.0,
        -1: 175.0, -2: 200.0, -3: 230.0,
    },
}  # fmt: skip
AT_60_C_A = 100.0  # circuits up to here go by 60 C unless terminals are marked: NFPA 70 110.14(C)
AWG_SOLD = tuple(AWG_AMPACITY_A[60])  # 0 is written 1/0, -3 4/0; most odd sizes are hardly sold
# Mains leads are trodden on, dragged and caught: on site none thinner is used, whatever it carries.
# Common practice, from memory (rubber leads such as H07RN-F, EN 50525-2-21; by gauges AWG 16).
MAINS_LEAD_MM2, MAINS_LEAD_AWG = 1.5, 16
# Common practice; the makers' ranges for blade and bolted fuses by ISO 8820.
FUSES_A = (
    1.0, 2.0, 3.0, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 50.0, 60.0, 70.0,
    80.0, 100.0, 125.0, 150.0, 200.0, 250.0, 300.0,
)  # fmt: skip
CONTINUOUS = 1.25  # a fuse bears what flows for hours at 1 / 1.25 of its rating: NFPA 70 210.20
PANEL_CIRCUIT = 1.25 * CONTINUOUS  # times I_sc: 1.25 for bright skies, NFPA 70 690.8(A) and (B)
STANDARD_C = 25.0  # cells at standard test conditions: IEC 60904-3
COLDEST_C = -40.0
STEEPEST_PERCENT_PER_C = -0.5  # of V_oc; silicon has -0.2 to -0.4 (common practice)
# NFPA 70 table 690.7(A), from memory: the cold end of each band [C] and its factor, mildest first.
COLD_FACTORS = (
    (20.0, 1.02), (15.0, 1.04), (10.0, 1.06), (5.0, 1.08), (0.0, 1.10), (-5.0, 1.12),
    (-10.0, 1.14), (-15.0, 1.16), (-20.0, 1.18), (-25.0, 1.20), (-30.0, 1.21), (-35.0, 1.23),
    (COLDEST_C, 1.25),
)  # fmt: skip


def awg_mm2(awg: int) -> float:
    """Cross-section of a gauge number [mm2]; 0 stands for 1/0, -3 for 4/0. ASTM B258.

    >>> round(awg_mm2(10), 3)
    5.261
    """
    diameter_mm = 0.127 * math.pow(92.0, (36 - awg) / 39.0)
    return math.pi / 4.0 * diameter_mm * diameter_mm


def same_awg(mm2: float) -> int | None:
    """The gauge that is sold and has this cross-section within 0.5 %, or None.

    >>> same_awg(3.31), same_awg(4.0)
    (12, None)
    """
    near = (awg for awg in AWG_SOLD if abs(mm2 / awg_mm2(awg) - 1.0) < 0.005)
    return next(near, None)


def awg_words(awg: int) -> str:
    """A gauge as it is written; 0 is 1/0.

    >>> awg_words(10), awg_words(0)
    ('10', '1/0')
    """
    return str(awg) if awg > 0 else f"{1 - awg}/0"


def awg_as_thick(mm2: float, carries_a: float = 0.0, terminals_c: int | None = None) -> int:
    """The thinnest gauge sold of at least this section that bears carries_a; 0 is 1/0, -3 4/0.

    terminals_c as in `ampacity_a`. Raises ValueError beyond the table.

    >>> awg_as_thick(2.5), awg_as_thick(5.26), awg_as_thick(50.0), awg_as_thick(25.0, 100.0)
    (12, 10, 0, 1)
    """
    column = AWG_AMPACITY_A[gauge_column_c(carries_a, terminals_c)]
    same = same_awg(mm2)
    for awg in AWG_SOLD:
        if (awg == same or awg_mm2(awg) >= mm2) and column[awg] >= carries_a:
            return awg
    raise ValueError(
        f"mm2 must be at most {awg_mm2(AWG_SOLD[-1]):.1f} and carry at most"
        f" {column[AWG_SOLD[-1]]:g} A (got {mm2:g} mm2, {carries_a:g} A)"
    )


def gauge_column_c(circuit_a: float, terminals_c: int | None = None) -> int:
    """The column of the table of gauges [C]: by the terminals' mark, else by the circuit's fuse.

    >>> gauge_column_c(100.0), gauge_column_c(125.0), gauge_column_c(40.0, terminals_c=75)
    (60, 75, 75)
    """
    return terminals_c or (60 if circuit_a <= AT_60_C_A else 75)


def ohm_per_km(mm2: float, conductor: str = "copper", temp_c: float = 20.0) -> float:
    """Resistance of one conductor [ohm/km]: IEC 60228 class 5, a gauge by ASTM B258.

    conductor is "copper" or "tinned", temp_c its own temperature. Raises ValueError for a
    cross-section that is neither.

    >>> ohm_per_km(2.5), round(ohm_per_km(2.5, temp_c=60.0), 3)
    (7.98, 9.234)
    """
    ohm = OHM_PER_KM[conductor].get(mm2)
    if ohm is None:
        awg = same_awg(mm2)
        if awg is None:
            sizes = ", ".join(f"{size:g}" for size in CROSS_SECTIONS_MM2)
            raise ValueError(
                f"mm2 must be one of {sizes}, or that of an even gauge, such as 5.26 for AWG 10"
                f" (got {mm2:g})"
            )
        ohm = COPPER_OHM_MM2_PER_KM / awg_mm2(awg)
        ohm *= TINNED_SHARE if conductor == "tinned" else 1.0
    return ohm * (1.0 + COPPER_PER_K * (temp_c - 20.0))


def loop_ohm(length_m: float, mm2: float, conductor: str = "copper", temp_c: float = 60.0) -> float:
    """Resistance there and back [ohm] of a cable `length_m` long one way. Raises ValueError.

    Times the amps it is the drop [V], times their square the loss [W] (Ohm's law).

    >>> round(10.0 * loop_ohm(5.0, 2.5, temp_c=20.0), 3)
    0.798
    """
    if not length_m > 0.0:
        raise ValueError(f"the length must be more than 0 (got {length_m:g})")
    return 2.0 * length_m / 1000.0 * ohm_per_km(mm2, conductor, temp_c)


def ampacity_a(mm2: float, circuit_a: float = 0.0, terminals_c: int | None = None) -> float:
    """What a cable may carry for hours [A], alone, uncoiled, in air at 30 C.

    circuit_a [A] is its fuse, terminals_c (60 or 75) what both ends are marked for: they count for
    gauges. IEC 60364-5-52 table B.52.2, method B1; gauges NFPA 70 240.4(D), 310.16, 110.14(C).
    Raises ValueError.

    >>> ampacity_a(2.5), ampacity_a(5.26), ampacity_a(8.37, 50.0, terminals_c=75)
    (24.0, 30.0, 50.0)
    """
    ohm_per_km(mm2)  # refuses what is no size
    awg = same_awg(mm2)
    if awg is None:
        return AMPACITY_A[mm2]
    return AWG_AMPACITY_A[gauge_column_c(circuit_a, terminals_c)][awg]


def smallest_mm2(
    amps: float,
    length_m: float,
    allowed_v: float,
    carries_a: float = 0.0,
    conductor: str = "copper",
    temp_c: float = 60.0,
) -> float:
    """The smallest standard cross-section [mm2] that drops at most allowed_v and bears carries_a.

    Raises ValueError where the table ends before that, or the drop allowed is not above 0.

    >>> smallest_mm2(10.0, 5.0, 0.36, temp_c=20.0)
    6.0
    """
    if not allowed_v > 0.0:
        raise ValueError(f"the drop allowed must be more than 0 (got {allowed_v:g} V)")
    for mm2 in CROSS_SECTIONS_MM2:
        ohm = loop_ohm(length_m, mm2, conductor, temp_c)
        if amps * ohm <= allowed_v * (1.0 + 1e-9) and AMPACITY_A[mm2] >= carries_a:
            return mm2
    thickest = CROSS_SECTIONS_MM2[-1]
    if AMPACITY_A[thickest] < carries_a:
        raise ValueError(
            f"{carries_a:.4g} A are beyond the table, which ends at {AMPACITY_A[thickest]:g} A in"
            f" {thickest:g} mm2: raise the voltage, or leave it to an electrician"
        )
    least_v = amps * loop_ohm(length_m, thickest, conductor, temp_c)
    raise ValueError(
        f"{amps:.4g} A over {length_m:g} m drop {least_v:.3g} V even in {thickest:g} mm2, where the"
        f" table ends, and {allowed_v:.3g} V are allowed: shorten it or raise the voltage"
    )


def smallest_awg(
    amps: float,
    length_m: float,
    allowed_v: float,
    carries_a: float = 0.0,
    conductor: str = "copper",
    temp_c: float = 60.0,
    terminals_c: int | None = None,
) -> int | None:
    """The thinnest gauge sold that drops at most allowed_v and bears carries_a; None where none is.

    0 is 1/0, -3 4/0. terminals_c as in `ampacity_a`.

    >>> smallest_awg(10.0, 5.0, 0.36, temp_c=20.0), smallest_awg(1.0, 1.0, 1.0, 100.0)
    (10, 1)
    """
    column = AWG_AMPACITY_A[gauge_column_c(carries_a, terminals_c)]
    for awg in AWG_SOLD:
        drop_v = amps * loop_ohm(length_m, awg_mm2(awg), conductor, temp_c)
        if drop_v <= allowed_v * (1.0 + 1e-9) and column[awg] >= carries_a:
            return awg
    return None


def fuse_a(amps: float) -> float:
    """The next standard fuse at or above `amps`, which has its factors in it [A].

    Raises ValueError beyond the series.

    >>> fuse_a(CONTINUOUS * 10.0), fuse_a(15.0), fuse_a(PANEL_CIRCUIT * 11.8)
    (15.0, 15.0, 20.0)
    """
    for rating in FUSES_A:
        if rating >= amps * (1.0 - 1e-9):
            return rating
    raise ValueError(
        f"the fuse series ends at {FUSES_A[-1]:g} A (asked for {amps:.4g} A): raise the voltage, or"
        " leave it to an electrician"
    )


def cold_factor(lowest_c: float) -> float:
    """Open-circuit voltage in the cold over that of the label, by NFPA 70 table 690.7(A).

    1 from 25 C up; between bands the colder one. Below -40 C, where the table ends, by the steepest
    coefficient that silicon has: at most so much.

    >>> cold_factor(30.0), cold_factor(-7.0), cold_factor(-50.0)
    (1.0, 1.14, 1.3)
    """
    if lowest_c >= STANDARD_C:
        return 1.0
    for cold_end_c, factor in COLD_FACTORS:
        if lowest_c >= cold_end_c:
            return factor
    beyond_k = COLDEST_C - lowest_c
    return COLD_FACTORS[-1][1] + STEEPEST_PERCENT_PER_C / -100.0 * beyond_k


def cold_v_oc(v_oc: float, lowest_c: float, percent_per_c: float | None = None) -> float:
    """A panel's open-circuit voltage with its cells as cold as the coldest air [V].

    By its own coefficient in a straight line from 25 C; without one by `cold_factor`.

    >>> round(cold_v_oc(20.0, -15.0, -0.30), 2), cold_v_oc(20.0, -15.0)
    (22.4, 23.2)
    """
    if percent_per_c is None:
        return v_oc * cold_factor(lowest_c)
    return v_oc * (1.0 + percent_per_c / 100.0 * (lowest_c - STANDARD_C))


def after_cable(power_w: Array, ohm: float, panel_v: float, drawn_v: float) -> Array:
    """What a panel's power is worth at the far end of its cable [W], shape as power_w.

    The controller draws power_w / drawn_v amps: drawn_v is panel_v with MPPT, the battery's
    voltage with PWM, where a drop costs nothing until it has used up what the panel has above it.
    No more is drawn than carries the most power. panel_v is held; Ohm's law.

    >>> after_cable(np.array([0.0, 180.0, 1e6]), 0.18, 18.0, 18.0)
    array([  0., 162., 450.])
    >>> after_cable(np.array([128.0]), 0.1, 18.0, 12.8)
    array([128.])
    """
    panel_v = max(panel_v, drawn_v)
    amps = np.minimum(power_w / drawn_v, panel_v / (2.0 * ohm))
    return np.asarray(np.minimum(power_w, amps * (panel_v - amps * ohm)))
