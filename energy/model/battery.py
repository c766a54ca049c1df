"""The one place where the battery moves: lithium as one well, lead-acid as two.

Rates are Wh of store per hour, positive into the store; stores are Wh of C, the label times health
at low rate. What the bus asks and who goes short is settled in `simulate`.
"""

from dataclasses import dataclass

import numpy as np

from energy.model import Array, Mask

LITHIUM = ("lfp", "nmc")
FREEZING_C = 0.0  # lithium takes no charge below this (common practice)

# Usable share of the store by temperature [deg C], held beyond the ends: common practice;
# lead-acid is one over the IEEE 485 cell size factors for 25 to 77 deg F (from memory), carried on
# to 1/2.1 at -20 deg C.
USABLE = {
    "lfp": ([-20.0, -10.0, 0.0, 25.0], [0.60, 0.80, 0.90, 1.0]),
    "nmc": ([-20.0, -10.0, 0.0, 25.0], [0.70, 0.85, 0.92, 1.0]),
}
_IEEE_485 = {
    25: 1.52,
    30: 1.43,
    40: 1.30,
    45: 1.25,
    50: 1.19,
    55: 1.15,
    60: 1.11,
    70: 1.04,
    77: 1.0,
}
USABLE["agm"] = (
    [-20.0, *((f - 32.0) / 1.8 for f in _IEEE_485)],
    [1.0 / 2.1, *(1.0 / factor for factor in _IEEE_485.values())],
)
USABLE["flooded"] = USABLE["agm"]


@dataclass(frozen=True)
class Battery:
    """A battery's figures; those marked (scenarios) may differ between scenarios.

    capacity_wh C (scenarios), charge_max_w at the terminals (scenarios), shares from 0 to 1,
    resistive_h [h], self_discharge_per_h [1/h]; kinetic_c and kinetic_k_per_h only for lead-acid.
    Colder than discharge_min_c [deg C] it gives nothing; None: it gives in any cold.
    """

    chemistry: str
    capacity_wh: Array
    charge_max_w: Array
    start_share: float
    resistive_h: float
    coulombic: float
    taper_from: float
    self_discharge_per_h: float
    heated: bool = False
    kinetic_c: float | None = None
    kinetic_k_per_h: float | None = None
    discharge_min_c: float | None = None

    @property
    def lithium(self) -> bool:
        """Whether it is of a lithium chemistry."""
        return self.chemistry in LITHIUM

    @property
    def charge_ceiling(self) -> Array:
        """The highest rate into the store below the taper [Wh/h], shape (scenarios,)."""
        return self.coulombic * terminal_to_rate(
            self.charge_max_w, self.capacity_wh, self.resistive_h
        )

    @property
    def taper_per_h(self) -> Array:
        """How steeply the ceiling falls with the store above the taper's start [1/h]."""
        width = max(1.0 - self.taper_from, 1e-6)
        return self.charge_ceiling / (self.capacity_wh * width)

    def too_cold(self, temperature: Array) -> Mask:
        """Where it is so cold that nothing comes out, however full."""
        limit = -np.inf if self.discharge_min_c is None else self.discharge_min_c
        return np.asarray(temperature) < limit

    def cold_unavailable_share(self, temperature: Array) -> Array:
        """The share of C that the cold holds back; lead-acid: of its available well only.

        All of it where it is too cold to give anything.

        >>> from energy.model.battery import Battery
        >>> one = np.array([1000.0])
        >>> pack = Battery("lfp", one, one, 1.0, 0.06, 0.99, 0.9, 0.0)
        >>> pack.cold_unavailable_share(np.array([-10.0, 30.0])).round(3)
        array([0.2, 0. ])
        """
        at, usable = USABLE[self.chemistry]
        share = np.where(self.too_cold(temperature), 1.0, 1.0 - np.interp(temperature, at, usable))
        return share * self.kinetic_c if self.kinetic_c is not None else share

    def frozen(self, temperature: Array) -> Array:
        """1.0 where the cold forbids charging, else 0.0."""
        if not self.lithium or self.heated:
            return np.zeros_like(temperature)
        return np.where(temperature < FREEZING_C, 1.0, 0.0)


def terminal_to_rate(terminal_w: Array, capacity_wh: Array | float, resistive_h: float) -> Array:
    """Rate at the store [Wh/h] for a terminal power [W], positive charging, negative discharging.

    The resistive loss h x^2 / C in closed form without cancellation; beyond C / (4 h) no rate
    gives the power, and the root is held at zero.

    >>> x = terminal_to_rate(np.array([-100.0]), np.array([1000.0]), 0.06)
    >>> bool(abs(-x - 0.06 * x**2 / 1000.0 - 100.0)[0] < 1e-9)
    True
    """
    root: Array = np.sqrt(np.maximum(1.0 + 4.0 * resistive_h * terminal_w / capacity_wh, 0.0))
    return 2.0 * terminal_w / (1.0 + root)


