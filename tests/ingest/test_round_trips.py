"""One visit in every form in which it can be sent is the same readings; a gap is a deflection seen from the string."""

import json
from fractions import Fraction

import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from intake_files import (
    TITLES,
    USED,
    USUAL,
    cells,
    column,
    make_tables,
    outcomes,
    table,
    take,
    wall,
    write_csv,
    write_xlsx,
)

from monitor import ingest
from monitor.ingest.visit_sheet import KIND, VERSION
from monitor.units import fraction_text, mm_from_inches

VALUES = st.one_of(
    st.integers(1, 47).map(lambda n: fraction_text(Fraction(n, 16))),
    st.sampled_from(["1 3/15", "1½", "1 1/8?", "", "covered", "-1", "30,2", "16-Mar", "1 3/16 strong", "0"]),
)  # fmt: skip
ROWS = st.lists(
    st.fixed_dictionaries(
        {"mark": st.sampled_from(["M1", "M2", "M3", "M4", "M33"]), "value": VALUES},
        optional={
            "unit": st.sampled_from(["in", "mm", ""]),
            "note": st.sampled_from(["wet, cold", "two\nlines", 'a "quoted" word', "½ é", "'held"]),
            "seen": st.sampled_from(["lip", "new crack; noise", "a smell"]),
            "visit date": st.sampled_from(["2025-03-10", "10 Mar 2025", "03/10/25", "2052-01-01"]),
            "set-up": st.sampled_from(["1", "2", "x"]),
        },
    ),
    min_size=1,
    max_size=4,
)


def told(data: bytes) -> pa.Table:
    """The judged rows, less the names that differ from form to form."""
    return take(data).table.drop_columns(["source_name", "source_sheet"])


@settings(max_examples=15, deadline=None)
@given(
    ROWS, st.sampled_from(",;\t"), st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]), st.sampled_from(["\n", "\r\n"])
)
def test_csv_of_any_kind_a_workbook_and_a_field_sheet_are_the_same_readings(
    rows: list[dict[str, str]], separator: str, encoding: str, end: str
) -> None:
    plain = told(write_csv(*rows))
    assert plain.num_rows == len(rows)
    written = write_csv(*rows, separator=separator).decode()
    ends = "\r\n".join(written.split("\n")) if end == "\r\n" and "two\nlines" not in written else written
    assert told(ends.encode(encoding)).equals(plain)
    assert told(write_xlsx(("Visit", cells(*rows)))).equals(plain)
    sheet = {"readings": [{title: (USUAL | row).get(title, "") for title in TITLES} for row in rows]}
    assert told(json.dumps({"kind": KIND, "version": VERSION, "tables": sheet}).encode()).equals(plain)


@settings(max_examples=15, deadline=None)
@given(ROWS)
def test_a_mend_sheet_sent_as_it_is_says_of_each_row_what_was_said_before(rows: list[dict[str, str]]) -> None:
    first = take(write_csv(*rows))
    failing = [row for row in first.table.to_pylist() if row["state"] in ("held", "rejected")]
    failing = [row for row in failing if row["reason_code"] != "twice-in-file"]
    if first.mend_sheet is None:
        assert not failing
        return
    again = take(first.mend_sheet, earlier=first.table, name="mend.csv")
    assert column(again, "mends") == [row["reading_id"] for row in failing]
    assert column(again, "value_raw") == [row["value_raw"] for row in failing]


@settings(max_examples=15, deadline=None)
@given(st.integers(1, 16 * 6), st.integers(16, 16 * 6))
def test_a_gap_and_the_deflection_that_goes_with_it_are_the_same_reading(gap: int, standoff: int) -> None:
    """d = s - g, by hand in sixteenths."""
    walls = table("walls", wall("DH-01", "N"), wall("DH-01", "E", kind="deflection"))
    blocks = table(
        "instruments", {"instrument": "B9", "method": "string", "standoff_mm": mm_from_inches(Fraction(standoff, 16))}
    )
    tables = make_tables(walls=walls, instruments=blocks)
    inward = Fraction(standoff - gap, 16)
    rows = [
        {"instrument": "B9", "value": fraction_text(Fraction(gap, 16))},
        {"instrument": "B9", "wall": "E", "kind": "deflection", "value": fraction_text(inward)},
    ]
    intake = take(write_csv(*rows), tables)
    assert column(intake, "deflection_mm") == pytest.approx([float(inward * 254 / 10)] * 2, abs=1e-9)
    if inward > 1:
        assert outcomes(intake) == [USED, USED]
    (row,) = take(write_csv(rows[0]), tables).table.to_pylist()
    corrected = ingest.judge_correction(row, fraction_text(Fraction(standoff, 16)), "in", tables)
    assert corrected == pytest.approx((row["standoff_mm"], 0.0), abs=1e-9)
