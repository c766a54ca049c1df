"""Processes of this machine that plans are given to: how they start, and how they end.

They import this file first, so it imports nothing large.
"""

import gc
import multiprocessing
import os
import signal
import sys
import threading
import warnings
from collections.abc import Iterator
from concurrent.futures import BrokenExecutor, ProcessPoolExecutor
from contextlib import contextmanager, suppress
from multiprocessing.connection import Connection

THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
MOST = 61  # that Windows can wait for
NONE_STARTS = (
    'no worker process starts; a script that calls many must do so below if __name__ == "__main__":'
)


class Processes(ProcessPoolExecutor):
    """So many processes, each a program of its own that starts anew; they end when this one does,
    however that ends."""

    def __init__(self, count: int):
        context = multiprocessing.get_context("spawn")
        reader, self._alive = context.Pipe(duplex=False)
        super().__init__(count, context, initializer=begin, initargs=(reader,))

    def stop(self) -> None:
        """End at once, in the middle of what is under way."""
        self._alive.close()
        self.shutdown(cancel_futures=True)


def processes(count: int | None) -> Processes:
    """So many processes, else one for each core. Raises RuntimeError where none starts."""
    executor = Processes(min(count or cores(), MOST))
    try:
        executor.submit(os.getpid).result()
    except BaseException as error:
        executor.stop()
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


def begin(parent: Connection) -> None:
    """What a process does first: an interrupt is its parent's to deal with, and it ends when the
    parent has closed its end of the pipe, or is no more."""
    gc.set_threshold(100_000)  # or what it imports next is gone through again and again
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    warnings.simplefilter("ignore")
    threading.Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: Connection) -> None:
    with suppress(EOFError, OSError):
        parent.recv_bytes()
    os._exit(1)
