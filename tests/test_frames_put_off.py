"""pyarrow loads pandas only once somebody imports it, and then takes frames as it always does."""

import subprocess
import sys

_BEFORE = """
import sys
import pyarrow as pa, pyarrow.compute as pc
from monitor import schema
found = schema.empty("walls")
pa.array([1, None]); pa.scalar("a"); found.filter(pc.equal(found["house"], "DH-01"))
pa.Table.from_pylist([{"a": 1}])
assert "pandas" not in sys.modules, "before it is used"
"""
_AFTER = """
import pandas, sys
import pyarrow as pa
frame = pandas.DataFrame({"mm": [1.0, None], "day": pandas.to_datetime(["2026-01-01", None])})
assert pa.array(frame["mm"]).null_count == 1, "a missing number of a frame is null"
made = pa.Table.from_pandas(frame, preserve_index=False)
assert made["day"].null_count == 1
assert made.to_pandas().equals(frame)
assert not [each for each in sys.meta_path if type(each).__module__.startswith("monitor")], "it is done"
"""

_ANALYSED = """
import pandas as pd
from monitor.pipeline.analysis import analyse
readings = pd.DataFrame({"visit_date": [pd.Timestamp("2026-01-01")], "mark": ["M1"], "deflection_mm": [3.0]})
marks = pd.DataFrame({"mark": ["M1"], "x_mm": [2000.0], "z_mm": [1200.0]})
found = analyse(readings, wall={"length_mm": 4000.0, "clear_height_mm": 2400.0}, marks=marks)
assert len(found.wall_results) == 1
"""


def run(code: str) -> None:
    subprocess.run([sys.executable, "-c", code], check=True)


def test_tables_are_made_and_filtered_without_pandas_and_frames_are_taken_as_ever_once_it_is_imported():
    run(_BEFORE + _AFTER)


def test_where_pandas_was_there_before_nothing_changes():
    run("import pandas\nfrom monitor import schema" + _AFTER)


def test_an_analyst_gives_frames_after_tables_were_made():
    run(_BEFORE + _ANALYSED)
