"""Which two changes are tried together."""

from types import SimpleNamespace

import pytest

from energy.answers.fix.ladder import Ladder
from energy.answers.fix.pair import pair_of
from energy.answers.fix.trials import Seen


def a_change(kind, margin_percent, turned_away=()):
    """A change, and what was seen of it alone."""
    ladder = Ladder(kind, True, lambda _: {kind: 1}, str)
    return ladder, Seen(False, margin_percent, turned_away)


def tried(margin_percent, turned_away, alone):
    """The pairs of changes that are tried of a plan, where none is enough."""
    kinds = []
    trials = SimpleNamespace(
        lithium=True,
        margin_percent=margin_percent,
        result=SimpleNamespace(overloads=turned_away),
        enough=lambda both: kinds.append(both.kind),
    )
    assert pair_of(trials, alone) is None
    return kinds


@pytest.mark.parametrize("margin_percent", [10.0, -1.0])
def test_gains_do_not_tell_where_a_limit_turns_work_away(margin_percent):
    # What is turned away leaves its energy in the pack: both changes seem to cost charge.
    alone = [a_change("one", -3.0), a_change("other", -3.0)]
    assert tried(margin_percent, ("a burst",), alone) == ["one + other"]


def test_two_changes_that_each_make_it_worse_are_not_tried_together():
    assert tried(-1.0, (), [a_change("one", -3.0), a_change("other", -3.0)]) == []


def test_what_lets_work_run_is_tried_with_what_fills_the_pack():
    unknown, _ = a_change("unknown", 0.0)
    away = ("a burst",)
    known = [a_change("source", -20.0, away), a_change("fuller", 76.0, away)]
    known += [a_change("stronger", -114.0), a_change("panel", -20.0, away)]
    alone = [(unknown, None), *known, a_change("pack", -170.0, away)]
    assert "fuller + stronger" in tried(-22.0, away, alone)


def test_of_five_kinds_every_pair_is_looked_at():
    # A sum of gains may promise too much: what is enough may be the last.
    alone = [a_change(f"kind {n}", -1.0) for n in range(5)]
    assert len(tried(-10.0, (), alone)) == 10
