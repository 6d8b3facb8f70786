"""Whole pages: what stands on them, what never does, and that the same book gives the same bytes."""

import hashlib
import os
import re
import subprocess
import sys
from dataclasses import replace
from datetime import date
from itertools import pairwise
from pathlib import Path

import pyarrow as pa
import pytest
from page_reader import Page
from written_book import HOSTILE, HOUSE, WALL_OF, book_of, states
from written_book import table as rows_of

from monitor.errors import NotFoundError
from monitor.report import names, pages, wording
from monitor.report.language import codes
from monitor.report.wall_sheet import wall_sheet
from monitor.trend.shares import share_range

WALLS = [pytest.param(wall, id=state.replace(" ", "-")) for state, wall in WALL_OF.items()]

# Copied from the wording agreed for these pages, not from the code.
CAUTIONS = (
    "This page reports measurements of how far marks on the wall have moved. It is not a structural assessment and "
    "does not say whether the wall or house is safe. Only a licensed engineer who has seen it can judge that.",
    "Leave the area by the wall, keep others out, and call an engineer (or the emergency number if anything is "
    "falling) at once if: you hear cracking; blocks bulge, crumble or fall; a new crack opens, or one side of a crack "
    "stands out further than the other; the wall's bottom or top has shifted; doors or floor above suddenly change; "
    "water breaks through. Do not store or sleep beside the wall. Do not prop it yourself. Do not wait for our next "
    "visit.",
)
FORBIDDEN = (
    *("safe", "safely", "safety", "stable", "stability", "secure", "secured", "fixed", "stopped", "permanent"),
    *("permanently", "guarantee", "guaranteed", "certified", "passed", "normal", "normally", "warranty", "covered"),
    *("upgrade", "neighbour", "no risk", "nothing to worry", "within tolerance", "due to", "because of your"),
)


def homeowner(book, wall):
    return Page(pages.homeowner_page(book, HOUSE, wall))


@pytest.mark.parametrize("wall", WALLS)
def test_a_homeowner_page_says_no_forbidden_word_outside_the_cautions(book, wall):
    text = homeowner(book, wall).text
    for caution in CAUTIONS:
        assert caution in text
        text = text.replace(caution, " ")
    text = text.lower()
    assert [word for word in FORBIDDEN if re.search(rf"\b{word}\b", text)] == []


@pytest.mark.parametrize("wall", WALLS)
def test_an_office_page_never_calls_a_wall_safe_and_bears_the_cautions(book, wall):
    text = Page(pages.wall_page(book, HOUSE, wall)).text
    for caution in CAUTIONS:
        assert caution in text
        text = text.replace(caution, " ")
    assert not re.search(r"\b(safe|stable|guaranteed|certified|permanent)\b", text.lower())


@pytest.mark.parametrize("wall", WALLS)
def test_a_homeowner_page_needs_no_script_and_asks_for_nothing_outside(book, wall):
    page = homeowner(book, wall)
    assert page.named("script") == []
    assert len(page.source.encode()) < 60_000
    sources = [value for _, tag in page.tags for key, value in tag.items() if key in ("src", "href", "xlink:href")]
    outside = [source for source in sources if not source.startswith("tel:")]
    assert outside == [names.page_name(HOUSE, wall, "homeowner.es")], "the same page in another language, and no more"
    assert "url(" not in page.source
    assert "@import" not in page.source
    assert {"name": "robots", "content": "noindex, nofollow, noarchive"} in page.named("meta")


@pytest.mark.parametrize("wall", WALLS)
def test_a_homeowner_page_names_no_person_and_no_house(book, wall):
    text = homeowner(book, wall).text
    assert not re.search(r"\b(T1|O1|O2|E1)\b", text)
    assert HOUSE not in text
    assert "corner house" not in text


@pytest.mark.parametrize("wall", WALLS)
def test_a_homeowner_page_says_what_it_is_relative_to_and_bears_a_number(book, wall):
    text = homeowner(book, wall).text
    assert re.search(r"Measured relative to the wall's two ends\. Covers .+ only, up to .+\.", text)
    assert re.search(r"This page's number: [0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}; a newer page may replace it\.", text)
    assert "The demo firm, telephone 555 0100" in text


