"""One row of a readings file judged by itself: who, where, when, how, and the value."""

from collections.abc import Callable
from datetime import date

from monitor.errors import LengthError
from monitor.ingest import words
from monitor.ingest.cells import Cell
from monitor.ingest.draft import Draft, Setting
from monitor.ingest.findings import CellError, held, rejected
from monitor.ingest.known import foreign_letters, nearest, wall_id
from monitor.ingest.value import read_value
from monitor.ingest.values import is_blank, parse_date, parse_whole, parse_word
from monitor.lengths import parse, tidy
from monitor.terms import EventKind, Kind, Method, Part, Seen

_SEEN_ALIKE = 80
_WORK = (EventKind.REINFORCEMENT, EventKind.SURFACE_WORK, EventKind.STRAIGHTENING)


def judge(draft: Draft, setting: Setting) -> None:
    """Fill the draft's values and findings; a row with several faults gets all of them."""
    for step in _STEPS:
        try:
            step(draft, setting)
        except CellError as error:
            draft.findings.append(error.finding)


def _wall(draft: Draft, setting: Setting) -> None:
    row, known = draft.row, setting.known
    house, wall = known.split_wall(row.text("house"), row.text("wall"))
    draft.values |= {"house": house, "wall": wall}
    draft.wall = known.find("walls", house, wall)
    if draft.wall is None:
        at = row.at("house") if row.text("house") and not known.find("houses", house) else row.at("wall")
        if not wall:
            raise rejected("unknown-wall", f"{at} is blank: a registered house and wall expected.", "Write them.")
        written = Cell(wall_id(house, wall)).shown
        near = nearest(written, known.ids("walls"))
        raise rejected(
            "unknown-wall",
            f"{at}: no wall {written} is in the register; a registered house and wall expected.",
            f"{foreign_letters(written)}Nearest: {near}." if near else "Register its house, wall and marks first.",
        )


def _mark(draft: Draft, setting: Setting) -> None:
    written = draft.row.text("mark")
    draft.values["mark"] = written
    if draft.wall is None:
        return
    marks = setting.known.marks(draft.values["house"], draft.values["wall"])
    draft.mark = marks.get(tidy(written).casefold())
    if draft.mark is None:
        listed = ", ".join(str(mark["mark"]) for mark in marks.values()) or "none yet"
        raise rejected(
            "unknown-mark",
            f"{draft.row.at('mark')} '{draft.row.shown('mark')}': a mark of {draft.wall_id} expected ({listed}).",
            f"{foreign_letters(written)}New mark? Add it with height and distance.",
        )
    draft.values["mark"] = draft.mark["mark"]


def _date(draft: Draft, setting: Setting) -> None:
    at = draft.row.at("visit_date")
    visit = parse_date(draft.row.cell("visit_date"), at, setting.day_first)
    draft.values["visit_date"] = visit
    if visit > setting.today:
        raise rejected(
            "future-date", f"{at} '{visit}' is after today, {setting.today}.", "Correct the date of the visit."
        )
    first, why = _first_day(draft, setting)
    if first and visit < first:
        raise rejected(
            "before-zero",
            f"{at} '{visit}' is before {why}, {first}.",
            "Correct the date, or register the day the mark was set.",
        )


def _first_day(draft: Draft, setting: Setting) -> tuple[date | None, str]:
    """The earliest day a reading of this mark can be of, and what happened then."""
    if draft.mark and draft.mark["set_on"]:
        return draft.mark["set_on"], f"mark {draft.mark['mark']} was set"
    house, wall = draft.values["house"], draft.values["wall"]
    set_days = [mark["set_on"] for mark in setting.known.marks(house, wall).values() if mark["set_on"]]
    if set_days:
        return min(set_days), "the wall's first mark was set"
    return setting.history.first_visit(house, wall), "the wall's first visit"


def _mark_life(draft: Draft, setting: Setting) -> None:
    """A mark that is lost or retired cannot be read again under its old id."""
    visit, mark = draft.values["visit_date"], draft.mark
    if visit is None or mark is None:
        return
    ends = [mark["retired_on"]] if mark["retired_on"] else []
    for event in setting.known.events(draft.values["house"], draft.values["wall"]):
        lost = event["marks"].casefold().split() if event["kind"] == EventKind.LOST_MARK else []
        if mark["mark"].casefold() in lost and event["event_date"]:
            ends.append(event["event_date"])
    if ends and visit > min(ends):
        raise held(
            "retired-mark",
            f"{draft.row.at('mark')} '{mark['mark']}' was given up on {min(ends)}, and the visit is of {visit}.",
            "A new mark in its place needs an id of its own. Which mark was read?",
        )


def _part(draft: Draft, setting: Setting) -> None:
    row = draft.row
    draft.values["part"] = parse_word(row.cell("part"), row.at("part"), Part, words.PARTS, "part").value
    visit = draft.values["visit_date"]
    if draft.values["part"] or visit is None:
        return
    for event in setting.known.events(draft.values["house"], draft.values["wall"]):
        if event["event_date"] == visit and event["kind"] in _WORK:
            raise held(
                "part-missing",
                f"{row.at('part')} is blank on {visit}, the day of {event['kind']}: before or after expected.",
                "Read before or after that day's work?",
            )


