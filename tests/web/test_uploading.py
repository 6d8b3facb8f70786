"""Uploads: told before anything is stored, stored exactly so, and nothing lost or doubled on the way."""

import json
from collections.abc import Iterable
from datetime import date, timedelta

import pytest
from service_running import BEGAN, HEADINGS, NORTH, REGISTER, SOUTH, Running, sheet, token_of

from monitor.demo import photos as demo_photos
from monitor.errors import StoreError
from monitor.ingest.pictures import bare
from monitor.pipeline import assessing, intake, judging, saying, uploads
from monitor.pipeline.new_verdicts import new_verdicts
from monitor.store import Store, photos
from monitor.terms import Role

DAY = date(2026, 5, 12)
GOOD = ("visit.csv", sheet(DAY, ("DH-01-N", NORTH), ("DH-01-S", SOUTH)))
DOUBTFUL = ("doubtful.csv", sheet(DAY, ("DH-01-N", (*NORTH[:2], "1 3/16", "3 x", NORTH[4]))))


@pytest.fixture
def without_verdicts(monkeypatch: pytest.MonkeyPatch) -> None:
    """The model is not asked where its answer is not in question: it costs most of a confirmation's time."""
    monkeypatch.setattr(uploads, "judged_again", lambda *_, **__: [])


