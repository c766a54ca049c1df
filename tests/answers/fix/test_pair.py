"""Which two changes are tried together."""

from types import SimpleNamespace

import pytest

from energy.answers.fix.ladder import Ladder
from energy.answers.fix.pair import pair_of
from energy.answers.fix.trials import Seen


def two_changes(margin_percent, turned_away):
    """Two changes of a plan, each of which lets everything run and empties the pack too far, and
    trials in which both together are enough."""
    alone = [
        (Ladder(kind, True, lambda _, key=kind: {key: 1}, str), Seen(False, -3.0, ()))
        for kind in ("one", "other")
    ]
    trials = SimpleNamespace(
        lithium=True,
        margin_percent=margin_percent,
        result=SimpleNamespace(overloads=turned_away),
        enough=lambda both: (1.0, both.kind),
    )
    return trials, alone


@pytest.mark.parametrize("margin_percent", [10.0, -1.0])
def test_gains_do_not_tell_where_a_limit_turns_work_away(margin_percent):
    # What is turned away leaves its energy in the pack: both changes seem to cost charge.
    trials, alone = two_changes(margin_percent, ("a burst",))
    assert pair_of(trials, alone)[1] == "one + other"


def test_two_changes_that_each_make_it_worse_are_not_tried_together():
    assert pair_of(*two_changes(-1.0, ())) is None
