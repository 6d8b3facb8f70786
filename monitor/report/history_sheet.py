"""One wall's book to the context of the history page for a sale: dated facts for somebody who does not know the wall.

No name of a person, no address, no note as somebody wrote it, no word on the company's promises.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from monitor.report import history_words as words
from monitor.report import wording
from monitor.report.context import Book, Row, WallView, tellable
from monitor.report.curves import curves
from monitor.report.drawing import PLAIN, movement_chart, plain_words
from monitor.report.history_words import RATE, SAID, STATE
from monitor.report.places import place_words
from monitor.report.status import company_name, jumped, reference, seen_words, status, unseen_on
from monitor.report.wall_sheet import Context, footer, not_measured, scope
from monitor.terms import Act, EventKind, State
from monitor.units import DAYS_PER_YEAR, feet_text, length_text, rate_text

_CHANGES_LEVEL = tuple(
    kind for kind in EventKind if kind not in (EventKind.DRAINAGE, EventKind.DIGGING, EventKind.COVERED)
)
_STATES = (
    (State.USED, "used"),
    (State.HELD, "held"),
    (State.REJECTED, "set aside"),
    (State.COULD_NOT_READ, "could not be read"),
)


def history_sheet(book: Book, view: WallView) -> Context:
    """Context of history.html."""
    drawn, said = curves(book, view, dots_only=jumped(view)), status(book, view)
    foot = footer(book, "history", view.house, view.wall)
    days, place, company = _visit_days(view), place_words(view, drawn.mark), company_name(book)
    return {
        "title": SAID["title"].format(wall=view.spoken),
        "nav": False,
        "dated": SAID["dated"].format(
            known_on=wording.day_text(book.assessment.known_until.date()),
            judged_on=wording.day_text(book.assessment.judged_on),
        ),
        "for_whom": SAID["for"].format(company=company),
        "address": SAID["address"],
        "status": said,
        "state": _state(view, said.state, days),
        "rates": _rates(view),
        "wall": _wall(view),
        "found": _found(book, view),
        "between": _between(view),
        "visits": _visits(view, company),
        "work": [_work(row, view) for row in view.events],
        "seen": _seen(view),
        "counts": _counts(view),
        "special": _special(book, view),
        "table": _by_visit(view),
        "chart": movement_chart(drawn, view.unit, PLAIN, "move", place),
        "chart_words": plain_words(drawn, view.unit, place),
        "has_band": any(point.lower_mm is not None for stretch in drawn.of(drawn.mark) for point in stretch.points),
        "not_measured": not_measured(view, wording.NOT_MEASURED),
        "meanings": words.MEANINGS,
        "scope": scope(view, reference(view)),
        "confirm": SAID["confirm"].format(
            company=company,
            contact=f" ({foot['contact']})" if foot["contact"] else "",
            number=foot["report_number"],
        ),
        "takes_place": SAID["takes place"].format(
            number=foot["supersedes"]["report_number"], judged_on=wording.day_text(foot["supersedes"]["judged_on"])
        )
        if foot["supersedes"]
        else "",
        **foot,
    }  # fmt: skip


def _visit_days(view: WallView) -> list[date]:
    """Days on which a reading of the wall was used."""
    return sorted({row["visit_date"] for row in view.readings if row["state"] == State.USED and row["visit_date"]})


def _state(view: WallView, state: str, days: Sequence[date]) -> str:
    unseen = unseen_on(view)
    return STATE[state].format(
        seen=seen_words(view),
        last=wording.day_text(days[-1]) if days else "any visit",
        unseen=wording.day_text(unseen) if unseen else "",
    )


def _wall(view: WallView) -> str:
    """What the wall is: material, length, height."""
    place, unit = view.place, view.unit
    sizes = [("long", place["length_mm"]), ("high inside", place["clear_height_mm"])]
    parts = [place["material"] or "", *(f"{feet_text(mm, unit)} {what}" for what, mm in sizes if mm is not None)]
    return ", ".join(filter(None, parts))


def _found(book: Book, view: WallView) -> list[tuple[str, str]]:
    """How far in the wall stood at the first visit and at the latest, and whether the two may be compared."""
    days, row = _visit_days(view), view.current
    if not days:
        return []
    first = book.first_totals.get((view.house, view.wall))
    if not first and view.place["zero_total_mm"] is not None:
        first = {"total_mm": view.place["zero_total_mm"], "total_mark": "", "total_reference": "a reference on record"}
    rows = [(f"First visit, {wording.day_text(days[0])}", _total(view, first))]
    if len(days) > 1 and row:
        rows.append((f"Latest visit, {wording.day_text(days[-1])}", _total(view, row)))
    return rows


def _total(view: WallView, row: Row | None) -> str:
    if not row or row["total_mm"] is None:
        return SAID["total unknown"]
    place = place_words(view, row["total_mark"])
    reference_words = row["total_reference"] or reference(view)
    return SAID["total"].format(
        total=wording.length_pair(row["total_mm"], view.unit), reference=reference_words, place=place
    )


def _between(view: WallView) -> str:
    """Why the difference of the first total and the latest is not simply the movement; '' where it is."""
    days = _visit_days(view)
    kinds = [row["kind"] for row in view.events if days and days[0] <= row["event_date"] <= days[-1]]
    named = [words.WORK[kind] for kind in dict.fromkeys(kinds) if kind in _CHANGES_LEVEL]
    return SAID["not the movement"].format(work=", ".join(named)) if named and len(days) > 1 else ""


def _visits(view: WallView, company: str) -> list[tuple[str, str]]:
    days = _visit_days(view)
    if not days:
        return [("Visits", SAID["never"])]
    first, last = wording.day_text(days[0]), wording.day_text(days[-1])
    count = wording.count_text(len(days), "visit")
    rows = [("Visits", SAID["visits"].format(visits=count, first=first, last=last))]
    if len(days) == 1:
        rows = [("Visits", SAID["one visit"].format(first=first))]
    else:
        apart = (days[-1] - days[0]).days / DAYS_PER_YEAR / (len(days) - 1)
        rows.append(("How often", SAID["often"].format(months=wording.span_text(apart))))
    used = [row for row in view.readings if row["state"] == State.USED]
    methods = dict.fromkeys(words.METHOD[row["method"]] for row in used if row["method"] in words.METHOD)
    people = wording.count_text(len({row["technician"] for row in used if row["technician"]}) or 1, "technician")
    rows += [("How", "; ".join(methods)), ("By whom", SAID["by"].format(people=people, company=company))]
    return rows


def _rates(view: WallView) -> list[tuple[str, str, str]]:
    """(period, its visits that count, its rate in plain words), oldest first."""
    work = [row["event_date"] for row in view.reinforcements]
    rows = []
    for row in view.periods:
        number = row["period"]
        name = SAID["before straps"] if work else SAID["only period"]
        if number:
            day = work[number - 1] if number <= len(work) else row["started_on"]
            name = SAID["since straps"].format(day=wording.day_text(day))
        rows.append((name, wording.count_text(row["visits"] or 0, "visit"), _rate(view, row)))
    return rows


def _rate(view: WallView, row: Row) -> str:
    rate, lower, upper = row["rate_mm_per_year"], row["rate_lower"], row["rate_upper"]
    if row["is_current"] and jumped(view):
        return RATE["jump"]
    if not tellable(row):
        return RATE["none"].format(visits=wording.count_text(row["visits"] or 0, "visit"))
    if rate is None or lower is None or upper is None:
        return RATE["not measured"]
    unit, other = view.unit, wording.other_unit(view.unit)
    limit = row["threshold_mm_per_year"]
    key = "inward" if lower > 0 else "quiet" if limit is not None and upper < limit else "open"
    return RATE["open outward" if key == "open" and rate <= 0 else key].format(
        rate=rate_text(rate, unit),
        beside=rate_text(rate, other),
        range=wording.range_text(lower, upper, unit),
        upper=rate_text(max(upper, 0.0), unit),
        upper_beside=rate_text(max(upper, 0.0), other),
    )


def _work(row: Row, view: WallView) -> tuple[str, str, list[str]]:
    """(day, what was done, the as-built facts of it)."""
    return wording.day_text(row["event_date"]), words.WORK.get(row["kind"], row["kind"]), _as_built(row, view.unit)


def _as_built(row: Row, unit: str) -> list[str]:
    if row["kind"] != EventKind.REINFORCEMENT:
        return []
    said = []
    if row["strap_count"] and row["strap_spacing_mm"]:
        spacing = wording.length_pair(row["strap_spacing_mm"], unit)
        said.append(SAID["strap facts"].format(count=row["strap_count"], spacing=spacing))
    elif row["strap_count"]:
        said.append(wording.count_text(row["strap_count"], "strap"))
    said += [texts[0] if row[name] else texts[1] for name, texts in words.FACTS.items() if row[name] is not None]
    said += [words.ANCHOR[row["top_anchor"]]] if row["top_anchor"] in words.ANCHOR else []
    if row["bottom_hole_depth_mm"] is not None:
        said.append(words.BOTTOM_DEPTH.format(depth=wording.length_pair(row["bottom_hole_depth_mm"], unit)))
    return said or [words.NO_RECORD]


def _seen(view: WallView) -> list[str]:
    found: dict[date, set[str]] = {}
    for row in view.readings:
        if row["seen"] and row["visit_date"] and row["state"] != State.REJECTED:
            found.setdefault(row["visit_date"], set()).update(word.strip() for word in row["seen"].split(";"))
    return [
        SAID["seen"].format(
            day=wording.day_text(day),
            seen=", ".join(wording.SEEN_PLAIN.get(word, word) for word in sorted(filter(None, seen))),
        )
        for day, seen in sorted(found.items())
    ]


def _counts(view: WallView) -> str:
    counts = Counter(row["state"] for row in view.readings)
    parts = [f"{counts[state]} {said}" for state, said in _STATES if counts[state]]
    received = wording.count_text(len(view.readings), "reading")
    return SAID["of all"].format(received=received, parts=", ".join(parts)) if parts else ""


def _special(book: Book, view: WallView) -> list[str]:
    """Every reading that was held or ruled on, by day."""
    held = Counter(row["visit_date"] for row in view.held if row["visit_date"])
    said = [
        SAID["held" if count == 1 else "several held"].format(date=wording.day_text(day), count=count)
        for day, count in sorted(held.items())
    ]
    ruled = [(row, view.rulings[row["reading_id"]][-1]) for row in view.readings if view.rulings[row["reading_id"]]]
    return said + [text for row, ruling in ruled if (text := _ruled(book, view, row, ruling))]


def _ruled(book: Book, view: WallView, row: Row, ruling: Row) -> str:
    keys = {Act.RELEASE: "released", Act.REJECT: "set aside", Act.CORRECT: "corrected"}
    act, before = Act(ruling["act"]), book.received.get(row["reading_id"])
    if act not in keys or (act is Act.CORRECT and before is None) or not row["visit_date"]:
        return ""
    new = _as_typed(ruling) if ruling["value_raw"] else length_text(ruling["value_mm"] or 0.0, view.unit)
    return SAID[keys[act]].format(
        date=wording.day_text(row["visit_date"]),
        known=wording.day_text(ruling["known_at"].date()),
        old=_as_typed(before) if before else "",
        new=new,
    )


def _as_typed(row: Row) -> str:
    return f"{row['value_raw']} {row['unit']}".strip()


def _by_visit(view: WallView) -> list[Mapping[str, Any]]:
    """One row per visit: day, how it was read, readings used, and what was not used."""
    days: dict[tuple[date, str], list[Row]] = {}
    for row in view.readings:
        if row["visit_date"] and row["reason_code"] not in ("already-in", "replaced"):
            days.setdefault((row["visit_date"], row["part"]), []).append(row)
    return [
        {
            "day": wording.day_text(day) + (f", {part} the work" if part else ""),
            "how": "; ".join(dict.fromkeys(words.METHOD.get(row["method"], "") for row in rows if row["method"])),
            "used": sum(row["state"] == State.USED for row in rows),
            "not_used": ", ".join(
                f"{count} {said}"
                for state, said in _STATES[1:]
                if (count := sum(row["state"] == state for row in rows))
            ),
        }
        for (day, part), rows in days.items()
    ]
