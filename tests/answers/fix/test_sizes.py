"""How few tries find the smallest size that works, whatever is seen of how far it is from that."""

import pytest

from energy.answers.fix.ladder import Ladder
from energy.answers.fix.sizes import smallest_size

NEEDED, MOST = 137.0, 3000.0
HALVINGS = 12  # from MOST to one percent of NEEDED


@pytest.mark.parametrize("best_percent", [0.0, 1e-9, 0.05, 1.0, 100.0])
@pytest.mark.parametrize("whole", [False, True])
def test_few_tries_find_a_size_where_larger_ones_do_no_better(best_percent, whole):
    # as where the charge at the start is the lowest: more panel does not raise it
    ladder = Ladder("more", False, lambda _: {}, str, MOST, whole)
    tries = []

    def tried(size):
        tries.append(size)
        return size >= NEEDED, min(0.3 * (size - NEEDED), best_percent)

    size = smallest_size(ladder, tried, -0.3 * NEEDED)
    assert NEEDED <= size <= 1.03 * NEEDED
    assert len(tries) <= 3 * HALVINGS
