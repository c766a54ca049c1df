"""Seeds of random cases: some always, the rest as oracles; no test lives here."""

import pytest


def seeds(always: int, every: int) -> list:
    """The seeds below `every`; those from `always` on run only with `-m oracle`."""
    oracles = (pytest.param(seed, marks=pytest.mark.oracle) for seed in range(always, every))
    return [*range(always), *oracles]
