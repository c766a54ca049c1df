"""Finds the bursts in a meter's log: when a tool ran, and how much energy each burst took.

Two levels of the logarithm part work from rest: watts themselves would part a tool under load
from the same tool running free. What follows for the tool is worked out in `trace`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from energy.answers.meter.log import Log
from energy.model import Array, Mask
from energy.plan import PlanError

SPLIT, TWICE, APART_W = 0.75, 1.5, 3.0  # what two levels must explain, and how far they are apart
SMALL_SHARE = 0.05  # of the largest power, added before the logarithm
LONE_SHARE = 0.1  # of a lone sample: starts are no higher above the work (common practice)
JOIN_S = 3.0
ROUNDING = 1e-9  # of a value: values closer together are the same
LEAST_BURST = 0.05  # of the usual energy: less is noise
CHARGE_S, TAPER_SAMPLES = 600.0, 4
REST_SHARE = 0.05  # of the most watts
TAPERED = 0.5  # of full power: what falls below it and is above it a sample later begins anew
ONE_STEP = 1.5  # of a counter's own steps: less is its rounding


@dataclass(frozen=True)
class LoggedBurst:
    """One burst in a log: from when to when [s], its energy above standby [Wh], whether all of it
    was logged, and its first and last sample."""

    start_s: float
    end_s: float
    energy_wh: float
    whole: bool
    first: int
    last: int


def two_levels(values: Array) -> tuple[float, float]:
    """The threshold that parts values best in two, and the share of the variance it explains
    (Otsu, IEEE Transactions on Systems, Man, and Cybernetics 9 (1979) 62).

    >>> two_levels(np.array([1.0, 1.0, 3.0, 3.0]))
    (2.0, 1.0)
    """
    ordered = np.sort(values)
    total = float(ordered.var())
    if ordered[-1] - ordered[0] <= ROUNDING * np.abs(ordered).max():
        return float(ordered[0]), 0.0
    count = np.arange(1, ordered.size)
    low = np.cumsum(ordered)[:-1] / count
    high = (ordered.sum() - np.cumsum(ordered)[:-1]) / (ordered.size - count)
    between = count * (ordered.size - count) / ordered.size**2 * (high - low) ** 2
    best = int(np.argmax(between))
    return float((ordered[best] + ordered[best + 1]) / 2.0), float(between[best] / total)


def find_bursts(log: Log) -> tuple[list[LoggedBurst], float]:
    """The bursts of a log and the watts between them; a steady log is one burst."""
    watts, dt = log.watts, log.interval_s
    small = SMALL_SHARE * max(float(smoothed(watts).max()), LONE_SHARE * float(watts.max()))
    if small <= 0.0:
        raise PlanError([f"{log.name}: nothing was drawn"])
    logs = np.log(watts + small)
    threshold, explained = two_levels(logs)
    above = logs > threshold
    low, high = float(watts[~above].mean()), float(watts[above].mean()) if above.any() else 0.0
    if explained < SPLIT or high < TWICE * low + APART_W:
        if len(charges := _charges(log, _at_work(log))) > 0:
            return [_burst(log, charges, k, 0.0) for k in range(len(charges))], 0.0
        energy = float(watts.sum()) * dt / 3600.0
        last = watts.size - 1
        return [LoggedBurst(0.0, float(log.time_s[-1]) + dt, energy, True, 0, last)], 0.0
    leave = (threshold + float(logs[~above].mean())) / 2.0
    spells = parted(log, _joined(_spells(logs, threshold, leave, log.gap_after), log))
    outside = np.ones(watts.size, dtype=bool)
    for spell in spells:
        outside[max(spell.first - 1, 0) : spell.last + 2] = False
    least_w = float(watts.min())  # an edge of work where no pause is long enough to show standby
    standby_w = least_w if least_w <= small else 0.0
    if outside.any():
        standby_w = float(np.median(watts[outside]))
    bursts = [_burst(log, spells, k, standby_w) for k in range(len(spells))]
    usual = float(np.median([burst.energy_wh for burst in bursts]))
    least = max(LEAST_BURST * usual, min(ONE_STEP * log.step_wh, 0.5 * usual))
    return [burst for burst in bursts if burst.energy_wh >= least], standby_w


def smoothed(watts: Array) -> Array:
    """Running medians of three."""
    padded = np.pad(watts, 1, mode="edge")
    return np.median(np.stack([padded[:-2], padded[1:-1], padded[2:]]), axis=0)


class Spell(NamedTuple):
    """Samples in a row at work, from the first to the last; whole where no gap and no end of the
    log cuts them off."""

    first: int
    last: int
    whole: bool


def _spells(logs: Array, enter: float, leave: float, gap_after: Mask) -> list[Spell]:
    """The spells that rise above `enter`, until they fall below `leave`."""
    spells: list[Spell] = []
    first, uncut, after_gap = -1, True, True
    for k, (value, gap) in enumerate(zip(logs.tolist(), gap_after.tolist(), strict=True)):
        if first < 0 and value > enter:
            first, uncut = k, not after_gap
        elif first >= 0 and value < leave:
            spells.append(Spell(first, k - 1, uncut))
            first = -1
        after_gap = gap
        if gap and first >= 0:
            spells.append(Spell(first, k, False))
            first = -1
    if first >= 0:
        spells.append(Spell(first, logs.size - 1, False))
    return spells


def _joined(spells: Sequence[Spell], log: Log) -> list[Spell]:
    """Spells with less than three seconds between them as one."""
    joined: list[Spell] = []
    for spell in spells:
        if joined:
            first, last, uncut = joined[-1]
            pause_s = (spell.first - last - 1) * log.interval_s
            if pause_s < JOIN_S and not log.gap_after[last : spell.first].any():
                joined[-1] = Spell(first, spell.last, uncut and spell.whole)
                continue
        joined.append(spell)
    return joined


def _burst(log: Log, spells: Sequence[Spell], k: int, standby_w: float) -> LoggedBurst:
    """The k-th spell as a burst; the samples beside it hold its edges and count with it."""
    first, last, uncut = spells[k]
    left = first - 1 if k == 0 or spells[k - 1].last < first - 2 else first
    right = last + 1
    if first > 0 and log.gap_after[first - 1]:
        left = first
    if log.gap_after[last]:
        right = last
    part = slice(max(left, 0), min(right, log.watts.size - 1) + 1)
    energy_wh = float((log.watts[part] - standby_w).sum()) * log.interval_s / 3600.0
    start_s, end_s = log.time_s[first], log.time_s[last] + log.interval_s
    return LoggedBurst(float(start_s), float(end_s), energy_wh, uncut, first, last)


def inside(log: Log, bursts: Sequence[LoggedBurst]) -> Array:
    """The samples of all bursts without those at their edges."""
    parts = [log.watts[burst.first + 1 : burst.last] for burst in bursts]
    return np.concatenate(parts) if parts else np.zeros(0)


def neighbours(log: Log, bursts: Sequence[LoggedBurst]) -> list[tuple[LoggedBurst, LoggedBurst]]:
    """Each burst with the next one, where no gap of the log lies between."""
    return [
        (burst, following)
        for burst, following in pairwise(bursts)
        if not log.gap_after[burst.first : following.first].any()
    ]


def periods(log: Log, bursts: Sequence[LoggedBurst]) -> Array:
    """Seconds from the start of one burst to that of the next."""
    return np.array([later.start_s - burst.start_s for burst, later in neighbours(log, bursts)])


def taper(log: Log, burst: LoggedBurst) -> tuple[float, float] | None:
    """Full watts of a charge and the percent of its energy from which it tapers, or None.

    At full power until t and then falling in a straight line until T, that share is 2 t / (t + T).
    """
    watts = smoothed(log.watts[burst.first : burst.last + 1])
    most = float(np.percentile(watts, 90.0))
    begins = int(np.argmax(watts >= 0.9 * most))
    watts = watts[begins : int(np.flatnonzero(watts > 0.1 * most).max(initial=0)) + 1]
    if watts.size * log.interval_s < CHARGE_S or watts.size < 20:
        return None
    at_full, falling = watts >= 0.9 * most, (watts < 0.9 * most) & (watts > 0.1 * most)
    if falling.sum() < max(TAPER_SAMPLES, 0.04 * watts.size):
        return None
    falls = np.flatnonzero(falling)
    if falls[0] < max(3, watts.size // 10) or np.flatnonzero(at_full)[-1] > np.median(falls):
        return None
    if watts[-2:].mean() > 0.5 * most:
        return None
    full = float(np.median(watts[at_full]))
    # The straight line through what falls tells when it began and when it would end.
    at_s = (np.arange(watts.size) + 0.5) * log.interval_s
    slope, rest = np.polyfit(at_s[falling], watts[falling], 1)
    begins_s, ends_s = (full - rest) / slope, -rest / slope
    return full, 100.0 * float(np.clip(2.0 * begins_s / (begins_s + ends_s), 0.0, 1.0))


def parted(log: Log, spells: Sequence[Spell]) -> list[Spell]:
    """Spells in which one charge follows another without a pause as one a charge: each falls away
    as a charge does."""
    apart: list[Spell] = []
    for spell in spells:
        charges = _charges(log, spell)
        apart += charges if len(charges) > 1 else [spell]
    return apart


def _at_work(log: Log) -> Spell:
    """The whole log but for the rest at both of its ends."""
    at = np.flatnonzero(log.watts > REST_SHARE * log.watts.max())
    return Spell(int(at[0]), int(at[-1]), not log.gap_after[at[0] : at[-1]].any())


def _charges(log: Log, spell: Spell) -> list[Spell]:
    """The charges in a spell, none where one of its parts is something else."""
    watts = smoothed(log.watts[spell.first : spell.last + 1])
    full = float(np.percentile(watts, 90.0))
    jumps = np.flatnonzero((watts[:-1] < TAPERED * full) & (watts[1:] > TAPERED * full)) + 1
    jumps = jumps[jumps * log.interval_s > CHARGE_S]  # the first rise is its beginning
    firsts = [spell.first, *(spell.first + int(jump) for jump in jumps)]
    lasts = [*(first - 1 for first in firsts[1:]), spell.last]
    charges = [Spell(first, last, spell.whole) for first, last in zip(firsts, lasts, strict=True)]
    bursts = [_burst(log, charges, k, 0.0) for k in range(len(charges))]
    return charges if all(taper(log, burst) is not None for burst in bursts) else []
