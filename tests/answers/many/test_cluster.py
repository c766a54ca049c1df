"""Many plans on a cluster: two workers of a distributed engine on this machine, of which one dies.

That such an engine gives a dead worker's work to another is its own promise; that no row is lost
by it is looked at here.
"""

import os
import signal

import pytest
from many_questions import by_pack, plans

from energy.answers.many.many import many


@pytest.fixture
def client():
    """A cluster of two processes; nothing of it listens beyond this machine."""
    distributed = pytest.importorskip("distributed")
    here = {"host": "127.0.0.1", "dashboard_address": None}
    with (
        distributed.LocalCluster(n_workers=2, threads_per_worker=1, processes=True, **here) as two,
        distributed.Client(two) as leading,
    ):
        yield leading


@pytest.mark.oracle
def test_a_worker_that_is_killed_in_the_middle_costs_no_row(client, tmp_path):
    killed = []

    def kill_one(done, _):
        if done == 20:
            workers = client.run(os.getpid)
            killed.append(min(workers.values()))
            os.kill(killed[0], signal.SIGKILL)

    rows = tmp_path / "rows.csv"
    answer = many(by_pack, plans(200), client.get_executor(), rows, progress=kill_one)
    assert killed
    assert answer.complete
    assert answer.counts == {"yes": 100, "almost": 0, "no": 100, "problem": 0}
    many(by_pack, plans(200), 1, tmp_path / "here.csv")
    assert rows.read_bytes() == (tmp_path / "here.csv").read_bytes()
