"""Blocks of flights through any `concurrent.futures.Executor`: processes here, or a cluster."""

import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from contextlib import contextmanager
from multiprocessing import get_context
from typing import Any, TypeVar

from mixer.ground.files import InputError
from mixer.ground.steering_block import prepare

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
def executor_of(workers: int | None, cluster: str | None) -> Iterator[tuple[Executor, int]]:
    """An executor and the number of its workers: processes here, or the Dask cluster at an
    address. InputError where that cluster is not there.
    """
    if cluster is None:
        count = processes(workers)
        prepare()
        # Fresh processes, since forked ones may inherit locked threads of numerical libraries.
        with ProcessPoolExecutor(count, mp_context=get_context("spawn")) as executor:
            yield executor, count
        return
    from distributed import Client

    try:
        client = Client(cluster, timeout=CLUSTER_PATIENCE_S, set_as_default=False)
    except (OSError, ValueError) as error:
        raise InputError(f"no cluster answers at {cluster}: {error}") from error
    with client:
        count = len(client.scheduler_info(n_workers=-1)["workers"])
        if count == 0:
            raise InputError(f"the cluster at {cluster} has no workers")
        yield client.get_executor(pure=False), count


def run_blocks(
    executor: Executor,
    workers: int,
    function: Callable[[Task], Result],
    tasks: Iterable[Task],
) -> Iterator[tuple[Task, Result]]:
    """Each task with its result, in the order in which they come; few are ever under way."""
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
    finally:
        for future in waiting:
            future.cancel()
