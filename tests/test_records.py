"""Records are what the library's own frozen dataclasses are: each is held against one of the same fields."""

import dataclasses
import pickle
from functools import cached_property
from typing import Any

import pytest

from monitor import records


@records.dataclass(frozen=True)
class Ours:
    wall: str
    marks: tuple[str, ...] = ()
    found: str = records.field(default="", compare=False)
    earlier: str = records.field(default="", repr=False)

    @cached_property
    def count(self) -> int:
        return len(self.marks)


@dataclasses.dataclass(frozen=True)
class Library:
    wall: str
    marks: tuple[str, ...] = ()
    found: str = dataclasses.field(default="", compare=False)
    earlier: str = dataclasses.field(default="", repr=False)


@records.dataclass(frozen=True)
class Longer(Ours):
    own: int = 0

    def __repr__(self) -> str:
        return "its own"


@records.dataclass(frozen=True)
class Listed:
    marks: list[str] = records.field(default_factory=list)


CASES = [("DH-01-N",), ("DH-01-N", ("M1", "M2")), ("DH-01-N", (), "x"), ("DH-01-N", (), "", "y")]


def test_they_equal_hash_and_read_as_the_librarys() -> None:
    for case in CASES:
        ours, library = Ours(*case), Library(*case)
        assert repr(ours) == repr(library).replace("Library", "Ours")
        assert records.asdict(ours) == dataclasses.asdict(library)
        assert records.astuple(ours) == dataclasses.astuple(library)
        assert hash(ours) == hash(library)
        for other in CASES:
            assert (ours == Ours(*other)) is (library == Library(*other))
    assert Ours("DH-01-N") != Library("DH-01-N")
    assert Ours.__match_args__ == Library.__match_args__


def test_they_are_made_by_place_by_name_and_by_default_as_the_librarys() -> None:
    for make in (Ours, Library):
        assert make("DH-01-N", found="x", marks=("M1",)) == make("DH-01-N", ("M1",), "x", "")
        assert make(wall="DH-01-N").marks == ()
        wrong: list[tuple[tuple[str, ...], dict[str, str]]] = [
            ((), {}),
            ((), {"found": "x"}),
            (("a", "b", "c", "d", "e"), {}),
            (("a",), {"wall": "b"}),
            (("a",), {"another": "b"}),
            (("a", "b", "c", "d"), {"another": "b"}),
        ]
        for values, named in wrong:
            with pytest.raises(TypeError):
                make(*values, **named)  # type: ignore[arg-type]
    made = Listed()
    made.marks.append("M1")
    assert Listed().marks == []
    assert Longer("DH-01-N", own=2).own == 2


def test_they_cannot_be_changed() -> None:
    for record in (Ours("DH-01-N"), Library("DH-01-N"), Longer("DH-01-N")):
        for name in ("wall", "marks", "something else"):
            with pytest.raises(records.FrozenInstanceError):
                setattr(record, name, "other")
        with pytest.raises(records.FrozenInstanceError):
            del record.wall
        assert record.wall == "DH-01-N"


def test_they_are_replaced_copied_and_kept_as_ever() -> None:
    first = Ours("DH-01-N", ("M1",))
    assert first.count == 1
    assert records.replace(first, marks=("M1", "M2")).count == 2
    assert pickle.loads(pickle.dumps(first)) == first
    longer = Longer("DH-01-N", own=2)
    assert repr(longer) == "its own"
    assert longer != Longer("DH-01-N", own=3)
    assert longer != Ours("DH-01-N")
    assert hash(longer) == hash(Longer("DH-01-N", own=2))


@pytest.mark.parametrize("define", [records.dataclass, dataclasses.dataclass])
def test_one_that_looks_at_what_it_is_given_does_so_as_the_librarys(define: Any) -> None:
    @define(frozen=True)
    class Looking:
        wall: str

        def __post_init__(self) -> None:
            if not self.wall:
                raise ValueError("no wall")

    made = Looking("DH-01-N")
    assert made.wall == "DH-01-N"
    with pytest.raises(ValueError, match="no wall"):
        Looking("")
    with pytest.raises(records.FrozenInstanceError):
        made.wall = "other"


def test_one_with_fields_that_are_not_given_cannot_be_defined() -> None:
    with pytest.raises(TypeError, match="not given, or by name alone"):

        @records.dataclass(frozen=True)
        class Half:
            wall: str
            count: int = records.field(default=0, init=False)

    with pytest.raises(TypeError, match="not given, or by name alone"):

        @records.dataclass(frozen=True)
        class ByName:
            wall: str = records.field(kw_only=True)
