"""Which panel and pack sizes to look at: the plan's own ranges, else what its load suggests."""

import math

import numpy as np

from energy.answers.size.designs import Designs
from energy.answers.size.figures import round_step
from energy.answers.size.limits import strong_enough_wh
from energy.answers.size.load_and_sun import load_and_sun
from energy.model import Array

PANEL_SIZES, BATTERY_STEPS = 20, 200  # about so many are looked at
MOST_PANEL = 2.5  # times the panels that just make what the job uses
MOST_DAYS = 10.0  # of load in a pack, where the job itself is longer
YEAR_MOST_DAYS = 30.0  # where it goes on through the year
LEAST_WH = 1.0  # no plan's pack is smaller
BEYOND_POWER = 1.5  # times the smallest pack that can give the power


def ranges(designs: Designs, stays: bool = False) -> tuple[Array, Array]:
    """Panel sizes [W] and pack sizes [Wh] to look at, each rising: the plan's own ranges, else from
    the load.

    Panels from none to two and a half times those that make what the job uses in its mean
    weather; packs from next to nothing up to one that carries the whole job, or ten days of it,
    without any sun, and well past the one that can give the power.

    designs: the plan laid out for many sizes.
    stays: whether the load goes on through the year: then a pack may carry thirty days of it.

    >>> from energy.answers.size.designs import make_designs
    >>> from energy.plan import Plan
    >>> watts, sizes = ranges(make_designs(Plan.read("builtin:january-job")))
    >>> watts[[0, -1]].tolist(), sizes[[0, 1, -1]].tolist()
    ([400.0, 1600.0], [1500.0, 1520.0, 8000.0])
    """
    asked = designs.plan.size
    load_wh, sun_wh, days = load_and_sun(designs.groups[0])
    load_wh = max(load_wh, 1.0)  # other charging may bring more than is asked
    if asked is not None and asked.panel_w is not None:
        panel = asked.panel_w
    else:
        panel = _panel_range(designs, load_wh / max(sun_wh, 1e-9) * designs.base_w)
    if asked is not None and asked.battery_wh is not None:
        battery = asked.battery_wh
    else:
        carried = YEAR_MOST_DAYS / days if stays else min(1.5, 1.5 * MOST_DAYS / days)
        battery = _battery_range(designs, carried * load_wh)
    return _between(*panel, PANEL_SIZES, up=True), _between(*battery, BATTERY_STEPS)


def _panel_range(designs: Designs, makes_w: float) -> tuple[float, float]:
    """From no panel to well past those that just make what the job uses [W]."""
    base_w = designs.base_w
    most_w = min(max(MOST_PANEL * makes_w, base_w), 20.0 * base_w)
    step_w = round_step(most_w / PANEL_SIZES, up=True)
    return 0.0, math.ceil(most_w / step_w) * step_w


def _battery_range(designs: Designs, carried_wh: float) -> tuple[float, float]:
    """From next to nothing to a pack that carries so much without sun [Wh]."""
    pack = designs.plan.pack
    kept_back = float(designs.groups[0].cold_unavailable_percent.max()) + pack.reserve_percent
    usable = max(pack.start_percent - kept_back, 10.0) / 100.0 * pack.health_percent / 100.0
    most_wh = max(carried_wh / usable, pack.capacity_wh)
    if not designs.overloads:
        most_wh = BEYOND_POWER * strong_enough_wh(designs, most_wh / BEYOND_POWER)
    step_wh = round_step(most_wh / BATTERY_STEPS)
    low, high = (math.ceil(wh / step_wh) * step_wh for wh in (max(step_wh, LEAST_WH), most_wh))
    return low, high


def _between(low: float, high: float, steps: int, up: bool = False) -> Array:
    """Both bounds and all round figures between them, about so many; one where they are equal."""
    if low == high:
        return np.array([low])
    step = round_step((high - low) / steps, up)
    first = math.floor(low / step) + 1
    inner = step * np.arange(first, math.ceil(high / step - 1e-9))
    return np.unique(np.round(np.concatenate([[low], inner, [high]]), 6))
