"""However the walls are shared out, and however much of the work was done before: the same results, the same bytes."""

import shutil
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import pytest
from companies_in_buckets import DAY, KNOWN, WALLS, company, content, tables_of, whole

from monitor import store as stores
from monitor.config import Rules, Settings
from monitor.documents import RefusedError
from monitor.errors import StoreError
from monitor.pipeline import bucket, runs
from monitor.pipeline.analysis import analyse
from monitor.pipeline.assessing import assess
from monitor.pipeline.bucket import Task
from monitor.pipeline.workers import in_processes
from monitor.store import Store, generations
from monitor.store.backup import back_up
from monitor.store.parts import Part


@pytest.fixture(scope="module")
def assessed(tmp_path_factory: pytest.TempPathFactory) -> Store:
    """A company in four buckets, assessed one after the other."""
    store = company(tmp_path_factory.mktemp("assessed") / "store", rows_per_bucket=200)
    assert generations.pointer(store.path).buckets == 4
    assess(store, judged_on=DAY, known_on=KNOWN)
    return store


def test_one_bucket_and_four_give_the_same_results(assessed: Store, tmp_path: Path) -> None:
    one = company(tmp_path / "store", rows_per_bucket=1_000_000)
    assert generations.pointer(one.path).buckets == 1
    found = assess(one, judged_on=DAY, known_on=KNOWN)
    tables = tables_of(assessed)
    assert tables["wall_results"].num_rows > WALLS
    for name, rows in tables.items():
        assert rows.equals(getattr(found, name)), name
    assert sorted(tables["plan"]["rank"].to_pylist()) == list(range(1, tables["plan"].num_rows + 1))
    [run], [other] = runs.on_record(one).values(), runs.on_record(assessed).values()
    assert run.results_sha256 == other.results_sha256 == found.results_sha256 != ""
    unsaved = assess(assessed, judged_on=DAY, known_on=KNOWN, save=False)
    assert unsaved == replace(found, facts_sha256=unsaved.facts_sha256)
    assert unsaved.results_sha256 == found.results_sha256


def test_processes_give_the_same_bytes(assessed: Store, tmp_path: Path) -> None:
    store = company(tmp_path / "store", rows_per_bucket=200)
    assess(store, judged_on=DAY, known_on=KNOWN, many=in_processes(2))
    assert content(store) == content(assessed)
    assert whole(store)


def test_settings_that_cannot_be_are_refused_before_a_wall_is_judged(assessed: Store) -> None:
    wrong = Settings(rules=Rules(alpha=1.5))
    before = list(runs.on_record(assessed))
    with pytest.raises(RefusedError, match=r"rules\.alpha: it should be less than 1"):
        assess(assessed, judged_on=DAY, known_on=KNOWN, settings=wrong)
    assert list(runs.on_record(assessed)) == before
    readings = pd.DataFrame({"visit_date": [pd.Timestamp(DAY)], "mark": ["M1"], "deflection_mm": [3.0]})
    marks = pd.DataFrame({"mark": ["M1"], "x_mm": [2000.0], "z_mm": [1200.0]})
    wall = {"length_mm": 4000.0, "clear_height_mm": 2400.0}
    with pytest.raises(RefusedError, match=r"rules\.alpha"):
        analyse(readings, wall=wall, marks=marks, settings=wrong)


def test_some_walls_and_columns_are_read_without_the_rest(assessed: Store) -> None:
    every = tables_of(assessed)
    walls = [("S00000003", "N"), ("S00000011", "N"), ("S99999999", "N")]
    found = assessed.assessment(DAY, walls=walls)
    assert found is not None
    of = pa.array([house for house, _ in walls])
    for name, rows in every.items():
        assert rows.filter(pc.is_in(rows["house"], value_set=of)).equals(getattr(found, name)), name
    names = ["verdict", "house"]
    few = assessed.assessment(DAY, tables=("wall_results",), columns={"wall_results": names})
    assert few is not None
    assert few.wall_results.equals(every["wall_results"].select(names))
    assert few.movement.num_rows == 0
    asked = {"findings": pc.field("outcome") == "yes"}
    some = assessed.assessment(DAY, tables=("findings",), having=asked)
    assert some is not None
    assert 0 < some.findings.num_rows < every["findings"].num_rows
    assert some.findings.equals(every["findings"].filter(asked["findings"]))


