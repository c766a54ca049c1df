"""A pass in steps of up to half an hour: quick, and close enough to search with. It never decides.

What is offered to the store or asked of it is worked out segment by segment as in `simulate`, with
every loss; the store then moves by the mean of each step. A dip and a rise inside a step go unseen,
so that a scenario looks a little better than it is, hardly ever worse.
"""

import numpy as np

from energy.model import Index
from energy.model.battery import advance, start
from energy.model.case import ALL, Case
from energy.model.simulate import Simulated, blank, block_of, row_blocks

STEP_S, LEAD_ACID_STEP_S = 1800.0, 600.0  # what lead-acid has at hand dips within minutes
FEWER_BLOCKS = 8  # times than a simulation: with few scenarios calls cost more than cells


def rough(case: Case, scenarios: Index | slice = ALL) -> Simulated:
    """Run a case roughly, without its books, in some of its scenarios; the others are taken to stay
    full.

    At the edges inside a step the store is given as at its end. A lithium store that is empty goes
    on below nothing, which tells how much it lacks.
    """
    simulated = blank(case)
    simulated.store_wh[:] = case.battery.capacity_wh
    case = case.scenarios(scenarios)
    battery = case.battery
    step_s = STEP_S if battery.lithium else LEAD_ACID_STEP_S
    state, short = start(battery), np.zeros(battery.capacity_wh.size, dtype=bool)
    simulated.store_wh[0, scenarios] = state[0]
    for rows in row_blocks(case.edges.size - 1, max(short.size // FEWER_BLOCKS, 1)):
        block = block_of(case, rows)
        step = np.floor(case.edges[rows] / step_s)
        begins = np.diff(step, prepend=-1.0) != 0.0
        first = np.flatnonzero(begins)
        hours = np.add.reduceat(block.hours, first)
        rate = np.add.reduceat(block.rate * block.hours, first) / hours
        floor_wh = np.maximum.reduceat(case.cold_unavailable(rows), first) * battery.capacity_wh
        stops_wh = np.full_like(floor_wh, -np.inf) if battery.lithium else floor_wh
        path = advance(battery, state, rate, hours, stops_wh)
        lacks = (rate < 0.0) & (path.store_wh[1:] < floor_wh - 1e-9 * battery.capacity_wh)
        short |= (lacks if battery.lithium else path.full < 1.0).any(axis=0)
        state = path.store_wh[-1], path.imbalance_wh
        simulated.store_wh[rows.start + 1 : rows.stop + 1, scenarios] = path.store_wh[
            np.cumsum(begins)
        ]
    simulated.first_short_s[scenarios] = np.where(short, case.edges[0], np.inf)
    return simulated