def every_page(book):
    yield names.INDEX, pages.index(book)
    yield names.MONTHLY_LIST, pages.monthly_list(book)
    yield names.PLAN, pages.visit_plan(book)
    yield names.REPEATABILITY, pages.repeatability(book)
    yield names.OVERVIEW, pages.overview(book, share_range)
    for house, wall in names.wall_keys(book):
        yield names.page_name(house, wall, "wall"), pages.wall_page(book, house, wall)
        for code in codes():
            name = names.page_name(house, wall, names.in_language("homeowner", code))
            yield name, pages.homeowner_page(book, house, wall, code)
            name = names.page_name(house, wall, names.in_language("history", code))
            yield name, pages.history_page(book, house, wall, code)


@pytest.fixture(scope="module")
def read(book):
    """Every page by name, read back."""
    return {name: Page(data) for name, data in every_page(book)}


def test_every_page_is_well_formed_with_headings_in_order_and_unique_ids(read):
    for name, page in read.items():
        assert page.unclosed == [], name
        levels = [int(tag[1]) for tag, _ in page.tags if re.fullmatch(r"h[1-6]", tag)]
        assert levels[0] == 1
        assert levels.count(1) == 1
        assert all(after <= before + 1 for before, after in pairwise(levels)), name
        ids = [tag["id"] for _, tag in page.tags if "id" in tag]
        assert len(ids) == len(set(ids)), name
        assert page.named("html") == [{"lang": "es" if name.endswith(".es.html") else "en"}]


def test_every_table_has_a_caption_and_every_row_as_many_cells_as_headers(read):
    for name, page in read.items():
        for table in page.tables:
            assert table.caption.strip(), name
            for row in table.rows:
                assert len(row) == len(table.headers) or len(row) == 1, (name, table.caption)


def test_every_region_that_scrolls_can_be_reached_by_key_and_has_a_name(read):
    for page in read.values():
        for tag in page.named("div"):
            if tag.get("class") == "scroll":
                assert tag["tabindex"] == "0"
                assert tag["role"] == "region"
                assert tag["aria-label"]


def test_every_drawing_has_words(read):
    for name, page in read.items():
        for svg in page.named("svg"):
            if svg.get("role") == "img":
                named = svg["aria-labelledby"].split()
                assert all(f'id="{identity}"' in page.source for identity in named), name
            else:
                assert svg["aria-hidden"] == "true"


def test_hostile_names_come_out_as_text(book):
    wall = WALL_OF["hostile name"]
    for data in (pages.wall_page(book, HOUSE, wall), pages.homeowner_page(book, HOUSE, wall), pages.index(book)):
        page = Page(data)
        assert "<script>alert" not in page.source
        assert HOSTILE in page.text
    scripts = Page(pages.wall_page(book, HOUSE, wall)).named("script")
    assert [set(tag) for tag in scripts] == [{"src", "defer"}, {"type", "id"}, set()]


def test_a_hostile_id_can_leave_neither_its_file_name_nor_its_element_id(book):
    hostile = '../"><script>'
    rows = book_of({"one": states()["moving"]})
    tables = {name: _renamed(table, hostile) for name, table in rows.facts.items()}
    judged = {
        name: _renamed(getattr(rows.assessment, name), hostile)
        for name in ("wall_results", "mark_results", "movement", "findings")
    }
    changed = replace(rows, facts=tables, assessment=replace(rows.assessment, **judged))
    assert re.fullmatch(r"wall_[A-Za-z0-9.-]+_[A-Za-z0-9.-]+\.html", names.page_name(HOUSE, hostile, "wall"))
    for data in (pages.wall_page(changed, HOUSE, hostile), pages.monthly_list(changed), pages.index(changed)):
        assert '"><script>' not in data.decode()
        assert Page(data).unclosed == []


def _renamed(table, wall):
    if "wall" not in table.column_names:
        return table
    place = table.column_names.index("wall")
    values = [wall] * table.num_rows
    return table.set_column(place, table.schema.field(place), pa.array(values, pa.string()))


def test_the_office_page_shows_every_reading_received_with_its_state_and_reason(book):
    page = Page(pages.wall_page(book, HOUSE, WALL_OF["held reading"]))
    table = page.table("Every reading received")
    assert len(table.rows) == 35
    assert "Received 35: 34 used, 1 held, 0 rejected, 0 could-not-read." in page.text
    held = [row for row in table.rows if "held" in row[8]]
    assert [(row[1], row[2], row[6], row[7]) for row in held] == [
        ("M3", "13/16 in", "16.6", "0.654")
    ]  # 36 less the first, 19.4; / 25.4
    assert "15.9 mm off; 3/16 would fit." in held[0][8]


