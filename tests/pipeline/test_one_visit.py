"""One visit of one wall: judged by what its file names as by all that is known, assessed and on the list at once."""

import shutil
from collections.abc import Callable
from dataclasses import fields
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc
import pytest
from alert_company import VISITS, end_of, founded, visit

from monitor import schema
from monitor import store as stores
from monitor.config import Rules, Settings
from monitor.pipeline import (
    alerting,
    assessed_again,
    editions,
    intake,
    judging,
    listing,
    page_set,
    publishing,
    review,
    runs,
    uploads,
    verdict_listing,
    wall_listing,
)
from monitor.pipeline.answers import Upload
from monitor.pipeline.assessing import assess
from monitor.pipeline.judging import Judged, Known
from monitor.pipeline.new_verdicts import after_ruling, new_verdicts
from monitor.report import names
from monitor.store import Store, compaction, generations
from monitor.store.tiers import is_of
from monitor.store.verify import verify
from monitor.terms import Act, AlertKind

DAY = date(2026, 5, 5)
HEADINGS = "house,wall,visit date,technician,instrument,set-up,mark,value,unit,kind,mends"


def sheet(*rows: str) -> bytes:
    return "\n".join((HEADINGS, *rows)).encode()


def one_visit(house: str = "DH-03", day: date = DAY, more: int = 0, setups: tuple[int, ...] = (1,)) -> bytes:
    gaps = (48, 33 - more, 28 - more, 33 - more, 47)
    rows = [
        f"{house},N,{day},O1,B3,{setup},M{m},{gap // 16} {gap % 16}/16,in,gap,"
        for setup in setups
        for m, gap in enumerate(gaps, start=1)
    ]
    return sheet(*rows)


