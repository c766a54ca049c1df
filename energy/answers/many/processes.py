"""Processes of this machine that plans are given to: how they start, and how they end.

They import this file first, so it imports nothing large.
"""

import multiprocessing
import os
import signal
import sys
import threading
import warnings
from collections.abc import Iterator
from concurrent.futures import BrokenExecutor, Executor, ProcessPoolExecutor
from contextlib import contextmanager

THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
MOST = 61  # that Windows can wait for
NONE_STARTS = (
    "no worker process starts; a script that calls many must do so below"
    ' if __name__ == "__main__":'
)


def processes(count: int | None) -> Executor:
    """So many processes, else one for each core; each starts anew, as a program of its own.

    Raises RuntimeError where none starts.
    """
    executor = ProcessPoolExecutor(
        min(count or cores(), MOST),
        mp_context=multiprocessing.get_context("spawn"),
        initializer=begin,
    )
    try:
        executor.submit(os.getpid).result()
    except BaseException as error:
        executor.shutdown(wait=False, cancel_futures=True)
        if isinstance(error, BrokenExecutor):
            raise RuntimeError(NONE_STARTS) from None
        raise
    return executor


def cores() -> int:
    """The cores that this process may use.

    >>> cores() >= 1
    True
    """
    if sys.platform == "linux":
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


@contextmanager
def one_thread_each() -> Iterator[None]:
    """Processes that are started meanwhile leave one core each to their linear algebra."""
    before = {name: os.environ.get(name) for name in THREADS}
    os.environ.update(dict.fromkeys(THREADS, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


def begin() -> None:
    """What a process does first: an interrupt is its parent's to deal with, and it ends with it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    warnings.simplefilter("ignore")
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
