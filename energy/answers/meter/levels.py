"""What the samples inside bursts show: the kind of tool, how often it ran, and its levels of power.

What a log's interval cannot show stays None.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from energy.answers.meter.bursts import (
    SPLIT,
    TWICE,
    LoggedBurst,
    inside,
    neighbours,
    periods,
    taper,
    two_levels,
)
from energy.answers.meter.log import Log
from energy.model import Array, Index, Mask
from energy.plan.profiles import Table

LEVELS_TO_S = 2.0  # intervals up to this show levels inside a burst
SHOWS_BURSTS_S = 5.0  # up to this bursts are counted as they come
HIDES_BURSTS_S = 30.0  # from here on short bursts and pauses may lie between two values
SHORT_PAUSE = 1.1  # samples: where all pauses are of one, others fell between two
ALIKE = 1.6  # bursts with more than so many times the usual energy are several
TAPER_TO_S = 60.0
CYCLE_S, REGULAR = 300.0, 0.25
LEAST_AT_WORK = 2  # samples in a row
LEAST_INNER, EVEN = 2, 0.1  # samples of a burst without its edges, and how much they may differ
COARSE = 0.1  # of a level: what a counter's own step may be


@dataclass(frozen=True)
class Levels:
    """Watts at work and running free, the share of the time at work, and the percent of a charge
    from which its power falls."""

    working_w: float | None = None
    idle_w: float | None = None
    duty_percent: float | None = None
    taper_from_percent: float | None = None


def kind_of(log: Log, bursts: Sequence[LoggedBurst], base: Table) -> str:
    """charging where the power falls away, cycling where bursts come by themselves, else the
    profile's own kind or what the levels inside say."""
    if log.interval_s <= TAPER_TO_S and all(taper(log, burst) is not None for burst in bursts):
        return "charging"
    stated = base.get("kind")
    if stated in ("steady", "intermittent", "cycling", "charging"):
        return str(stated)
    if cycles(log, bursts):
        return "cycling"
    inner = inside(log, bursts)
    fine = log.interval_s <= LEVELS_TO_S and inner.size > 8
    return "intermittent" if fine and _parted(inner) else "steady"


def cycles(log: Log, bursts: Sequence[LoggedBurst]) -> bool:
    """Whether bursts come at even times and are of even length."""
    between = periods(log, bursts)
    lengths = np.array([burst.end_s - burst.start_s for burst in bursts])
    if between.size < 3 or between.mean() < CYCLE_S:
        return False
    even = [values.std() < REGULAR * values.mean() for values in (between, lengths)]
    return all(even)


def _parted(inner: Array) -> tuple[float, float] | None:
    """The watts under load and running free, where the samples of bursts are of two levels."""
    threshold, explained = two_levels(inner)
    if explained < SPLIT:
        return None
    above = inner > threshold
    if np.median(_lengths(above)) < LEAST_AT_WORK:  # spikes, as of starts, are no level
        return None
    high, low = float(np.median(inner[above])), float(np.median(inner[~above]))
    return (high, low) if high > TWICE * low else None


def _lengths(flags: Mask) -> Index:
    """How many samples in a row a flag holds, each time that it does."""
    change = np.diff(np.concatenate([[0], flags.astype(np.int8), [0]]))
    return np.flatnonzero(change == -1) - np.flatnonzero(change == 1)


def count_seen(log: Log, bursts: Sequence[LoggedBurst], kind: str) -> int | None:
    """How many bursts there were, None where the interval may hide some."""
    if log.interval_s <= LEVELS_TO_S or kind == "charging":
        return len(bursts)
    if len(bursts) == 1:
        inner = inside(log, bursts)
        uneven = inner.size > 0 and float(inner.std()) > REGULAR * float(inner.mean())
        hidden = log.interval_s > SHOWS_BURSTS_S and (uneven or kind == "intermittent")
        return None if hidden else 1
    if log.interval_s >= HIDES_BURSTS_S and not _even(log, bursts):
        return None
    pauses = [later.first - earlier.last - 1 for earlier, later in neighbours(log, bursts)]
    if pauses and float(np.mean(pauses)) < SHORT_PAUSE:
        return None
    energy = np.array([burst.energy_wh for burst in bursts])
    alike = log.interval_s <= SHOWS_BURSTS_S or energy.max() <= ALIKE * np.median(energy)
    return len(bursts) if alike else None


def _even(log: Log, bursts: Sequence[LoggedBurst]) -> bool:
    """Whether each burst is so long that its inner samples show that nothing paused in it."""
    inner = [log.watts[burst.first + 1 : burst.last] for burst in bursts]
    return all(part.size >= LEAST_INNER and part.std() <= EVEN * part.mean() for part in inner)


def levels_of(log: Log, bursts: Sequence[LoggedBurst], kind: str) -> Levels:
    """The levels that the log's interval shows of bursts of a tool of this kind."""
    inner = inside(log, bursts)
    if kind == "charging":
        tapers = [fall for fall in (taper(log, burst) for burst in bursts) if fall is not None]
        if not tapers:
            return Levels()
        full_w, share = np.mean(tapers, axis=0)
        return Levels(working_w=float(full_w), taper_from_percent=float(share))
    if inner.size < max(3, len(bursts)):
        return Levels()
    mean_w = float(inner.mean())
    if kind == "intermittent" and log.interval_s <= LEVELS_TO_S:
        high_w, low_w = _parted(inner) or (0.0, 0.0)
        if high_w > 0.0 and log.step_wh * 3600.0 / log.interval_s <= COARSE * high_w:
            duty = 100.0 * min(max((mean_w - low_w) / (high_w - low_w), 0.0), 1.0)
            return Levels(high_w, low_w, duty)
    return Levels(mean_w)
