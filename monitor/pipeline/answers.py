"""What an upload is answered: per file, table and row in plain words, and the verdicts of the walls it touches."""

import json
from collections.abc import Sequence
from datetime import datetime
from hashlib import sha256
from typing import Any

from monitor.pipeline import intake, saying
from monitor.pipeline.judging import Judged
from monitor.pipeline.photo_intake import Fate
from monitor.pipeline.wall_answer import WallAnswer
from monitor.records import asdict, dataclass, replace
from monitor.report.wording import count_text
from monitor.terms import State

PREVIEWED, CHANGED, STORED = "previewed", "changed", "stored"


@dataclass(frozen=True)
class RowAnswer:
    """A row of readings that is not used: where it stands, what stood there, and why."""

    sheet: str
    row: int
    cell: str
    wall: str
    mark: str
    value: str
    state: str
    reason_code: str
    reason: str


@dataclass(frozen=True)
class TableAnswer:
    """What becomes of one table of a file: received = used + held + rejected + could_not_read.

    new_used and new_held: rows among them that are new to the store; added: all new rows; again: all of it came before.
    summary and messages: the words of the command. mend: name of the mend sheet with the failing rows, '' where none
    failed.
    """

    holds: str
    received: int
    used: int
    held: int
    rejected: int
    could_not_read: int
    already_in: int
    added: int
    new_used: int
    new_held: int
    again: bool
    summary: str
    messages: Sequence[str]
    rows: Sequence[RowAnswer]
    mend: str = ""


@dataclass(frozen=True)
class PhotoAnswer:
    """What becomes of a photo; fate: 'tied', 'in already' or 'held' (not kept before somebody says what it shows)."""

    fate: str
    why: str


@dataclass(frozen=True)
class FileAnswer:
    """What becomes of one file; problem: why nothing of it can be taken in, '' where something can.

    photo: where it is one, and then there are no tables.
    """

    name: str
    sha256: str
    tables: Sequence[TableAnswer]
    problem: str = ""
    photo: PhotoAnswer | None = None


@dataclass(frozen=True)
class Upload:
    """An upload and its answer.

    state: previewed (nothing stored), changed (nothing stored: the store's knowledge changed since the preview, so this
    is a new one), stored. says: all of it in one sentence. fingerprint: of everything that would be stored.
    wall, visit, mark: what its photos show, '' where nothing is said of it.
    """

    upload_id: str
    account: str
    made_at: datetime
    expires_at: datetime
    state: str
    says: str
    fingerprint: str
    files: Sequence[FileAnswer]
    walls: Sequence[WallAnswer] = ()
    wall: str = ""
    visit: str = ""
    mark: str = ""

    @property
    def adds(self) -> bool:
        """Whether there is anything in it to store."""
        return any(
            (file.photo and file.photo.fate == Fate.TIED) or any(table.added for table in file.tables)
            for file in self.files
        )

    def to_bytes(self) -> bytes:
        """The upload as JSON."""
        return json.dumps(asdict(self), default=datetime.isoformat, ensure_ascii=False).encode()

    @classmethod
    def from_bytes(cls, data: bytes) -> "Upload":
        """The upload that `to_bytes` wrote."""
        found = json.loads(data)
        found |= {name: datetime.fromisoformat(found[name]) for name in ("made_at", "expires_at")}
        found["files"] = tuple(_file(each) for each in found["files"])
        found["walls"] = tuple(WallAnswer(**each) for each in found["walls"])
        return cls(**found)


def of_file(name: str, file_sha256: str, found: Sequence[Judged], number: int, *, preview: bool) -> FileAnswer:
    """The answer to one file; number: its place in the upload, by which its mend sheets are named."""
    tables = [_of_table(each, preview=preview) for each in found]
    named = [
        replace(table, mend=f"{number * 100 + place}.csv") if each.intake.mend_sheet is not None else table
        for place, (table, each) in enumerate(zip(tables, found, strict=True))
    ]
    return FileAnswer(name, file_sha256, tuple(named))


