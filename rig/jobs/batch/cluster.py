"""The workers of an existing Dask scheduler as a standard executor, looked at before anything is sent to them."""

import importlib
from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager

from rig.base.errors import BenchError, InputError
from rig.base.version import SOFTWARE

ANSWER_S = 10.0
"""A scheduler that is there answers sooner."""


@contextmanager
def scheduler_executor(address: str) -> Iterator[Executor]:
    """The executor of a scheduler, for `measure_many`. Clips must lie under the same paths for every worker.

    address: as Dask writes it, tcp://host:8786.
    Raises InputError when the extra `cluster` is not installed, BenchError when no scheduler or no worker answers, or
    a worker has another version: its figures would be another version's.
    """
    try:
        distributed = importlib.import_module("distributed")
    except ImportError as error:
        raise InputError(
            "the package distributed is not installed here",
            where="--scheduler",
            remedy="Install the extra named cluster, or leave the option out to use this machine",
        ) from error
    try:
        client = distributed.Client(address, timeout=ANSWER_S, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        raise BenchError(
            f"no scheduler answers ({type(error).__name__})",
            where=f"--scheduler {address}",
            remedy="Start one with: dask scheduler, and workers with: dask worker ADDRESS",
        ) from error
    with client:
        refuse_other_workers(client.run(worker_software, on_error="return"), address)
        with client.get_executor(pure=False) as executor:
            yield executor


def worker_software() -> str:
    """What a worker computes with."""
    return SOFTWARE


def refuse_other_workers(found: dict[str, object], address: str) -> None:
    """Every worker must compute with the same version as this machine.

    found: worker -> its answer, or the error that it gave.  Raises BenchError.
    """
    if not found:
        raise BenchError(
            "the scheduler has no workers", where=address, remedy=f"Start some with: dask worker {address}"
        )
    other = {worker: answer for worker, answer in found.items() if answer != SOFTWARE}
    if other:
        worker, answer = next(iter(other.items()))
        answered = answer if isinstance(answer, str) else f"no pivotbench ({type(answer).__name__})"
        raise BenchError(
            f"{len(other)} of {len(found)} workers have another version: {answered}, here {SOFTWARE}",
            where=f"worker {worker}",
            remedy="Install the same version for every worker and start it again",
        )
