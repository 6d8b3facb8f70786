"""The demo's files taken in, in the order of sending: planted faults come out as they should, all else is used."""

import csv
from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

import pyarrow as pa
import pytest

from monitor import ingest, schema
from monitor.demo.faults import date_of
from monitor.results import Intake
from monitor.terms import State

FOLDER = Path(__file__).parents[2] / "data" / "demo"


@dataclass
class Taken:
    """What became of all files: intakes by name (the last of a name), all rows of readings as first received."""

    register: dict[str, list[Intake]] = field(default_factory=dict)
    readings: dict[str, list[Intake]] = field(default_factory=dict)
    rows: list[dict[str, object]] = field(default_factory=list)

    def reasons(self, wall: str, month: float, *marks: str) -> Counter[tuple[str, str]]:
        """States and reason codes of one visit's rows."""
        day = date_of(wall, month)
        found = [r for r in self.rows if f"{r['house']}-{r['wall']}" == wall and str(r["visit_date"]) == day]
        return Counter((str(r["state"]), str(r["reason_code"])) for r in found if not marks or r["mark"] in marks)


@pytest.fixture(scope="module")
def taken() -> Taken:
    done = Taken()
    tables = {name: schema.empty(name) for name in schema.REGISTER}
    earlier = schema.empty("readings")
    with (FOLDER / "sent.csv").open(encoding="utf-8", newline="") as lines:
        sent = list(csv.DictReader(lines))
    for row in sent:
        path, moment = FOLDER / row["file"], datetime.fromisoformat(row["sent at"])
        data = path.read_bytes()
        if row["kind"] == "register":
            intakes = ingest.read_register(path.name, data, tables, received_at=moment, sender=row["sender"])
            done.register[path.name] = list(intakes)
            for intake in intakes:
                tables[intake.holds] = newest(pa.concat_tables([tables[intake.holds], intake.table]), intake.holds)
        else:
            intake = ingest.read_readings(
                path.name, data, tables, earlier, received_at=moment, sender=row["sender"], today=moment.date()
            )
            done.readings.setdefault(path.name, []).append(intake)
            if len(done.readings[path.name]) == 1:
                earlier = pa.concat_tables([earlier, intake.table])
    done.rows = earlier.to_pylist()
    return done


def newest(table: pa.Table, name: str) -> pa.Table:
    """The last row of each key."""
    last = {tuple(row[part] for part in schema.KEY[name]): row for row in table.to_pylist()}
    return pa.Table.from_pylist(list(last.values()), schema=table.schema)


EXPECTED = {
    ("DH-04-W", 12): ("held", "date-for-fraction", 1),
    ("DH-10-N", 12): ("held", "unit-factor", 5),
    ("DH-11-S", 12): ("held", "kind-differs", 5),
    ("DH-12-S", 6): ("held", "kind-differs", 5),
    ("DH-13-N", 6): ("held", "copied", 10),
    ("DH-11-N", 6): ("rejected", "unknown-mark", 1),
}


@pytest.mark.parametrize(("wall", "month"), list(EXPECTED))
def test_a_planted_fault_is_kept_out_for_its_own_reason(taken: Taken, wall: str, month: float) -> None:
    state, code, count = EXPECTED[wall, month]
    reasons = taken.reasons(wall, month)
    assert {key: n for key, n in reasons.items() if key[0] != State.USED} == {(state, code): count}


def test_the_future_date_is_rejected(taken: Taken) -> None:
    [row] = [row for row in taken.rows if row["reason_code"] == "future-date"]
    assert (row["house"], row["wall"], row["mark"], row["state"]) == ("DH-07", "S", "M4", "rejected")


def test_every_other_row_is_used_or_said_to_be_unreadable(taken: Taken) -> None:
    states = Counter(str(row["state"]) for row in taken.rows)
    held = sum(n for state, _, n in EXPECTED.values() if state == "held")
    assert states[State.HELD] == held
    assert states[State.REJECTED] == 2
    assert states[State.COULD_NOT_READ] == 17
    assert states[State.USED] == len(taken.rows) - held - 2 - 17


def test_the_file_sent_twice_adds_nothing(taken: Taken) -> None:
    first, second = taken.readings["2024-10-14_T1.csv"]
    assert first.source_sha256 == second.source_sha256
    assert first.table["reading_id"].equals(second.table["reading_id"])
    assert [name for name, intakes in taken.readings.items() if len(intakes) > 1] == ["2024-10-14_T1.csv"]


def test_the_whole_register_is_taken_in(taken: Taken) -> None:
    failing = [m for intakes in taken.register.values() for i in intakes if i.used != i.received for m in i.messages]
    assert failing == []
    counts = Counter()
    for intakes in taken.register.values():
        counts.update({intake.holds: intake.received for intake in intakes})
    assert counts == {
        "houses": 13,
        "people": 19,
        "instruments": 16,
        "thresholds": 1,
        "walls": 19,
        "marks": 122,
        "events": 13,
    }


def test_odd_as_built_records_are_accepted_with_their_doubts(taken: Taken) -> None:
    doubts = {
        f"{row['house']}-{row['wall']}": str(row["doubts"])
        for intakes in taken.register.values()
        for intake in intakes
        if intake.holds == "events"
        for row in intake.table.to_pylist()
        if row["kind"] == "reinforcement"
    }
    assert "3 1/2 turns" in doubts["DH-02-E"]
    assert "not cleaned" in doubts["DH-02-E"]
    assert doubts["DH-03-S"]
    assert [wall for wall in ("DH-01-N", "DH-05-N", "DH-13-E") if doubts[wall]] == []
