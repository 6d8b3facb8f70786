"""The list as CSV and workbook: the rows of the page, no cell that runs, the same bytes for the same list."""

import csv
import hashlib
import io
import os
import subprocess
import sys
import zipfile
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import openpyxl
import pyarrow as pa
import pytest
from page_reader import Page
from written_book import HOUSE, book_of, build_book, states, table

from monitor.report import monthly_files, pages, spreadsheets
from monitor.report.monthly_rows import the_list

MADE = datetime(2026, 4, 30, 17, tzinfo=UTC)
FORMULA = '=HYPERLINK("http://198.51.100.7/","x")'
RISKY = (FORMULA, "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1")


def csv_rows(data):
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline="")))


def workbook(data):
    return openpyxl.load_workbook(io.BytesIO(data))


@pytest.fixture
def changed(book):
    """A list with every section, something closed, and hostile words that people typed."""
    rows = states()
    rows["moving"]["walls"][0] |= {"nickname": FORMULA}
    rows["look again"]["wall_results"][0] |= {"verdict": "holding", "reason": "Holds."}
    rows["look again"]["findings"] = []
    now = book_of(rows)
    decided = now.decisions.to_pylist()[0] | {"why": "-1 at M3, see photo", "owner": "@O2"}
    return replace(
        now,
        decisions=table("decisions", [decided]),
        previous=replace(book.assessment, judged_on=date(2026, 3, 31)),
    )


def test_the_files_hold_the_lines_of_the_page_in_its_order_and_what_was_closed(changed):
    page = Page(pages.monthly_list(changed))
    shown = [
        (part.caption.split(":")[0].lower(), row[0][: len(f"{HOUSE}-W01")]) for part in page.tables for row in part.rows
    ]
    rows = csv_rows(monthly_files.monthly_csv(changed))
    assert [(row["list"].lower(), row["wall"]) for row in rows] == shown
    assert {row["list"] for row in rows} >= {"Hard limits", "Moving", "Newly holding", "closed"}
    sheet = workbook(monthly_files.monthly_xlsx(changed))["list"]
    head, *body = sheet.iter_rows(values_only=True)
    assert head == monthly_files.HEADERS
    assert [(row[0].lower(), row[2]) for row in body] == shown


def test_a_row_has_the_numbers_behind_the_words(book):
    row = next(row for row in csv_rows(monthly_files.monthly_csv(book)) if row["wall"] == f"{HOUSE}-W01")
    assert [row[name] for name in ("rate_mm_per_year", "rate_lower", "rate_upper")] == ["5.0", "4.1", "5.9"]
    assert row["rate, 9 times in 10 between"] == "0.16 to 0.23 inch a year"
    assert float(row["total_mm"]) + float(row["room_mm"]) == float(row["total_limit_mm"]) == 50.8
    assert (row["movement"], row["not_measured"]) == ("bow", "tip, slide")
    assert (row["period"], row["visits"], row["last_visit"]) == ("before reinforcement", "7", "2026-04-10")
    assert [row[f"decision_{part}"] for part in ("step", "owner", "due", "why")] == [
        "call engineer", "O2", "2026-05-12", "third visit in a row"
    ]  # fmt: skip
    assert (row["state"], row["age_days"]) == ("first list", "0")


def test_a_rate_that_is_not_told_has_no_number_in_the_files():
    rows = states()["overdue"]
    rows["wall_results"][0] |= {"visits": 2}
    (row,) = csv_rows(monthly_files.monthly_csv(book_of({"overdue": rows})))
    assert row["rate, 9 times in 10 between"] == "too few visits"
    assert row["rate_mm_per_year"] == row["rate_lower"] == row["movement"] == ""


def test_words_that_people_typed_never_become_a_formula(changed):
    rows = csv_rows(monthly_files.monthly_csv(changed))
    moving = next(row for row in rows if row["wall"] == f"{HOUSE}-W01")
    assert moving["nickname"] == f"'{FORMULA}"
    assert (moving["decision_owner"], moving["decision_why"]) == ("'@O2", "'-1 at M3, see photo")
    assert not any(cell.startswith(("=", "+", "@")) for row in rows for cell in row.values())
    book = workbook(monthly_files.monthly_xlsx(changed))
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
    assert not [cell.coordinate for cell in cells if cell.data_type == "f"]
    typed = next(cell for cell in cells if cell.value == FORMULA)
    assert (typed.data_type, bool(typed.quotePrefix)) == ("s", True)


