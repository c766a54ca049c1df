"""What a pack's limits forbid: which sizes cannot give the power that the plan asks for at once."""

import math
from dataclasses import replace

import numpy as np

from energy.answers.size.designs import Designs
from energy.answers.size.figures import round_step, size_text
from energy.answers.size.frontier import Frontier
from energy.simulation.overloads import why_turned_away

NEARLY = 1.03  # so nearly is the smallest pack that can give the power found


def within_limits(
    designs: Designs, frontier: Frontier
) -> tuple[Frontier, str | None, float | None]:
    """The frontier without the packs that cannot give the power, which those are in words, and the
    smallest size that can [Wh]: of the list, or about that where none of the list can."""
    sizes_wh, count = frontier.sizes_wh, frontier.sizes_wh.size
    if designs.overloads:
        why = why_turned_away(designs.groups[0])
        return frontier, f"no pack size serves the plan: {why}", None
    low, high = min(int(frontier.smallest.min()), count - 1), count
    if not designs.at_size(sizes_wh[low]).overloads:
        return frontier, None, None
    while high - low > 1:
        middle = (low + high) // 2
        weak = designs.at_size(sizes_wh[middle]).overloads
        low, high = (middle, high) if weak else (low, middle)
    smallest, *begins = (
        np.where(steps < count, np.maximum(steps, high), count)
        for steps in (frontier.smallest, *frontier.begins)
    )
    why = why_turned_away(designs.at_size(sizes_wh[low]))
    words = f"{size_text(sizes_wh[low])} Wh and less is too weak: {why}"
    if high < count:
        least_wh = float(sizes_wh[high])
    else:
        least_wh = strong_enough_wh(designs, float(sizes_wh[-1]))
        words += f"; power enough comes from about {size_text(least_wh)} Wh on"
    frontier = replace(frontier, smallest=smallest, begins=tuple(begins))
    return frontier, words, least_wh


def strong_enough_wh(designs: Designs, least_wh: float) -> float:
    """The smallest pack from least_wh on, to within a few percent, that can give the power.

    No task may be turned away whatever the size (see `Designs.overloads`).
    """
    low, high = least_wh, least_wh
    while designs.at_size(high).overloads:
        low, high = high, 2.0 * high
    while high > NEARLY * low:
        middle = math.sqrt(low * high)
        low, high = (middle, high) if designs.at_size(middle).overloads else (low, middle)
    step_wh = round_step(high * (NEARLY - 1.0))
    return math.ceil(high / step_wh) * step_wh if high > least_wh else least_wh
