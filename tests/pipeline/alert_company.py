"""A company small enough to be judged in a moment, whose few walls do all that people are alerted to."""

from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

from monitor import store as stores
from monitor.pipeline import alerting, intake
from monitor.pipeline.assessing import assess
from monitor.store import Store

FIRST = date(2024, 4, 9)
VISITS = (FIRST, date(2024, 10, 8), date(2025, 4, 8), date(2025, 10, 7), date(2026, 4, 7))
LIST, BEFORE_FROST = date(2026, 4, 10), date(2026, 10, 15)
PEOPLE = (
    "O1,office,,Clerk Example,555-0204,o1@example.invalid",
    "O2,office,,Second Example,555-0205,",
    "E1,engineer,,Engineer Example,555-0206,e1@example.invalid",
    "P1,owner,DH-01,Ada Example,555-0101,p1@example.invalid",
)
PERSONAL = [cell for line in PEOPLE for cell in line.split(",")[3:] if cell]
"""Names, phones and mail addresses."""
HOUSES = range(1, 6)
GAPS = (47, 34, 29, 34, 47)
"""Gaps at the zero reading in sixteenths of an inch, M1 to M5; a smaller one is further in."""


def end_of(day: date) -> datetime:
    return datetime.combine(day, time(20), tzinfo=UTC)


def founded(root: Path, people: tuple[str, ...] = PEOPLE) -> Store:
    """Its register: one north wall a house, cold winters, the second reinforced on the day of the zero reading."""
    store = stores.create(root, company={"name": "the demo firm"}, created_at=end_of(FIRST))
    register = {
        "houses": ["house,climate", *(f"DH-0{n},cold winters" for n in HOUSES)],
        "people": ["person,role,house,name,phone,email", *people],
        "instruments": ["instrument,method,stand-off,step", "B3,string,3 in,1/16 in"],
        "walls": [
            "house,wall,length,clear height,thickness,method,kind,unit",
            *(f"DH-0{n},N,24 ft,8 ft,8 in,string,gap,in" for n in HOUSES),
        ],
        "marks": [
            "house,wall,mark,x,z,row,set on",
            *(f"DH-0{n},N,M{m},{6 * (m - 1)} ft,4 ft,M,{FIRST}" for n in HOUSES for m in range(1, 6)),
        ],
        "events": ["house,wall,event date,kind", f"DH-02,N,{FIRST},reinforcement"],
    }
    for table, lines in register.items():
        data = "\n".join(lines).encode()
        [taken] = intake.take_register(store, f"{table}.csv", data, received_at=end_of(FIRST), sender="O1")
        assert list(taken.intake.messages) == [], taken.intake.messages
    return store


def visit(store: Store, number: int) -> None:
    """One visit of all walls.

    DH-01 and, reinforced, DH-02 move in by half an inch a year; at the last visit something is seen at DH-03, a reading
    of DH-04 is a likely misread, and DH-05 stands further in by 3/4 inch, by two set-ups.
    """
    day, is_last = VISITS[number], number == len(VISITS) - 1
    lines = ["house,wall,visit date,part,technician,instrument,set-up,mark,value,unit,kind,seen"]
    for house in HOUSES:
        part = "after" if house == 2 and number == 0 else ""
        for setup in (1, 2) if house == 5 and is_last else (1,):
            for mark, gap in enumerate(GAPS, start=1):
                inner = 1 < mark < 5
                inward = 4 * number if house in (1, 2) and inner else 0
                inward += 12 if house == 5 and is_last and inner else 0
                inward += 10 if house == 4 and is_last and mark == 3 else 0
                seen = "lip" if house == 3 and is_last and mark == 1 else ""
                value = f"{(gap - inward) // 16} {(gap - inward) % 16}/16"
                lines.append(f"DH-0{house},N,{day},{part},O1,B3,{setup},M{mark},{value},in,gap,{seen}")
    data = "\n".join(lines).encode()
    taken = intake.take_readings(store, f"{day}.csv", data, received_at=end_of(day), sender="O1", today=day)
    assert taken.intake.held == (1 if is_last else 0), taken.intake.messages


def in_business(root: Path) -> Store:
    """The company with all its visits, two lists, and what these brought."""
    store = founded(root)
    for number, day in enumerate(VISITS):
        visit(store, number)
        alerting.look(store, at=end_of(day))
    for day in (LIST, BEFORE_FROST):
        assess(store, judged_on=day, known_on=end_of(day))
        alerting.look(store, at=end_of(day) + timedelta(minutes=1))
    return store