def _of_table(found: Judged, *, preview: bool) -> TableAnswer:
    intake_, fresh = found.intake, found.fresh
    summary, messages = saying.of_intake(intake.preview(found), preview=preview)
    is_readings = intake_.holds == "readings"
    states = fresh["state"].to_pylist() if is_readings else []
    return TableAnswer(
        holds=intake_.holds,
        received=intake_.received,
        used=intake_.used,
        held=intake_.held,
        rejected=intake_.rejected,
        could_not_read=intake_.could_not_read,
        already_in=intake_.already_in,
        added=fresh.num_rows,
        new_used=states.count(State.USED) if is_readings else fresh.num_rows,
        new_held=states.count(State.HELD),
        again=found.first_received is not None and not fresh.num_rows,
        summary=summary,
        messages=tuple(messages),
        rows=tuple(_row(row) for row in intake_.table.to_pylist() if row["state"] != State.USED) if is_readings else (),
    )


def _row(row: dict[str, object]) -> RowAnswer:
    text = {name: str(row[name]) for name in ("mark", "state", "reason_code", "reason")}
    return RowAnswer(
        sheet=str(row["source_sheet"]),
        row=int(str(row["source_row"])),
        cell=str(row["source_cell"]),
        wall="-".join(filter(None, (str(row["house"]), str(row["wall"])))),
        value=f"{row['value_raw']} {row['unit']}".strip(),
        **text,
    )


def fingerprint(files: Sequence[tuple[str, str, str, Sequence[Judged], PhotoAnswer | None]]) -> str:
    """SHA-256 of all that would be stored and told, but when: name, SHA-256, problem, tables, photo of each file."""
    total = sha256()
    for name, file_sha256, problem, found, photo in files:
        total.update(json.dumps([name, file_sha256, problem, len(found), photo and asdict(photo)]).encode())
        for each in found:
            fresh = each.fresh.drop_columns(["known_at"]).to_pylist()
            said = [each.intake.holds, list(each.intake.messages), list(each.intake.notes), fresh]
            total.update(json.dumps(said, default=str).encode())
    return total.hexdigest()


def in_one_sentence(files: Sequence[FileAnswer], state: str) -> str:
    """'This adds 118 readings, holds 3.'"""
    tables = [table for file in files for table in file.tables]
    readings = [table for table in tables if table.holds == "readings" and not table.again]
    already = sum(table.already_in + table.used - table.new_used for table in readings)
    already += sum(table.received for table in tables if table.again)
    fates = [file.photo.fate for file in files if file.photo]
    adds, holds, cannot, ties = (
        ("added", "held", "could not use", "tied") if state == STORED else ("adds", "holds", "cannot use", "ties")
    )
    used, held = (sum(getattr(table, name) for table in readings) for name in ("new_used", "new_held"))
    left = sum(table.rejected - table.already_in for table in readings)
    unread = sum(table.could_not_read for table in readings)
    problems = sum(bool(file.problem) for file in files)
    said = [f"{adds} {count_text(used, 'reading')}"] if used else []
    said += [f"{adds} {count_text(table.added, 'row')} of {table.holds}" for table in tables if _is_register(table)]
    said += [f"{holds} {held}" if used else f"{holds} {count_text(held, 'reading')}"] if held else []
    said += [f"{cannot} {count_text(left, 'row')}"] if left else []
    said += [f"{adds} {count_text(unread, 'mark')} that could not be read"] if unread else []
    said += [f"{ties} {count_text(fates.count(Fate.TIED), 'photo')}"] if Fate.TIED in fates else []
    told = [f"This {', '.join(said)}." if said else "Nothing new."]
    for number, word in ((already, "row"), (fates.count(Fate.KNOWN), "photo")):
        told += [f"{count_text(number, word)} {_be(number)} in already."] if number else []
    if held_photos := fates.count(Fate.HELD):
        told.append(f"Of {count_text(held_photos, 'photo')} it must be said what {_it(held_photos)}.")
    told += [f"{count_text(problems, 'file')} cannot be taken in."] if problems else []
    return " ".join(told)


def _be(number: int) -> str:
    return "is" if number == 1 else "are"


def _it(number: int) -> str:
    return "it shows" if number == 1 else "they show"


def _is_register(table: TableAnswer) -> bool:
    return table.holds != "readings" and table.added > 0


def _file(found: dict[str, Any]) -> FileAnswer:
    tables = found["tables"]
    rows = [tuple(RowAnswer(**row) for row in table["rows"]) for table in tables]
    read = [TableAnswer(**(table | {"rows": some})) for table, some in zip(tables, rows, strict=True)]
    told = PhotoAnswer(**found["photo"]) if found.get("photo") else None
    return FileAnswer(**(found | {"tables": tuple(read), "photo": told}))
