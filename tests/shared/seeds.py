"""Seeds of random cases: some always, the rest as oracles; no test lives here."""

import pytest


def seeds(always: int, every: int, slow: tuple[int, ...] = ()) -> list:
    """The seeds below `every`; those from `always` on, and slow ones, run only with `-m oracle`."""
    return [
        pytest.param(seed, marks=pytest.mark.oracle) if seed >= always or seed in slow else seed
        for seed in range(every)
    ]
