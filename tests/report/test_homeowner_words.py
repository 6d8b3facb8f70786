"""No forbidden word in any state of any wall: walls by hand, a simulated company, the demo's pages."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pyarrow as pa
import pyarrow.compute as pc
import pytest
from forbidden_words import CAUTIONS, FORBIDDEN, said_wrongly
from page_reader import Page
from written_book import HOUSE, WALL_OF

from monitor.config import Settings
from monitor.pipeline.as_judged import as_judged
from monitor.report import names, pages
from monitor.report.context import Book
from monitor.report.language import codes
from monitor.report.status import status
from monitor.results import Assessment
from monitor.schema import empty
from monitor.simulate.portfolio import portfolio
from monitor.simulate.recipe import FLEET, Sort
from monitor.trend.assess import assess

DAY = date(2022, 12, 1)
"""In the midst of the company's visits: some walls have all of theirs, some have but one."""
SORTS = (
    Sort("still", 0.3),
    Sort("seasonal", 0.2, season=(2.0, 4.0)),
    Sort("slow", 0.2, rate=(0.3, 1.5)),
    Sort("moving", 0.3, rate=(3.0, 12.0)),
)
STATES_SEEN = {
    *("too few visits", "too early", "no movement measured", "small, not settled", "inward, not settled"),
    *("to be confirmed", "overdue", "being checked", "several being checked", "jump", "large change", "large total"),
}
"""What such a company has on that day; the rest is built by hand elsewhere."""


@pytest.fixture(scope="module")
def company() -> Book:
    """Forty walls of a simulated company, 40 % strapped, with misreads, missed visits and lost marks."""
    made = portfolio(40, seed=20260314, recipe=replace(FLEET, sorts=SORTS, misread_share=0.01, lost_share=0.1))
    facts = {name: getattr(made, name) for name in ("readings", "walls", "marks", "events")}
    return judged(facts, DAY)


def judged(facts, day: date) -> Book:
    tables = dict(facts)
    for name, column in (("readings", "visit_date"), ("events", "event_date")):
        tables[name] = facts[name].filter(pc.less_equal(facts[name][column], pa.scalar(day, pa.date32())))
    results = assess(*tables.values(), Settings(), day, ahead=False)
    assessment = Assessment(
        judged_on=day,
        known_until=datetime(day.year, day.month, day.day, 12, tzinfo=UTC),
        settings_sha256="5" * 64,
        facts_sha256="f" * 64,
        **results,
    )
    tables["readings"] = as_judged(tables["readings"], assessment)
    return Book(
        facts=tables,
        decisions=empty("decisions"),
        assessment=assessment,
        previous=None,
        company={"name": "the demo firm", "contact": "telephone 555 0100"},
        rules=Settings().rules,
        code_version="0.0.1",
    )


def test_the_company_is_in_many_states(company):
    found = {status(company, company.view(*key)).state for key in names.wall_keys(company)}
    assert found >= STATES_SEEN, STATES_SEEN - found


@pytest.mark.parametrize("code", codes())
def test_no_page_of_a_simulated_company_says_a_forbidden_word(company, code):
    for key in names.wall_keys(company):
        data = pages.homeowner_page(company, *key, code)
        assert said_wrongly(Page(data).text, code) == [], key
        assert len(data) < 60_000


@pytest.mark.parametrize("code", codes())
@pytest.mark.parametrize("wall", [pytest.param(wall, id=state) for state, wall in WALL_OF.items()])
def test_no_page_of_any_state_says_a_forbidden_word(book, wall, code):
    assert said_wrongly(Page(pages.homeowner_page(book, HOUSE, wall, code)).text, code) == []


@pytest.mark.xdist_group("demo")
@pytest.mark.parametrize("code", codes())
def test_no_page_of_the_demo_says_a_forbidden_word(demo, code):
    of_other = tuple(f".{other}.html" for other in codes() if other != code)
    ending = ".html" if code == codes()[0] else f".{code}.html"
    found = [path for path in demo.index.parent.glob(f"homeowner_*{ending}") if not path.name.endswith(of_other)]
    assert len(found) == 19
    for path in found:
        assert said_wrongly(Page(path.read_bytes()).text, code) == [], path.name


@pytest.mark.parametrize("code", codes())
def test_every_language_has_forbidden_words_and_the_test_finds_each_and_a_changed_caution(code):
    text = " ".join(CAUTIONS[code])
    assert said_wrongly(text, code) == []
    assert said_wrongly(text[:-1], code) == [CAUTIONS[code][-1]]
    wrong = {"en": "The wall is safe, stable and fixed.", "es": "La pared es segura, estable y está fija."}[code]
    assert len(said_wrongly(f"{text} {wrong}", code)) == 3
    assert len(FORBIDDEN[code]) > 30
