"""The book to the context of the index: every wall by house, with its verdict, its next visit and its pages."""

from collections import Counter
from datetime import date

from monitor.report import names, wording
from monitor.report.context import Book, Key, Row
from monitor.report.language import codes, language
from monitor.report.wall_sheet import Context, footer

NOT_JUDGED = "not judged"
SORTS = (("wall", "wall"), ("house", "house"), ("verdict", "verdict"), ("next", "next visit, soonest first"))


def index_sheet(book: Book) -> Context:
    """Context of index.html."""
    judged = book.assessment
    current = {(row["house"], row["wall"]): row for row in judged.wall_results.to_pylist() if row["is_current"]}
    planned = {(row["house"], row["wall"]): row for row in judged.plan.to_pylist()}
    rows = [_wall(book, key, place, current.get(key), planned.get(key)) for key, place in book.walls.items()]
    number = Counter(row["verdict"] for row in rows)
    return {
        "title": "Wall measurements",
        "nav": False,
        "monthly": names.MONTHLY_LIST,
        "repeatability": names.REPEATABILITY,
        "houses": len({house for house, _ in book.walls}),
        "walls": rows,
        "verdicts": [(name, number[name]) for name in (*map(str, wording.VERDICT_SHAPE), NOT_JUDGED) if number[name]],
        "choices": (("verdict", "Verdict", [(name, name) for name in sorted(number)], "all verdicts"),),
        "sorts": SORTS,
        "damaged": book.damaged,
        **footer(book, "index"),
    }


def _wall(book: Book, key: Key, place: Row, result: Row | None, planned: Row | None) -> Context:
    site = book.houses.get(key[0])
    return {
        "key": "-".join(key),
        "house": key[0],
        "house_nickname": (site["nickname"] if site else "") or "–",
        "nickname": place["nickname"] or f"wall {key[1]}",
        "verdict": result["verdict"] if result else NOT_JUDGED,
        "shape": wording.VERDICT_SHAPE.get(result["verdict"], "ring") if result else "ring",
        "next": _next_visit(result, planned),
        "overdue": (result["overdue_days"] or 0) if result else 0,
        "office": names.page_name(*key, "wall"),
        "engineer": names.page_name(*key, "engineer"),
        "homeowner": names.page_name(*key, "homeowner"),
        "translated": _translated(key, "homeowner"),
        "history": names.page_name(*key, "history"),
        "history_translated": _translated(key, "history"),
    }


def _translated(key: Key, kind: str) -> list[tuple[str, str, str]]:
    """(code, file name, name of the language in itself) of a page in every language but the office's."""
    return [
        (code, names.page_name(*key, names.in_language(kind, code)), language(code)["language"]["name"])
        for code in codes()[1:]
    ]


def _next_visit(result: Row | None, planned: Row | None) -> date | None:
    """The planned day; where none is planned, the day on which the schedule asks for a visit."""
    day: date | None = planned["visit_on"] if planned else None
    return day or (result["due_on"] if result else None)
