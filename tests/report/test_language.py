"""The phrases of every language against each other, and how dates and numbers stand in Spanish: by hand."""

import re
from collections.abc import Iterator, Mapping
from datetime import date
from string import Formatter
from typing import Any

import pytest

from monitor.report.language import FIRST, THINGS_MM, codes, language
from monitor.units import length_text, limit_rate_text, rate_text

ES = language("es")
EN = language(FIRST)
OTHERS = [code for code in codes() if code != FIRST]


def phrases(found: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """(section.key or section.key.place, phrase) of a file."""
    for section, rows in found.items():
        for key, phrase in rows.items():
            if isinstance(phrase, list):
                yield from ((f"{section}.{key}.{place}", one) for place, one in enumerate(phrase))
            else:
                yield f"{section}.{key}", phrase


def fields(phrase: str) -> set[str]:
    return {name for _, name, _, _ in Formatter().parse(phrase) if name is not None}


def differences(first: Mapping[str, Any], other: Mapping[str, Any]) -> list[str]:
    """What one file has and the other has not: keys, and names in braces."""
    ours, theirs = dict(phrases(first)), dict(phrases(other))
    keys = [f"only in one: {key}" for key in sorted(set(ours) ^ set(theirs))]
    return keys + [
        f"{key}: {sorted(fields(ours[key]) ^ fields(theirs[key]))}"
        for key in sorted(set(ours) & set(theirs))
        if fields(ours[key]) != fields(theirs[key])
    ]


@pytest.mark.parametrize("code", OTHERS)
def test_a_language_has_every_phrase_and_every_name_in_braces_of_the_first_and_no_other(code):
    assert differences(EN.phrases, language(code).phrases) == []


def test_a_missing_key_an_extra_key_and_another_name_in_braces_are_each_found():
    good = {"a": {"x": "{n} of {m}", "y": ["one {n}", "more"]}}
    assert differences(good, {"a": {"x": "{m} de {n}", "y": ["uno {n}", "más"]}}) == []
    assert differences(good, {"a": {"x": "{m} de {n}"}}) == ["only in one: a.y.0", "only in one: a.y.1"]
    assert differences(good, good | {"b": {"z": ""}}) == ["only in one: b.z"]
    assert differences(good, {"a": {"x": "{m} de", "y": ["uno", "más"]}}) == ["a.x: ['n']", "a.y.0: ['n']"]


@pytest.mark.parametrize("code", codes())
def test_no_phrase_is_empty_or_begins_or_ends_in_a_space(code):
    bad = [key for key, phrase in phrases(language(code).phrases) if not phrase or phrase != phrase.strip()]
    assert bad == ["calendar.between_days"]  # stands between two days


@pytest.mark.parametrize("code", OTHERS)
def test_a_phrase_longer_than_a_word_is_not_left_in_the_first_language(code):
    ours, theirs = dict(phrases(EN.phrases)), dict(phrases(language(code).phrases))
    same = [key for key in ours if ours[key] == theirs[key]]
    assert [key for key in same if len(re.findall(r"[^\W\d]", re.sub(r"\{\w+\}", "", ours[key]))) > 4] == []


VERY_LIKELY = {"en": "very likely", "es": "muy probable"}


@pytest.mark.parametrize("code", codes())
def test_very_likely_stands_only_beside_an_upper_bound(code):
    for name, sentence in language(code)["status"].items():
        assert VERY_LIKELY[code] not in sentence or "upper" in fields(sentence), name
    assert VERY_LIKELY[code] in language(code)["status"]["no movement measured"]


def test_a_language_nobody_wrote_is_an_error():
    with pytest.raises(KeyError, match="no phrases in language 'xx'"):
        language("xx")


def test_the_offices_language_stands_first():
    assert codes()[0] == "en"
    assert "es" in codes()


def test_every_thing_at_hand_has_a_name():
    assert set(EN["things"]) == set(THINGS_MM)


def test_no_length_is_compared_with_a_thing_far_from_its_size():
    """From a tenth of a millimetre to the usual limit of 2 in; 1.6 times off at most."""
    said = {str(phrase): name for name, phrase in EN["things"].items()}
    for tenths in range(1, 600):
        mm = tenths / 10
        thing = THINGS_MM[said[EN.comparison(mm)]]
        assert max(mm / thing, thing / mm) <= 1.6, (mm, EN.comparison(mm))


@pytest.mark.parametrize("mm", [0.0, 1.0, 12.7, 25.4, 30.1625, -30.1625])
@pytest.mark.parametrize("unit", ["in", "mm"])
def test_english_numbers_are_those_of_the_office(mm, unit):
    assert EN.length_text(mm, unit) == length_text(mm, unit)
    assert EN.rate_text(mm, unit) == rate_text(mm, unit)
    assert EN.limit_text(mm, unit) == limit_rate_text(mm, unit)


@pytest.mark.parametrize(
    ("mm", "words"),
    [
        (0.0, "0 pulgadas"),
        (0.5, "menos de 1/32 de pulgada"),
        (4.7625, "3/16 de pulgada"),
        (25.4, "1 pulgada"),
        (30.1625, "1 3/16 pulgadas"),
        (-25.4, "-1 pulgada"),
    ],
)
def test_spanish_keeps_fractions_of_inches_and_says_pulgada_in_its_number(mm, words):
    assert ES.length_text(mm, "in") == words


def test_spanish_dates_counts_spans_and_rates():
    assert ES.day_text(date(2026, 3, 14)) == "14 de marzo de 2026"
    assert ES.month_text(date(2026, 10, 1)) == "octubre de 2026"
    assert [ES.count_text(n, "visit") for n in (1, 4)] == ["1 visita", "4 visitas"]
    assert [ES.span_text(years) for years in (1 / 12, 1.5, 2.5)] == ["1 mes", "18 meses", "2 1/2 años"]
    assert ES.rate_pair(5.08, "in") == "0.20 pulgadas por año (5.1 mm por año)"
    assert ES.limit_pair(25.4 / 16, "in") == "1/16 de pulgada por año (1.6 mm por año)"
    assert ES.range_text(2.54, 5.08, "mm") == "entre 2.5 y 5.1 mm por año"
    assert ES.range_text(-2.54, 5.08, "mm") == "entre nada y 5.1 mm por año"
    assert ES.side_text(-30.1625, "in") == "1 3/16 pulgadas (30.2 mm) más afuera"
    assert ES.tape_text(30.2, "in") == "1 3/16 pulgadas en una cinta métrica"
    assert ES.joined(["una plomada", "la pared de enfrente"]) == "una plomada y la pared de enfrente"


@pytest.mark.parametrize(
    ("nickname", "english", "spanish"),
    [
        ("north wall", "the north wall", "la pared norte"),
        ("the East wall", "the east wall", "la pared este"),
        ("furnace wall", "the furnace wall", "la pared «furnace wall»"),
        ("north", "the north", "la pared «north»"),
        ("", "wall N", "la pared N"),
    ],
)
def test_a_wall_is_named_by_its_side_in_words_and_by_its_owners_name_as_it_is(nickname, english, spanish):
    assert (EN.wall_text(nickname, "N"), ES.wall_text(nickname, "N")) == (english, spanish)


def test_the_thing_at_hand_is_that_nearest_in_proportion():
    for exponent in range(-300, 300):
        mm = 10 ** (exponent / 100)
        size = max(mm, 0.05)
        nearest = min(THINGS_MM, key=lambda name: max(size / THINGS_MM[name], THINGS_MM[name] / size))
        assert EN.comparison(mm) == EN.comparison(-mm) == EN["things"][nearest]
    assert list(THINGS_MM.values()) == sorted(THINGS_MM.values())