@pytest.mark.parametrize("text", RISKY)
def test_every_beginning_that_runs_is_made_harmless_in_csv(text):
    made = spreadsheets.csv_bytes(("a",), [(text,)]).decode("utf-8-sig")
    _, row = csv.reader(io.StringIO(made, newline=""))
    assert row == [f"'{text}"]
    rows = spreadsheets.harmless_table(pa.table({"a": [text, f"x{text}", "", None], "n": [-1, 2, 3, None]}))
    assert rows.to_pydict() == {"a": [f"'{text}", f"x{text}", "", None], "n": [-1, 2, 3, None]}


def test_numbers_below_nought_stay_numbers():
    rows = spreadsheets.csv_bytes(("a", "b"), [(-0.3, "-0.3")]).decode("utf-8-sig")
    assert rows == "a,b\r\n-0.3,'-0.3\r\n"
    made = spreadsheets.xlsx_bytes([spreadsheets.Sheet("x", ("a",), [(-0.3,)])], title="t", made_at=MADE)
    assert workbook(made)["x"]["A2"].value == -0.3


def test_a_sign_that_no_workbook_can_hold_is_replaced_and_not_fatal():
    made = spreadsheets.xlsx_bytes([spreadsheets.Sheet("x", ("a",), [("a\x07b\x00",)])], title="t", made_at=MADE)
    assert workbook(made)["x"]["A2"].value == "a�b�"


def test_the_workbook_carries_no_clock_but_until_when_data_were_known(book):
    made = monthly_files.monthly_xlsx(book)
    packed = zipfile.ZipFile(io.BytesIO(made))
    assert {entry.date_time for entry in packed.infolist()} == {(2026, 4, 30, 17, 0, 0)}
    properties = workbook(made).properties
    assert properties.created == properties.modified == book.assessment.known_until.replace(tzinfo=None)


def test_the_workbook_says_what_it_was_made_from_and_counts_as_the_page_does(changed):
    about = dict(workbook(monthly_files.monthly_xlsx(changed))["about"].iter_rows(min_row=2, values_only=True))
    page = Page(pages.monthly_list(changed)).text.replace("closed .", "closed.")
    assert f"Report number {about['report number']}" in page
    assert f"data known until {about['data known until']}" in page
    assert (
        f"Since the list of 2026-03-31: {about['new on this list']} new, {about['open on this list']} still open, "
        f"{about['closed since the last list']} closed." in page
    )
    assert about["Moving"] == len(the_list(changed).lines["moving"])
    meanings = dict(workbook(monthly_files.monthly_xlsx(changed))["columns"].iter_rows(min_row=2, values_only=True))
    assert tuple(meanings) == monthly_files.HEADERS
    assert all(meanings.values())


def test_the_list_changes_only_when_data_or_decisions_do(book):
    later = replace(book, assessment=replace(book.assessment, known_until=datetime(2026, 5, 2, tzinfo=UTC)))
    assert monthly_files.monthly_csv(later) == monthly_files.monthly_csv(book)
    one, two = (Page(pages.monthly_list(each)) for each in (book, later))
    assert [part.rows for part in one.tables] == [part.rows for part in two.tables]
    assert one.source != two.source, "the page's number tells the two apart"
    decided = replace(book, decisions=book.decisions.slice(0, 0))
    assert monthly_files.monthly_csv(decided) != monthly_files.monthly_csv(book)


def test_the_same_book_gives_the_same_files_in_two_processes(book):
    program = (
        "import sys, hashlib; sys.path.insert(0, sys.argv[1])\nfrom written_book import build_book\n"
        "from monitor.report import monthly_files as files\nbook = build_book()\n"
        "for made in (files.monthly_csv(book), files.monthly_xlsx(book)): print(hashlib.sha256(made).hexdigest())"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, str(Path(__file__).parent)],
        env=os.environ | {"PYTHONHASHSEED": "4711", "TZ": "Pacific/Auckland", "LC_ALL": "C"},
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    here = build_book()
    assert done.stdout.split() == [
        hashlib.sha256(made).hexdigest() for made in (monthly_files.monthly_csv(here), monthly_files.monthly_xlsx(here))
    ]
