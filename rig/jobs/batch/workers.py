"""Worker processes that leave Ctrl-C to their parent, and do not outlive it."""

import os
import signal
import threading
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing import get_context, parent_process


@contextmanager
def worker_pool(count: int) -> Iterator[ProcessPoolExecutor]:
    """A pool of `count` fresh processes; when the block is left by an error, what waits is cancelled.

    Workers ignore the interrupt from their very first moment, otherwise each of them would complain while it is still
    importing. A parent that is killed takes them with it: they would wait for work for ever.
    """
    with ProcessPoolExecutor(count, mp_context=get_context("spawn"), initializer=_end_with_parent) as pool:
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


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is None:  # not in a worker
        return

    def wait() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=wait, daemon=True).start()


def _nothing() -> None:
    """Work that makes the pool start a process."""
