"""The month in five lines and a link; no name, house or wall stands in it."""

from monitor.report.context import Book
from monitor.report.monthly_closed import closed
from monitor.report.monthly_rows import the_list
from monitor.report.monthly_sheet import changes, expected_false
from monitor.report.wording import count_text


def subject(month: str) -> str:
    """Subject of a month's digest, like '2026-04'."""
    return f"Walls in {month}: the month in five lines"


def body(book: Book, alerts: tuple[int, int], link: str) -> str:
    """Five lines, and where the list is. book: of the month's list; alerts: all on record, and not acknowledged."""
    found = the_list(book)
    changed, false = changes(found), expected_false(found)
    true = {name: int(walls.sum()) for name, walls in found.placed.true.items()}
    lines = (
        f"{count_text(len(book.registered), 'wall')}: {found.number('hard')} at a hard limit, {true['moving']} "
        f"moving, {found.number('again')} to look at again.",
        f"Since the list before: {changed['new'] + changed['first']} new, {changed['open']} still open, "
        f"{len(closed(book, found))} closed, {found.number('newly')} newly holding.",
        f"Waiting: {count_text(true['held'], 'wall')} with held readings, "
        f"{count_text(true['overdue'], 'wall')} with an overdue visit.",
        f"Alerts: {alerts[0]} on record, {alerts[1]} that nobody has acknowledged.",
        f"Of {false['walls']} called moving, {false['number']} are expected to be so by chance.",
    )
    return "\n".join([*lines, "", link or "The list: wallbow flagged", ""])