def test_walls_assessed_alone_give_the_rows_of_the_whole(assessed: Store) -> None:
    walls = [(f"S{number:08d}", "N") for number in (1, 4, 9)]
    alone = assess(assessed, judged_on=DAY, known_on=KNOWN, walls=walls)
    kept = assessed.assessment(DAY, walls=walls)
    assert kept is not None
    for name, rows in tables_of(assessed).items():
        one, other = (
            getattr(each, name).drop_columns([c for c in ("rank",) if c in rows.column_names]) for each in (alone, kept)
        )
        assert one.equals(other), name


class Cut(BaseException):
    """The power goes."""


def test_parquet_files_on_another_filesystem_hold_the_same_bytes(assessed: Store, tmp_path: Path) -> None:
    at = tmp_path / "elsewhere"
    at.mkdir()
    store = company(tmp_path / "store", rows_per_bucket=200, at=at.as_uri())
    found = assess(store, judged_on=DAY, known_on=KNOWN)
    assert found.results_sha256 == next(iter(runs.on_record(assessed).values())).results_sha256
    day = f"assessments/{DAY.isoformat()}"
    there = {path.name: path.read_bytes() for path in (at / day).iterdir()}
    assert there == {name: data for name, data in content(assessed).items() if name != "assessment.json"}
    assert list(content(store)) == ["assessment.json"]
    assert whole(store)
    kept = back_up(store, tmp_path / "backup")
    assert [damage.place for damage in kept.damages] == ["readings, simulated"]
    shutil.rmtree(at)
    assert tables_of(stores.open(tmp_path / "backup")) == tables_of(assessed)
    with pytest.raises(StoreError, match=r"missing"):
        store.assessment(DAY)
    (tmp_path / "others.txt").touch()
    for wrong, words in (("elsewhere", "no URI"), (tmp_path.as_uri(), "files in it"), ("xyz://a/b", "xyz")):
        with pytest.raises(StoreError, match=words):
            company(tmp_path / f"wrong-{words[:2]}", rows_per_bucket=200, at=wrong)


def test_a_run_cut_short_goes_on_where_it_was(assessed: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store = company(tmp_path / "store", rows_per_bucket=200)

    def cut(tasks: Sequence[Task]) -> Iterator[Part]:
        yield from map(bucket.do, tasks[:2])
        raise Cut

    with pytest.raises(Cut):
        assess(store, judged_on=DAY, known_on=KNOWN, many=cut)
    assert store.assessment(DAY) is None
    assert whole(store)
    next((store.path / "assessments" / DAY.isoformat()).glob("movement-*")).unlink()
    done = []
    monkeypatch.setattr(bucket, "assessed", lambda task, real=bucket.assessed: done.append(task) or real(task))
    assess(store, judged_on=DAY, known_on=KNOWN + timedelta(hours=1))  # begun an hour later, of the same facts
    assert len(done) == len(list((store.path / "assessments" / DAY.isoformat()).glob("assessed-*"))) - 2 + 1
    assert set(content(store)) == set(content(assessed))
    assert {n: b for n, b in content(store).items() if n.endswith(".parquet")} == {
        n: b for n, b in content(assessed).items() if n.endswith(".parquet")
    }


def test_each_bucket_has_the_facts_that_reading_all_of_them_gives(assessed: Store) -> None:
    with assessed.snapshot(KNOWN) as facts:
        read = [one.read(assessed.place) for one in facts.buckets]
    for name in ("readings", "walls", "marks", "events"):
        rows = pa.concat_tables([each[name] for each in read])
        every = assessed.readings(KNOWN) if name == "readings" else assessed.current(name, KNOWN)
        assert rows.num_rows == every.num_rows > 0
        by = [(column, "ascending") for column in every.column_names]
        assert rows.sort_by(by).equals(every.sort_by(by)), name