@pytest.fixture
def without_model(without_verdicts: None, monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither for verdicts nor for what readings should be."""
    monkeypatch.setattr(judging, "expected_at", lambda *_: None)


def sent(*files: tuple[str, bytes]) -> list[tuple[str, tuple[str, bytes]]]:
    return [("files", file) for file in files]


def counts(store: Store) -> dict[str, int]:
    return {table: store.facts(table).num_rows for table in ("readings", "receipts", "walls")}


def previewed(client, *files: tuple[str, bytes]) -> dict:
    answer = client.post("/api/uploads", files=sent(*files))
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_a_preview_says_what_the_command_says_and_stores_nothing(with_walls: Running) -> None:
    store, client = with_walls.store(), with_walls.with_key(Role.TECHNICIAN)
    before = store.facts_sha256()
    found = previewed(client, DOUBTFUL)
    taken = intake.preview_readings(store, *DOUBTFUL, received_at=with_walls.clock(), sender="T1", today=BEGAN.date())
    summary, messages = saying.of_intake(taken, preview=True)
    [table] = found["files"][0]["tables"]
    assert (table["summary"], table["messages"]) == (summary, list(messages))
    assert found["says"] == "This adds 3 readings, holds 1, cannot use 1 row."
    assert [(row["cell"], row["mark"], row["value"], row["state"]) for row in table["rows"]] == [
        ("G4", "M3", "1 3/16 in", "held"),
        ("G5", "M4", "3 x", "rejected"),
    ]
    assert [row["reason"] in message for row, message in zip(table["rows"], messages, strict=True)] == [True, True]
    assert (found["state"], found["walls"]) == ("previewed", [])
    assert with_walls.store().facts_sha256() == before


@pytest.mark.usefixtures("without_model")
def test_confirming_stores_what_was_shown_once_however_often_it_is_asked(with_walls: Running) -> None:
    client = with_walls.with_key(Role.TECHNICIAN)
    before = counts(with_walls.store())
    found = previewed(client, GOOD, DOUBTFUL)
    answers = [client.post(f"/api/uploads/{found['upload_id']}/confirm").json() for _ in range(3)]
    assert answers[0] == answers[1] == answers[2]
    assert answers[0]["state"] == "stored"
    after = counts(with_walls.store())
    assert after["receipts"] - before["receipts"] == 2
    assert after["readings"] - before["readings"] == sum(t["added"] for f in found["files"] for t in f["tables"])
    for file, later in zip(found["files"], answers[0]["files"], strict=True):
        for name in ("received", "used", "held", "rejected", "could_not_read", "added", "messages"):
            assert file["tables"][0][name] == later["tables"][0][name]
        table = later["tables"][0]
        assert table["received"] == table["used"] + table["held"] + table["rejected"] + table["could_not_read"]
    assert previewed(client, GOOD)["says"] == "Nothing new. 10 rows are in already."


@pytest.mark.usefixtures("without_model")
def test_the_second_of_two_files_is_judged_with_the_first_one_in(with_walls: Running) -> None:
    client = with_walls.with_key(Role.TECHNICIAN)
    twice = ("again.csv", GOOD[1] + b"\n")
    found = previewed(
        client, GOOD, ("other order.csv", HEADINGS.encode() + b"\n" + b"\n".join(GOOD[1].splitlines()[:0:-1]))
    )
    first, second = (file["tables"][0] for file in found["files"])
    assert (first["used"], second["used"]) == (10, 0), second["messages"]
    done = client.post(f"/api/uploads/{found['upload_id']}/confirm").json()
    assert [file["tables"][0]["used"] for file in done["files"]] == [10, 0]
    used = [
        row for row in with_walls.store().readings().to_pylist() if row["visit_date"] == DAY and row["state"] == "used"
    ]
    assert len(used) == 10
    assert previewed(client, twice)["says"].startswith("Nothing new")


@pytest.mark.usefixtures("without_model")
def test_register_and_readings_sent_together_are_taken_in_the_right_order(running: Running) -> None:
    client = running.with_key(Role.OFFICE)
    register = [(f"{table}.csv", "\n".join(lines).encode()) for table, lines in REGISTER.items()]
    found = previewed(client, GOOD, *register)
    assert found["files"][0]["tables"][0]["used"] == 10, found["files"][0]
    assert found["says"].startswith("This adds 10 readings, adds 3 rows of people, adds 9 rows of houses")
    done = client.post(f"/api/uploads/{found['upload_id']}/confirm")
    assert (done.status_code, done.json()["state"]) == (200, "stored"), done.text
    assert counts(running.store()) == {"readings": 10, "receipts": 6, "walls": 18}


@pytest.mark.usefixtures("without_model")
def test_where_what_is_known_changed_meanwhile_it_is_told_and_nothing_is_stored(with_walls: Running) -> None:
    client = with_walls.with_key(Role.TECHNICIAN)
    found = previewed(client, GOOD)
    other = sheet(DAY, ("DH-01-N", NORTH))
    intake.take_readings(
        with_walls.store(), "other.csv", other, received_at=with_walls.clock(), sender="T1", today=BEGAN.date()
    )
    before = counts(with_walls.store())
    told = client.post(f"/api/uploads/{found['upload_id']}/confirm")
    assert (told.status_code, told.json()["state"]) == (409, "changed")
    assert told.json()["says"] != found["says"]
    assert counts(with_walls.store()) == before
    again = client.post(f"/api/uploads/{found['upload_id']}/confirm")
    assert (again.status_code, again.json()["state"]) == (200, "stored")


@pytest.mark.usefixtures("without_verdicts")
def test_the_mend_sheet_is_the_commands_and_what_is_mended_there_is_taken(with_walls: Running) -> None:
    client = with_walls.with_key(Role.TECHNICIAN)
    found = previewed(client, DOUBTFUL)
    name = found["files"][0]["tables"][0]["mend"]
    mend = client.get(f"/api/uploads/{found['upload_id']}/mend/{name}")
    taken = intake.preview_readings(
        with_walls.store(), *DOUBTFUL, received_at=with_walls.clock(), sender="T1", today=BEGAN.date()
    )
    assert mend.content == taken.intake.mend_sheet
    assert mend.headers["content-disposition"] == 'attachment; filename="mend-0.csv"'
    client.post(f"/api/uploads/{found['upload_id']}/confirm")
    put_right = mend.text.replace("1 3/16", "1 13/16").replace("3 x", "2 1/8").encode()
    mended = previewed(client, ("mended.csv", put_right))
    assert mended["says"] == "This adds 2 readings."
    client.post(f"/api/uploads/{mended['upload_id']}/confirm")
    rows = with_walls.store().readings().to_pylist()
    assert sum(row["state"] == "used" and row["visit_date"] == DAY for row in rows) == 5
    assert client.get(f"/api/uploads/{found['upload_id']}/mend/7.csv").status_code == 404


def test_the_walls_new_verdicts_are_those_of_an_assessment_of_all_walls(with_walls: Running) -> None:
    client = with_walls.with_key(Role.TECHNICIAN)
    found = previewed(client, GOOD)
    done = client.post(f"/api/uploads/{found['upload_id']}/confirm").json()
    whole = assessing.assess(with_walls.store(), judged_on=BEGAN.date(), known_on=with_walls.clock(), save=False)
    rows = [row for row in whole.wall_results.to_pylist() if row["is_current"]]
    said = {wall["wall"]: (wall["verdict"], wall["reason"], wall["missing"]) for wall in done["walls"]}
    assert set(said) == {"DH-01-N", "DH-01-S"}
    of_all = {f"{r['house']}-{r['wall']}": (r["verdict"], r["reason"], r["missing"]) for r in rows}
    assert said == {wall: of_all[wall] for wall in said}
    assert with_walls.store().assessments() == [], "nothing of it is saved"


def test_of_few_walls_every_number_but_places_in_the_plan_is_that_of_all(with_walls: Running) -> None:
    when = {"judged_on": BEGAN.date(), "known_on": with_walls.clock(), "save": False}
    store = with_walls.store()
    few, whole = assessing.assess(store, **when, walls=[("DH-01", "S")]), assessing.assess(store, **when)
    for name in ("wall_results", "mark_results", "movement", "findings", "suspects", "repairs", "plan"):
        of_all = [row for row in getattr(whole, name).to_pylist() if (row["house"], row["wall"]) == ("DH-01", "S")]
        for row in (*of_all, *(rows := getattr(few, name).to_pylist())):
            row.pop("rank", None)
        assert rows == of_all
        assert rows or name in ("suspects", "repairs")


@pytest.mark.usefixtures("without_model")
def test_a_field_sheets_file_stores_the_rows_of_the_csv_of_the_same_visit(with_walls: Running) -> None:
    titles, *lines = (line.split(",") for line in GOOD[1].decode().splitlines())
    rows = [dict(zip(titles, line, strict=True)) for line in lines]
    data = json.dumps(
        {"kind": "wallbow visit sheet", "version": 1, "made_from": {}, "tables": {"readings": rows}}
    ).encode()
    client = with_walls.with_key(Role.TECHNICIAN)
    found = previewed(client, ("visit.json", data))
    assert found["says"] == "This adds 10 readings.", found
    client.post(f"/api/uploads/{found['upload_id']}/confirm")
    assert previewed(client, GOOD)["says"] == "Nothing new. 10 rows are in already."


@pytest.mark.usefixtures("without_model")
def test_an_upload_is_its_senders_alone_and_forgotten_after_a_day(with_walls: Running) -> None:
    mine, office = with_walls.with_key(Role.TECHNICIAN), with_walls.with_key(Role.OFFICE)
    path = f"/api/uploads/{previewed(mine, GOOD)['upload_id']}"
    assert mine.get(path).status_code == 200
    assert (office.get(path).status_code, office.post(f"{path}/confirm").status_code) == (404, 404)
    with_walls.clock.forward(hours=24)
    assert mine.get(path).status_code == 404
    told = mine.post(f"{path}/confirm")
    assert told.status_code == 404
    assert told.headers["content-type"] == "application/problem+json"
    assert "forgotten after a day" in told.json()["detail"]
    previewed(office, GOOD)
    assert len(list((with_walls.root / "uploads").iterdir())) == 1, "the bytes of the old one are gone"


@pytest.mark.usefixtures("without_model")
def test_an_answer_lost_on_the_way_is_found_again_and_nothing_is_stored_twice(
    with_walls: Running, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = with_walls.with_key(Role.TECHNICIAN)
    found = previewed(client, GOOD)
    written: list[str] = []
    add = Store.add

    def full(self: Store, table: str, rows) -> bool:
        if table == "receipts":
            raise StoreError("The store could not be written to.", mend="Free space on that disk.")
        written.append(table)
        return add(self, table, rows)

    with monkeypatch.context() as patch:
        patch.setattr(Store, "add", full)
        broken = client.post(f"/api/uploads/{found['upload_id']}/confirm")
    assert (broken.status_code, written) == (503, ["readings"])
    again = client.post(f"/api/uploads/{found['upload_id']}/confirm")
    assert (again.status_code, again.json()["says"]) == (409, "Nothing new. 10 rows are in already.")
    done = client.post(f"/api/uploads/{found['upload_id']}/confirm")
    assert (done.status_code, done.json()["state"]) == (200, "stored")
    rows = [row for row in with_walls.store().readings().to_pylist() if row["visit_date"] == DAY]
    assert len(rows) == 10
    receipts = with_walls.store().facts("receipts").to_pylist()
    assert sum(row["source_name"] == "visit.csv" for row in receipts) == 1


@pytest.mark.parametrize(
    ("files", "status", "said"),
    [
        ([], 422, "files"),
        ([("a.csv", b"x")] * 51, 413, "at most 50 at once"),
        ([("big.csv", b"x" * (41 * 1024 * 1024))], 413, "more than the 40 MB that can be sent at once. Send fewer"),
    ],
)
def test_what_cannot_be_taken_is_answered_in_plain_words(
    files: Iterable[tuple[str, bytes]], status: int, said: str, with_walls: Running
) -> None:
    answer = with_walls.with_key(Role.TECHNICIAN).post("/api/uploads", files=sent(*files))
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    problem = answer.json()
    assert problem["status"] == status
    assert problem["instance"] == "/api/uploads"
    assert said in problem["detail"]


@pytest.mark.usefixtures("without_model")
def test_a_file_that_cannot_be_read_says_so_and_the_others_are_taken(with_walls: Running) -> None:
    client = with_walls.with_key(Role.TECHNICIAN)
    found = previewed(client, ("empty.csv", b""), ("../../etc/old.xls", b"\xd0\xcf\x11\xe0"), GOOD)
    assert [file["name"] for file in found["files"]] == ["empty.csv", "old.xls", "visit.csv"]
    assert "The file is empty." in found["files"][0]["problem"]
    assert "The file is a workbook of the old kind (XLS)." in found["files"][1]["problem"]
    assert found["says"] == "This adds 10 readings. 2 files cannot be taken in."
    assert client.post(f"/api/uploads/{found['upload_id']}/confirm").json()["state"] == "stored"


NAMED = (
    "with photos.csv",
    GOOD[1].replace(b",mends\n", b",photos\n", 1).replace(b",2 15/16,in,gap,", b",2 15/16,in,gap,IMG_1.jpg", 1),
)
RULE, SIDEWAYS, _ = demo_photos.make().values()


def photos_in(running: Running) -> list[tuple[str, str, str, str, str, int]]:
    rows = running.store().office.rows("photos")
    return [
        (r["file_name"], r["wall"], str(r["visit_date"]), r["mark"], r["who"], len(r["reading_ids"].split()))
        for r in rows
    ]


@pytest.mark.usefixtures("without_model")
def test_photos_are_tied_to_readings_of_the_same_upload_as_the_command_ties_them(with_walls: Running) -> None:
    client = with_walls.with_key(Role.TECHNICIAN)
    found = previewed(client, ("img_1.JPG", RULE), NAMED, ("garden.jpeg", SIDEWAYS))
    assert found["says"] == "This adds 10 readings, ties 1 photo. Of 1 photo it must be said what it shows."
    told = [file["photo"] for file in found["files"]]
    assert told[0] == {"fate": "tied", "why": "It is tied to DH-01-N, visit of 2026-05-12, mark M1, 1 reading."}
    assert (told[1], told[2]["fate"]) == (None, "held")
    assert told[2]["why"].startswith("No reading names it. Send it again and say its wall")
    assert photos_in(with_walls) == [], "nothing is kept before it is confirmed"
    done = client.post(f"/api/uploads/{found['upload_id']}/confirm").json()
    assert (done["state"], [file["photo"] for file in done["files"]]) == ("stored", told)
    assert photos_in(with_walls) == [("img_1.JPG", "N", "2026-05-12", "M1", "T1", 1)]
    [row] = with_walls.store().office.rows("photos")
    kept = photos.read(with_walls.root, row["sha256"], row["ending"])
    assert (bare(RULE).data, demo_photos.PLACE in RULE, demo_photos.PLACE in kept) == (kept, True, False)
    again = previewed(client, ("img_1.JPG", RULE))
    assert (again["says"], again["files"][0]["photo"]["fate"]) == ("Nothing new. 1 photo is in already.", "in already")


@pytest.mark.usefixtures("without_model")
def test_what_a_photo_shows_is_said_with_it_and_what_is_said_wrongly_is_told(with_walls: Running) -> None:
    client = with_walls.with_key(Role.OFFICE)

    def asked(**said: str) -> dict:
        answer = client.post("/api/uploads", files=sent(("garden.jpeg", SIDEWAYS)), data=said)
        assert answer.status_code == 200, answer.text
        return answer.json()

    for said, problem in (
        ({"wall": "DH-77-N", "visit": "2025-10-07"}, "The register has no such wall"),
        ({"wall": "dh-01-n", "visit": "7.10.2025"}, "'7.10.2025' is no day. Mend: Write it like 2026-05-31."),
        ({"wall": "dh-01-n", "visit": "2025-10-08"}, "Nobody was at DH-01-N on that day"),
        ({"wall": "dh-01-n", "visit": "2025-10-07", "mark": "M9"}, "This wall has no such mark"),
        ({"mark": "M3"}, "Of which wall the photos are must be said as well"),
    ):
        [file] = asked(**said)["files"]
        assert file["problem"].startswith("garden.jpeg: ")
        assert problem in file["problem"]
    found = asked(wall="dh-01-n", visit="2025-10-07", mark="m3")
    assert found["says"] == "This ties 1 photo."
    client.post(f"/api/uploads/{found['upload_id']}/confirm")
    assert photos_in(with_walls) == [("garden.jpeg", "N", "2025-10-07", "M3", "O1", 1)]


@pytest.mark.usefixtures("without_model")
@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"%PDF-1.7 ...", "It is a PDF file; nothing of it was kept. Send photos as JPEG or PNG"),
        (b"\x00\x00\x00\x18ftypheic", "It is a HEIC file; set the telephone's camera to JPEG"),
        (RULE[: len(RULE) // 2], "nothing of it was kept"),
    ],
)
def test_what_is_no_photo_that_can_be_kept_says_so_and_the_others_are_taken(
    data: bytes, said: str, with_walls: Running
) -> None:
    found = previewed(with_walls.with_key(Role.TECHNICIAN), ("a", data), GOOD)
    assert said in found["files"][0]["problem"]
    assert found["says"] == "This adds 10 readings. 1 file cannot be taken in."


def test_too_many_uploads_in_a_minute_are_asked_to_wait(start) -> None:
    client = start(uploads_by_account="2 per 1 minute").with_key(Role.TECHNICIAN)
    statuses = [client.post("/api/uploads", files=sent(("a.csv", b"x"))).status_code for _ in range(3)]
    assert statuses == [200, 200, 429]


def test_the_pages_do_the_same_without_a_script(with_walls: Running) -> None:
    browser = with_walls.signed_in(Role.TECHNICIAN)
    token = token_of(browser.get("/uploads").text)
    shown = browser.post("/uploads", data={"csrf": token}, files=sent(DOUBTFUL))
    assert shown.status_code == 303
    page = browser.get(shown.headers["location"]).text
    assert "Nothing is stored yet" in page
    assert "This adds 3 readings, holds 1, cannot use 1 row." in page
    assert "1 13/16 would fit. Re-read or confirm." in page
    stored = browser.post(f"{shown.headers['location']}/confirm", data={"csrf": token})
    assert stored.headers["location"] == shown.headers["location"]
    page = browser.get(shown.headers["location"]).text
    assert "This added 3 readings, held 1, could not use 1 row." in page
    assert "DH-01-N: too early" in page
    acts = [(row["who"], row["act"], row["wall"]) for row in with_walls.store().office.rows("audit")]
    assert acts[1:] == [("T1", "upload preview", ""), ("T1", "upload confirm", "DH-01-N")]
    assert browser.post("/uploads", data={"csrf": token}, files=sent(("", b""))).status_code == 422


def test_where_there_is_nothing_to_store_nothing_is_offered(with_walls: Running) -> None:
    browser = with_walls.signed_in(Role.TECHNICIAN)
    token = token_of(browser.get("/uploads").text)
    shown = browser.post("/uploads", data={"csrf": token}, files=sent(("empty.csv", b""))).headers["location"]
    page = browser.get(shown).text
    assert "There is nothing in it to store" in page
    assert "Choose other files" in page
    assert "Store this" not in page


@pytest.mark.usefixtures("without_model")
def test_a_name_or_cell_that_looks_like_markup_is_shown_as_text(with_walls: Running) -> None:
    browser = with_walls.signed_in(Role.TECHNICIAN)
    token = token_of(browser.get("/uploads").text)
    bad = ("<script>alert(1)</script>.csv", sheet(DAY, ("DH-01-N", ("<img src=x onerror=alert(1)>", *NORTH[1:]))))
    page = browser.get(browser.post("/uploads", data={"csrf": token}, files=sent(bad)).headers["location"]).text
    assert "<script" not in page
    assert "<img" not in page
    assert "&lt;img src=x" in page


@pytest.mark.usefixtures("without_model")
def test_a_technician_cannot_send_what_the_office_sets_up(running: Running) -> None:
    files = [(f"{table}.csv", "\n".join(lines).encode()) for table, lines in REGISTER.items()]
    files.append(("thresholds.csv", b"valid from,before [mm/yr],after [mm/yr]\n2023-01-16,30,30\n"))
    client = running.with_key(Role.TECHNICIAN)
    found = previewed(client, *files)
    allowed = {file["name"] for file in found["files"] if not file["problem"]}
    assert allowed == {"marks.csv"}
    assert "thresholds.csv: thresholds can be sent by the office only." in [file["problem"] for file in found["files"]]
    client.post(f"/api/uploads/{found['upload_id']}/confirm")
    assert {table: running.store().facts(table).num_rows for table in ("walls", "houses", "thresholds")} == {
        "walls": 0, "houses": 0, "thresholds": 0,
    }  # fmt: skip
    assert running.store().office.people().num_rows == 0


@pytest.mark.usefixtures("without_model")
def test_uploads_of_one_moment_stay_apart_by_account_and_content(with_walls: Running) -> None:
    store, at = with_walls.store(), with_walls.clock()
    files = [uploads.Sent(*GOOD)]
    ids = [
        uploads.preview(store, some, account=account, at=at + timedelta(seconds=n), today=BEGAN.date()).upload_id
        for n, (some, account) in enumerate(
            [(files, "T1"), (files, "T1"), (files, "O1"), ([uploads.Sent(*DOUBTFUL)], "T1")]
        )
    ]
    assert ids[0] == ids[1]
    assert len(set(ids)) == 3


def test_a_wall_that_is_not_registered_has_no_verdict(with_walls: Running) -> None:
    assert new_verdicts(with_walls.store(), {("DH-77", "N")}, judged_on=BEGAN.date(), known_on=with_walls.clock()) == []
