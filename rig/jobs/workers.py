"""Worker processes that leave Ctrl-C to their parent."""

import signal
import threading
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing import get_context


@contextmanager
def worker_pool(count: int) -> Iterator[ProcessPoolExecutor]:
    """A pool of `count` fresh processes; when the block is left by an error, what waits is cancelled.

    Workers ignore the interrupt from their very first moment, otherwise each of them would complain while it is still
    importing.
    """
    with ProcessPoolExecutor(count, mp_context=get_context("spawn")) as pool:
        try:
            with _interrupts_ignored_by_children():
                for idle in [pool.submit(_nothing) for _ in range(count)]:
                    del idle
            yield pool
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise


@contextmanager
def _interrupts_ignored_by_children() -> Iterator[None]:
    """An ignored signal stays ignored in a new process. Only the main thread may change signals."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _nothing() -> None:
    """Work that makes the pool start a process."""
