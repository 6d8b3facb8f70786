"""Documents are written as ever, byte by byte: their hashes find runs and files that earlier releases wrote."""

from datetime import UTC, date, datetime
from hashlib import sha256

import pytest

from monitor.config import MailServer, Rules, Settings, Telling
from monitor.documents import Document, of_json
from monitor.pipeline import runs
from monitor.store import assessments, marker
from monitor.store.generations import PartFile, Pointer, Retired
from monitor.store.parts import Part
from monitor.store.sealed import sealed, unsealed

DEFAULTS = (
    '{"rules":{"before_mm_per_year":3.175,"after_mm_per_year":1.5875,"total_limit_mm":50.8,'
    '"thickness_share":0.3333333333333333,"take_up_days":90,"engineer_mm_per_year":6.35,"jump_mm":6.0,'
    '"keep_out_jump_mm":13.0,"jump_p":0.001,"alpha":0.05,"look_again_evidence":10.0,"moving_visits":3,'
    '"holding_visits":4,"holding_months":12.0,"first_interval_months":6.0,"first_interval_years":2.0,'
    '"later_interval_months":12.0,"confirm_weeks":8,"grace_days":30,"frost_from":9,"frost_to":11},'
    '"variances":{"methods":{"string":{"reading_mm":0.8,"offset_mm":1.0,"yaw_mm_per_m":0.2,"tilt_mm_per_m":0.0},'
    '"plumb":{"reading_mm":0.9,"offset_mm":null,"yaw_mm_per_m":0.0,"tilt_mm_per_m":0.0},'
    '"laser":{"reading_mm":0.9,"offset_mm":null,"yaw_mm_per_m":1.0,"tilt_mm_per_m":0.3},'
    '"meter":{"reading_mm":1.0,"offset_mm":0.7,"yaw_mm_per_m":0.0,"tilt_mm_per_m":0.0}},'
    '"season_mm":1.1,"season_carry":0.7,"local_mm_per_year":0.2,"local_share":0.1,"wobble_mm":0.3,'
    '"scale_dof":15.0,"scale":1.0,"jump_rate_mm_per_year":3.0}}'
)

PART = Part(bucket=3, files={"plan": "plan-0003.parquet"}, sha256="ab")
FILE = PartFile(table="readings", bucket=1, file="r.parquet", sha256="cd", rows=10)
POINTER = Pointer(
    schema_version=1,
    generation=2,
    buckets=4,
    parts=(FILE,),
    ledger=FILE,
    retired=(Retired(until=1767225600.5, files=("a",)),),
)
ASSESSMENT = assessments.Card(
    schema_version=1,
    judged_on=date(2026, 1, 2),
    known_until=datetime(2026, 1, 2, tzinfo=UTC),
    settings_sha256="a",
    facts_sha256="b",
    results_sha256="c",
    buckets=4,
    parts=(PART,),
)
WRITTEN: list[tuple[Document, str]] = [
    (marker.Card(schema_version=3, created_at=datetime(2026, 1, 2, 3, 4, 5, 60, tzinfo=UTC)), "d4148de96e5d9f78"),
    (POINTER, "23d2290e9077e9bb"),
    (Pointer(schema_version=1, generation=0, buckets=1), "bc1adef8c47fae9a"),
    (PART, "11e8f2c59f509f3d"),
    (ASSESSMENT, "ea45a4e5a63fdf04"),
    (Settings(rules=Rules(jump_mm=8.0, jump_p=1e-7)), "adb5ec4af847735e"),
    (Telling(mail=MailServer(host="mail.walls.example", sender="ä@walls.example")), "d3863c5dbc7d79a9"),
]


def test_the_text_of_settings_is_the_one_that_runs_on_record_are_found_by() -> None:
    assert runs.settings_json(Settings()) == DEFAULTS
    assert runs.settings_hash(Settings()) == "58a7f65adf6a485c344b5f1f8ff1cbacaf82603cdb0b8f1c4db9e6cb25fb8841"


@pytest.mark.parametrize(("document", "digest"), WRITTEN, ids=lambda value: type(value).__name__)
def test_a_document_is_written_to_the_same_bytes_as_ever_and_read_from_them(document: Document, digest: str) -> None:
    data = sealed(document)
    assert sha256(data).hexdigest()[:16] == digest
    assert of_json(type(document), unsealed(data)) == document
