"""Uploads: files judged and told of without anything stored, then stored exactly so once somebody confirms.

Tables first, then photos, which may be of readings that the same upload brings.

Between the two the files lie apart from the facts, for a day. What is acknowledged is on the disk.
"""

import re
from collections.abc import Collection, Mapping, Sequence
from datetime import date, datetime, timedelta
from hashlib import sha256

from monitor import ingest, schema
from monitor.errors import BowError, IntakeError, NotFoundError
from monitor.ingest.pictures import no_table
from monitor.lately import Lately
from monitor.pipeline import answers, intake, judging, keys, photo_intake
from monitor.pipeline.answers import CHANGED, PREVIEWED, STORED, FileAnswer, PhotoAnswer, Upload
from monitor.pipeline.judging import Judged, Known
from monitor.pipeline.new_verdicts import Wall, judged_again
from monitor.pipeline.photo_intake import Fate, Given, Keep, PhotoError, Shown
from monitor.records import dataclass, replace
from monitor.store import Store
from monitor.store import uploads as kept

KEEP = timedelta(days=1)
EVERYTHING = frozenset({"readings", *schema.REGISTER})
OF_A_VISIT = frozenset({"readings", "marks", "events"})
"""What is written down on site: readings, marks set or lost, and the record of work."""
_LONGEST_NAME = 150
_KEPT_ROWS = 2000
"""Of uploads with more of them what was found is not kept between preview and confirming."""
_PHOTOS = "Send photos as JPEG or PNG, readings as CSV, XLSX or a field sheet's file."
_SAY_WHERE = " Send it again and say its wall (house-wall), the day of the visit, and the mark."
_UNSEEN = re.compile(r"[\x00-\x1f\x7f]+")


@dataclass(frozen=True)
class Sent:
    """A file as it was sent."""

    name: str
    data: bytes

    @property
    def sha256(self) -> str:
        """SHA-256 of its bytes."""
        return sha256(self.data).hexdigest()

    def read(self) -> bytes:
        """Its bytes, as of a file that is read only when it is wanted."""
        return self.data


@dataclass(frozen=True)
class _Looked:
    """A file and what was found in it, or why nothing could be."""

    sent: Sent
    found: Sequence[Judged]
    problem: str = ""
    photo: PhotoAnswer | None = None


Looks = Lately[tuple[object, Sequence[_Looked]]]
"""What previews found by upload, with what they were made from, kept by a service for their confirming."""


def named(name: str) -> str:
    """A file's name as it is kept: without folders and unseen signs."""
    last = _UNSEEN.sub(" ", name.replace("\\", "/").rpartition("/")[2]).strip()
    return last[-_LONGEST_NAME:] or "unnamed"


@dataclass(frozen=True)
class Said:
    """What somebody says that the photos among the files show, as typed: wall (house-wall), day of the visit, mark."""

    wall: str = ""
    visit: str = ""
    mark: str = ""


NOTHING_SAID = Said()


def preview(
    store: Store,
    files: Sequence[Sent],
    *,
    account: str,
    at: datetime,
    today: date,
    may: Collection[str] = EVERYTHING,
    said: Said = NOTHING_SAID,
    looks: Looks | None = None,
) -> Upload:
    """Judge files as if they came one after the other, the register's first; nothing of them is stored as a fact.

    may: the tables that this account may send; a file with another one is not taken in. The same files of the same
    account are the same upload, so that asking twice is harmless. said: what photos show that no reading names. looks:
    where what is found is kept.
    Raises IntakeError where there is no file.
    """
    if not files:
        raise IntakeError("No file was sent.", mend="Choose one or more files.")
    _forget_old(store, at)
    whose = [account, *(part for sent in files for part in (sent.name, sent.sha256))]
    whose += [said.wall, said.visit, said.mark] if said != NOTHING_SAID else []
    upload_id = sha256("\n".join(whose).encode()).hexdigest()[:32]
    made_from = _made_from(store, at, today, may)
    looked = _look(store, files, at, account, today, may, said)
    if looks is not None and _will_do(store, looked, at):
        looks.put(upload_id, (made_from, [replace(each, sent=Sent(each.sent.name, b"")) for each in looked]))
    upload = _answered(upload_id, looked, account, at, PREVIEWED, said)
    kept.keep(
        store.path, upload_id, upload.to_bytes(), _mend_sheets(looked) | {sent.sha256: sent.data for sent in files}
    )
    return upload


