"""What a job asks of the bus, what the sun brings to it, and how many days it goes on."""

from dataclasses import replace

import numpy as np

from energy.model import Array
from energy.model.case import Case
from energy.model.simulate import simulate
from energy.simulation.budget import Budget
from energy.weather.record import DAY_S


def net_w(case: Case) -> tuple[Array, Array]:
    """Sun (after the controller) and what the bus asks beyond other charging [W], each (n, m).

    What is asked is read off a lossless store too large to matter.
    """
    endless = replace(
        case.battery,
        chemistry="lfp",
        capacity_wh=np.full_like(case.battery.capacity_wh, 1e9),
        charge_max_w=np.full_like(case.battery.capacity_wh, 1e9),
        start_share=0.5,
        resistive_h=0.0,
        coulombic=1.0,
        taper_from=1.0,
        self_discharge_per_h=0.0,
        heated=True,
        kinetic_c=None,
        kinetic_k_per_h=None,
    )
    hours = np.diff(case.edges) / 3600.0
    store = simulate(replace(case, battery=endless), books=False).store_wh
    net = np.diff(store, axis=0) / hours[:, None]
    sun = case.controller_efficiency * case.sun_w()
    return sun, sun - net


def load_and_sun(result: Budget) -> tuple[float, float, int]:
    """What the job asks of the bus and what the sun brings to it [Wh], means over the weathers,
    and how many days long it is (see `days_in`)."""
    sun, load = net_w(result.case)
    hours = np.diff(result.case.edges)[:, None] / 3600.0
    asked_wh, sun_wh = ((values * hours).sum(axis=0).mean() for values in (load, sun))
    return float(asked_wh), float(sun_wh), length_days(result)


def length_days(result: Budget) -> int:
    """How many days a budget's span holds (see `days_in`)."""
    return days_in(
        result.plan.place.longitude_deg, float(result.time_s[0]), float(result.time_s[-1])
    )


def days_in(longitude_deg: float, start_s: float, end_s: float) -> int:
    """How many days of work or nights out lie between two moments [UTC s] at a longitude [deg].

    Noons or midnights by the sun are counted, whichever are more; at least 1.

    >>> days_in(0.0, 7 * 3600.0, 4 * 86400.0 + 18 * 3600.0), days_in(0.0, 0.0, 3600.0)
    (5, 1)
    """
    ahead_s = longitude_deg / 360.0 * DAY_S
    first, last = ((t + ahead_s) / DAY_S for t in (start_s, end_s))
    passed = (int(np.floor(last - at) - np.ceil(first - at)) + 1 for at in (0.0, 0.5))
    return max(1, *passed)
