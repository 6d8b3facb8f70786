"""Rulings in any order, by whoever, compactions between: what stands, what stood, and that nothing is overwritten."""

import tempfile
from collections import defaultdict
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule
from store_rows import START, by_id, reading, table

from monitor import schema
from monitor import store as stores
from monitor.pipeline import review
from monitor.pipeline.who import RulingError
from monitor.terms import Act

STATES = {1: "held", 2: "used", 3: "rejected", 4: "could-not-read"}
STANDOFF_MM = 76.2
"""3 in, the pair of blocks of the readings here."""
SIXTEENTH_MM = 25.4 / 16
numbers = st.sampled_from(sorted(STATES))
people = st.sampled_from(["P1", "P2", "P3"])


class Rulings(RuleBasedStateMachine):
    """The store beside the simplest book of it: for each reading a pile of rulings, for each moment what stood."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = tempfile.TemporaryDirectory()
        self.store = stores.create(Path(self.folder.name) / "s", company={}, created_at=START)
        self.now = START
        self.piles: dict[int, list[dict[str, Any]]] = defaultdict(list)
        self.stood: list[tuple[datetime, dict[int, tuple[str, float | None, str]]]] = []
        self.made: list[dict[str, Any]] = []

    def teardown(self) -> None:
        self.folder.cleanup()

    @initialize()
    def four_readings_come_in(self) -> None:
        more = {"method": "string", "kind": "gap", "standoff_mm": STANDOFF_MM}
        rows = [reading(number, state=state, **more) for number, state in STATES.items()]
        self.store.add("readings", table("readings", *rows))
        self._remember()

    @rule(number=numbers, who=people)
    def release(self, number: int, who: str) -> None:
        if self._book()[number][0] == "held":
            self._ruled(number, Act.RELEASE, who)
        else:
            with pytest.raises(RulingError, match="Only a held reading"):
                self._ruled(number, Act.RELEASE, who)

    @rule(number=numbers, who=people)
    def reject(self, number: int, who: str) -> None:
        self._ruled(number, Act.REJECT, who)

    @rule(number=numbers, who=people, sixteenths=st.integers(1, 15))
    def correct(self, number: int, who: str, sixteenths: int) -> None:
        self._ruled(number, Act.CORRECT, who, sixteenths)

    @rule(number=numbers, who=people)
    def withdraw(self, number: int, who: str) -> None:
        self._ruled(number, Act.WITHDRAW, who)

    @rule()
    def compact(self) -> None:
        self.store.compact()

    @rule()
    def open_anew(self) -> None:
        self.store = stores.open(self.store.path)

    @rule(number=numbers)
    def withdraw_all(self, number: int) -> None:
        """Undo: with every ruling taken back the reading stands as it came in."""
        while self.piles[number]:
            self._ruled(number, Act.WITHDRAW, "P1")
        assert self._found()[number] == (STATES[number], reading(number)["deflection_mm"], "1 3/16")

    @invariant()
    def what_stands_is_what_the_book_says(self) -> None:
        if self.stood:
            assert self._found() == self._book()

    @invariant()
    def every_earlier_moment_is_as_it_was(self) -> None:
        for moment, book in self.stood[-6::2]:
            assert self._found(moment) == book

    @invariant()
    def every_ruling_ever_made_is_on_record_with_who_when_and_why(self) -> None:
        rows = {row["ruling_id"]: row for row in self.store.facts("rulings").to_pylist()}
        assert rows == {row["ruling_id"]: row for row in self.made}
        assert all(row["who"] and row["why"] and row["known_at"] for row in rows.values())

    def _ruled(self, number: int, act: Act, who: str, sixteenths: int = 0) -> None:
        at = self.now + timedelta(minutes=1)
        value = {"value": f"{sixteenths}/16", "unit": "in"} if sixteenths else {}
        made = review.rule(self.store, f"{number:016x}", act, who=who, why=f"why {at}", made_at=at, **value)
        self.now = at
        self.made.append({name: made[name] for name in schema.RULINGS.names})
        pile = self.piles[number]
        if act is not Act.WITHDRAW:
            pile.append({"act": act, "sixteenths": sixteenths})
        elif pile:
            pile.pop()
        self._remember()

    def _remember(self) -> None:
        self.stood.append((self.now, self._book()))

    def _book(self) -> dict[int, tuple[str, float | None, str]]:
        found = {}
        for number, came_in in STATES.items():
            state, deflection, raw = came_in, reading(number)["deflection_mm"], "1 3/16"
            for act in self.piles[number]:
                if act["act"] is Act.RELEASE and state == "held":
                    state = "used"
                elif act["act"] is Act.REJECT:
                    state = "rejected"
                elif act["act"] is Act.CORRECT:
                    state, raw = "used", f"{act['sixteenths']}/16"
                    deflection = STANDOFF_MM - act["sixteenths"] * SIXTEENTH_MM
            found[number] = (state, pytest.approx(deflection, abs=1e-9), raw)
        return found

    def _found(self, moment: datetime | None = None) -> dict[int, tuple[str, float | None, str]]:
        rows = by_id(self.store.readings(known_on=moment))
        return {number: (row["state"], row["deflection_mm"], row["value_raw"]) for number, row in rows.items()}


Rulings.TestCase.settings = settings(
    max_examples=8, stateful_step_count=16, deadline=None, derandomize=True, database=None
)
TestRulings = Rulings.TestCase