def _how(draft: Draft, setting: Setting) -> None:
    """Method and kind: as written, else of the instrument or as registered for the wall, else asked."""
    row, values = draft.row, draft.values
    values["instrument"] = row.text("instrument")
    instrument = setting.known.find("instruments", values["instrument"])
    if instrument:
        values["instrument"] = instrument["instrument"]
    elif values["instrument"] and not is_blank(values["instrument"]):
        near = nearest(values["instrument"], setting.known.ids("instruments"))
        draft.notes.append(
            f"{row.at('instrument')} '{row.shown('instrument')}' is not in the register"
            + (f"; nearest: {near}." if near else ".")
        )
    wall = draft.wall or {}
    if is_blank(row.text("method")):
        values["method"] = (instrument or {}).get("method") or wall.get("method") or ""
    else:
        values["method"] = parse_word(row.cell("method"), row.at("method"), Method, words.METHODS, "method").value
    if not values["method"]:
        raise held(
            "method-missing", f"{row.at('method')} is blank: a method expected.", "String, plumb, laser or meter?"
        )
    values["kind"] = _kind(draft)
    if not values["kind"]:
        raise held("kind-missing", f"{row.at('kind')} is blank: a kind expected.", "Gap, deflection or distance?")


def _kind(draft: Draft) -> str:
    row, wall = draft.row, draft.wall or {}
    if not is_blank(row.text("kind")):
        return parse_word(row.cell("kind"), row.at("kind"), Kind, words.KINDS, "kind").value
    title = tidy(row.header.titles[row.header.columns["value"]]).lower()
    for kind in (Kind.GAP, Kind.DEFLECTION):
        if title.startswith(kind.value):
            return kind.value
    if draft.values["method"] == Method.METER:
        return Kind.DISTANCE.value
    return str(wall.get("kind") or "") if wall.get("method") in ("", draft.values["method"]) else ""


def _setup(draft: Draft, _: Setting) -> None:
    number = parse_whole(draft.row.cell("setup"), draft.row.at("setup"), low=1, high=99)
    draft.values["setup"] = 1 if number is None else number


def _seen(draft: Draft, _: Setting) -> None:
    """Words of terms.Seen; a near miss is taken as that word, anything else stays in the note. Nothing is lost."""
    found: list[str] = []
    for part in tidy(draft.row.text("seen")).lower().replace(",", ";").replace("/", ";").split(";"):
        text = part.strip()
        if text in words.SEEN_NOTHING:
            continue
        from rapidfuzz import fuzz, process  # wanted only where something was seen

        choices = {word.value: word for word in Seen} | dict(words.SEEN)
        best = process.extractOne(text, list(choices), scorer=fuzz.ratio, score_cutoff=_SEEN_ALIKE)
        if best:
            found.append(choices[best[0]].value)
        else:
            _keep_in_note(draft, "seen", text)
        if best and best[0] != text:
            draft.notes.append(f"{draft.row.at('seen')} '{text}' is taken as '{choices[best[0]].value}'.")
    draft.values["seen"] = "; ".join(dict.fromkeys(found))


def _texts(draft: Draft, setting: Setting) -> None:
    row, values = draft.row, draft.values
    values["technician"] = row.text("technician")
    person = setting.known.find("people", values["technician"])
    if person:
        values["technician"] = person["person"]
    elif values["technician"] and setting.known.ids("people"):
        near = nearest(values["technician"], setting.known.ids("people"))
        draft.notes.append(
            f"{row.at('technician')} '{row.shown('technician')}' is not among the people of the register; nearest:"
            f" {near}. Register the person, or write the id as registered."
        )
    values["weather"] = row.text("weather")
    values["photos"] = "; ".join(
        filter(None, (part.strip() for part in row.text("photos").replace(",", ";").split(";")))
    )


def _crack_width(draft: Draft, _: Setting) -> None:
    """Read where it can be; a width that cannot stays in the note, and the reading is used."""
    text = draft.row.text("crack_width")
    if is_blank(text):
        return
    try:
        draft.values["crack_width_mm"] = parse(text, draft.row.unit("crack_width") or None).mm
    except LengthError as error:
        _keep_in_note(draft, "crack_width", text)
        said = f"{draft.row.at('crack_width')} '{draft.row.shown('crack_width')}'"
        draft.notes.append(f"{said}: {error.expected} expected; kept in the note.")


def _keep_in_note(draft: Draft, column: str, text: str) -> None:
    name = column.replace("_", " ")
    draft.values["note"] = "; ".join(filter(None, [draft.values["note"], f"{name}: {text}"]))


def _mends(draft: Draft, setting: Setting) -> None:
    written = draft.row.text("mends").lower()
    if not written:
        return
    if len(written) != 16 or set(written) - set("0123456789abcdef"):
        raise rejected(
            "mends",
            f"{draft.row.at('mends')} '{draft.row.shown('mends')}': the 16 signs of a reading's id expected.",
            "Copy it from the mend sheet, or leave the cell blank.",
        )
    draft.values["mends"] = written
    if setting.history.is_used(written):
        raise held(
            "mends-used",
            f"{draft.row.at('mends')} names reading {written}, which is used already.",
            "To change it, correct it with who and why.",
        )


_STEPS: tuple[Callable[[Draft, Setting], None], ...] = (
    _wall, _mark, _date, _mark_life, _part, _how, _setup, _seen, _texts, _crack_width, _mends, read_value,
)  # fmt: skip