def rate_to_terminal(rate: Array, capacity_wh: Array | float, resistive_h: float) -> Array:
    """Terminal power [W] for a rate at the store [Wh/h]: the inverse of `terminal_to_rate`.

    >>> float(rate_to_terminal(np.array([100.0]), np.array([1000.0]), 0.06)[0])
    100.6
    """
    return rate + resistive_h * rate**2 / capacity_wh


def store_rate(battery: Battery, net_w: Array, may_charge: Array) -> Array:
    """Rate offered to the store, or asked of it, for what the bus has over, or lacks [W].

    may_charge: 0 where the cold forbids charging, else 1; both (n, scenarios).

    >>> one = np.array([1000.0])
    >>> pack = Battery("lfp", one, np.array([500.0]), 0.5, 0.0, 0.9, 0.9, 0.0)
    >>> store_rate(pack, np.array([[800.0], [-100.0]]), np.ones((2, 1)))[:, 0]
    array([ 450., -100.])
    """
    terminal = np.minimum(net_w, battery.charge_max_w)
    if not may_charge.all():
        terminal = np.where(terminal > 0.0, terminal * may_charge, terminal)
    rate = terminal_to_rate(terminal, battery.capacity_wh, battery.resistive_h)
    return np.where(rate > 0.0, rate * battery.coulombic, rate)


def hours_to_meet(gap_wh: Array, slope: Array, leak_per_h: float) -> Array:
    """How long the store needs to rise by gap_wh where it rises at `slope` [Wh/h] to begin with.

    The rate is constant and the leak slows it: -log(1 - leak gap / slope) / leak, as a series,
    because a leak is small or nothing.

    >>> float(hours_to_meet(np.array(50.0), np.array(100.0), 0.0))
    0.5
    """
    straight = gap_wh / slope
    small = leak_per_h * straight
    return straight * (1.0 + small * (0.5 + small * (1.0 / 3.0 + small / 4.0)))


@dataclass(frozen=True)
class Path:
    """How the store went: store_wh (n + 1, scenarios); full (n, scenarios), the share of each
    segment over which the whole rate was given (1 unless the store ran out in it); and the second
    state of a lead-acid battery at the end, (scenarios,)."""

    store_wh: Array
    full: Array
    imbalance_wh: Array


def start(battery: Battery) -> tuple[Array, Array]:
    """Store and, for lead-acid, the wells' imbalance at the start [Wh], in equilibrium.

    >>> one = np.array([1000.0])
    >>> start(Battery("lfp", one, one, 0.5, 0.06, 0.99, 0.9, 0.0))[0]
    array([500.])
    """
    return battery.capacity_wh * battery.start_share, np.zeros_like(battery.capacity_wh)


def advance(
    battery: Battery, state: tuple[Array, Array], rate: Array, hours: Array, floor_wh: Array
) -> Path:
    """Move the store through n segments of constant rate.

    rate [Wh/h], (n, scenarios), positive: what is offered to the store (the charge ceiling is kept
    here), negative: what is asked of it; hours (n, scenarios or 1); floor_wh (n, scenarios): where
    it is empty (for lead-acid: where its available well is), -inf where none is looked at. The
    exact solution of each segment, so that halving a segment changes nothing.

    >>> one = np.array([1000.0])
    >>> pack = Battery("lfp", one, one, 0.5, 0.06, 0.99, 0.9, 0.0)
    >>> rates, hours, floor = np.array([[-100.0], [-900.0]]), np.ones((2, 1)), np.zeros((2, 1))
    >>> path = advance(pack, start(pack), rates, hours, floor)
    >>> path.store_wh[:, 0], path.full[:, 0].round(3)
    (array([500., 400.,   0.]), array([1.   , 0.444]))
    """
    if battery.kinetic_c is None:
        return _advance_one_well(battery, state[0], rate, hours, floor_wh)
    return _advance_two_wells(battery, state, rate, hours, floor_wh)


