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


@pytest.mark.parametrize("likely", [1.0, 100.0, NEEDED, 500.0, MOST, 1e6])
@pytest.mark.parametrize("saturates_at", [NEEDED + 1.0, 300.0, MOST])
@pytest.mark.parametrize("whole", [False, True])
def test_wherever_the_search_begins_it_finds_the_smallest(likely, saturates_at, whole):
    ladder = Ladder("more", False, lambda _: {}, str, MOST, whole, likely)
    tries = []

    def tried(size):
        tries.append(size)
        return size >= NEEDED, 0.3 * (min(size, saturates_at) - NEEDED)

    size = smallest_size(ladder, tried, -0.3 * NEEDED)
    assert NEEDED <= size <= 1.03 * NEEDED
    assert len(tries) <= 2 * HALVINGS


@pytest.mark.parametrize("likely", [1.0, 500.0, MOST, 1e6])
@pytest.mark.parametrize("seen", [lambda size: size, lambda size: 0.0, lambda size: 1e6])
def test_what_no_size_makes_work_is_told_by_the_largest(likely, seen):
    # the last as where a limit turns work away: there is charge enough, and it does not run
    ladder = Ladder("more", False, lambda _: {}, str, MOST, False, likely)
    tries = []

    def tried(size):
        tries.append(size)
        return False, seen(size) - 2.0 * MOST

    assert smallest_size(ladder, tried, -2.0 * MOST) is None
    assert max(tries) == MOST
    assert len(set(tries)) <= 3


def test_the_search_goes_on_from_what_was_looked_at():
    ladder = Ladder("more", False, lambda _: {}, str, MOST, False, 100.0)
    tries = []

    def tried(size):
        tries.append(size)
        return size >= NEEDED, 0.3 * (size - NEEDED)

    size = smallest_size(ladder, tried, -0.3 * NEEDED, [100.0, 136.0, 136.5])
    assert NEEDED <= size <= 1.03 * NEEDED
    assert len(set(tries) - {100.0, 136.0, 136.5}) <= 2
