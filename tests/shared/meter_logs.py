"""Logs of invented tools, made second by second. Levels in W, energy in Wh; no test lives here."""

import numpy as np

from energy.answers.meter.log import parse_log

GRINDER = "angle-grinder-115"


def cuts(count=20, length_s=45, pause_s=30, noise_w=8.0, seed=0, after_s=200):
    """Watts by second of a tool that goes from load to running free, and each cut's energy."""
    rng = np.random.default_rng(seed)
    watts, energy = [np.full(90, 1.0)], []
    for _ in range(count):
        burst = np.empty(int(length_s * rng.uniform(0.8, 1.2)))
        at, loaded = 0, True
        while at < burst.size:
            stretch = int(rng.integers(4, 10) if loaded else rng.integers(2, 4))
            burst[at : at + stretch] = 850.0 * rng.normal(1.0, 0.06) if loaded else 260.0
            at, loaded = at + stretch, not loaded
        burst += rng.normal(0.0, noise_w, burst.size)
        watts += [burst, np.full(int(pause_s * rng.uniform(0.95, 1.2)), 1.0)]
        energy.append((burst - 1.0).sum() / 3600.0)
    watts.append(np.full(after_s, 1.0))
    return np.concatenate(watts), np.array(energy)


def log_of(watts, interval_s=1, gap=slice(0)):
    means = watts[: watts.size // interval_s * interval_s].reshape(-1, interval_s).mean(axis=1)
    rows = [f"{k * interval_s},{value:.2f}" for k, value in enumerate(means)]
    del rows[gap]
    return parse_log("seconds,watts\n" + "\n".join(rows))


def counted(watts, interval_s, step_wh):
    """The log of a counter that shows whole steps, read once an interval."""
    energy = 123.4 + np.append(0.0, np.cumsum(watts) / 3600.0)[::interval_s]
    shown = np.floor(energy / step_wh + 1e-9) * step_wh
    rows = [f"{k * interval_s},{value:.6f}" for k, value in enumerate(shown)]
    return parse_log("seconds,Wh\n" + "\n".join(rows))


def rows(values, head="seconds,watts"):
    return head + "\n" + "\n".join(f"{k},{value}" for k, value in enumerate(values)) + "\n"
