"""Mutated files: received is always the sum of the states, nothing but an IntakeError ever comes out."""

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from intake_files import RECEIVED, TITLES, cells, make_tables, take, write_csv, write_xlsx

from monitor import ingest
from monitor.errors import IntakeError
from monitor.results import Intake

ODD = [
    "", "-", "n/a", "0", "-1", "1e9", "1 3/15", "16-Mar", "45732", "03/04/25", "=1+1", "'", '"', "½", "1/8-1/4", "~2",
    "x" * 500,
    "DH-01-N", "M33", "covered", "\u0000", "٣", "1 3/16 strong", "12-7-5/16", "2025-13-01", "9" * 40,
    "None", "nan", "inf", "mm",
]  # fmt: skip


def attempt(data: bytes, name: str = "visit.csv") -> Intake | IntakeError:
    try:
        return take(data, name=name)
    except IntakeError as error:
        return error


def holds(outcome: Intake | IntakeError) -> bool:
    if isinstance(outcome, IntakeError):
        return bool(outcome.mend)
    counted = outcome.used + outcome.held + outcome.rejected + outcome.could_not_read
    reasons = outcome.table["reason"].to_pylist()
    states = outcome.table["state"].to_pylist()
    explained = all(bool(reason) == (state != "used") for reason, state in zip(reasons, states, strict=True))
    deflections = outcome.table["deflection_mm"].to_pylist()
    usable = all(d is not None for d, state in zip(deflections, states, strict=True) if state == "used")
    return outcome.received == counted == outcome.table.num_rows and explained and usable


@settings(max_examples=60, deadline=None)
@given(st.lists(st.dictionaries(st.sampled_from(TITLES), st.sampled_from(ODD), max_size=5), min_size=1, max_size=4))
def test_odd_cells_anywhere_leave_every_row_with_a_state_and_a_reason(rows: list[dict[str, str]]) -> None:
    outcome = attempt(write_csv(*rows))
    assert isinstance(outcome, Intake)
    assert holds(outcome)
    assert outcome.received == len(rows)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.dictionaries(st.sampled_from(TITLES), st.sampled_from(ODD), max_size=3), min_size=1, max_size=3),
    st.lists(st.dictionaries(st.sampled_from(TITLES), st.sampled_from(ODD), max_size=3), min_size=1, max_size=3),
)
def test_a_second_file_after_an_odd_first_one_keeps_the_sum_and_the_first_again_is_judged_alike(
    rows: list[dict[str, str]], later: list[dict[str, str]]
) -> None:
    first = take(write_csv(*rows))
    assert holds(take(write_csv(*later), earlier=first.table, name="later.csv"))
    assert take(write_csv(*rows), earlier=first.table).table.equals(first.table)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.dictionaries(st.sampled_from(TITLES), st.text(max_size=12), max_size=4), min_size=1, max_size=3))
def test_any_text_in_any_cell_is_survived(rows: list[dict[str, str]]) -> None:
    assert holds(attempt(write_csv(*rows)))


@pytest.mark.parametrize("seed", range(60))
def test_damaged_bytes_are_read_or_refused(seed: int) -> None:
    rng = random.Random(seed)
    csv_bytes = write_csv({}, {"mark": "M4", "value": "1 3/15"}, {"mark": "M5", "value": "1½"})
    xlsx_bytes = write_xlsx(("Visit", cells({}, {"mark": "M4"})))
    for data, name in ((csv_bytes, "visit.csv"), (xlsx_bytes, "visit.xlsx")):
        damaged = bytearray(data)
        for _ in range(rng.randint(1, 12)):
            damaged[rng.randrange(len(damaged))] = rng.randrange(256)
        if rng.random() < 0.3:
            del damaged[rng.randrange(len(damaged)) :]
        assert holds(attempt(bytes(damaged), name))


@settings(max_examples=60, deadline=None)
@given(st.binary(max_size=300))
def test_any_bytes_are_read_or_refused(data: bytes) -> None:
    assert holds(attempt(data))


REGISTER_TITLES = (
    "house", "wall", "length", "clear height", "thickness", "mark", "x", "z", "set on", "retired on", "date", "event",
    "turns", "cure", "marks", "role", "person", "valid from", "before", "after", "instrument", "method", "stand-off",
)  # fmt: skip


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.sampled_from(REGISTER_TITLES), min_size=1, max_size=10, unique=True),
    st.lists(st.lists(st.sampled_from([*ODD, "24 ft", "DH-01", "N", "straps"]), min_size=10, max_size=10), max_size=3),
)
def test_odd_register_files_are_read_row_by_row_or_refused(titles: list[str], rows: list[list[str]]) -> None:
    data = write_xlsx(("Sheet", [titles, *([_printable(cell) for cell in row] for row in rows)]))
    try:
        intakes = ingest.read_register("list.xlsx", data, make_tables(), received_at=RECEIVED, sender="office")
    except IntakeError as error:
        assert error.mend  # noqa: PT017
        return
    for intake in intakes:
        assert intake.received == intake.used + intake.rejected
        assert intake.used == intake.table.num_rows
        assert len(intake.messages) == intake.rejected


def _printable(text: str) -> str:
    return text.replace("\u0000", "").removeprefix("=")