def confirm(
    store: Store,
    upload_id: str,
    *,
    account: str,
    at: datetime,
    today: date,
    may: Collection[str] = EVERYTHING,
    looks: Looks | None = None,
) -> Upload:
    """Store what was previewed; confirming twice stores once and answers the same.

    looks: what previews found, which is judged again only where anything changed that it was judged by.

    Where the store's knowledge changed since the preview, so that other rows would be stored or other words said,
    nothing is stored: the answer is a new preview, its state 'changed'. What is stored is looked through for alerts.
    Raises NotFoundError where there is no such upload of this account, or its day is over.
    """
    with store.taking_in():
        upload = find(store, upload_id, account=account, at=at)
        if upload.state == STORED:
            return upload
        said = Said(upload.wall, upload.visit, upload.mark)
        files = _files(store, upload)
        then = looks.of(upload_id) if looks is not None else None
        before = then[1] if then and then[0] == _made_from(store, at, today, may) else None
        if before is None:
            looked = _look(store, files, at, account, today, may, said)
        else:
            looked = [_received_on(each, sent, at) for each, sent in zip(before, files, strict=True)]
        now = _answered(upload_id, looked, account, at, STORED, said)
        if now.fingerprint != upload.fingerprint:
            now = _answered(upload_id, looked, account, at, CHANGED, said)
            return _kept(store, now, _mend_sheets(looked))
        walls: set[Wall] = set()
        for each in looked:
            if each.found:
                kept_so = intake.keep(store, each.sent.name, each.sent.data, each.found, received_at=at, sender=account)
                walls.update(*(taken.walls for taken in kept_so))
        if photos := [each.sent for each in looked if each.photo]:
            photo_intake.judged(store, _given(photos), _shown(store, said), store.readings(), keep=Keep(account, at))
        _kept(store, now, {})
    return _kept(store, replace(now, walls=judged_again(store, walls, judged_on=today, known_on=at)), {})


def find(store: Store, upload_id: str, *, account: str, at: datetime) -> Upload:
    """An upload of this account. Raises NotFoundError where there is none, or its day is over."""
    card = kept.card(store.path, upload_id)
    upload = Upload.from_bytes(card) if card else None
    if upload is None or upload.account != account or upload.expires_at <= at:
        raise NotFoundError(
            "There is no such upload of yours; one that nobody confirms is forgotten after a day.",
            got=upload_id,
            mend="Send the files again: what is in already is not taken twice.",
        )
    return upload


def mend_sheet(store: Store, upload_id: str, name: str, *, account: str, at: datetime) -> bytes:
    """A mend sheet of an upload, by the name its answer gives. Raises NotFoundError."""
    upload = find(store, upload_id, account=account, at=at)
    names = [table.mend for file in upload.files for table in file.tables if table.mend]
    data = kept.file(store.path, upload_id, name) if name in names else None
    if data is None:
        raise NotFoundError("This upload has no such mend sheet.", got=name, expected=", ".join(names))
    return data


def _made_from(store: Store, at: datetime, today: date, may: Collection[str]) -> tuple[object, ...]:
    """All that what is found in files depends on, besides the files and who sent them."""
    return store.stands_at(), at.date(), today, frozenset(may)


def _will_do(store: Store, looked: Sequence[_Looked], at: datetime) -> bool:
    """Whether what was found at a moment will do for a later one: little enough to be kept, of tables alone, as photos
    are looked at again when they are kept, and with nothing on record that was not known at that moment.
    """
    rows = sum(found.intake.table.num_rows for each in looked for found in each.found)
    newest = store.newest_known()
    return rows <= _KEPT_ROWS and not any(no_table(each.sent.data) for each in looked) and (not newest or newest <= at)


def _received_on(each: _Looked, sent: Sent, at: datetime) -> _Looked:
    return replace(each, sent=sent, found=[judging.received_on(found, at) for found in each.found])


def _look(
    store: Store, files: Sequence[Sent], at: datetime, sender: str, today: date, may: Collection[str], said: Said
) -> list[_Looked]:
    """Each file judged with those before it taken as in, the register's first; in the order they were sent."""
    looked: dict[int, _Looked] = {}
    photos = [number for number, sent in enumerate(files) if no_table(sent.data)]
    tables = [number for number in range(len(files)) if number not in photos]
    # any reading may name a photo
    named = [(files[number].name, files[number].data) for number in tables]
    known = judging.known_now(store) if photos else judging.known_of(store, named)
    for number in sorted(tables, key=lambda number: (not _is_register(files[number]), number)):
        sent = files[number]
        try:
            found = judging.judged(store, known, sent.name, sent.data, received_at=at, sender=sender, today=today)
        except IntakeError as error:
            looked[number] = _Looked(sent, (), str(error))
            continue
        if beyond := sorted({each.intake.holds for each in found} - set(may)):
            looked[number] = _Looked(sent, (), f"{sent.name}: {' and '.join(beyond)} can be sent by the office only.")
            continue
        looked[number] = _Looked(sent, found)
        known = judging.after(known, found)
    if photos:
        looked |= dict(zip(photos, _look_at_photos(store, [files[at] for at in photos], known, said), strict=True))
    return [looked[number] for number in range(len(files))]


