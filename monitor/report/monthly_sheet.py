"""The book to the context of the monthly list: every wall in one place only, most urgent first."""

from collections import defaultdict
from collections.abc import Sequence

from monitor.report import names, wording
from monitor.report.context import Book
from monitor.report.monthly_closed import CLOSED, Closed, closed
from monitor.report.monthly_line import FIRST, NEW, STATES, STILL
from monitor.report.monthly_rows import List, the_list
from monitor.report.placing import REST, SECTIONS, SPOKEN, unjudged
from monitor.report.wall_sheet import Context, footer

NOBODY = "nobody yet"
"""Owner of a wall about which nothing was decided since it asks for somebody."""
SORTS = (
    ("wall", "wall"),
    ("rate", "inward rate, fastest first"),
    ("room", "room left, least first"),
    ("visits", "visits, fewest first"),
    ("due", "due day, soonest first"),
    ("age", "age, oldest first"),
)
"""What the list may be sorted by: the column's name in the template, and words for people."""


def monthly_sheet(book: Book) -> Context:
    """Context of monthly.html."""
    found = the_list(book)
    gone = closed(book, found)
    elsewhere = {name: _elsewhere(found, name) for name, *_ in SECTIONS}
    return {
        "title": f"Monthly list, {wording.month_text(book.assessment.judged_on)}",
        "nav": True,
        "sections": [
            {
                "name": name,
                "heading": heading,
                "shape": shape,
                "holds": holds,
                "lines": found.lines[name],
                "elsewhere": elsewhere[name],
            }
            for name, heading, shape, holds in SECTIONS
        ],
        "counts": counts(book, found),
        "above": defaultdict(int, {heading: len(elsewhere[name]) for name, heading, *_ in SECTIONS}),
        "expected_false": expected_false(found),
        "earlier_on": book.previous.judged_on if book.previous else None,
        "changes": changes(found),
        "closed": gone,
        "choices": _choices(found, gone),
        "nobody": NOBODY,
        "sorts": SORTS,
        "damaged": book.damaged,
        "csv_name": names.MONTHLY_CSV,
        "xlsx_name": names.MONTHLY_XLSX,
        "unit_note": "Rates and lengths stand in the unit each wall is read in.",
        **footer(book, "monthly"),
    }


def _choices(found: List, gone: Sequence[Closed]) -> Sequence[tuple[str, str, Sequence[tuple[str, str]], str]]:
    """What the list may be narrowed to: (name, words, (value, words) of each choice, words for all)."""
    decisions = [*(line.decision for line in found.decided), *(item.decision for item in gone)]
    decisions += [None] if len(found.decided) < len(found.all_lines) else []
    owners = {row["owner"] if row and row["owner"] else NOBODY for row in decisions}
    sections = [(name, heading) for name, heading, *_ in SECTIONS if found.lines[name]]
    states = [(state, state) for state in STATES if found.states(state)]
    last = [(CLOSED, CLOSED)] if gone else []
    return (
        ("list", "Section", [*sections, *last], "all sections"),
        ("state", "State", [*states, *last], "all states"),
        ("owner", "Owner", [(name, name) for name in sorted(owners, key=lambda name: (name == NOBODY, name))],
         "all owners"),
    )  # fmt: skip


def _elsewhere(found: List, name: str) -> Sequence[tuple[str, str]]:
    """Walls of which a section's heading is true too, but which stand in one that comes first."""
    true = found.placed.true.get(name)
    if true is None:
        return []
    elsewhere = found.placed.sections(true & (found.placed.section != list(SPOKEN).index(name)))
    return [("-".join(key), SPOKEN[section]) for key, section in elsewhere.items()]


def counts(book: Book, found: List) -> list[tuple[str, int]]:
    """Walls by section; the sum is the number of walls registered."""
    headings = {name: heading for name, heading, *_ in SECTIONS} | REST
    numbers = [(heading, found.number(name)) for name, heading in headings.items()]
    return [*numbers, ("Not judged: no readings", unjudged(book.registered, book.assessment))]


def expected_false(found: List) -> Context:
    """Of the walls called moving: the sum of the chances that the rate is not above the threshold after all."""
    moving = found.placed.true["moving"]
    chances = [chance for chance, is_so in zip(found.placed.of_results("exceed_chance"), moving, strict=True) if is_so]
    known = [1 - chance for chance in chances if chance is not None]
    return {
        "walls": len(chances),
        "hard": int((moving & (found.placed.section == list(SPOKEN).index("hard"))).sum()),
        "number": f"{sum(known):.2f}",
        "without": len(chances) - len(known),
    }


def changes(found: List) -> Context:
    """How many lines are new and still open; on a first list all are on it for the first time."""
    return {"first": found.states(FIRST), "new": found.states(NEW), "open": found.states(STILL)}