def test_a_hard_limit_stands_before_the_verdict_and_a_step_is_told_of_wherever_the_rate_is(book):
    page = Page(pages.wall_page(book, HOUSE, WALL_OF["jump"]))
    lead = page.source[page.source.index('class="lead"') :]
    assert lead.index("jump since the last visit, keep out, engineer now") < lead.index("with the latest step in the")
    assert page.text.count("Mark M3 came in 14.0 mm since the last visit.") == 2, (
        "once in the lead, once in the findings"
    )
    assert "; the latest step is in it" in page.text
    assert "Line and band have the latest step in them." in page.text
    assert "the latest step" not in Page(pages.wall_page(book, HOUSE, WALL_OF["moving"])).text


def test_no_day_for_the_limit_and_no_onset_is_told_where_the_latest_step_is_in_the_rate(book):
    far = {"limit_from": date(2028, 1, 1), "limit_to": date(2032, 1, 1), "onset": date(2025, 4, 1)}
    rows = [row | far for row in book.assessment.wall_results.to_pylist()]
    told = replace(book, assessment=replace(book.assessment, wall_results=rows_of("wall_results", rows)))
    for state, is_said in (("moving", True), ("jump", False)):
        text = Page(pages.wall_page(told, HOUSE, WALL_OF[state])).text
        assert [words in text for words in ("may be reached between", "Moving since about")] == [is_said] * 2, state


def test_a_finding_compares_in_the_unit_of_the_wall_and_no_finer_than_it_is_known(book):
    compared = [
        (0.06525, 6.0, "mm", "less than 1/32 in against 1/4 in"),
        (5.016, 3.175, "mm/yr", "0.20 inch a year against 1/8 inch a year"),
        (0.8624, 20.0, "to 1", "0.8 to 1 against 20 to 1"),
        (35.96, 20.0, "to 1", "35 to 1 against 20 to 1"),
        (5.0, 0.0, "readings", "5 against 0 readings"),
        (None, None, "", ""),
    ]
    usual = {"house": HOUSE, "wall": WALL_OF["holding"], "period": 0, "outcome": "no", "urgency": "none"}
    rows = [usual | {"value": value, "limit": limit, "unit": unit} for value, limit, unit, _ in compared]
    found = replace(book, assessment=replace(book.assessment, findings=rows_of("findings", rows)))
    sheet = wall_sheet(found, found.view(HOUSE, WALL_OF["holding"]))
    assert [row["compared"] for row in sheet["findings"]] == [words for *_, words in compared]


def test_where_an_end_moves_the_map_of_rates_says_what_it_takes_as_still(book):
    said = "The fit takes an end held by a return wall as still"
    rows = [row | {"ends_note": "The left end is not still."} for row in book.assessment.wall_results.to_pylist()]
    moved = replace(book, assessment=replace(book.assessment, wall_results=rows_of("wall_results", rows)))
    assert said in Page(pages.wall_page(moved, HOUSE, WALL_OF["holding"])).text
    assert said not in Page(pages.wall_page(book, HOUSE, WALL_OF["holding"])).text


def test_the_office_page_shows_a_ruling_with_who_and_why(book):
    page = Page(pages.wall_page(book, HOUSE, WALL_OF["corrected"]))
    assert "2026-04-30: correct to 1 3/16 in by O1: photo shows 1 3/16" in page.text


def test_a_component_that_cannot_be_seen_is_not_measured_and_never_nought(book):
    page = Page(pages.wall_page(book, HOUSE, WALL_OF["string only"]))
    rows = {row[0].split(":")[0]: row[1] for row in page.table("Inward rate, inch a year and mm a year").rows}
    assert rows == {
        "mark M3 (governing)": "0.02 (-0.01 to 0.04)",
        **dict.fromkeys(("bow", "tip", "slide"), "not measured"),
    }
    text = homeowner(book, WALL_OF["string only"]).text
    for line in wording.EN["not_measured"].values():
        assert line in text