def _look_at_photos(store: Store, files: Sequence[Sent], known: Known, said: Said) -> list[_Looked]:
    """What becomes of photos, looked at together, as one name may be that of several."""
    try:
        taken = photo_intake.judged(store, _given(files), _shown(store, said), known.readings, keep=None)
    except BowError as error:  # what was said of them is of no wall, visit or mark
        return [_Looked(sent, (), f"{sent.name}: {error}") for sent in files]
    return [
        _Looked(sent, (), f"{sent.name}: {found.why} {_PHOTOS}")
        if found.fate is Fate.REFUSED
        else _Looked(
            sent, (), photo=PhotoAnswer(found.fate, found.why + (_SAY_WHERE if found.fate is Fate.HELD else ""))
        )
        for sent, found in zip(files, taken.outcomes, strict=True)
    ]


def _given(files: Sequence[Sent]) -> list[Given]:
    return [Given(sent.name, sent.read, len(sent.data)) for sent in files]


def _shown(store: Store, said: Said) -> Shown:
    if not said.wall:
        if said.visit or said.mark:
            raise PhotoError("Of which wall the photos are must be said as well.", mend=_SAY_WHERE.strip())
        return Shown()
    try:
        day = date.fromisoformat(said.visit) if said.visit else None
    except ValueError:
        raise PhotoError(f"'{said.visit}' is no day.", mend="Write it like 2026-05-31.") from None
    return Shown(*keys.registered(store, said.wall), day, said.mark)


def _is_register(sent: Sent) -> bool:
    try:
        return "register" in ingest.kinds_of(sent.name, sent.data)
    except IntakeError:
        return False


def _answered(upload_id: str, looked: Sequence[_Looked], account: str, at: datetime, state: str, said: Said) -> Upload:
    files = [
        FileAnswer(each.sent.name, each.sent.sha256, (), each.problem, each.photo)
        if each.problem or each.photo
        else answers.of_file(each.sent.name, each.sent.sha256, each.found, number, preview=state != STORED)
        for number, each in enumerate(looked)
    ]
    return Upload(
        upload_id=upload_id,
        account=account,
        made_at=at,
        expires_at=at + KEEP,
        state=state,
        says=answers.in_one_sentence(files, state),
        fingerprint=answers.fingerprint(
            [(each.sent.name, each.sent.sha256, each.problem, each.found, each.photo) for each in looked]
        ),
        files=tuple(files),
        wall=said.wall,
        visit=said.visit,
        mark=said.mark,
    )


def _mend_sheets(looked: Sequence[_Looked]) -> dict[str, bytes]:
    sheets = {}
    for number, each in enumerate(looked):
        answer = answers.of_file(each.sent.name, each.sent.sha256, each.found, number, preview=True)
        for table, found in zip(answer.tables, each.found, strict=True):
            if table.mend and found.intake.mend_sheet is not None:
                sheets[table.mend] = found.intake.mend_sheet
    return sheets


def _kept(store: Store, upload: Upload, some: Mapping[str, bytes]) -> Upload:
    """The upload as whoever asks for it next will find it."""
    card = upload.to_bytes()
    kept.keep(store.path, upload.upload_id, card, some)
    return Upload.from_bytes(card)


def _files(store: Store, upload: Upload) -> list[Sent]:
    found = []
    for file in upload.files:
        data = kept.file(store.path, upload.upload_id, file.sha256)
        if data is None or sha256(data).hexdigest() != file.sha256:
            raise NotFoundError("A file of this upload is damaged.", got=file.name, mend="Send the files again.")
        found.append(Sent(file.name, data))
    return found


def _forget_old(store: Store, at: datetime) -> None:
    for upload_id in kept.waiting(store.path):
        card = kept.card(store.path, upload_id)
        if card is not None and Upload.from_bytes(card).expires_at <= at:
            kept.drop(store.path, upload_id)
