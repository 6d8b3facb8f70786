"""Very many simulated walls: the same physics as one wall at a time, and the same walls however many are asked for."""

from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
import scale

from monitor import schema
from monitor import store as stores
from monitor.simulate import Amount, Motion, Spot, Stage, fleet, moment, seen_mm
from monitor.store.verify import verify
from monitor.terms import Method


@pytest.fixture(scope="module")
def block() -> fleet.Fleet:
    return next(fleet.stream(60, seed=5))


def test_a_perfect_reading_is_what_the_simulation_of_one_wall_sees(block: fleet.Fleet) -> None:
    """simulate/observe tells of one wall from its stages, by other code; strapped walls stop at the work."""
    truth, drawn = block.truth, fleet.seen_mm(block.truth)
    strapped = np.flatnonzero(truth.strapped >= 0)[:4].tolist()
    for number in (*range(4), *strapped):
        days = [date(1970, 1, 1) + timedelta(days=int(day)) for day in truth.day[number]]
        marks = [f"M{mark + 1}" for mark in range(len(fleet.SHARES))]
        local = dict(zip(marks, truth.local_mm_per_year[number].tolist(), strict=True))
        season = float(truth.season_mm[number])
        stages = [Stage(days[0], Amount(bow=float(truth.rate_mm_per_year[number])), season, local)]
        if truth.strapped[number] >= 0:
            stages.append(Stage(date(1970, 1, 1) + timedelta(days=int(truth.strapped[number])), season_mm=season))
        motion = Motion(stages, initial=Amount(bow=float(truth.initial_mm[number])), season_peak=fleet.PEAK)
        geometry = truth.geometry(number)
        spots = [
            Spot(mark, share * geometry.length_mm, fleet.HEIGHT_MM)
            for mark, share in zip(marks, fleet.SHARES, strict=True)
        ]
        moments = np.array([moment(day) for day in days])
        seen = seen_mm(Method.STRING, geometry, motion, spots, moments, truth.wobble_mm[number])
        assert drawn[number] == pytest.approx(seen, abs=1e-9)


def test_rows_are_those_of_a_company(block: fleet.Fleet) -> None:
    for name in ("readings", "walls", "marks", "events"):
        rows = getattr(block, name)
        assert rows.schema.equals(schema.find(name))
        key = list(schema.KEY[name])
        assert rows.group_by(key).aggregate([]).num_rows == rows.num_rows
    readings = block.readings
    assert set(readings["house"].to_pylist()) == set(block.walls["house"].to_pylist())
    sixteenths = readings["value_mm"].to_numpy() / 1.5875
    assert np.abs(sixteenths - np.round(sixteenths)).max() < 1e-9
    share = readings.num_rows / (60 * fleet.VISITS * len(fleet.SHARES))
    assert 0.85 < share < 0.99  # 7 of 8 visits are missed with a chance of 8 %: 0.93, sd 0.012


def test_a_wall_is_the_same_however_many_are_asked_for(block: fleet.Fleet) -> None:
    fewer = next(fleet.stream(20, seed=5))
    assert block.walls.slice(0, 20).equals(fewer.walls)
    assert block.readings.slice(0, fewer.readings.num_rows).equals(fewer.readings)
    assert not next(fleet.stream(20, seed=6)).readings.equals(fewer.readings)
    assert next(fleet.stream(5, seed=5, first=fleet.BLOCK)).walls["house"][0].as_py() == f"S{fleet.BLOCK:08x}"


def test_the_benchmark_of_scale_takes_every_wall_through(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Its steps in this process; that it measures is nothing to test, that it judges every wall is."""
    path = tmp_path / "store"
    assert scale.add(path, 24, 1, 1)["readings"] == next(fleet.stream(24, seed=1)).readings.num_rows
    scale.compact(path, 24, 1, 1)
    scale.assess(path, 24, 1, 1)
    store = stores.open(path)
    found = store.assessment(scale.DAY)
    assert found is not None
    assert found.plan.num_rows == 24
    assert [damage.place for damage in verify(store).damages] == ["readings, simulated"]
    with pytest.raises(SystemExit, match="24 walls were judged, not 25"):
        scale.assess(path, 25, 1, 1)
    told = {"seconds": 1.0, "mb": 100.0}
    picture = scale.curve({10: dict.fromkeys(scale.STEPS, told), 100: dict.fromkeys(scale.STEPS, told)})
    assert picture.count("<polyline") == 2 * len(scale.STEPS)
    assert capsys.readouterr().out == ""
