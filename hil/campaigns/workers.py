"""Blocks of flights through any `concurrent.futures.Executor`: processes here, or a cluster."""

import os
import signal
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from contextlib import contextmanager
from multiprocessing import get_context
from multiprocessing.connection import Connection
from multiprocessing.connection import wait as wait_for
from pathlib import Path
from threading import Thread
from typing import Any, TypeVar

from mixer.ground.batch.steerings import prepare
from mixer.ground.inputs.csv_files import InputError

TlsFiles = tuple[Path, Path, Path]
Task = TypeVar("Task")
Result = TypeVar("Result")
CLUSTER_PATIENCE_S = 10
WAITING_PER_WORKER = 2  # so that no worker idles and no pile of results grows


def processes(workers: int | None) -> int:
    """How many processes: the number asked for, or one for each core we may use."""
    if workers is None and hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return workers or os.cpu_count() or 1


@contextmanager
def executor_of(
    workers: int | None, cluster: str | None, tls_files: TlsFiles | None = None
) -> Iterator[tuple[Executor, int]]:
    """An executor and the number of its workers: processes here, or the Dask cluster at an
    address, with TLS where its files are given. InputError where that cluster is not there.

    What a cluster sends back is unpickled: its scheduler and workers can do here what the user can.
    """
    refuse_half_tls(cluster, tls_files)
    if cluster is None:
        count = processes(workers)
        prepare()
        with processes_on_a_leash(count) as executor:
            yield executor, count
        return
    from distributed import Client, Security

    security = None
    if tls_files is not None:
        authority, certificate, key = map(str, tls_files)
        security = Security(
            require_encryption=True,
            tls_ca_file=authority,
            tls_client_cert=certificate,
            tls_client_key=key,
        )
    try:
        client = Client(
            cluster, timeout=CLUSTER_PATIENCE_S, set_as_default=False, security=security
        )
    except (OSError, ValueError) as error:
        raise InputError(f"no cluster answers at {cluster}: {error}") from error
    with client:
        count = len(client.scheduler_info(n_workers=-1)["workers"])
        if count == 0:
            raise InputError(f"the cluster at {cluster} has no workers")
        yield client.get_executor(pure=False), count


def refuse_half_tls(cluster: str | None, tls_files: TlsFiles | None) -> None:
    """InputError where address and certificates do not go together, OSError where a file is not
    there.
    """
    if cluster is not None and cluster.startswith("tls://") and tls_files is None:
        raise InputError(f"--cluster {cluster}: needs --cluster-tls CA CERT KEY")
    if tls_files is not None:
        if cluster is None or not cluster.startswith("tls://"):
            raise InputError("--cluster-tls goes with an address of --cluster that starts tls://")
        for path in tls_files:
            path.open("rb").close()


@contextmanager
def processes_on_a_leash(count: int) -> Iterator[Executor]:
    """Worker processes that end with this one: at once where the work inside is broken off, and by
    themselves where this process is killed.

    Each holds the reading end of a pipe whose other end is here alone, and leaves when that closes.
    """
    # Fresh processes, since forked ones may inherit locked threads of numerical libraries.
    context = get_context("spawn")
    far_end, near_end = context.Pipe(duplex=False)
    executor = ProcessPoolExecutor(
        count, mp_context=context, initializer=held_by, initargs=(far_end,)
    )
    try:
        yield executor
        executor.shutdown()
    finally:
        near_end.close()
        executor.shutdown(cancel_futures=True)
        far_end.close()


def held_by(leash: Connection) -> None:
    """In a worker: leave when the leash is let go. Ctrl-C is for the process that holds it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)

    def watch() -> None:
        wait_for([leash])
        os._exit(1)

    Thread(target=watch, daemon=True).start()


def run_blocks(
    executor: Executor,
    workers: int,
    function: Callable[[Task], Result],
    tasks: Iterable[Task],
) -> Iterator[tuple[Task, Result]]:
    """Each task with its result, in the order in which they come; few are ever under way.

    Interrupted while it waits, it gives what is finished before it hands the interrupt on.
    """
    waiting: dict[Future[Any], Task] = {}
    todo = iter(tasks)
    try:
        while True:
            for task in todo:
                waiting[executor.submit(function, task)] = task
                if len(waiting) >= WAITING_PER_WORKER * workers:
                    break
            if not waiting:
                return
            done, _ = wait(waiting, return_when=FIRST_COMPLETED)
            for future in done:
                yield waiting.pop(future), future.result()
    except KeyboardInterrupt:
        for future in [each for each in waiting if is_finished(each)]:
            yield waiting.pop(future), future.result()
        raise
    finally:
        for future in waiting:
            future.cancel()


def is_finished(future: Future[Any]) -> bool:
    """Whether there is a result."""
    return future.done() and not future.cancelled() and future.exception() is None
