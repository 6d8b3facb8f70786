"""The buckets' work shared out over several processes of this machine."""

import multiprocessing
import os
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager

from monitor.errors import WorkError
from monitor.pipeline.bucket import Many, Task, do, one_after_the_other
from monitor.store.parts import Part

_FRUGAL = {
    **dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1"),
    "ARROW_DEFAULT_MEMORY_POOL": "system",
}
"""They share the cores already; and what one of them is done with is no use to it, but to the others."""


def in_processes(jobs: int | None = None) -> Many:
    """In so many processes (as there are cores), each with one thread; in this one where one is enough."""
    jobs = jobs or _cores()

    def many(tasks: Sequence[Task]) -> Iterator[Part]:
        if min(jobs, len(tasks)) < 2:
            yield from one_after_the_other(tasks)
            return
        # begun anew rather than copied: a copy of a process with threads may wait for ever for one it has not got
        fresh = multiprocessing.get_context("spawn")
        with _frugal(), ProcessPoolExecutor(min(jobs, len(tasks)), fresh) as pool:
            futures = [pool.submit(do, task) for task in tasks]
            try:
                for done in as_completed(futures):
                    yield done.result()
            except BrokenProcessPool as error:
                raise WorkError(
                    "A process that assessed walls was ended from outside.",
                    mend="If memory ran out, use fewer --jobs. Assess again: what is done is taken as it stands.",
                ) from error
            finally:
                pool.shutdown(cancel_futures=True)

    return many


def _cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@contextmanager
def _frugal() -> Iterator[None]:
    """Processes begun in the block calculate with one thread each, and give back memory as soon as it is free."""
    before = {name: os.environ.get(name) for name in _FRUGAL}
    os.environ.update(_FRUGAL)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value
