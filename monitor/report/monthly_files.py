"""The monthly list as a CSV file and a workbook: the lines of the page, one home for their columns."""

from collections.abc import Callable, Iterator, Sequence

from monitor.records import dataclass
from monitor.report import wording
from monitor.report.context import Book
from monitor.report.monthly_closed import CLOSED, Closed, closed
from monitor.report.monthly_line import Line
from monitor.report.monthly_rows import the_list
from monitor.report.monthly_sheet import changes, counts, expected_false
from monitor.report.spreadsheets import Cell, Sheet, csv_bytes, xlsx_bytes
from monitor.report.wall_sheet import footer


@dataclass(frozen=True)
class Column:
    """One column: its name, what it means, its width in a workbook in signs, and how it comes from a line."""

    name: str
    meaning: str
    width: int
    of: Callable[[Line], Cell]


def _result(name: str) -> Callable[[Line], Cell]:
    return lambda line: _rounded(line.result[name]) if line.result else None


def _rate(name: str) -> Callable[[Line], Cell]:
    return lambda line: _rounded(line.result[name]) if line.result and line.is_told else None


def _rounded(cell: Cell) -> Cell:
    """A length in mm or a rate in mm a year to a thousandth: more is noise, and would differ between processors."""
    return round(cell, 3) if isinstance(cell, float) else cell


def _decided(name: str) -> Callable[[Line], Cell]:
    return lambda line: line.decision[name] if line.decision else None


def rate_words(line: Line) -> str:
    """The pair of bounds with its unit, or why there is none."""
    rate = line.rate
    return f"{rate['range']} {rate['unit']}" if rate else line.untold


COLUMNS = (
    Column("list", "section of the list, or closed: left the list since the last one", 14, lambda line: line.heading),
    Column("state", "first list / new / still open / newly holding / closed", 12, lambda line: line.state),
    Column("wall", "house and wall", 12, lambda line: line.key),
    Column("nickname", "what the owner calls the wall", 14, lambda line: line.nickname),
    Column("urgency", "how soon the wall asks for somebody", 16, lambda line: line.urgency),
    Column("reason", "why it stands here, in one sentence", 48, lambda line: line.reason),
    Column("also", "what else asks for somebody", 32, lambda line: " ".join(line.also) or None),
    Column("rate, 9 times in 10 between", "bounds of the inward rate in the wall's unit; each is a one-sided 95 % "
           "bound", 18, rate_words),
    Column("rate_mm_per_year", "inward rate, mm a year; empty where it is not told", 10, _rate("rate_mm_per_year")),
    Column("rate_lower", "its one-sided 95 % lower bound", 10, _rate("rate_lower")),
    Column("rate_upper", "its one-sided 95 % upper bound", 10, _rate("rate_upper")),
    Column("threshold_mm_per_year", "threshold of the period, mm a year", 10, _result("threshold_mm_per_year")),
    Column("mark", "mark of that rate", 8, _rate("governing_mark")),
    Column("movement", "component that moves most: bow, tip or slide", 10, lambda line: line.movement or None),
    Column("not_measured", "components that marks and method cannot see", 12, lambda line: line.not_measured or None),
    Column("total_mm", "total inward deflection at the latest visit, mm", 10, _result("total_mm")),
    Column("total_limit_mm", "its limit, mm", 10, _result("total_limit_mm")),
    Column("room_mm", "room left to the limit, mm; negative: over it", 10, lambda line: _rounded(line.room_mm)),
    Column("period", "before or after reinforcement", 14, lambda line: line.period or None),
    Column("visits", "visits that count for the rate", 8, lambda line: line.visits),
    Column("last_visit", "day of the latest visit", 12, lambda line: line.last_visit),
    Column("next step", "what the most urgent finding asks for", 32, lambda line: line.next_step or None),
    Column("homeowner", "whether bad news was told, and how", 24, lambda line: line.homeowner or None),
    Column("decision_step", "what was decided since the wall asks for somebody", 14, _decided("step")),
    Column("decision_owner", "who does it, by person id", 10, _decided("owner")),
    Column("decision_due", "by when", 12, _decided("due")),
    Column("decision_why", "the reason of the decision", 32, _decided("why")),
    Column("age_days", "days since the first list of the unbroken run on which the wall stood in this section", 8,
           lambda line: line.age_days),
    Column("here_since", "day of that list", 12, lambda line: line.run.since),
    Column("listed_since", "day of the first list of the unbroken run on which it stood in any section", 12,
           lambda line: line.run.opened),
)  # fmt: skip
HEADERS = tuple(column.name for column in COLUMNS)


def cells(line: Line) -> list[Cell]:
    """The cells of a line, column by column."""
    return [column.of(line) for column in COLUMNS]


def monthly_csv(book: Book) -> bytes:
    """The list and what has left it, and nothing else: two lists that say the same have the same bytes."""
    return csv_bytes(HEADERS, _all_rows(book))


def monthly_xlsx(book: Book) -> bytes:
    """The same rows as a workbook, with a sheet that says what was judged and one of what the columns mean."""
    sheets = (
        Sheet("list", HEADERS, _all_rows(book), [column.width for column in COLUMNS]),
        Sheet("about", ("what", "value"), _about(book), (34, 90)),
        Sheet("columns", ("column", "meaning"), [(column.name, column.meaning) for column in COLUMNS], (28, 90)),
    )
    return xlsx_bytes(sheets, title="Monthly list", made_at=book.assessment.known_until)


def _all_rows(book: Book) -> Iterator[list[Cell]]:
    found = the_list(book)
    yield from map(cells, found.all_lines)
    yield from map(_closed_row, closed(book, found))


def _closed_row(item: Closed) -> list[Cell]:
    decision = item.decision or {}
    cells: dict[str, Cell] = {
        "list": CLOSED,
        "state": CLOSED,
        "wall": item.key,
        "nickname": item.nickname,
        "reason": f"Was {item.was}, now {item.now}: {item.why}",
        **{f"decision_{part}": decision.get(part) for part in ("step", "owner", "due", "why")},
    }
    return [cells.get(name) for name in HEADERS]


def _about(book: Book) -> list[Sequence[Cell]]:
    found, said = the_list(book), footer(book, "monthly")
    false, changed = expected_false(found), changes(found)
    return [
        ("judged for", said["judged_on"]),
        ("data known until", said["known_until"]),
        ("report number", said["report_number"]),
        ("made by version", said["code_version"]),
        ("settings", said["settings_sha256"]),
        ("facts", said["facts_sha256"]),
        ("company", said["company"]),
        *counts(book, found),
        ("called moving", false["walls"]),
        ("of them expected to be called so wrongly", float(false["number"])),
        *((f"{name} on this list", number) for name, number in changed.items()),
        ("closed since the last list", len(closed(book, found))),
        ("", f"{wording.CAUTION_BEFORE} {wording.CAUTION_STRONG} {wording.CAUTION_AFTER} {wording.LOCAL_RULES}"),
    ]