def test_before_and_after_stand_side_by_side(book):
    page = Page(pages.wall_page(book, HOUSE, WALL_OF["moving after straps"]))
    table = page.table("Periods side by side")
    assert table.headers == ["What", "before reinforcement", "after reinforcement"]
    rows = {row[0]: row[1:] for row in table.rows}
    assert rows["Threshold"] == ["1/8 inch a year (3.2 mm a year)", "1/16 inch a year (1.6 mm a year)"]
    assert rows["Rate of the governing mark"] == ["0.20 (0.16 to 0.23)"] * 2
    assert rows["Visits that count (all)"] == ["3 (3)", "5 (6)"]


def test_an_as_built_record_is_shown_with_its_doubts(book):
    text = Page(pages.wall_page(book, HOUSE, WALL_OF["moving after straps"])).text
    assert "Doubts: 3 1/2 turns: over-tightened?" in text
    assert "turns after finger-tight 3.5 turns" in text
    assert "cracks cleared and grouted before bonding no" in text
    assert "spacing of the straps 48 in (1219.2 mm)" in text


def test_the_office_page_says_who_signed_and_what_it_was_made_from(book):
    text = Page(pages.wall_page(book, HOUSE, WALL_OF["holding"])).text
    assert "Valid from 2023-01-01; signed by E1 on 2023-01-05." in text
    assert "5" * 64 in text
    assert "f" * 64 in text
    assert "data known until 2026-04-30 17:00 UTC; made by version 0.0.1" in text
    unsigned = replace(book, facts={**book.facts, "thresholds": book.facts["thresholds"].slice(0, 0)})
    assert "Nobody has signed thresholds" in Page(pages.wall_page(unsigned, HOUSE, WALL_OF["holding"])).text


@pytest.mark.parametrize("wall", WALLS)
def test_a_homeowner_page_speaks_plainly(book, wall):
    text = homeowner(book, wall).text
    assert not re.search(r"\bM[0-9]|[Mm]ark M|UTC|line starts|[Cc]heck number|superseded|lean inward", text)
    assert not re.search(r"\b0 in \(0\.[1-9]", text)
    assert "in a year" not in text
    assert not ("could not measure any inward movement" in text and "slower" in text)
    named = set(re.findall(r"the box '([^']+)'", text))
    assert named <= {"Stay out and call"}


def test_readings_stand_on_their_marks_first_one_whatever_the_method():
    rows = states()["holding"]
    for row in rows["readings"]:
        row |= {"method": "meter", "deflection_mm": row["deflection_mm"] - 6088.0}
    page = Page(pages.wall_page(book_of({"holding": rows}), HOUSE, WALL_OF["holding"]))
    found = [row for row in page.table("Every reading received").rows if row[1] == "M3"]
    assert found[0][6] == "0.0"
    assert all(abs(float(row[6])) < 10 for row in found)
    assert "-6088" not in page.text


def test_two_pairs_of_bounds_are_explained_where_they_differ(book):
    text = Page(pages.wall_page(book, HOUSE, WALL_OF["moving"])).text
    assert "Mark M3 alone: 0.16 to 0.23 inch a year" not in text, "the same pair asks for no explanation"
    rows = states()["moving"]
    rows["wall_results"][0] |= {"rate_lower": 3.4}
    text = Page(pages.wall_page(book_of({"moving": rows}), HOUSE, WALL_OF["moving"])).text
    assert "Mark M3 alone: 0.16 to 0.23 inch a year; the wall: 0.13 to 0.23 inch a year. Both pairs are right." in text


def test_two_visits_show_no_rate_on_any_page():
    rows = states()["holding"]
    rows["wall_results"][0] |= {"visits": 2, "visits_all": 2, "reason": "Two visits."}
    rows["findings"] = []
    book = book_of({"holding": rows})
    office = Page(pages.wall_page(book, HOUSE, WALL_OF["holding"]))
    assert "two visits cannot show a movement" in office.text
    assert "Two visits cannot show whether" in homeowner(book, WALL_OF["holding"]).text
    for words in ("Marks; inward rate", "Inward rate, inch a year", "Periods side by side"):
        cells = [cell for row in office.table(words).rows for cell in row]
        assert "too few visits" in cells
        assert not any(re.search(r"-?0\.\d\d \(", cell) for cell in cells)
    assert "very likely" not in homeowner(book, WALL_OF["holding"]).text.lower()


