"""A table's rows by wall, in the table's own order, wherever they stand in it."""

import random
from itertools import groupby

import pyarrow as pa
import pytest

from monitor.report import by_wall
from monitor.report.by_wall import ByWall

KEYS = [(f"H{number // 3}", "NESW"[number % 3]) for number in range(12)]


def table(keys):
    return pa.table({
        "house": pa.array([house for house, _ in keys], pa.string()),
        "wall": pa.array([wall for _, wall in keys], pa.string()),
        "n": pa.array(range(len(keys)), pa.int32()),
    })  # fmt: skip


@pytest.mark.parametrize("at_once", [1, 7, 1024])
@pytest.mark.parametrize("order", ["side by side", "scattered", "none"])
def test_each_wall_has_its_own_rows_in_the_order_of_the_table(at_once, order, monkeypatch):
    monkeypatch.setattr(by_wall, "_AT_ONCE", at_once)
    chance = random.Random(3)
    keys = [] if order == "none" else chance.choices(KEYS[:-1], k=90)
    keys = sorted(keys) if order == "side by side" else keys
    assert order != "scattered" or len(list(groupby(keys))) > len(set(keys))
    rows = table(keys)
    found = ByWall(pa.concat_tables([rows.slice(0, 20), rows.slice(20)]))
    for key in chance.sample(KEYS, len(KEYS)):
        assert [row["n"] for row in found.rows(key)] == [n for n, each in enumerate(keys) if each == key]
    assert list(found.rows(KEYS[-1])) == list(found.rows(("H", "none"))) == []
