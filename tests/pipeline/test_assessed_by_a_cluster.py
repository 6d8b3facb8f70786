"""Work shared out over a cluster of this machine: workers are killed and come late, and the bytes are the same."""

import os
import signal
from collections.abc import Iterator, Sequence
from datetime import timedelta
from pathlib import Path

import pytest
from companies_in_buckets import DAY, KNOWN, company, content

from monitor.config import Rules, Settings
from monitor.errors import StoreError, WorkError
from monitor.pipeline import cluster
from monitor.pipeline.assessing import assess
from monitor.pipeline.bucket import Task
from monitor.store.parts import Part
from monitor.store.place import Place

OTHER = Settings(rules=Rules(grace_days=9))
distributed = pytest.importorskip("distributed")


@pytest.fixture(scope="module")
def here(tmp_path_factory: pytest.TempPathFactory) -> Iterator["distributed.LocalCluster"]:
    """A scheduler without workers, reached over the loopback alone."""
    folder = tmp_path_factory.mktemp("cluster")
    with distributed.LocalCluster(
        n_workers=0, threads_per_worker=1, processes=True, dashboard_address=":0", host="127.0.0.1",
        local_directory=str(folder), silence_logs=50,
    ) as made:  # fmt: skip
        yield made


def test_a_worker_killed_and_one_that_comes_late_change_no_byte(
    here: "distributed.LocalCluster", tmp_path: Path
) -> None:
    alone = company(tmp_path / "alone", rows_per_bucket=200)
    assess(alone, judged_on=DAY, known_on=KNOWN)
    store = company(tmp_path / "store", rows_per_bucket=200)
    here.scale(1)
    here.wait_for_workers(1)
    killed: list[int] = []

    def many(tasks: Sequence[Task]) -> Iterator[Part]:
        for part in cluster.at(here.scheduler_address)(tasks):
            if not killed:
                killed.extend(nanny.pid for nanny in here.workers.values())
                here.scale(2)  # the second comes late, and finds the first's work
                os.kill(killed[0], signal.SIGKILL)
            yield part

    assess(store, judged_on=DAY, known_on=KNOWN, many=many)
    assert killed
    assert content(store) == content(alone)


def test_what_goes_wrong_on_a_cluster_is_said(
    here: "distributed.LocalCluster", tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = company(tmp_path / "store", rows_per_bucket=1_000_000)
    here.scale(1)
    many = cluster.at(here.scheduler_address)
    monkeypatch.setattr(cluster, "__version__", "0.0.0")
    with pytest.raises(WorkError, match=r"another version.*Mend: Install the same version"):
        assess(store, judged_on=DAY, known_on=KNOWN, many=many)
    monkeypatch.undo()
    monkeypatch.setattr(Place, "has", lambda *_: False)
    with pytest.raises(WorkError, match=r"not seen from here.*docs/cluster"):
        assess(store, judged_on=DAY, known_on=KNOWN, many=many)
    monkeypatch.undo()
    [readings] = (store.path / "compacted").glob("readings-*")
    readings.write_bytes(b"")
    with pytest.raises(StoreError, match=r"readings-.*damaged"):
        assess(store, judged_on=DAY, known_on=KNOWN + timedelta(hours=1), settings=OTHER, many=many)
    monkeypatch.setattr(cluster, "_PATIENCE", 0.2)
    with pytest.raises(WorkError, match=r"No scheduler answers.*tcp://127.0.0.1:9.*leave --scheduler out"):
        assess(store, judged_on=DAY, known_on=KNOWN, many=cluster.at("tcp://127.0.0.1:9"))
