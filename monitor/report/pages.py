"""Contexts to bytes. The same book gives the same bytes: no clock, no chance, fixed order."""

from collections.abc import Mapping
from functools import cache
from typing import TYPE_CHECKING, Any

from monitor.report import field_sheet as fields
from monitor.report import figures, linked_sheet, names, wording
from monitor.report.context import Book
from monitor.report.engineer_sheet import Model, engineer_sheet
from monitor.report.field_record import FieldSheet
from monitor.report.history_sheet import history_sheet
from monitor.report.homeowner_sheet import homeowner_sheet
from monitor.report.index_sheet import index_sheet
from monitor.report.language import FIRST, language
from monitor.report.monthly_sheet import monthly_sheet
from monitor.report.outcomes import ShareRange
from monitor.report.overview_sheet import overview_sheet
from monitor.report.plan_sheet import plan_sheet
from monitor.report.repeatability_sheet import repeatability_sheet
from monitor.report.wall_sheet import wall_sheet


def wall_page(book: Book, house: str, wall: str) -> bytes:
    """The office's and the engineer's page of one wall. NotFoundError where the register has no such wall."""
    return _render("wall.html", wall_sheet(book, book.view(house, wall)))


def homeowner_page(book: Book, house: str, wall: str, code: str = FIRST) -> bytes:
    """The homeowner's page of one wall in one language (language.codes): one file, no script.

    NotFoundError where the register has no such wall.
    """
    return _render("homeowner.html", homeowner_sheet(book, book.view(house, wall), language(code)))


def history_page(book: Book, house: str, wall: str, code: str = FIRST) -> bytes:
    """The dated history of one wall for a sale, in one language: one file, no script.

    NotFoundError where the register has no such wall.
    """
    return _render("history.html", history_sheet(book, book.view(house, wall), language(code)))


def engineer_page(book: Book, house: str, wall: str, model: Model) -> bytes:
    """The engineer's page of one wall: no script. NotFoundError where the register has no such wall."""
    return _render("engineer.html", engineer_sheet(book, book.view(house, wall), model))


def no_page(company: Mapping[str, str], code: str, others: Mapping[str, str]) -> bytes:
    """The page of a link that opens nothing; others: its place in each other language."""
    return _render("linked.html", linked_sheet.nothing(company, code, others))


def pack_door(book: Book, house: str, wall: str, code: str, others: Mapping[str, str], address: str) -> bytes:
    """The page from which the pack of a wall is taken. NotFoundError where the register has no such wall."""
    return _render("linked.html", linked_sheet.pack_door(book, book.view(house, wall), code, others, address))


def field_sheet(sheet: FieldSheet, nonce: str = "") -> bytes:
    """The sheet that a technician fills in: one file, for paper and for a phone without signal.

    nonce: what its scripts bear where a service sends it, whose policy lets no others run.
    """
    return _render("field-sheet.html", fields.field_sheet(sheet) | ({"nonce": nonce} if nonce else {}))


def monthly_list(book: Book) -> bytes:
    """The list of walls that ask for somebody, most urgent first."""
    return _render("monthly.html", monthly_sheet(book))


def index(book: Book) -> bytes:
    """A plain page of links to all the others."""
    return _render("index.html", index_sheet(book))


def visit_plan(book: Book) -> bytes:
    """The visits to come: overdue ones first, then by what each would bring."""
    return _render("plan.html", plan_sheet(book))


def repeatability(book: Book) -> bytes:
    """How well the company reads, by method: the variances that everything rests on."""
    return _render("repeatability.html", repeatability_sheet(book))


def overview(book: Book, share_range: ShareRange) -> bytes:
    """The whole company in totals; share_range: bounds of a share of walls (trend.shares)."""
    return _render("overview.html", overview_sheet(book, book.past, share_range))


def plotly_script() -> bytes:
    """The charting library, to stand once beside the pages under names.SCRIPT."""
    return figures.script()


if TYPE_CHECKING:
    from jinja2 import Environment

WORDS: Mapping[str, Any] = {
    "wording": wording,
    "monthly_name": names.MONTHLY_LIST,
    "index_name": names.INDEX,
    "plan_name": names.PLAN,
    "overview_name": names.OVERVIEW,
}
"""What every template of this room knows."""


@cache
def _environment() -> "Environment":
    from jinja2 import Environment, PackageLoader, StrictUndefined  # wanted with the first page: a list needs none

    environment = Environment(
        loader=PackageLoader("monitor", "report/templates"),
        autoescape=True,
        undefined=StrictUndefined,
        auto_reload=False,  # else each page looks whether its template's file changed
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals |= WORDS
    return environment


def _render(template: str, context: Mapping[str, Any]) -> bytes:
    return _environment().get_template(template).render(context).encode()
