"""As-built records outside common practice are taken in and noted. The bounds are common practice, no source."""

from typing import Any

import pytest
from intake_files import RECEIVED, make_tables

from monitor import ingest

GOOD = {
    "house": "DH-01", "wall": "N", "date": "2025-03-10", "event": "reinforcement", "strap count": "6",
    "strap spacing": "4 ft", "surface to sound": "yes", "cracks grouted": "yes", "top anchor": "rim joist",
    "joists tied": "", "bottom holes cleaned": "yes", "bottom hole depth": "4 in", "cure": "30 min",
    "heat source": "no", "heat distance": "", "hardness test": "nail leaves no dent", "turns": "2 1/2",
    "anchor gap": "1/2 in", "adhesive margin": "1/4 in", "film hours": "4",
}  # fmt: skip


def taken(**changes: str) -> dict[str, Any]:
    cells = GOOD | {name.replace("_", " "): text for name, text in changes.items()}
    text = ",".join(cells) + "\n" + ",".join(cells.values()) + "\n"
    (intake,) = ingest.read_register("events.csv", text.encode(), make_tables(), received_at=RECEIVED, sender="office")
    assert intake.used == 1, intake.messages
    (row,) = intake.table.to_pylist()
    result: dict[str, Any] = row
    return result


def test_a_record_within_common_practice_has_no_doubts() -> None:
    row = taken()
    assert row["doubts"] == ""
    assert (row["turns"], row["cure_minutes"], row["strap_spacing_mm"], row["film_hours"]) == (2.5, 30.0, 1219.2, 4.0)


@pytest.mark.parametrize(
    ("changes", "doubt"),
    [
        ({"turns": "3 1/2"}, "3 1/2 turns: over-tightened?"),
        ({"turns": "1 turn"}, "1 turn: tight enough?"),
        ({"cure": "5"}, "cured 5 min: 10 to 60 min is usual"),
        ({"cure": "2 h"}, "cured 120 min: 10 to 60 min is usual"),
        ({"cure": "5 min", "heat_source": "yes"}, "cured 5 min: about 10 min under heat is usual"),
        ({"anchor_gap": "0 in"}, "no visible gap behind the top anchor: is there room left to tighten?"),
        ({"hardness_test": ""}, "hardness not tested: a nail's tip should leave no dent"),
        ({"top_anchor": "sill plate"}, "sill plate without joists tied on both sides"),
        ({"top_anchor": "other"}, "top anchored to neither rim joist nor sill plate"),
        ({"bottom_holes_cleaned": "no"}, "holes of the bottom anchor not cleaned"),
        ({"surface_to_sound": "no"}, "surface not taken down to sound wall: will the bond hold?"),
        ({"cracks_grouted": "no"}, "cracks not grouted: a hinge if the wall comes back?"),
        ({"adhesive_margin": "1 in"}, "adhesive 1 in past the strap edges: about 1/4 in is usual"),
        ({"heat_distance": "1 in"}, "heat source 1 in away: too near?"),
        ({"film_hours": "1"}, "film taken off after 1 h: early?"),
        ({"strap_spacing": "8 ft"}, "straps 96 in apart: 3 to 6 ft is usual"),
        ({"strap_count": "3"}, "3 straps at that spacing leave 192 in of the wall's length without"),
        ({"cracks_grouted": "", "bottom_hole_depth": ""}, "not recorded: cracks grouted, bottom hole depth"),
        ({"turns": "a few"}, "cannot be read: Q2 'a few': a number expected.; not recorded: turns"),
    ],
)
def test_each_oddity_is_noted_in_these_words_and_the_record_is_taken(changes: dict[str, str], doubt: str) -> None:
    assert taken(**changes)["doubts"] == doubt


def test_three_turns_and_a_heated_cure_of_ten_minutes_and_a_tied_sill_plate_are_usual() -> None:
    assert taken(turns="3", cure="10 min", heat_source="yes", heat_distance="4 in")["doubts"] == ""
    assert taken(top_anchor="sill plate", joists_tied="yes")["doubts"] == ""


def test_a_reinforcement_without_any_record_says_so() -> None:
    text = "house,wall,date,event\nDH-01,N,2025-03-10,straps\n"
    (intake,) = ingest.read_register("events.csv", text.encode(), make_tables(), received_at=RECEIVED, sender="office")
    assert intake.table["doubts"].to_pylist() == ["no as-built record"]
    assert intake.notes == ["events.csv, Row 2, DH-01-N: no as-built record."]
