"""From gaps and distances to deflections, by hand and against published identities."""

from fractions import Fraction

import pytest
from intake_files import column, make_tables, table, take, write_csv

from monitor import ingest
from monitor.errors import IntakeError, LengthError
from monitor.ingest.geometry import deflection_mm, needs_standoff, step_mm
from monitor.lengths import parse
from monitor.terms import Kind, Method


def test_a_string_line_between_equal_blocks() -> None:
    """Blocks of 2 in, five gaps; inward = block height - gap (identity of the string line with stand-off blocks)."""
    gaps = ["2", "1 11/16", "1 3/8", "1 3/4", "2"]
    intake = take(
        write_csv(
            *({"mark": f"M{n}", "value": gap, "instrument": "", "stand-off": "2"} for n, gap in enumerate(gaps, 1))
        )
    )
    assert column(intake, "deflection_mm") == pytest.approx([0, 7.9375, 15.875, 6.35, 0], abs=1e-9)


def test_a_string_line_between_unequal_blocks_with_the_height_between_them_written_at_each_mark() -> None:
    """Blocks 2 in and 1 1/2 in, 240 in apart: the line stands off 1 7/8, 1 3/4, 1 5/8 in at 60, 120, 180 in."""
    heights, gaps = ["1 7/8", "1 3/4", "1 5/8"], ["1 1/2", "1 1/4", "1 3/8"]
    rows = [
        {"mark": f"M{n}", "value": gap, "instrument": "", "stand-off": height}
        for n, (gap, height) in enumerate(zip(gaps, heights, strict=True), 1)
    ]
    inward = column(take(write_csv(*rows)), "deflection_mm")
    assert inward == pytest.approx([float(Fraction(n, 8)) * 25.4 for n in (3, 4, 2)], abs=1e-9)


@pytest.mark.parametrize("added_mm", [0.0, 3.0, -11.5])
def test_a_constant_on_gaps_and_blocks_leaves_every_deflection_as_it_was(added_mm: float) -> None:
    gaps = [50.8, 42.8625, 34.925]
    inward = [deflection_mm(gap + added_mm, Kind.GAP, 50.8 + added_mm) for gap in gaps]
    assert inward == pytest.approx([0, 7.9375, 15.875], abs=1e-9)


def test_the_worked_example_of_a_gap_to_a_string() -> None:
    """3 in blocks, gap 1 13/16 in: 1 3/16 in = 30.1625 mm inward, by subtraction."""
    assert column(take(write_csv({"value": "1 13/16"})), "deflection_mm") == pytest.approx([30.1625], abs=1e-9)


def test_plumb_laser_and_meter_have_no_stand_off() -> None:
    rows = [
        {"method": "plumb", "mark": "M1", "value": "100", "unit": "mm", "instrument": ""},
        {"method": "laser", "mark": "M2", "value": "90", "unit": "mm", "instrument": ""},
        {"method": "meter", "mark": "M3", "value": "3844", "unit": "mm", "instrument": "", "kind": "distance"},
        {"method": "laser", "mark": "M4", "value": "12", "unit": "mm", "instrument": "", "kind": "deflection"},
    ]
    intake = take(write_csv(*rows))
    assert column(intake, "deflection_mm") == [-100.0, -90.0, -3844.0, 12.0]
    assert column(intake, "standoff_mm") == [None] * 4


def test_every_method_falls_as_the_wall_comes_in_except_a_deflection_as_such() -> None:
    for kind, sign in ((Kind.GAP, -1), (Kind.DISTANCE, -1), (Kind.DEFLECTION, 1)):
        assert deflection_mm(31.0, kind, 76.2) - deflection_mm(30.0, kind, 76.2) == pytest.approx(sign)


def test_only_a_gap_to_a_string_needs_a_stand_off() -> None:
    needed = {(method, kind) for method in Method for kind in Kind if needs_standoff(method, kind)}
    assert needed == {(Method.STRING, Kind.GAP)}


@pytest.mark.parametrize(
    ("text", "unit", "instrument_mm", "step"),
    [
        ("1 3/16", "in", None, 1.5875),
        ("1 3/32", "in", None, 0.79375),
        ("1 3/16", "in", 0.79375, 0.79375),
        ("30", "mm", None, 1.0),
        ("30.2", "mm", None, 0.1),
        ("30", "mm", 0.5, 0.5),
        ("30", "mm", 2.0, 2.0),
        ("30.25", "mm", 0.1, 0.01),
    ],
)
def test_the_step_is_the_instruments_or_the_usual_one_and_finer_where_written_finer(
    text: str, unit: str, instrument_mm: float | None, step: float
) -> None:
    assert step_mm(parse(text, unit), instrument_mm) == step


def test_a_reading_takes_the_step_of_its_instrument() -> None:
    instruments = table(
        "instruments", {"instrument": "B3", "method": "string", "standoff_mm": 76.2, "step_mm": 0.79375}
    )
    intake = take(write_csv({"value": "1 3/16"}), make_tables(instruments=instruments))
    assert column(intake, "step_mm") == [0.79375]


def test_a_correction_is_judged_by_the_readings_own_method_kind_and_stand_off() -> None:
    tables = make_tables()
    (row,) = take(write_csv({"value": "1 13/16"}), tables).table.to_pylist()
    assert ingest.judge_correction(row, "1 3/16", "in", tables) == (30.1625, 76.2 - 30.1625)
    assert ingest.judge_correction(row, "30.2", "mm", tables) == (30.2, 46.0)
    with pytest.raises(LengthError, match="This cannot be read as a length") as caught:
        ingest.judge_correction(row, "1 3/15", "in", tables)
    assert caught.value.mend == "Did you mean 1 3/16?"


def test_a_reading_without_a_stand_off_cannot_be_corrected_in_its_value_alone() -> None:
    (row,) = take(write_csv({"instrument": ""}), name="visit.csv").table.to_pylist()
    with pytest.raises(IntakeError) as caught:
        ingest.judge_correction(row, "1 3/16", "in", make_tables())
    assert str(caught.value) == (
        f"visit.csv, K2: Reading {row['reading_id']} cannot be corrected: its stand-off is not known."
        " Expected: a reading with method, kind and, for a gap to a string, a stand-off."
        f" Mend: Send the whole row again with {row['reading_id']} under mends."
    )