@pytest.fixture(scope="module")
def in_buckets(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The company after four visits, its facts in several buckets and some in the inbox; its list is of the autumn."""
    store = founded(tmp_path_factory.mktemp("company") / "store")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(compaction, "ROWS_PER_BUCKET", 10)
        for number in range(3):
            visit(store, number)
        store.compact()
    visit(store, 3)
    assess(store, judged_on=VISITS[3] + timedelta(days=3), known_on=end_of(VISITS[3]))
    assert generations.pointer(store.path).buckets > 4
    return store.path


@pytest.fixture
def company(in_buckets: Path, copy_of: Callable[[Path], Store]) -> Store:
    return copy_of(in_buckets)


def taken(store: Store, data: bytes, name: str = "visit.csv") -> set[tuple[str, str]]:
    found = intake.take_visit(store, name, data, received_at=end_of(DAY), sender="O1", today=DAY)
    return {wall for each in found for wall in each.walls}


# judged by what a file names


def a_reading_of(store: Store, house: str, mark: str) -> str:
    rows = store.facts("readings", walls=[(house, "N")]).filter(pc.field("mark") == mark)
    return str(rows["reading_id"][-1].as_py())


def of_all_kinds(store: Store) -> dict[str, bytes]:
    """Files that ask for everything that judging looks up: other spellings, walls, menders, what came before.

    In the store a reading of one wall is mended under another by then.
    """
    alone = one_visit("DH-05", DAY - timedelta(days=1))
    taken(store, alone, "alone.csv")
    mended = a_reading_of(store, "DH-05", "M1")
    taken(store, sheet(f"DH-03,N,{DAY},O1,B3,1,M5,3 1/16,in,gap,{mended}"), "mender.csv")
    return {
        "a visit": one_visit(),
        "in small letters": one_visit("dh-03"),
        "house in the wall": sheet(f",DH-03-N,{DAY},o1,b3,1,m1,3,in,gap,", f"DH-03,DH-03-N,{DAY},O1,B3,1,M2,2,in,gap,"),
        "no such wall": sheet(f"DH-33,N,{DAY},O1,B3,1,M1,3,in,gap,", f"DH-03,S,{DAY},X9,B9,1,M1,3,in,gap,"),
        "mends another wall's": sheet(f"DH-03,N,{DAY},O1,B3,1,M1,3,in,gap,{mended}"),
        "another wall's numbers": one_visit(more=16),
        "sent before": alone,
        "register": b"house,wall,mark,x,z\nDH-03,N,M6,2 ft,4 ft\nDH-03,N,M1,0 ft,4 ft\nDH-04,E,M1,0,1 ft\n",
        "houses": b"house,climate\ndh-01,mild\nDH-02,cold winters\nDH-77,mild\n",
        "people": b"person,role,house\nP9,owner,DH-99\nO1,office,\n",
    }  # fmt: skip


def judged(store: Store, known: Known, name: str, data: bytes) -> list[Judged]:
    return judging.judged(store, known, f"{name}.csv", data, received_at=end_of(DAY), sender="O1", today=DAY)


def test_files_are_judged_by_what_they_name_as_by_all_that_is_known(company: Store) -> None:
    for name, data in of_all_kinds(company).items():
        by_all = judged(company, judging.known_now(company), name, data)
        by_named = judged(company, judging.known_of(company, [(name, data)]), name, data)
        assert [each.intake.holds for each in by_named] == [each.intake.holds for each in by_all], name
        for few, every in zip(by_named, by_all, strict=True):
            for field in fields(every.intake):
                assert getattr(few.intake, field.name) == getattr(every.intake, field.name), (name, field.name)
            assert few.fresh.equals(every.fresh), name
            assert few.first_received == every.first_received, name


def test_what_a_file_names_is_less_than_all(company: Store) -> None:
    known = judging.known_of(company, [("visit.csv", one_visit())])
    assert set(known.rows["house"].to_pylist()) == {"DH-03"}
    assert known.register["walls"].num_rows == 1 < company.current("walls").num_rows
    assert {row["person"] for row in known.register["people"].to_pylist()} == {"O1"}


def test_a_visit_reads_no_other_wall(company: Store) -> None:
    """The files of other walls are emptied: whoever looked into one would say that it is damaged."""
    at = generations.pointer(company.path)
    own = generations.bucket_of(("DH-03", "N"), at.buckets)
    others = [part for part in at.parts if part.bucket != own and part.table in ("readings", "marks", "walls")]
    assert others
    for part in others:
        (company.path / generations.FOLDER / part.file).write_bytes(b"")
    walls = taken(stores.open(company.path), one_visit())
    assert walls == {("DH-03", "N")}
    [answer] = new_verdicts(company, walls, judged_on=DAY, known_on=end_of(DAY))
    assert answer.verdict
    alerting.look(company, at=end_of(DAY), walls=walls)


def test_a_row_bears_on_the_walls_of_what_it_mends_and_a_house_on_all_its_walls(company: Store) -> None:
    mended = a_reading_of(company, "DH-05", "M1")
    first = taken(company, sheet(f"DH-03,N,{DAY},O1,B3,1,M1,3,in,gap,{mended}"))
    assert first == {("DH-03", "N"), ("DH-05", "N")}
    mender = a_reading_of(company, "DH-03", "M1")
    again = taken(company, sheet(f"DH-04,N,{DAY},O1,B3,1,M1,3,in,gap,{mender}"))
    assert again == {("DH-04", "N"), ("DH-03", "N"), ("DH-05", "N")}
    [of_house] = intake.take_register(
        company, "houses.csv", b"house,climate\nDH-02,mild\n", received_at=end_of(DAY), sender="O1"
    )
    assert set(of_house.walls) == {("DH-02", "N")}


# previewed, then confirmed

LATER = end_of(DAY) + timedelta(minutes=5)


@pytest.fixture
def looked(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Names of the files that were judged by an upload so far."""
    names: list[str] = []
    judged_file = judging.judged

    def counted(store: Store, known: Known, name: str, data: bytes, **more: Any) -> list[Judged]:
        names.append(name)
        return judged_file(store, known, name, data, **more)

    monkeypatch.setattr(judging, "judged", counted)
    return names


def previewed(store: Store, looks: uploads.Looks | None, **files: bytes) -> str:
    sent = [uploads.Sent(f"{name}.csv", data) for name, data in files.items()]
    return uploads.preview(store, sent, account="O1", at=end_of(DAY), today=DAY, looks=looks).upload_id


def confirmed(
    store: Store, looks: uploads.Looks | None, upload_id: str, at: datetime = LATER, today: date = DAY
) -> Upload:
    return uploads.confirm(store, upload_id, account="O1", at=at, today=today, looks=looks)


def test_what_a_preview_found_is_stored_as_if_it_were_judged_again(
    company: Store, tmp_path: Path, looked: list[str]
) -> None:
    files = of_all_kinds(company)
    other = stores.open(shutil.copytree(company.path, tmp_path / "other"))
    answers = []
    for store, looks, times in ((company, uploads.Looks(), 1), (other, None, 2)):
        looked.clear()
        answers.append(confirmed(store, looks, previewed(store, looks, **files)))
        assert len(looked) == len(files) * times
    assert answers[0] == answers[1]
    assert answers[0].state == "stored"
    for table in schema.FACTS:
        assert company.facts(table).equals(other.facts(table)), table
    assert LATER in set(company.facts("readings")["known_at"].to_pylist())
    assert company.office.people().equals(other.office.people())
    assert company.facts_sha256() == other.facts_sha256()


def add_a_person(store: Store) -> None:
    person = {field.name: "" for field in schema.find("people")} | {"person": "X9", "role": "technician"}
    store.office.put_people([person | {"known_at": end_of(DAY)}])


BETWEEN: dict[str, Callable[[Store], object]] = {
    "a visit comes in": lambda store: taken(store, one_visit("DH-04"), "other.csv"),
    "the inbox is compacted": lambda store: store.compact(),
    "somebody is registered": add_a_person,
    "somebody's name is put right": lambda store: store.office.put_people(store.office.people()),
    "a limit is another": lambda store: store.save_settings(Settings(rules=Rules(keep_out_jump_mm=12.0))),
    "it is the next day": lambda _: None,
}


@pytest.mark.parametrize("what", BETWEEN)
def test_what_changed_since_the_preview_has_it_judged_again(company: Store, looked: list[str], what: str) -> None:
    looks = uploads.Looks()
    upload_id = previewed(company, looks, visit=one_visit())
    BETWEEN[what](company)
    looked.clear()
    today = DAY + timedelta(days="next day" in what)
    assert confirmed(company, looks, upload_id, LATER, today).state == "stored"
    assert looked == ["visit.csv"]


def test_what_was_not_known_at_the_preview_has_it_judged_again(company: Store, looked: list[str]) -> None:
    """Somebody's clock is ahead: what they said is on record before the moment of the preview, and known after it."""
    company.office.put_people(company.office.people().slice(0, 1).drop_columns("known_at").append_column(
        schema.find("people").field("known_at"), pa.array([LATER], pa.timestamp("us", "UTC"))
    ).select(schema.find("people").names))  # fmt: skip
    looks = uploads.Looks()
    upload_id = previewed(company, looks, visit=one_visit())
    looked.clear()
    assert confirmed(company, looks, upload_id, LATER + timedelta(minutes=1)).state == "stored"
    assert looked == ["visit.csv"]


def test_of_many_uploads_the_last_are_kept(company: Store, looked: list[str]) -> None:
    looks = uploads.Looks(most=1)
    first, second = previewed(company, looks, first=one_visit()), previewed(company, looks, second=one_visit())
    looked.clear()
    confirmed(company, looks, second)
    assert looked == []
    confirmed(company, looks, first)
    assert looked == ["first.csv"]


# assessed at once


def same(few: pa.Table, every: pa.Table, walls: list[tuple[str, str]], *, but: tuple[str, ...] = ()) -> None:
    """Rows of those walls: texts, days and flags the same, numbers to 1e-10."""
    mine = every.filter(is_of(every, walls))
    assert few.num_rows == mine.num_rows
    for name in set(few.column_names) - set(but):
        found, wanted = few[name].to_pylist(), mine[name].to_pylist()
        if pa.types.is_floating(few.schema.field(name).type):
            assert found == pytest.approx(wanted, rel=1e-10, abs=1e-12), name
        else:
            assert found == wanted, name


def test_walls_with_new_readings_stand_on_the_list_as_a_whole_assessment_would_have_them(company: Store) -> None:
    before = company.assessment()
    assert before is not None
    new_verdicts(company, taken(company, one_visit(more=4)), judged_on=DAY, known_on=end_of(DAY))
    book, changed = assessed_again.over(company, publishing.book_of_list(company, before))
    assert [(each.wall, each.judged_on) for each in changed] == [("DH-03-N", str(DAY))]
    every = assess(company, judged_on=DAY, known_on=end_of(DAY), save=False)
    walls = [("DH-03", "N")]
    [again] = company.again()
    for name in schema.RESULTS:
        same(again.table(name), getattr(every, name), walls, but=("rank",))
    for name in ("wall_results", "findings"):
        rows = getattr(book.assessment, name)
        same(rows.filter(is_of(rows, walls)), getattr(every, name), walls)
    as_it_was = publishing.book_of_list(company, before).assessment
    for name in ("wall_results", "findings", "suspects", "quiet"):
        others, kept = (getattr(found, name) for found in (book.assessment, as_it_was))
        assert others.filter(pc.invert(is_of(others, walls))).equals(kept.filter(pc.invert(is_of(kept, walls)))), name
    assert not is_of(book.assessment.quiet, walls).to_pylist().count(True), "a wall that stands with its rows too"


def test_what_is_on_record_is_as_it_was_and_made_again_as_it_was(company: Store) -> None:
    before = company.assessment()
    assert before is not None
    edition = editions.of(company, before, end_of(DAY))
    page = page_set.one(publishing.book_of_edition(company, edition), names.MONTHLY_LIST)
    recorded = runs.on_record(company)
    new_verdicts(company, taken(company, one_visit(more=4)), judged_on=DAY, known_on=end_of(DAY))
    assert company.assessment() == before
    assert runs.on_record(company) == recorded
    assert editions.of(company, before, end_of(DAY)) == edition
    assert page_set.one(publishing.book_of_edition(company, edition), names.MONTHLY_LIST) == page
    assert verify(company).whole


def test_the_list_says_what_was_assessed_again_until_a_whole_assessment_has_it_in(company: Store) -> None:
    new_verdicts(company, taken(company, one_visit()), judged_on=DAY, known_on=end_of(DAY))
    newest = company.assessment()
    assert newest is not None
    closing = listing.monthly(company, newest).closing
    assert f"Assessed again since, for {DAY}: DH-03-N" in closing
    assess(company, judged_on=DAY, known_on=end_of(DAY))
    newest = company.assessment()
    assert newest is not None
    assert company.again() == []
    assert not list((company.path / "assessments" / "again").glob("*.parquet"))
    assert "Assessed again" not in listing.monthly(company, newest).closing


def test_an_earlier_list_has_nothing_of_it(company: Store) -> None:
    early = company.assessment()
    assert early is not None
    assess(company, judged_on=DAY - timedelta(days=1), known_on=end_of(DAY - timedelta(days=1)))
    new_verdicts(company, taken(company, one_visit()), judged_on=DAY, known_on=end_of(DAY))
    assert assessed_again.of(company, early) == []


@pytest.mark.parametrize("list_of", [VISITS[3], VISITS[3] + timedelta(days=3), DAY - timedelta(days=1)])
def test_a_list_made_later_for_an_earlier_day_forgets_nothing_of_it(company: Store, list_of: date) -> None:
    new_verdicts(company, taken(company, one_visit(more=4)), judged_on=DAY, known_on=end_of(DAY))
    assess(company, judged_on=list_of, known_on=end_of(DAY + timedelta(days=1)))
    newest = company.assessment()
    assert newest is not None
    assert [each.wall for each in assessed_again.of(company, newest)] == [("DH-03", "N")]
    assert f"Assessed again since, for {DAY}: DH-03-N" in listing.monthly(company, newest).closing


FAR = one_visit(more=12, setups=(1, 2))
"""Two set-ups that agree, so that it is used, 3/4 in further in than the visit before."""


def jumped(store: Store) -> list[tuple[str, str, bool]]:
    return [
        (row["house"], row["about"], row["alert_id"] in {each["alert_id"] for each in store.office.rows("alerts_over")})
        for row in store.office.rows("alerts")
        if row["kind"] == AlertKind.JUMP
    ]


def test_a_hard_limit_is_an_alert_at_once_and_no_list_of_before_ends_it(company: Store) -> None:
    alerting.look(company, at=end_of(VISITS[3]))
    walls = taken(company, FAR)
    new_verdicts(company, walls, judged_on=DAY, known_on=end_of(DAY))
    assert alerting.look(company, at=end_of(DAY), walls=walls).new > 0
    so = [("DH-03", f"visit {DAY}", False)]
    assert jumped(company) == so
    earlier, later = DAY - timedelta(days=1), DAY + timedelta(days=1)
    assess(company, judged_on=earlier, known_on=end_of(DAY))
    alerting.look(company, at=end_of(DAY))
    assert jumped(company) == so, "a list for a day before the visit says nothing about it"
    assess(company, judged_on=later, known_on=end_of(later))
    alerting.look(company, at=end_of(later))
    assert jumped(company) == so, "the same is told once"


def test_a_hard_limit_is_over_at_once_where_its_readings_are_ruled_out(company: Store) -> None:
    alerting.look(company, at=end_of(VISITS[3]))
    walls = taken(company, FAR)
    new_verdicts(company, walls, judged_on=DAY, known_on=end_of(DAY))
    alerting.look(company, at=end_of(DAY), walls=walls)
    later = end_of(DAY) + timedelta(hours=1)
    for row in company.readings(walls=walls).to_pylist():
        if row["visit_date"] == DAY:
            review.rule(company, row["reading_id"], Act.REJECT, who="O1", why="another wall's sheet", made_at=later)
    after_ruling(company, ("DH-03", "N"), judged_on=DAY, known_on=later)
    assert jumped(company) == [("DH-03", f"visit {DAY}", True)]


def test_whoever_looks_next_finds_a_hard_limit_that_nobody_looked_at(company: Store) -> None:
    alerting.look(company, at=end_of(VISITS[3]))
    new_verdicts(company, taken(company, FAR), judged_on=DAY, known_on=end_of(DAY))
    assert jumped(company) == []
    alerting.look(company, at=end_of(DAY))
    assert jumped(company) == [("DH-03", f"visit {DAY}", False)]


def test_the_wall_is_shown_as_it_was_assessed_again_and_pages_say_what_they_do_not_have(company: Store) -> None:
    before = company.assessment()
    assert before is not None
    assert assessed_again.not_published(company, before) == ""
    new_verdicts(company, taken(company, FAR), judged_on=DAY, known_on=end_of(DAY))
    lines, _ = wall_listing.one_wall(company, before, "DH-03-N")
    assert lines[1].startswith("keep out, engineer now: ")
    assert lines[2].startswith(f"Assessed again for {DAY}")
    assert lines[3].startswith("moving: ")
    assert "after the assessment" not in " ".join(lines)
    said = assessed_again.not_published(company, before)
    assert f"since the list of {before.judged_on}" in said
    assert "DH-03-N (" in said
    other, _ = wall_listing.one_wall(company, before, "DH-01-N")
    assert "Assessed again" not in " ".join(other)


def test_where_nothing_was_assessed_yet_nothing_is_kept(tmp_path: Path) -> None:
    store = founded(tmp_path / "store")
    visit(store, 0)
    assert new_verdicts(store, {("DH-01", "N")}, judged_on=DAY, known_on=end_of(DAY))
    assert not (store.path / "assessments" / "again").exists()


def test_a_damaged_file_of_it_is_named_and_gives_way_to_the_next(company: Store) -> None:
    walls = taken(company, one_visit())
    new_verdicts(company, walls, judged_on=DAY, known_on=end_of(DAY))
    [path] = (company.path / "assessments" / "again").glob("*.parquet")
    path.write_bytes(path.read_bytes()[:-40])
    [damage] = verify(company).damages
    assert damage.place == f"assessments/again/{path.name}"
    assert "assess again" in damage.mend.casefold()
    new_verdicts(company, walls, judged_on=DAY, known_on=end_of(DAY))
    assert verify(company).whole


def test_where_the_last_assessment_is_damaged_readings_are_in_and_it_is_said(company: Store) -> None:
    [card] = (company.path / "assessments").glob("*/assessment.json")
    card.write_text(card.read_text().replace("judged", "jugded"))
    walls = taken(company, one_visit())
    [said] = verdict_listing.judged_again(company, walls, judged_on=DAY, known_on=end_of(DAY))
    assert "not judged again" in said
    assert "Assess again for that day" in said


# alerts

GAPS = ("2 15/16", "2 2/16", "1 3/16", "2 2/16", "2 15/16")
FAR_IN = sheet(*(f"DH-04,N,{DAY},O1,B3,1,M{m},{gap},in,gap," for m, gap in enumerate(GAPS, start=1)))
"""Its third mark stands five eighths of an inch further in than before, and no other does."""


def test_a_look_at_the_walls_of_an_upload_brings_the_alerts_that_a_look_at_all_would(
    in_buckets: Path, tmp_path: Path
) -> None:
    alerts = []
    for number in (0, 1):
        store = stores.open(shutil.copytree(in_buckets, tmp_path / str(number)))
        alerting.look(store, at=end_of(DAY) - timedelta(hours=1))
        walls = taken(store, FAR_IN)
        alerting.look(store, at=end_of(DAY), walls=walls if number else None)
        alerts.append(store.office.rows("alerts"))
    assert alerts[0] == alerts[1]
    assert [row["house"] for row in alerts[1] if row["kind"] == AlertKind.HELD] == ["DH-04"]
