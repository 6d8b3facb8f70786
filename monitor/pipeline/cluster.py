"""The buckets' work shared out over a cluster: a scheduler given by its address, and whatever workers it has.

The one who asks keeps the locks, the office records and the card; workers read facts and write parts where the Parquet
files lie, which they must see under the same address. A task that a lost worker had is done by another one: it writes
files of the same names and bytes.
"""

import asyncio
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from monitor import __version__
from monitor.errors import WorkError
from monitor.pipeline.bucket import Many, Task, do
from monitor.store.parts import Part
from monitor.store.place import Place

_PATIENCE = 10.0
_LOST_WORKERS = 10
"""So many workers may be lost under one bucket before it is taken to be the bucket that ends them."""


def at(scheduler: str) -> Many:
    """By the workers of that scheduler (`tcp://host:8786`). Raises WorkError where it does not answer."""

    def many(tasks: Sequence[Task]) -> Iterator[Part]:
        distributed = _library()
        place = Place(tasks[0].address) if tasks else None
        with _client(distributed, scheduler) as client:
            keys = [f"bucket-{task.facts.bucket:04d}-{task.made_from[:16]}" for task in tasks]
            futures = client.map(_done, tasks, key=keys, retries=_LOST_WORKERS, pure=False)
            done = distributed.as_completed(futures, loop=client.loop, with_results=True, raise_errors=False)
            for future, outcome in done:
                if future.status != "finished":
                    raise _failed(outcome)
                version, part = outcome
                yield _checked(part, version, place, tasks[0].folder)

    return many


def _done(task: Task) -> tuple[str, Part]:
    return __version__, do(task)


def _library() -> Any:
    try:
        import distributed
    except ImportError as error:
        raise WorkError(
            "This machine has not got what it takes to speak to a scheduler.",
            got=str(error),
            mend="Install wallbow with the extra `cluster`, on the workers too, or leave --scheduler out.",
        ) from error
    return distributed


def _client(distributed: Any, scheduler: str) -> Any:
    try:
        # a client that reached nobody would not let go for long; a thread, as the caller's may have a loop of its own
        with ThreadPoolExecutor(1) as alone:
            alone.submit(lambda: asyncio.run(_answers(distributed, scheduler))).result()
        return distributed.Client(scheduler, timeout=_PATIENCE, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        raise WorkError(
            "No scheduler answers at this address.",
            got=scheduler,
            expected="an address such as tcp://host:8786",
            mend="See that it runs and that this machine reaches it, or leave --scheduler out.",
        ) from error


async def _answers(distributed: Any, scheduler: str) -> None:
    comm = await distributed.core.connect(scheduler, timeout=_PATIENCE)
    comm.abort()


def _failed(outcome: Any) -> Exception:
    """The error of a task that failed, as it was raised there; another one for workers that were lost."""
    error = outcome[1] if isinstance(outcome, tuple) else outcome
    if isinstance(error, Exception) and type(error).__name__ != "KilledWorker":
        return error
    return WorkError(
        "Workers were lost again and again under the same bucket of walls.",
        got=str(error),
        mend="Give the workers more memory (a bucket takes some hundred megabytes), then assess again: what is done "
        "is taken as it stands.",
    )


def _checked(part: Part, version: str, place: Place | None, folder: str) -> Part:
    if version != __version__:
        raise WorkError(
            "A worker runs another version of this program.",
            got=f"version {version}",
            expected=f"version {__version__}",
            mend="Install the same version on all workers and assess again.",
        )
    gone = [name for name in part.files.values() if place and not place.has(f"{folder}/{name}")]
    if gone:
        raise WorkError(
            "A worker wrote its files to a place that is not seen from here.",
            got=gone[0],
            expected=f"files in {place.address if place else ''}",
            mend="Let the store's Parquet files lie where all workers and this machine see them (docs/cluster.md).",
        )
    return part
