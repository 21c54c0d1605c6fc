"""Ctrl-C is the parent's business: it is ignored while workers are made, and works again afterwards."""

import signal
import threading

from rig.jobs.batch.workers import _end_with_parent, _interrupts_ignored_by_children


def test_the_interrupt_is_ignored_only_while_workers_are_made() -> None:
    before = signal.getsignal(signal.SIGINT)
    with _interrupts_ignored_by_children():
        assert signal.getsignal(signal.SIGINT) is signal.SIG_IGN
    assert signal.getsignal(signal.SIGINT) is before


def test_another_thread_leaves_signals_alone() -> None:
    before, seen = signal.getsignal(signal.SIGINT), []

    def make() -> None:
        with _interrupts_ignored_by_children():
            seen.append(signal.getsignal(signal.SIGINT))

    thread = threading.Thread(target=make)
    thread.start()
    thread.join()
    assert seen == [before]


def test_a_process_that_is_no_worker_watches_nobody() -> None:
    before = threading.active_count()
    _end_with_parent()
    assert threading.active_count() == before