def _advance_one_well(
    battery: Battery, store: Array, rate: Array, hours: Array, floor_wh: Array
) -> Path:
    """e' = rate - leak e, under the ceiling k (C - e) where that is lower, not below the floor."""
    capacity, k, leak = battery.capacity_wh, battery.taper_per_h, battery.self_discharge_per_h
    keep = np.exp(-leak * hours)
    moved = rate * (-np.expm1(-leak * hours) / leak if leak > 0.0 else hours)
    # Where the ceiling begins to bind; an offer below the leak at full charge never meets it.
    charging = rate > leak * capacity
    meets = np.where(charging, capacity - rate / k, np.inf)
    may_taper, floored = (np.any(rows, axis=1).tolist() for rows in (charging, floor_wh != 0.0))
    rest = capacity * k / (k + leak)
    all_along = np.exp(-(k + leak) * hours)
    path = np.empty((hours.shape[0] + 1, capacity.size))
    path[0] = store
    for i in range(hours.shape[0]):
        before, after = path[i], path[i + 1]
        np.multiply(before, keep[i], out=after)
        after += moved[i]
        np.maximum(after, np.minimum(before, floor_wh[i]) if floored[i] else 0.0, out=after)
        if not may_taper[i] or not np.count_nonzero(over := after > meets[i]):
            continue
        if not np.count_nonzero(over & (before < meets[i])):  # in the taper from its start
            np.copyto(after, rest - (rest - before) * all_along[i], where=over)
        else:
            gap = np.where(over, np.maximum(meets[i] - before, 0.0), 0.0)
            slope = np.where(over, rate[i] - leak * before, 1.0)
            until = hours_to_meet(gap, slope, leak)
            away = np.where(over, rest - np.maximum(before, meets[i]), 0.0)
            tapered = rest - away * np.exp(-(k + leak) * np.maximum(hours[i] - until, 0.0))
            np.copyto(after, tapered, where=over)
    lost = moved + path[:-1] * keep - path[1:]  # negative: taken less than asked
    short = (moved < -1e-12 * capacity) & (lost < -1e-12 * capacity)
    asked = np.where(short, -moved, 1.0)
    full = np.where(short, np.clip(1.0 + lost / asked, 0.0, 1.0), 1.0)
    return Path(path, full, np.zeros_like(capacity))


def _advance_two_wells(
    battery: Battery, state: tuple[Array, Array], rate: Array, hours: Array, floor_wh: Array
) -> Path:
    """The kinetic model (Manwell & McGowan 1993, doi:10.1016/0038-092X(93)90060-2).

    States: q, both wells together, and w = available well - c q. Then q' = I and
    w' = (1 - c) I - k' w, whose closed forms are used phase by phase.
    """
    c, kk = battery.kinetic_c, battery.kinetic_k_per_h
    assert c is not None
    assert kk is not None
    leak, taper, capacity = battery.self_discharge_per_h, battery.taper_per_h, battery.capacity_wh
    half, relax = np.exp(-leak * hours / 2.0), np.exp(-kk * hours)
    moved, lifted = rate * hours, (1.0 - c) * rate * (1.0 - relax) / kk
    asks, charges = rate < 0.0, rate > 0.0
    floor = np.where(asks, floor_wh, -np.inf)
    meets = np.where(charges, capacity - rate / taper, np.inf)
    may_run_out, may_fill = (np.asarray(m.any(axis=1)).tolist() for m in (asks, charges))
    hours, top = np.broadcast_to(hours, rate.shape), c * capacity
    q, w = state
    path, full = np.empty((hours.shape[0] + 1, q.size)), np.ones(hours.shape)
    path[0] = q
    for i in range(hours.shape[0]):
        q, w = q * half[i], w * half[i]
        available = c * q
        available += w
        q1, w1 = q + moved[i], w * relax[i]
        w1 += lifted[i]
        a1 = c * q1
        a1 += w1
        if may_run_out[i] and (at := (np.minimum(available, a1) < floor[i]).nonzero()[0]).size:
            here = (each.take(at) for each in (q, w, rate[i], floor[i], hours[i]))
            q1[at], w1[at], full[i, at] = _run_out(c, kk, *here)
        if may_fill[i]:
            high = np.maximum(available, top)
            at = ((q1 > meets[i]) | ((a1 > high) & charges[i])).nonzero()[0]
            if at.size:
                here = (each.take(at) for each in (q, w, rate[i], high, capacity, taper, hours[i]))
                q1[at], w1[at] = _fill(c, kk, *here)
        q, w = q1 * half[i], w1 * half[i]
        path[i + 1] = q
    return Path(path, full, w)


def _constant(
    c: float, kk: float, q: Array, w: Array, current: Array, t: Array
) -> tuple[Array, Array]:
    decay = np.exp(-kk * t)
    return q + current * t, w * decay + (1.0 - c) * current * (1.0 - decay) / kk


