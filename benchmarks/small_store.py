"""A store of one house with one wall and three visits, small enough to be worked on and killed many times."""

import tempfile
import zlib
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pyarrow as pa

from monitor import schema
from monitor import store as stores
from monitor.pipeline import assessing, intake, photo_intake, publishing, review, uploads
from monitor.store import Store
from monitor.terms import Act, Step

START = datetime(2026, 5, 1, 9, tzinfo=UTC)
TODAY = START.date()
REGISTER = {
    "houses.csv": "house,nickname\nDH-01,the house by the pond\n",
    "people.csv": "person,role,house,name\nO1,office,,Office Example\nT1,technician,,Technician Example\n",
    "instruments.csv": "instrument,method,stand-off,step\nBL-1,string,3 in,1/16 in\n",
    "walls.csv": (
        "house,wall,length,clear height,left end,right end,method,kind,unit\n"
        "DH-01,N,28 ft,8 ft,corner,corner,string,gap,in\n"
    ),
    "marks.csv": "house,wall,mark,x [mm],z [mm],set on\n"
    + "".join(f"DH-01,N,M{n},{n * 2100},1220,2024-01-01\n" for n in (1, 2, 3)),
}
HEADINGS = "house,wall,visit date,technician,method,instrument,set-up,stand-off,mark,value,unit,kind"
READINGS_A_FILE = 3


def visit(day: date) -> bytes:
    """A file of one visit's readings, each mark as it was."""
    rows = [
        f"DH-01,N,{day},T1,string,BL-1,1,3 in,M{mark},2 {2 * mark + 1}/16,in,gap"
        for mark in range(1, READINGS_A_FILE + 1)
    ]
    return "\n".join([HEADINGS, *rows, ""]).encode()


def made(path: Path) -> Store:
    """The store, set up and filled."""
    store = stores.create(path, company={"name": "an invented firm"}, created_at=START)
    for name, text in REGISTER.items():
        intake.take_register(store, name, text.encode(), received_at=START, sender="O1")
    for number in range(3):
        day = date(2024, 1, 10) + timedelta(days=180 * number)
        intake.take_visit(store, f"{day}.csv", visit(day), received_at=START, sender="T1", today=TODAY)
    return store


def full(path: Path) -> Store:
    """A store with everything in it that a store may hold, some rows of it compacted and some waiting."""
    store = made(path)
    store.compact()
    intake.take_visit(store, "later.csv", visit(date(2025, 9, 1)), received_at=START, sender="T1", today=TODAY)
    reading = store.facts("readings")["reading_id"][0].as_py()
    review.rule(store, reading, Act.REJECT, who="O1", why="tried", made_at=START)
    photo_intake.tie(
        store,
        [photo_intake.Given("IMG_1.png", lambda: picture(0))],
        photo_intake.Shown("DH-01", "N", date(2024, 1, 10)),
        who="O1",
        made_at=START,
    )
    decision = {"who": "O1", "why": "tried", "owner": "O1", "due": None, "made_at": START, "today": TODAY}
    review.decide(store, "DH-01-N", Step.VISIT_SOONER, **decision)
    assessment = assessing.assess(store, judged_on=TODAY, known_on=START)
    with tempfile.TemporaryDirectory() as folder:
        publishing.publish(store, assessment, Path(folder), published_at=START)
    uploads.preview(
        store,
        [uploads.Sent("next.csv", visit(date(2026, 3, 1)))],
        account="O1",
        at=START,
        today=TODAY,
    )
    return store


def picture(number: int) -> bytes:
    """A PNG of one row of four points, told apart from others by its number."""
    parts = {
        b"IHDR": (4).to_bytes(4, "big") + (1).to_bytes(4, "big") + bytes((8, 0, 0, 0, 0)),
        b"IDAT": zlib.compress(b"\x00" + number.to_bytes(4, "big")),
        b"IEND": b"",
    }
    made = [
        len(data).to_bytes(4, "big") + kind + data + zlib.crc32(kind + data).to_bytes(4, "big")
        for kind, data in parts.items()
    ]
    return b"\x89PNG\r\n\x1a\n" + b"".join(made)


def houses(number: int, count: int) -> pa.Table:
    """Rows of houses, told apart from others by a number in their note."""
    blank = dict.fromkeys(schema.HOUSES.names, "") | {"source_row": None, "known_at": START}
    rows = [blank | {"house": f"DH-{number}-{part}", "note": str(number)} for part in range(count)]
    return pa.Table.from_pylist(rows, schema=schema.HOUSES)
