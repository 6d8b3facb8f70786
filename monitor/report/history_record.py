"""What is on record of a wall, for its history: visits, work with its as-built facts, what was held or ruled on."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any

from monitor.report.context import Book, Row, WallView
from monitor.report.language import Language
from monitor.terms import Act, EventKind, Part, State

_STATES = {
    State.USED: "n_used",
    State.HELD: "n_held",
    State.REJECTED: "n_rejected",
    State.COULD_NOT_READ: "n_could_not_read",
}
_SAID_AGAIN = ("already-in", "replaced")
"""Reasons for which a received row is no reading of its own."""
_RULED = {Act.RELEASE: "released", Act.REJECT: "set_aside", Act.CORRECT: "corrected"}


def methods(rows: Iterable[Row], words: Language) -> str:
    """How readings were taken, each way once."""
    said = words["history_method"]
    return "; ".join(dict.fromkeys(said[row["method"]] for row in rows if row["method"] in said))


def seen(view: WallView, words: Language) -> list[str]:
    """What was seen at visits, one sentence a day."""
    found: dict[date, set[str]] = {}
    for row in view.readings:
        if row["seen"] and row["visit_date"]:
            found.setdefault(row["visit_date"], set()).update(sign.strip() for sign in row["seen"].split(";"))
    return [
        words.say(
            "history",
            "seen",
            day=words.day_text(day),
            seen=", ".join(words["seen"].get(sign, sign) for sign in sorted(filter(None, signs))),
        )
        for day, signs in sorted(found.items())
    ]


def work(row: Row, view: WallView, words: Language) -> tuple[str, str, Sequence[str]]:
    """(day, what was done, the as-built facts of it) of an event."""
    done = words["history_work"].get(row["kind"], row["kind"])
    facts = _as_built(row, view.unit, words) if row["kind"] == EventKind.REINFORCEMENT else ()
    return words.day_text(row["event_date"]), done, facts


def _as_built(row: Row, unit: str, words: Language) -> list[str]:
    said, built = [], words["history_as_built"]
    if row["strap_count"]:
        straps = words.count_text(row["strap_count"], "strap")
        spacing = row["strap_spacing_mm"]
        said.append(
            words.say("history", "straps", straps=straps, spacing=words.length_pair(spacing, unit))
            if spacing
            else straps
        )
    said += [
        texts[bool(row[name])] for name, texts in built.items() if isinstance(texts, list) and row[name] is not None
    ]
    if row["top_anchor"]:
        said.append(built.get(row["top_anchor"], row["top_anchor"]))
    if row["bottom_hole_depth_mm"] is not None:
        depth = words.length_pair(row["bottom_hole_depth_mm"], unit)
        said.append(words.say("history", "bottom_depth", depth=depth))
    return said or [words["history"]["no_record"]]


def counts(view: WallView, words: Language) -> str:
    """Of all readings received how many were used, and what became of the others; '' where there is none."""
    number = Counter(row["state"] for row in view.readings)
    received = words.count_text(len(view.readings), "reading")
    return words.say("history", "counts", received=received, parts=_parts(number, words)) if number else ""


def _parts(number: Mapping[str, int], words: Language, states: Iterable[State] = tuple(_STATES)) -> str:
    one_and_many = {state: words["history"][_STATES[state]] for state in states if number[state]}
    return ", ".join(texts[number[state] != 1].format(n=number[state]) for state, texts in one_and_many.items())


def by_visit(view: WallView, words: Language) -> list[Mapping[str, Any]]:
    """One row per visit: day, how it was read, readings used, and what was not used."""
    visits: dict[tuple[date, str], list[Row]] = {}
    for row in view.readings:
        if row["visit_date"] and row["reason_code"] not in _SAID_AGAIN:
            visits.setdefault((row["visit_date"], row["part"]), []).append(row)
    key = {Part.BEFORE: "before_work", Part.AFTER: "after_work"}
    rows: list[Mapping[str, Any]] = []
    for (day, part), found in visits.items():
        number, text = Counter(row["state"] for row in found), words.day_text(day)
        rows.append({
            "day": words.say("history", key[Part(part)], day=text) if part in tuple(key) else text,
            "how": methods(found, words),
            "used": number[State.USED],
            "not_used": _parts(number, words, tuple(_STATES)[1:]),
        })  # fmt: skip
    return rows


def special(book: Book, view: WallView, words: Language) -> list[str]:
    """Every reading that is held, and every one that was ruled on, by day."""
    held = Counter(row["visit_date"] for row in view.held if row["visit_date"])
    said = [
        words.say("history", "held" if count == 1 else "several_held", date=words.day_text(day), count=count)
        for day, count in sorted(held.items())
    ]
    return said + [text for row, ruling in view.ruled if (text := _ruled(book, view, row, ruling, words))]


def _ruled(book: Book, view: WallView, row: Row, ruling: Row, words: Language) -> str:
    """'' for a withdrawn ruling, and for a correction of what nobody knows as it came in."""
    act, before = Act(ruling["act"]), book.received.get(row["reading_id"])
    if act not in _RULED or (act is Act.CORRECT and before is None) or not row["visit_date"]:
        return ""
    return words.say(
        "history",
        _RULED[act],
        date=words.day_text(row["visit_date"]),
        known=words.day_text(ruling["known_at"].date()),
        old=_as_typed(before) if before else "",
        new=_as_typed(ruling) if ruling["value_raw"] else words.length_text(ruling["value_mm"] or 0.0, view.unit),
    )


def _as_typed(row: Row) -> str:
    return f"{row['value_raw']} {row['unit']}".strip()