def _held(c: float, kk: float, w: Array, level: Array, t: Array) -> tuple[Array, Array]:
    """The available well kept at a level: what flows between the wells is all that passes."""
    w = w * np.exp(-c * kk * t)
    return (level - w) / c, w


def _well_reaches(
    c: float, kk: float, q: Array, w: Array, current: Array, level: Array, end: Array
) -> Array:
    """When the available well reaches a level that it has passed at `end` [h], by Newton.

    The well is a straight line plus one exponential, so that from the right side Newton's steps
    never overshoot.
    """
    straight, aside = c * current, (1.0 - c) * current / kk
    bend, lacks = w - aside, aside + c * q - level
    t, near = np.where(bend * current < 0.0, 0.0, end), 1e-8 * end
    for _ in range(40):
        curved = bend * np.exp(-kk * t)
        speed = straight - kk * curved
        speed[speed == 0.0] = np.inf
        before, t = t, np.minimum(np.maximum(t - (curved + straight * t + lacks) / speed, 0.0), end)
        if (np.abs(t - before) <= near).all():  # the error is the square of that
            break
    return t


def _run_out(
    c: float, kk: float, q: Array, w: Array, current: Array, floor: Array, dt: Array
) -> tuple[Array, Array, Array]:
    """Discharge where the available well is, or comes, to its floor; third: share fully served.

    Below the floor nothing is given until the bound well has lifted it; then all that is asked
    until the floor is reached; then only what the bound well feeds.
    """
    level = floor - c * q  # of w, at the floor
    below, left = w < level, dt
    if below.any():
        times = np.where(below, np.inf, 1.0)  # how much nearer w must come to its rest
        np.divide(w, level, out=times, where=below & (level < 0.0))
        wait = np.minimum(np.log(times) / kk, dt)
        w, left = w * np.exp(-kk * wait), dt - wait
    q_end, w_end = _constant(c, kk, q, w, current, left)
    drops = w_end + c * q_end < floor
    at_once = below & (current <= kk * w)  # it has just been lifted to the floor and sinks again
    served, at = np.where(drops, 0.0, left), (drops & ~at_once).nonzero()[0]
    if at.size:
        served[at] = _well_reaches(c, kk, q[at], w[at], current[at], floor[at], left[at])
    if served.any():
        q, w = _constant(c, kk, q, w, current, served)
        left = left - served
    q_held, w_held = _held(c, kk, w, w + c * q, left)
    feeds = w < 0.0
    return (
        np.where(feeds, q_held, q),
        np.where(feeds, w_held, w * np.exp(-kk * left)),
        served / dt,
    )


def _fill(
    c: float,
    kk: float,
    q: Array,
    w: Array,
    current: Array,
    high: Array,
    capacity: Array,
    taper: Array,
    dt: Array,
) -> tuple[Array, Array]:
    """Charge at the offer, then along the taper, then as fast as the full well passes it on.

    Nine arguments: the state and the limits of each scenario, as plain arrays.
    """
    until = np.minimum(np.maximum((capacity - current / taper - q) / current, 0.0), dt)
    q1, w1 = _constant(c, kk, q, w, current, until)
    available = w1 + c * q1
    topped = available > high * (1.0 + 1e-12)
    if (at := topped.nonzero()[0]).size:
        until[at] = _well_reaches(c, kk, q[at], w[at], current[at], high[at], until[at])
        q1[at], w1[at] = _constant(c, kk, q[at], w[at], current[at], until[at])
        available[at] = high[at]
    left = dt - until
    # Along the taper the room d = C - q decays, and the top's gap g = high - available has
    # g' = (k' c - k) d - k' g: its zero is in closed form.
    room, gap, faster = capacity - q1, np.maximum(high - available, 0.0), kk - taper
    faster = np.where(np.abs(faster) < 1e-9, 1e-9, faster)
    inside = gap * faster / np.maximum((taper - kk * c) * room, 1e-300)
    meets, met = np.full_like(inside, np.inf), (taper > kk * c) & (inside > -1.0)
    np.log1p(inside, out=meets, where=met)
    np.divide(meets, faster, out=meets, where=met)
    along = np.where(topped, 0.0, np.minimum(meets, left))
    slower, more = np.exp(-kk * along), np.expm1(faster * along)
    q2 = capacity - room * slower * (1.0 + more)  # room exp(-taper along)
    w2 = w1 * slower + (1.0 - c) * taper * room * slower * more / faster
    at = (along < left).nonzero()[0]
    q2[at], w2[at] = _held(c, kk, w2[at], high[at], left[at] - along[at])
    return q2, w2