def test_the_index_names_house_and_wall(book):
    row = Page(pages.index(book)).table("18 walls").rows[0]
    assert row[:3] == [f"{HOUSE}-W01", "the corner house", "north wall"]


def test_a_mark_that_could_not_be_read_is_said_on_both_pages(book):
    wall = WALL_OF["covered"]
    assert "2026-04-09: M1, M2, M3, M4, M5 not read (covered)" in Page(pages.wall_page(book, HOUSE, wall)).text
    assert "We could not see the wall on 9 April 2026, so we could not read it." in homeowner(book, wall).text


def test_millimetres_come_first_where_the_wall_is_read_in_them(book):
    text = homeowner(book, WALL_OF["hostile name"]).text
    assert "very likely less than 1.1 mm a year (0.04 inch a year, about the thickness of a bank card)" in text
    assert "28.0 mm (1 1/8 in)" in text


def test_a_wall_nobody_registered_has_no_page(book):
    with pytest.raises(NotFoundError, match="DH-99-N"):
        pages.wall_page(book, "DH-99", "N")


def test_the_report_number_changes_with_any_input_and_only_then(book):
    def number(changed):
        found = re.search(r"Report number ([0-9a-f-]{14})", Page(pages.wall_page(changed, HOUSE, "W01")).text)
        return found[1]

    judged = book.assessment
    changes = [
        replace(book, assessment=replace(judged, facts_sha256="0" * 64)),
        replace(book, assessment=replace(judged, settings_sha256="0" * 64)),
        replace(book, code_version="0.0.2"),
        replace(book, company={"name": "Another firm"}),
        replace(book, decisions=book.decisions.slice(0, 0)),
        replace(book, previous=judged),
    ]
    numbers = [number(book), *map(number, changes)]
    assert len(set(numbers)) == len(numbers)
    assert number(replace(book)) == number(book)


def test_the_same_book_gives_the_same_bytes_in_two_processes(book):
    here = {name: hashlib.sha256(data).hexdigest() for name, data in every_page(book)}
    assert here == {name: hashlib.sha256(data).hexdigest() for name, data in every_page(book)}
    program = (
        "import sys, hashlib; sys.path.insert(0, sys.argv[1])\n"
        "from written_book import build_book\nfrom test_pages import every_page\n"
        "for name, data in every_page(build_book()): print(name, hashlib.sha256(data).hexdigest())"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, str(Path(__file__).parent)],
        env=os.environ | {"PYTHONHASHSEED": "4711", "TZ": "Pacific/Auckland", "LC_ALL": "C"},
        capture_output=True,
        text=True,
        check=True,
    )
    assert dict(line.rsplit(" ", 1) for line in done.stdout.splitlines()) == here


def test_a_homeowner_page_is_made_without_the_plotting_library():
    program = (
        "import sys; sys.path.insert(0, sys.argv[1])\nfrom written_book import build_book\n"
        "from monitor.report import pages\npages.homeowner_page(build_book(), 'DH-20', 'W01')\n"
        "pages.wall_page(build_book(), 'DH-20', 'W01')\n"
        "print([name for name in sys.modules if name.startswith(('plotly', 'scipy', 'statsmodels'))])"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, str(Path(__file__).parent)], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"


def test_the_library_beside_the_pages_is_the_one_the_office_page_asks_for(book):
    script = pages.plotly_script()
    assert len(script) > 1_000_000
    assert b"Plotly" in script
    tags = Page(pages.wall_page(book, HOUSE, "W01")).named("script")
    assert tags[0] == {"src": names.SCRIPT, "defer": None}


BESIDE = {names.MONTHLY_CSV, names.MONTHLY_XLSX, "#closed"}
"""Links that lead to no page: files beside the pages, places within one."""


def test_every_link_of_the_index_and_the_list_leads_to_a_page(book, read):
    made = set(read) | {names.page_name(*key, "engineer") for key in names.wall_keys(book)}
    for data in (pages.index(book), pages.monthly_list(book), pages.wall_page(book, HOUSE, "W01")):
        assert {tag["href"] for tag in Page(data).named("a")} <= made | BESIDE
    linked = {tag["href"] for tag in Page(pages.index(book)).named("a")}
    assert linked | {names.INDEX} == made
